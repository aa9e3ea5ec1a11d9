package form

import (
	"context"
	"math"

	"layette/steps/internal/geom"
)

// Operator is minus the Laplacian of a skin, by rows: for each vertex its
// neighbours and how fast heat runs to each, 1/mm². Held vertices have none.
type Operator struct {
	joined  fan // the skin's
	rate    []float32
	even    float64 // h²/16 for even triangles of the mean area, mm²
	bound   float64 // no wave on this skin dies faster, 1/mm²
	workers int
	// For the operator between patches, made when it is asked for: see coarse.go.
	skin   *Skin
	places []geom.Vec
	up     []geom.Vec // unit, away from the skin
	wide   float64    // of its patches, mm
	next   *coarse
}

// stiff is how much faster heat may even out within a triangle than in the
// finest that matter, those with two thousandths of the skin. What is stiffer,
// slivers, is treated as if it had more area: they are few and small, and would
// otherwise set the cost of everything. No triangle is touched that evens out
// a wave of 1/25 of the cut-off or longer.
const stiff = 2

// stiffest bounds the rate that is allowed for, times the time of the cut-off: a
// wave of 1/240 of the cut-off. Only triangles that vanish are beyond it, or those
// of a part in a wrong unit, and would make the series endless.
const stiffest = 1e4

// slack is stiff, or 1 between patches, where slivers are many and none is worth
// its cost.
func (s *Skin) slack() float64 {
	if s.wide > 0 {
		return 1
	}
	return stiff
}

// Operator returns the operator of the skin with its vertices at places, for
// cut-offs of about the given length.
func (s *Skin) Operator(ctx context.Context, places []geom.Vec, cutoff float64) (*Operator, error) {
	rate, fat := make([]float64, len(s.Mesh.Tris)), make([]float64, len(s.Mesh.Tris))
	geom.Chunks(len(fat), s.workers, func(lo, hi int) {
		for t := lo; t < hi; t++ {
			rate[t], fat[t] = element(places, s.Mesh.Tris[t])
		}
	})
	usual, total := stiffness(rate, fat)
	most, bound := min(max(float64(s.slack()*usual), 200/time(cutoff)), stiffest/time(cutoff)), 0.0
	for t, r := range rate {
		if r > most {
			fat[t] *= math.Sqrt(r / most)
			r = most
		}
		bound = max(bound, r)
	}
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	mean := total / float64(max(len(fat), 1))
	o := &Operator{workers: s.workers, bound: bound, even: mean * 0.144, joined: s.joined, rate: make([]float32, len(s.joined.list)), skin: s, places: places}
	o.wide = s.patchWidth(cutoff, math.Sqrt(mean*4/math.Sqrt(3)))
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

// element returns the greatest rate of a triangle alone, and its area: the
// greater eigenvalue of its stiffness, (c + sqrt(c² - 3)) / 2 with c the sum of
// its cotangents, over a third of its area.
func element(places []geom.Vec, tri geom.Tri) (rate, area float64) {
	a, b, c := places[tri[0]], places[tri[1]], places[tri[2]]
	ab, bc, ca := b.Sub(a), c.Sub(b), a.Sub(c)
	area = ab.Cross(bc).Len() / 2
	squares := ab.Len2() + bc.Len2() + ca.Len2()
	if squares == 0 {
		return 0, 0
	}
	area = max(area, float64(1e-6*squares))
	cot := squares / (4 * area)
	soft := (cot + math.Sqrt(max(0, float64(cot*cot)-3))) / 2
	return 3 * soft / area, area
}

// stiffness returns the rate that only triangles with two thousandths of the
// skin exceed, within an eighth, and the area of the skin.
func stiffness(rates, areas []float64) (rate, total float64) {
	var skin [1 << 14]float64 // by exponent and three bits of the rate
	for t, r := range rates {
		skin[math.Float64bits(r)>>49&(1<<14-1)] += areas[t]
		total += areas[t]
	}
	above := 0.0
	for k := len(skin) - 1; k > 0; k-- {
		if above += skin[k]; above > float64(0.002*total) {
			return math.Float64frombits(uint64(k+1) << 49), total
		}
	}
	return 0, total
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
	to := s.joined.of(v)
	rate := o.rate[s.joined.first[v]:][:len(to)]
	var few [32]float64
	w, mass := append(few[:0], make([]float64, len(to))...), 0.0
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
			w[find(to, u)] += cot / 2
		}
	}
	for i := range w {
		if mass > 0 {
			rate[i] = float32(w[i] / mass)
		}
	}
}
