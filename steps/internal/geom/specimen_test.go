package geom

import "math/rand/v2"

// loose returns the corners of m's triangles one after the other.
func loose(m *Mesh) []Point {
	var corners []Point
	for _, t := range m.Tris {
		corners = append(corners, m.Verts[t[0]], m.Verts[t[1]], m.Verts[t[2]])
	}
	return corners
}

// shuffled returns m with vertices and triangles in an order drawn from seed.
func shuffled(m *Mesh, seed uint64) *Mesh {
	rng := rand.New(rand.NewPCG(seed, 2))
	verts := rng.Perm(len(m.Verts))
	s := &Mesh{Verts: make([]Point, len(m.Verts)), Tris: make([]Tri, len(m.Tris))}
	for i, k := range verts {
		s.Verts[k] = m.Verts[i]
	}
	for i, k := range rng.Perm(len(m.Tris)) {
		t := m.Tris[i]
		s.Tris[k] = Tri{int32(verts[t[0]]), int32(verts[t[1]]), int32(verts[t[2]])}
	}
	return s
}
