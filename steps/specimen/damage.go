package specimen

import (
	"slices"

	"layette/steps/internal/geom"
)

// Damage does to a surface what a fault of the surface says, and returns a new
// one; m itself if it is a fault of form. The place is where the part's skin
// is, Radius (or Value) how far the damage goes.
func Damage(m *geom.Mesh, q Planted) *geom.Mesh {
	switch q.What {
	case Hole:
		return patched(m, q, func(geom.Tri) []geom.Tri { return nil })
	case Flipped:
		return patched(m, q, func(t geom.Tri) []geom.Tri { return []geom.Tri{{t[0], t[2], t[1]}} })
	case Duplicates:
		left := int(q.Value)
		return patched(m, q, func(t geom.Tri) []geom.Tri {
			if left--; left < 0 {
				return []geom.Tri{t}
			}
			return []geom.Tri{t, {t[1], t[2], t[0]}}
		})
	case Spike:
		v, n := vertexAt(m, q.At)
		out := &geom.Mesh{Verts: slices.Clone(m.Verts), Tris: m.Tris}
		out.Verts[v] = m.Verts[v].Vec().Add(n.Mul(q.Value)).Point()
		return out
	case Floater, Crossing:
		return joined(m, ballMesh(q.At, q.Value))
	case WrongUnit:
		return rescaled(m, q.Value)
	case WrongSide:
		return mirror(m)
	}
	return m
}

// patched returns m with each face wholly within the fault's radius replaced.
func patched(m *geom.Mesh, q Planted, with func(geom.Tri) []geom.Tri) *geom.Mesh {
	out := &geom.Mesh{Verts: m.Verts}
	for _, t := range m.Tris {
		a, b, c := m.Verts[t[0]].Vec().Sub(q.At), m.Verts[t[1]].Vec().Sub(q.At), m.Verts[t[2]].Vec().Sub(q.At)
		if max(a.Len2(), b.Len2(), c.Len2()) > float64(q.Radius*q.Radius) {
			out.Tris = append(out.Tris, t)
		} else {
			out.Tris = append(out.Tris, with(t)...)
		}
	}
	return out
}

// vertexAt returns the vertex nearest to p and the normal of the faces there.
func vertexAt(m *geom.Mesh, p geom.Vec) (int32, geom.Vec) {
	best, d := int32(0), far
	for i, q := range m.Verts {
		if e := q.Vec().Sub(p).Len2(); e < d {
			best, d = int32(i), e
		}
	}
	var n geom.Vec
	for i, t := range m.Tris {
		if t[0] == best || t[1] == best || t[2] == best {
			a, b, c := m.Corners(i)
			n = n.Add(b.Sub(a).Cross(c.Sub(a)))
		}
	}
	return best, n.Unit()
}

// rescaled returns m with every coordinate times s.
func rescaled(m *geom.Mesh, s float64) *geom.Mesh {
	out := &geom.Mesh{Verts: make([]geom.Point, len(m.Verts)), Tris: m.Tris}
	for i, p := range m.Verts {
		out.Verts[i] = p.Vec().Mul(s).Point()
	}
	return out
}

// joined returns two surfaces as one, not joined to each other.
func joined(a, b *geom.Mesh) *geom.Mesh {
	n := int32(len(a.Verts))
	out := &geom.Mesh{Verts: append(append([]geom.Point(nil), a.Verts...), b.Verts...), Tris: append([]geom.Tri(nil), a.Tris...)}
	for _, t := range b.Tris {
		out.Tris = append(out.Tris, geom.Tri{t[0] + n, t[1] + n, t[2] + n})
	}
	return out
}

// ballMesh is an octahedron split three times and blown up: 512 triangles.
func ballMesh(c geom.Vec, r float64) *geom.Mesh {
	verts := []geom.Vec{{X: 1}, {X: -1}, {Y: 1}, {Y: -1}, {Z: 1}, {Z: -1}}
	tris := []geom.Tri{{0, 2, 4}, {2, 1, 4}, {1, 3, 4}, {3, 0, 4}, {2, 0, 5}, {1, 2, 5}, {3, 1, 5}, {0, 3, 5}}
	for range 3 {
		half := map[[2]int32]int32{}
		mid := func(a, b int32) int32 {
			k := [2]int32{min(a, b), max(a, b)}
			if _, ok := half[k]; !ok {
				half[k] = int32(len(verts))
				verts = append(verts, verts[a].Add(verts[b]).Unit())
			}
			return half[k]
		}
		var next []geom.Tri
		for _, t := range tris {
			x, y, z := mid(t[0], t[1]), mid(t[1], t[2]), mid(t[2], t[0])
			next = append(next, geom.Tri{t[0], x, z}, geom.Tri{x, t[1], y}, geom.Tri{z, y, t[2]}, geom.Tri{x, y, z})
		}
		tris = next
	}
	m := &geom.Mesh{Tris: tris}
	for _, v := range verts {
		m.Verts = append(m.Verts, c.Add(v.Mul(r)).Point())
	}
	return m
}
