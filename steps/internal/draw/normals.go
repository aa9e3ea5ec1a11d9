package draw

import (
	"context"

	"layette/steps/internal/geom"
)

// halves is how many sums of normals run side by side. It is fixed, so that
// the order of adding never depends on the number of workers.
const halves = 2

// normals returns a direction for each vertex, in the camera's frame: the sum
// of the normals of the triangles around it, each as long as its area, of
// length one or zero.
func normals(ctx context.Context, m *geom.Mesh, cam camera, workers int) ([]geom.Point, error) {
	var sums [halves][]geom.Point
	err := inParts(ctx, workers, halves, 1, func(k, _ int) {
		sums[k] = make([]geom.Point, len(m.Verts))
		addNormals(ctx, m, sums[k], k*len(m.Tris)/halves, (k+1)*len(m.Tris)/halves)
	})
	if err != nil {
		return nil, err
	}
	out := sums[0]
	err = inParts(ctx, workers, len(out), chunk, func(lo, hi int) {
		for i := lo; i < hi; i++ {
			out[i] = cam.turn(out[i].Vec().Add(sums[1][i].Vec())).Unit().Point()
		}
	})
	return out, err
}

// addNormals adds the normals of triangles lo to hi to their corners.
func addNormals(ctx context.Context, m *geom.Mesh, sum []geom.Point, lo, hi int) {
	for t := lo; t < hi; t++ {
		if t%chunk == 0 && ctx.Err() != nil {
			return
		}
		a, b, c := m.Corners(t)
		n := b.Sub(a).Cross(c.Sub(a))
		if !n.Finite() {
			continue
		}
		p := n.Point()
		for _, v := range m.Tris[t] {
			s := &sum[v]
			s[0], s[1], s[2] = s[0]+p[0], s[1]+p[1], s[2]+p[2]
		}
	}
}
