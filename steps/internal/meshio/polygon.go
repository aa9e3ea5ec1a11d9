package meshio

import "layette/steps/internal/geom"

// polygon cuts a face of three or more corners into triangles.
func (r *raw) polygon(c []int32) {
	switch len(c) {
	case 3:
		r.tris = append(r.tris, geom.Tri{c[0], c[1], c[2]})
	case 4:
		r.quad(c)
	default:
		corners := make([]geom.Vec, len(c))
		for i, v := range c {
			corners[i] = r.pos[v]
		}
		for _, t := range geom.Polygon(corners) {
			r.tris = append(r.tris, geom.Tri{c[t[0]], c[t[1]], c[t[2]]})
		}
	}
}

// quad cuts along the diagonal whose two triangles turn most nearly the same
// way, so that a dented quad is cut through its dent; of two as good, along
// the one from the first corner.
func (r *raw) quad(c []int32) {
	a, b, cc, d := r.pos[c[0]], r.pos[c[1]], r.pos[c[2]], r.pos[c[3]]
	if agree(b, cc, d, a) > agree(a, b, cc, d) {
		c = []int32{c[1], c[2], c[3], c[0]}
	}
	r.tris = append(r.tris, geom.Tri{c[0], c[1], c[2]}, geom.Tri{c[0], c[2], c[3]})
}

// agree returns the cosine between the triangles a b c and a c d.
func agree(a, b, c, d geom.Vec) float64 {
	ac := c.Sub(a)
	return b.Sub(a).Cross(ac).Unit().Dot(ac.Cross(d.Sub(a)).Unit())
}
