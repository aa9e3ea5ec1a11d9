package geom

// Tri is a triangle: three indices into Mesh.Verts, counter-clockwise seen
// from outside.
type Tri [3]int32

// Mesh is an indexed triangle surface. It is not changed once built: every
// function that alters a surface returns a new one.
//
//	Verts    #V points, mm, about Origin
//	Tris     #F triangles; 0 <= index < #V
//	Normals  none, or #V unit directions as read from a file
//	Colours  none, or #V colours (red, green, blue, alpha; 255 is full)
//	Seen     none, or #V counts of scans that saw the vertex; 0 marks skin that was invented
//
// Two million triangles with one million vertices take 36 MB.
type Mesh struct {
	Verts   []Point
	Tris    []Tri
	Normals []Point
	Colours [][4]uint8
	Seen    []uint16
	// Origin is what was taken off every coordinate when the surface was read,
	// so that points far from zero keep their float32 resolution (7.8 µm at
	// 100 m). Zero for surfaces near the origin. Writers add it back.
	Origin Vec
}

// Corners returns the three corners of triangle t.
func (m *Mesh) Corners(t int) (a, b, c Vec) {
	tri := m.Tris[t]
	return m.Verts[tri[0]].Vec(), m.Verts[tri[1]].Vec(), m.Verts[tri[2]].Vec()
}

// Bounds returns the box of the vertices that triangles use, or of all
// vertices if there are no triangles.
func (m *Mesh) Bounds() Box {
	b := EmptyBox()
	if len(m.Tris) == 0 {
		for _, p := range m.Verts {
			b = b.Include(p.Vec())
		}
		return b
	}
	for _, t := range m.Tris {
		for _, i := range t {
			b = b.Include(m.Verts[i].Vec())
		}
	}
	return b
}

// Volume returns the signed volume in mm³: positive if the faces of a closed m
// turn counter-clockwise seen from outside. For an open m it means nothing.
//
// It sums signed tetrahedra from the centre of the bounds to each triangle:
// C. Zhang and T. Chen, "Efficient feature extraction for 2D/3D objects in mesh
// representation", ICIP 2001 (from memory). The sum runs in triangle order with
// Neumaier's compensation, so its rounding is that of the products alone.
func (m *Mesh) Volume() float64 {
	o := m.Bounds().Centre()
	var s Sum
	for t := range m.Tris {
		a, b, c := m.Corners(t)
		s.Add(a.Sub(o).Dot(b.Sub(o).Cross(c.Sub(o))))
	}
	return s.Total() / 6
}

// Area returns the area of all triangles, mm².
func (m *Mesh) Area() float64 {
	var s Sum
	for t := range m.Tris {
		a, b, c := m.Corners(t)
		s.Add(b.Sub(a).Cross(c.Sub(a)).Len())
	}
	return s.Total() / 2
}
