package geom

import (
	"context"
	"fmt"
	"math"
	"slices"
)

// Skin is a surface made ready for touching balls: a mesh whose edges are no
// longer than wanted, and places on it, each with one direction away from the
// solid. A vertex on smooth skin is one place; on a sharp edge of a coarse mesh
// it is one place for each smooth side, because it has as many directions.
type Skin struct {
	Mesh  *Mesh     // the vertices of the surface it was made from come first
	Faces FaceFan   // which triangles meet at a vertex of Mesh
	At    []Point   // places
	Out   []Point   // unit directions out of the solid
	Vert  []int32   // vertex of Mesh that a place lies on
	Area  []float64 // skin that a place stands for, mm²; they add up to the whole
	Edge  float64   // mean length of an edge, mm
}

// sharpCos is the cosine of the angle, 25 degrees, up to which triangles of a
// coarse mesh are taken for one smooth side: a ball of 64 sides turns by 5.6
// degrees from side to side, a square rim by 90.
const sharpCos = 0.9063

// NewSkin makes m ready with edges up to longest mm (a seventh more at worst):
// longer ones are halved until they are not. The result has at most most
// vertices: if that many will not do, the error says which length would.
// Directions are averaged over neighbours until they are calm, which takes scan
// noise out of them.
func NewSkin(ctx context.Context, m *Mesh, longest float64, most, workers int) (*Skin, error) {
	fine, cut, err := refine(ctx, m, longest, most)
	if err != nil {
		return nil, err
	}
	s := &Skin{Mesh: fine, Faces: newFaceFan(fine)}
	s.Edge = meanEdge(fine)
	flat := flatNormals(fine, workers)
	s.place(flat, cut)
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	s.settle(workers)
	return s, context.Cause(ctx)
}

// FaceFan lists the triangles round each vertex: those of vertex v are
// List[First[v]:First[v+1]], in order of number.
type FaceFan struct {
	First []int32
	List  []int32
}

// Of returns the triangles round vertex v.
func (f *FaceFan) Of(v int32) []int32 { return f.List[f.First[v]:f.First[v+1]] }

func newFaceFan(m *Mesh) FaceFan {
	f := FaceFan{First: make([]int32, len(m.Verts)+2), List: make([]int32, 3*len(m.Tris))}
	next := f.First[1:]
	for _, t := range m.Tris {
		for _, v := range t {
			next[v+1]++
		}
	}
	for v := range len(m.Verts) {
		next[v+1] += next[v]
	}
	for i, t := range m.Tris {
		for _, v := range t {
			f.List[next[v]] = int32(i)
			next[v]++
		}
	}
	f.First = f.First[:len(m.Verts)+1]
	return f
}

// flatNormals returns twice the area times the direction of each triangle.
func flatNormals(m *Mesh, workers int) []Vec {
	flat := make([]Vec, len(m.Tris))
	Chunks(len(flat), workers, func(lo, hi int) {
		for t := lo; t < hi; t++ {
			a, b, c := m.Corners(t)
			flat[t] = b.Sub(a).Cross(c.Sub(a))
		}
	})
	return flat
}

func meanEdge(m *Mesh) float64 {
	var s Sum
	for t := range m.Tris {
		a, b, c := m.Corners(t)
		s.Add(b.Sub(a).Len())
		s.Add(c.Sub(b).Len())
		s.Add(a.Sub(c).Len())
	}
	return s.Total() / max(1, float64(3*len(m.Tris)))
}

// place puts the places on the vertices: one where triangles are small, one for
// each smooth side where a triangle was cut up.
func (s *Skin) place(flat []Vec, cut []bool) {
	n := len(s.Mesh.Verts)
	s.At, s.Out = make([]Point, 0, n), make([]Point, 0, n)
	s.Vert, s.Area = make([]int32, 0, n), make([]float64, 0, n)
	var left []int32
	for v := range int32(n) {
		fan := s.Faces.Of(v)
		if !anyCut(cut, fan) {
			s.addPlace(v, fan, flat)
			continue
		}
		left = append(left[:0], fan...)
		for len(left) > 0 {
			side := smoothSide(left, flat)
			s.addPlace(v, side, flat)
			left = slices.DeleteFunc(left, func(f int32) bool { return slices.Contains(side, f) })
		}
	}
}

func anyCut(cut []bool, fan []int32) bool {
	if cut == nil {
		return false
	}
	for _, f := range fan {
		if cut[f] {
			return true
		}
	}
	return false
}

// smoothSide returns the triangles of fan that face as its greatest does.
func smoothSide(fan []int32, flat []Vec) []int32 {
	lead := fan[0]
	for _, f := range fan {
		if flat[f].Len2() > flat[lead].Len2() {
			lead = f
		}
	}
	d := flat[lead].Unit()
	side := []int32{lead}
	for _, f := range fan {
		if f != lead && (flat[f].Unit().Dot(d) >= sharpCos || flat[f] == Vec{}) {
			side = append(side, f)
		}
	}
	return side
}

func (s *Skin) addPlace(v int32, faces []int32, flat []Vec) {
	sum, area := Vec{}, 0.0
	for _, f := range faces {
		sum = sum.Add(flat[f].Mul(s.weight(v, f)))
		area += flat[f].Len() / 6
	}
	d := sum.Unit()
	if (d == Vec{}) {
		return // no triangles, or none with an area
	}
	s.At = append(s.At, s.Mesh.Verts[v])
	s.Out = append(s.Out, d.Point())
	s.Vert = append(s.Vert, v)
	s.Area = append(s.Area, area)
}

// weight returns how much triangle f counts in the direction at v: one over the
// squares of its sides there, which is exact on balls. N. Max, "Weights for
// computing vertex normals from facet normals", Journal of Graphics Tools 4,
// 1999 (from memory).
func (s *Skin) weight(v, f int32) float64 {
	t, at := s.Mesh.Tris[f], s.Mesh.Verts[v].Vec()
	w := 1.0
	for _, o := range t {
		if o != v {
			w *= s.Mesh.Verts[o].Vec().Sub(at).Len2()
		}
	}
	if w < 1e-18 {
		return 0 // no direction can be told
	}
	return 1 / w
}

// Directions are averaged until one more round would turn them by less than
// calm, a degree and a half, on the mean, and mostRounds times at most. Clean
// skin takes one round, scan noise of 0.05 mm on triangles of 0.25 mm about eight.
const (
	calm       = 3.4e-4 // one less the cosine of the angle
	mostRounds = 10
)

// settle averages directions with those of the neighbours. Neighbours that face
// more than 60 degrees away keep out of it: they are another side.
func (s *Skin) settle(workers int) {
	if len(s.At) != len(s.Mesh.Verts) {
		return // places are not vertices: a coarse mesh with flat sides needs no averaging
	}
	next := make([]Point, len(s.Out))
	for range mostRounds {
		Chunks(len(s.Out), workers, func(lo, hi int) {
			for v := lo; v < hi; v++ {
				next[v] = s.settled(int32(v))
			}
		})
		var turned Sum
		for v, d := range next {
			turned.Add(1 - d.Vec().Dot(s.Out[v].Vec()))
		}
		s.Out, next = next, s.Out
		if turned.Total() < calm*float64(len(next)) {
			return
		}
	}
}

// settled returns the direction at v that its neighbours tell: the value at v of
// the linear function that fits theirs best, so that a round skin keeps its
// directions however unevenly its triangles lie.
func (s *Skin) settled(v int32) Point {
	own, at := s.Out[v].Vec(), s.Mesh.Verts[v].Vec()
	e1 := own.across()
	e2 := own.Cross(e1)
	var xx, xy, yy, mx, my float64
	sum, sumX, sumY := own, Vec{}, Vec{}
	for _, f := range s.Faces.Of(v) {
		for _, w := range s.Mesh.Tris[f] {
			d := s.Out[w].Vec()
			if w == v || d.Dot(own) <= 0.5 {
				continue
			}
			to := s.Mesh.Verts[w].Vec().Sub(at)
			x, y := to.Dot(e1), to.Dot(e2)
			xx += float64(x * x)
			xy += float64(x * y)
			yy += float64(y * y)
			mx, my = mx+x, my+y
			sum, sumX, sumY = sum.Add(d), sumX.Add(d.Mul(x)), sumY.Add(d.Mul(y))
		}
	}
	if det := float64(xx*yy) - float64(xy*xy); det > 1e-6*float64(xx*yy) {
		a := (float64(yy*mx) - float64(xy*my)) / det
		b := (float64(xx*my) - float64(xy*mx)) / det
		sum = sum.Sub(sumX.Mul(a)).Sub(sumY.Mul(b))
	}
	if sum.Dot(own) <= 0 {
		return s.Out[v]
	}
	return sum.Unit().Point()
}

// across returns a unit direction square to the unit direction v.
func (v Vec) across() Vec {
	if math.Abs(v.X) < 0.6 {
		return v.Cross(Vec{X: 1}).Unit()
	}
	return v.Cross(Vec{Y: 1}).Unit()
}

// refine halves edges longer than longest until there are none, keeping the
// surface closed where it was. cut tells which triangles came of one over twice
// as long: a flat side, not a facet of round skin. nil if nothing was cut.
func refine(ctx context.Context, m *Mesh, longest float64, most int) (*Mesh, []bool, error) {
	if need := refinedSize(m, longest); need > float64(most) {
		return nil, nil, fmt.Errorf("%.0f places would be needed to look at every %.3g mm; %d is the most: look at every %.2g mm instead",
			need, longest, most, longest*math.Sqrt(need/float64(most))*1.2)
	}
	limit2 := float64(longest * longest)
	long := func(v []Point, a, b int32) bool { return v[a].Vec().Sub(v[b].Vec()).Len2() > limit2 }
	verts, tris := m.Verts, m.Tris
	var cut []bool
	for {
		if ctx.Err() != nil {
			return nil, nil, context.Cause(ctx)
		}
		mids := map[[2]int32]int32{}
		for _, t := range tris {
			for k := range 3 {
				a, b := min(t[k], t[(k+1)%3]), max(t[k], t[(k+1)%3])
				if !long(verts, a, b) {
					continue
				}
				if _, done := mids[[2]int32{a, b}]; !done {
					mids[[2]int32{a, b}] = int32(len(verts))
					verts = append(verts[:len(verts):cap(verts)], verts[a].Vec().Add(verts[b].Vec()).Mul(0.5).Point())
				}
			}
		}
		if len(mids) == 0 {
			break
		}
		if cut == nil {
			cut = make([]bool, len(tris))
		}
		for i, t := range tris {
			for k := range 3 {
				cut[i] = cut[i] || verts[t[k]].Vec().Sub(verts[t[(k+1)%3]].Vec()).Len2() > 4*limit2
			}
		}
		tris, cut = cutTris(tris, cut, verts, mids)
	}
	if cut == nil {
		return m, nil, nil
	}
	return &Mesh{Verts: verts, Tris: tris, Origin: m.Origin}, cut, nil
}

// cutTris cuts every triangle at the middles of its long edges into two, three
// or four.
func cutTris(tris []Tri, cut []bool, verts []Point, mids map[[2]int32]int32) ([]Tri, []bool) {
	var out []Tri
	var outCut []bool
	add := func(t Tri, c bool) { out, outCut = append(out, t), append(outCut, c) }
	mid := func(a, b int32) int32 {
		if v, ok := mids[[2]int32{min(a, b), max(a, b)}]; ok {
			return v
		}
		return -1
	}
	for i, t := range tris {
		m := [3]int32{mid(t[0], t[1]), mid(t[1], t[2]), mid(t[2], t[0])}
		n := 0
		for _, v := range m {
			if v >= 0 {
				n++
			}
		}
		switch n {
		case 0:
			add(t, cut[i])
		case 1:
			for m[0] < 0 {
				t, m = turn(t), [3]int32{m[1], m[2], m[0]}
			}
			add(Tri{t[0], m[0], t[2]}, cut[i])
			add(Tri{m[0], t[1], t[2]}, cut[i])
		case 2:
			for m[2] >= 0 {
				t, m = turn(t), [3]int32{m[1], m[2], m[0]}
			}
			add(Tri{m[0], t[1], m[1]}, cut[i])
			if verts[t[0]].Vec().Sub(verts[m[1]].Vec()).Len2() <= verts[m[0]].Vec().Sub(verts[t[2]].Vec()).Len2() {
				add(Tri{t[0], m[0], m[1]}, cut[i])
				add(Tri{t[0], m[1], t[2]}, cut[i])
			} else {
				add(Tri{t[0], m[0], t[2]}, cut[i])
				add(Tri{m[0], m[1], t[2]}, cut[i])
			}
		default:
			add(Tri{t[0], m[0], m[2]}, cut[i])
			add(Tri{m[0], t[1], m[1]}, cut[i])
			add(Tri{m[2], m[1], t[2]}, cut[i])
			add(Tri{m[0], m[1], m[2]}, cut[i])
		}
	}
	return out, outCut
}

func turn(t Tri) Tri { return Tri{t[1], t[2], t[0]} }

// refinedSize is an upper guess at the vertices that refine would make: by area
// for stout triangles, by length for slender ones.
func refinedSize(m *Mesh, longest float64) float64 {
	extra := 0.0
	for t := range m.Tris {
		a, b, c := m.Corners(t)
		side := math.Sqrt(max(b.Sub(a).Len2(), c.Sub(b).Len2(), a.Sub(c).Len2()))
		if side > longest {
			extra += 2*b.Sub(a).Cross(c.Sub(a)).Len()/float64(longest*longest) + 2*side/longest
		}
	}
	return float64(len(m.Verts)) + extra
}
