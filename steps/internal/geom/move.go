package geom

// Frame is a right-handed frame: three unit axes at right angles and the point
// where they meet, mm.
type Frame struct {
	At      Vec
	X, Y, Z Vec
}

// mapped returns m with every vertex at f of its place, origin included.
// Normals are dropped: what they would become depends on f.
func (m *Mesh) mapped(f func(Vec) Vec) *Mesh {
	w := *m
	w.Normals = nil
	w.Origin = Vec{}
	w.Verts = make([]Point, len(m.Verts))
	for i, p := range m.Verts {
		w.Verts[i] = f(p.Vec().Add(m.Origin)).Point()
	}
	return &w
}

// Moved returns m moved by d. Each coordinate is rounded to float32 once.
func (m *Mesh) Moved(d Vec) *Mesh {
	w := m.mapped(func(p Vec) Vec { return p.Add(d) })
	w.Normals = m.Normals
	return w
}

// Scaled returns m scaled about zero by the same factor in every direction.
func (m *Mesh) Scaled(s float64) *Mesh {
	w := m.mapped(func(p Vec) Vec { return p.Mul(s) })
	w.Normals = m.Normals
	return w
}

// MirroredX returns m mirrored through the plane x = 0, with its triangles
// turned so that outside stays outside: a left hand from a right one.
func (m *Mesh) MirroredX() *Mesh {
	w := m.mapped(func(p Vec) Vec { return Vec{-p.X, p.Y, p.Z} })
	w.Tris = make([]Tri, len(m.Tris))
	for t, tri := range m.Tris {
		w.Tris[t] = Tri{tri[0], tri[2], tri[1]}
	}
	return w
}

// Ordered returns m with its triangles along a space-filling curve through
// their middles and its vertices in the order in which the triangles meet
// them, those that no triangle uses last; what lies near on the skin then lies
// near in memory, whatever order the file had. tris and verts tell which
// triangle and vertex of m each one was.
func (m *Mesh) Ordered(workers int) (ordered *Mesh, tris, verts []int32) {
	tris = CurveOrder(m.middles(workers), workers)
	index := make([]int32, len(m.Verts))
	for i := range index {
		index[i] = -1
	}
	verts = make([]int32, 0, len(m.Verts))
	meet := func(v int32) int32 {
		if index[v] < 0 {
			index[v] = int32(len(verts))
			verts = append(verts, v)
		}
		return index[v]
	}
	w := &Mesh{Tris: make([]Tri, len(m.Tris)), Origin: m.Origin}
	for i, t := range tris {
		tri := m.Tris[t]
		w.Tris[i] = Tri{meet(tri[0]), meet(tri[1]), meet(tri[2])}
	}
	for v := range m.Verts {
		meet(int32(v))
	}
	w.Verts, w.Normals = pick(m.Verts, verts), pick(m.Normals, verts)
	w.Colours, w.Seen = pick(m.Colours, verts), pick(m.Seen, verts)
	return w, tris, verts
}

// middles returns the centroid of each triangle.
func (m *Mesh) middles(workers int) []Point {
	mid := make([]Point, len(m.Tris))
	Chunks(len(m.Tris), workers, func(lo, hi int) {
		for t := lo; t < hi; t++ {
			a, b, c := m.Corners(t)
			mid[t] = a.Add(b).Add(c).Mul(1.0 / 3).Point()
		}
	})
	return mid
}

// pick returns all[from[0]], all[from[1]], ... or nothing of nothing.
func pick[T any](all []T, from []int32) []T {
	if len(all) == 0 {
		return nil
	}
	out := make([]T, len(from))
	for i, f := range from {
		out[i] = all[f]
	}
	return out
}
