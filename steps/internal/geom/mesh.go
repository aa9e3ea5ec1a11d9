package geom

import "slices"

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
//
// Two million triangles take some 15 ms: the box of all vertices is the answer
// if triangles use the six that span it, which nearly always is so.
func (m *Mesh) Bounds() Box {
	all := EmptyBox()
	for i := range m.Verts {
		all = all.Include(m.Verts[i].Vec())
	}
	if len(m.Tris) == 0 || m.spanned(all) {
		return all
	}
	b := EmptyBox()
	for _, t := range m.Tris {
		for _, i := range t {
			b = b.Include(m.Verts[i].Vec())
		}
	}
	return b
}

// spanned reports whether vertices that triangles use touch all six sides of b.
func (m *Mesh) spanned(b Box) bool {
	lo, hi := b.Min.Point(), b.Max.Point()
	span := make([]int32, 0, 6)
	for k := range 3 {
		for _, side := range [2]float32{lo[k], hi[k]} {
			v := slices.IndexFunc(m.Verts, func(p Point) bool { return p[k] == side })
			if v < 0 {
				return false // what is no number spans nothing
			}
			if !slices.Contains(span, int32(v)) {
				span = append(span, int32(v))
			}
		}
	}
	for _, t := range m.Tris {
		for k := 0; k < len(span); k++ {
			if v := span[k]; t[0] == v || t[1] == v || t[2] == v {
				span = slices.Delete(span, k, k+1)
				k--
			}
		}
		if len(span) == 0 {
			return true
		}
	}
	return false
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
