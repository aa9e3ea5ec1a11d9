package merge

import (
	"context"

	"layette/steps/internal/geom"
)

// kept returns the triangles of m for which keep holds, with the vertices they
// use, and which vertex of m each one was.
func kept(m *geom.Mesh, keep func(t int) bool) (*geom.Mesh, []int32) {
	to := make([]int32, len(m.Verts))
	for v := range to {
		to[v] = -1
	}
	var from []int32
	out := &geom.Mesh{}
	for t, tri := range m.Tris {
		if !keep(t) {
			continue
		}
		for k, v := range tri {
			if to[v] < 0 {
				to[v] = int32(len(from))
				from = append(from, v)
			}
			tri[k] = to[v]
		}
		out.Tris = append(out.Tris, tri)
	}
	for _, v := range from {
		out.Verts = append(out.Verts, m.Verts[v])
		if len(m.Seen) > 0 {
			out.Seen = append(out.Seen, m.Seen[v])
		}
	}
	return out, from
}

// withoutScraps returns m without connected pieces of less skin than least mm²,
// and how many there were. Of a surface in scraps only the largest is kept.
func withoutScraps(ctx context.Context, m *geom.Mesh, least float64, workers int) (*geom.Mesh, []int32, int, error) {
	e, err := m.Edges(ctx, workers)
	if err != nil {
		return nil, nil, 0, err
	}
	shell, n := m.Shells(e)
	area := make([]float64, n)
	for t, s := range shell {
		a, b, c := m.Corners(t)
		area[s] += b.Sub(a).Cross(c.Sub(a)).Len() / 2
	}
	largest, scraps := 0, 0
	for s, a := range area {
		if a > area[largest] {
			largest = s
		}
	}
	stays := func(s int32) bool { return area[s] >= least || int(s) == largest }
	for s := range area {
		if !stays(int32(s)) {
			scraps++
		}
	}
	out, from := kept(m, func(t int) bool { return stays(shell[t]) })
	return out, from, scraps, nil
}
