package specimen

import (
	"context"

	"layette/steps/internal/geom"
)

// A surface is a triangulation being evened out.
type surface struct {
	leaves  []*leaf
	tris    []geom.Tri
	a       float64
	workers int

	kinds  []kind
	verts  []geom.Vec // where vertices are now
	normal []geom.Vec // gradients there
	first  []int32    // neighbours of vertex v: ring[first[v]:first[v+1]]
	ring   []int32
}

const (
	evenings = 3   // passes
	stride   = 0.6 // share of the way to the middle of the neighbours
)

// even moves vertices along the skin toward the middle of their neighbours.
func (s *surface) even(ctx context.Context) error {
	n := 0
	for _, lf := range s.leaves {
		n += len(lf.verts)
	}
	s.verts = make([]geom.Vec, 0, n)
	s.kinds = make([]kind, 0, n)
	for _, lf := range s.leaves {
		s.verts = append(s.verts, lf.verts...)
		s.kinds = append(s.kinds, lf.rim...)
	}
	s.normal = make([]geom.Vec, n)
	s.neighbours(n)
	next := make([]geom.Vec, n)
	for range evenings {
		err := each(ctx, s.workers, len(s.leaves), func(i int) {
			lf := s.leaves[i]
			for v := lf.base; v < lf.base+int32(len(lf.verts)); v++ {
				next[v], s.normal[v] = s.move(lf.f, v)
			}
		})
		if err != nil {
			return err
		}
		s.verts, next = next, s.verts
		for range 6 {
			bad := s.turned()
			if len(bad) == 0 {
				break
			}
			for _, v := range bad {
				s.verts[v] = next[v]
			}
		}
	}
	return nil
}

// neighbours fills first and ring: each triangle (a, b, c) gives a its b, b
// its c and c its a, so that on a closed surface each neighbour stands once.
func (s *surface) neighbours(n int) {
	s.first = make([]int32, n+1)
	for _, t := range s.tris {
		for _, v := range t {
			s.first[v+1]++
		}
	}
	for v := range n {
		s.first[v+1] += s.first[v]
	}
	s.ring = make([]int32, s.first[n])
	fill := make([]int32, n)
	for _, t := range s.tris {
		for c, v := range t {
			s.ring[s.first[v]+fill[v]] = t[(c+1)%3]
			fill[v]++
		}
	}
}

// move returns where vertex v goes and the gradient there.
func (s *surface) move(f Field, v int32) (geom.Vec, geom.Vec) {
	p := s.verts[v]
	k := s.kinds[v]
	var mid geom.Vec
	n := 0
	for _, w := range s.ring[s.first[v]:s.first[v+1]] {
		if k == edge && s.kinds[w] != edge {
			continue
		}
		mid = mid.Add(s.verts[w])
		n++
	}
	g := s.normal[v]
	if g == (geom.Vec{}) {
		_, g = f.At(p)
	}
	if n == 0 {
		return p, g
	}
	if k == edge { // one neighbour along the rim comes from the skin's side, one from the cap's
		if n < 2 {
			mid, n = mid.Add(p), n+1
		}
		g.Z = 0
	}
	go1 := mid.Mul(1 / float64(n)).Sub(p).Mul(stride)
	if k == face {
		go1.Z = 0
		return p.Add(go1), geom.Vec{Z: -1}
	}
	if l := g.Len2(); l > 0 {
		go1 = go1.Sub(g.Mul(go1.Dot(g) / l))
	}
	if k == edge {
		go1.Z = 0
	}
	if l := go1.Len(); l > 0.4*s.a {
		go1 = go1.Mul(0.4 * s.a / l)
	}
	return s.settle(f, p, p.Add(go1), k)
}

// settle brings q, moved from p, back onto the skin, or gives p back.
func (s *surface) settle(f Field, p, q geom.Vec, k kind) (geom.Vec, geom.Vec) {
	start := q
	var g geom.Vec
	for range 3 {
		var d float64
		d, g = f.At(q)
		if k == edge {
			g.Z = 0
		}
		l := g.Len2()
		if l < 1e-6 {
			return p, g
		}
		q = q.Sub(g.Mul(d / l))
		if d < 1e-6 && d > -1e-6 {
			break
		}
	}
	if q.Sub(start).Len2() > float64(s.a*s.a)/4 {
		_, g = f.At(p)
		return p, g
	}
	return q, g
}

// turned returns the vertices of triangles that face away from the gradient
// or are flattened, and may be put back.
func (s *surface) turned() []int32 {
	var bad []int32
	for _, t := range s.tris {
		a, b, c := s.verts[t[0]], s.verts[t[1]], s.verts[t[2]]
		n := b.Sub(a).Cross(c.Sub(a))
		longest := max(b.Sub(a).Len2(), c.Sub(b).Len2(), a.Sub(c).Len2())
		g := s.normal[t[0]].Unit().Add(s.normal[t[1]].Unit()).Add(s.normal[t[2]].Unit())
		if s.kinds[t[0]] != skin && s.kinds[t[1]] != skin && s.kinds[t[2]] != skin {
			g = geom.Vec{Z: -1}
		}
		if n.Dot(g) < 0.02*longest {
			bad = append(bad, t[0], t[1], t[2])
		}
	}
	return bad
}
