package draw

import (
	"math"

	"layette/steps/internal/geom"
)

// ball returns a ball of 8*4^splits triangles whose vertices lie on the sphere.
func ball(at geom.Vec, r float64, splits int) *geom.Mesh {
	m := &geom.Mesh{}
	verts := []geom.Vec{{X: 1}, {Y: 1}, {Z: 1}, {X: -1}, {Y: -1}, {Z: -1}}
	tris := []geom.Tri{{0, 1, 2}, {1, 3, 2}, {3, 4, 2}, {4, 0, 2}, {1, 0, 5}, {3, 1, 5}, {4, 3, 5}, {0, 4, 5}}
	for range splits {
		mid := make(map[[2]int32]int32, len(tris)*3/2)
		half := func(a, b int32) int32 {
			k := [2]int32{min(a, b), max(a, b)}
			v, ok := mid[k]
			if !ok {
				v = int32(len(verts))
				verts = append(verts, verts[a].Add(verts[b]).Unit())
				mid[k] = v
			}
			return v
		}
		next := make([]geom.Tri, 0, 4*len(tris))
		for _, t := range tris {
			a, b, c := half(t[0], t[1]), half(t[1], t[2]), half(t[2], t[0])
			next = append(next, geom.Tri{t[0], a, c}, geom.Tri{a, t[1], b}, geom.Tri{c, b, t[2]}, geom.Tri{a, b, c})
		}
		tris = next
	}
	for _, v := range verts {
		m.Verts = append(m.Verts, at.Add(v.Mul(r)).Point())
	}
	m.Tris = tris
	return m
}

// plate returns a square of side 2r about at, facing n.
func plate(at, n geom.Vec, r float64) *geom.Mesh {
	x, y, _ := frame(n, geom.Vec{})
	p := func(i, j float64) geom.Point { return at.Add(x.Mul(i * r)).Add(y.Mul(j * r)).Point() }
	return &geom.Mesh{
		Verts: []geom.Point{p(-1, -1), p(1, -1), p(1, 1), p(-1, 1)},
		Tris:  []geom.Tri{{0, 1, 2}, {0, 2, 3}},
	}
}

// together returns several surfaces as one.
func together(ms ...*geom.Mesh) *geom.Mesh {
	out := &geom.Mesh{}
	for _, m := range ms {
		first := int32(len(out.Verts))
		out.Verts = append(out.Verts, m.Verts...)
		for _, t := range m.Tris {
			out.Tris = append(out.Tris, geom.Tri{t[0] + first, t[1] + first, t[2] + first})
		}
	}
	return out
}

// around returns n directions spread evenly over the sphere.
func around(n int) []geom.Vec {
	var out []geom.Vec
	for i := range n {
		z := 1 - (2*float64(i)+1)/float64(n)
		a := float64(i) * math.Pi * (3 - math.Sqrt(5))
		s := math.Sqrt(1 - z*z)
		out = append(out, geom.Vec{X: s * math.Cos(a), Y: s * math.Sin(a), Z: z})
	}
	return out
}
