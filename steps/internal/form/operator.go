package form

import (
	"context"
	"math"

	"layette/steps/internal/geom"
)

// Operator is minus the Laplacian of a skin, by rows: for each vertex its
// neighbours and how fast heat runs to each, 1/mm². Held vertices have none.
type Operator struct {
	first   []int32
	to      []int32
	rate    []float32
	even    float64 // h²/16 for even triangles of the mean area, mm²
	bound   float64 // no wave on this skin dies faster, 1/mm²
	workers int
	// For coarser operators, made when they are asked for: see coarse.go.
	skin   *Skin
	places []geom.Vec
	edge   float64 // of the triangles, mm
	levels map[float64]*coarse
}

// stiff is how much faster heat may even out within a triangle than in the
// finest that matter, those with two thousandths of the skin. What is stiffer,
// slivers, is treated as if it had more area: they are few and small, and would
// otherwise set the cost of everything. No triangle is touched that evens out
// a wave of 1/25 of the cut-off or longer.
const stiff = 4

// stiffest bounds the rate that is allowed for, times the time of the cut-off: a
// wave of 1/240 of the cut-off. Only triangles that vanish are beyond it, or those
// of a part in a wrong unit, and would make the series endless.
const stiffest = 1e4

// slack is stiff, or 1 between patches, where slivers are many and none is worth
// its cost.
func (s *Skin) slack() float64 {
	if s.edges == nil {
		return 1
	}
	return stiff
}

// Operator returns the operator of the skin with its vertices at places, for
// cut-offs of about the given length.
func (s *Skin) Operator(ctx context.Context, places []geom.Vec, cutoff float64) (*Operator, error) {
	usual, total := s.stiffness(places)
	most := min(max(float64(s.slack()*usual), 200/time(cutoff)), stiffest/time(cutoff))
	fat := make([]float64, len(s.Mesh.Tris))
	bounds := make([]float64, len(s.Mesh.Tris)/4096+1)
	geom.Chunks(len(fat), s.workers, func(lo, hi int) {
		for t := lo; t < hi; t++ {
			rate, area, soft := element(places, s.Mesh.Tris[t])
			fat[t] = area
			if rate > most {
				fat[t], rate = math.Sqrt(float64(area*soft)*3/most), most
			}
			bounds[lo/4096] = max(bounds[lo/4096], rate)
		}
	})
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	o := &Operator{first: make([]int32, len(places)+1), workers: s.workers, even: total / float64(max(len(fat), 1)) * 0.144}
	for _, b := range bounds {
		o.bound = max(o.bound, b)
	}
	o.skin, o.places, o.levels = s, places, map[float64]*coarse{}
	o.edge = math.Sqrt(total / float64(max(len(fat), 1)) * 4 / math.Sqrt(3))
	for v := range places {
		n := int32(0)
		if !s.Held[v] {
			n = s.ring(v)
		}
		o.first[v+1] = o.first[v] + n
	}
	o.to, o.rate = make([]int32, o.first[len(places)]), make([]float32, o.first[len(places)])
	geom.Chunks(len(places), s.workers, func(lo, hi int) {
		if ctx.Err() != nil {
			return
		}
		for v := lo; v < hi; v++ {
			if !s.Held[v] {
				s.row(o, places, fat, v)
			}
		}
	})
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	return o, nil
}

// element returns the greatest rate of a triangle alone, its area and the
// greater eigenvalue of its stiffness: ((c + sqrt(c² - 3)) / 2 with c the sum of
// its cotangents, over a third of its area.
func element(places []geom.Vec, tri geom.Tri) (rate, area, soft float64) {
	a, b, c := places[tri[0]], places[tri[1]], places[tri[2]]
	ab, bc, ca := b.Sub(a), c.Sub(b), a.Sub(c)
	area = ab.Cross(bc).Len() / 2
	squares := ab.Len2() + bc.Len2() + ca.Len2()
	if squares == 0 {
		return 0, 0, 0
	}
	area = max(area, float64(1e-6*squares))
	cot := squares / (4 * area)
	soft = (cot + math.Sqrt(max(0, float64(cot*cot)-3))) / 2
	return 3 * soft / area, area, soft
}

// stiffness returns the rate that only triangles with two thousandths of the
// skin exceed, within an eighth, and the area of the skin.
func (s *Skin) stiffness(places []geom.Vec) (rate, total float64) {
	var skin [1 << 14]float64 // by exponent and three bits of the rate
	for _, tri := range s.Mesh.Tris {
		rate, area, _ := element(places, tri)
		skin[math.Float64bits(rate)>>49&(1<<14-1)] += area
		total += area
	}
	above := 0.0
	for k := len(skin) - 1; k > 0; k-- {
		if above += skin[k]; above > float64(0.002*total) {
			return math.Float64frombits(uint64(k+1) << 49), total
		}
	}
	return 0, total
}

// ring returns how many neighbours v has.
func (s *Skin) ring(v int) int32 {
	var few [32]int32
	ring := few[:0]
	for _, c := range s.fan.of(v) {
		for _, u := range s.Mesh.Tris[c/3] {
			if int(u) != v && find(ring, u) < 0 {
				ring = append(ring, u)
			}
		}
	}
	return int32(len(ring))
}

func find(list []int32, u int32) int {
	for i, x := range list {
		if x == u {
			return i
		}
	}
	return -1
}

// row fills in the row of v.
func (s *Skin) row(o *Operator, places []geom.Vec, fat []float64, v int) {
	to := o.to[o.first[v]:o.first[v+1]]
	var few [32]float64
	w := few[:0]
	n, mass := 0, 0.0
	for _, c := range s.fan.of(v) {
		t, k := c/3, c%3
		tri := s.Mesh.Tris[t]
		p, q := tri[(k+1)%3], tri[(k+2)%3]
		mass += fat[t] / 3
		for side, u := range [2]int32{p, q} {
			if int(u) == v || fat[t] == 0 {
				continue
			}
			far := [2]int32{q, p}[side] // the corner opposite the edge from v to u
			x := places[far]
			cot := places[v].Sub(x).Dot(places[u].Sub(x)) / (2 * fat[t])
			i := find(to[:n], u)
			if i < 0 {
				i = n
				to[n] = u
				w = append(w, 0)
				n++
			}
			w[i] += cot / 2
		}
	}
	for i := range n {
		if mass > 0 {
			o.rate[int(o.first[v])+i] = float32(w[i] / mass)
		}
	}
	for i := n; i < len(to); i++ {
		to[i] = int32(v)
	}
}
