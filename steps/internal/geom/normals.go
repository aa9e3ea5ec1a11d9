package geom

// VertexNormals returns for each vertex the unit direction away from the
// surface there, or zero where no triangle with an area meets. Each triangle
// counts by the cross product of the two edges at the vertex over the product
// of their squared lengths, which is exact on a sphere and needs no angle: N.
// Max, "Weights for computing vertex normals from facet normals", Journal of
// Graphics Tools 4(2), 1999 (from memory).
func (m *Mesh) VertexNormals() []Point {
	sum := make([]Vec, len(m.Verts))
	for t, tri := range m.Tris {
		a, b, c := m.Corners(t)
		ab, bc, ca := b.Sub(a), c.Sub(b), a.Sub(c)
		n := ab.Cross(bc)
		la, lb, lc := ab.Len2(), bc.Len2(), ca.Len2()
		if la == 0 || lb == 0 || lc == 0 {
			continue
		}
		sum[tri[0]] = sum[tri[0]].Add(n.Mul(1 / float64(la*lc)))
		sum[tri[1]] = sum[tri[1]].Add(n.Mul(1 / float64(la*lb)))
		sum[tri[2]] = sum[tri[2]].Add(n.Mul(1 / float64(lb*lc)))
	}
	normals := make([]Point, len(sum))
	for i, s := range sum {
		normals[i] = s.Unit().Point()
	}
	return normals
}
