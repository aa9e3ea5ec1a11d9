package calibrate

import (
	"context"

	"layette/steps/internal/geom"
)

// A master finer than need be is compared on some of its own vertices, at least
// apart mm from one another along the skin: facets of fineEdge mm soften a wave of
// 1 mm by less than is allowed for exactly, see softening. Chosen by us.
const (
	fineEdge  = 0.16               // mm: mean edge of a master that is thinned
	apart     = 0.15               // mm: makes edges of about 0.2 mm
	evenEdge2 = 2.3094010767585034 // squared edge of an even triangle over its area: 4/sqrt(3)
)

// thinned is a surface on some of its own vertices; of tells which of them lies
// nearest to each vertex, along the skin.
type thinned struct {
	mesh *geom.Mesh
	of   []int32
}

// thin parts the skin among the vertices that are kept by which is nearest along
// its edges, and joins those whose parts meet at a triangle. A surface that is
// coarse enough stays as it is, of is nil. Two million triangles take two seconds.
func thin(ctx context.Context, m *geom.Mesh, workers int) (*thinned, error) {
	even := m.Area() / float64(max(1, len(m.Tris))) * evenEdge2
	if !(even < fineEdge*fineEdge) {
		return &thinned{mesh: m}, nil
	}
	full, _, verts := m.Ordered(workers)
	seeds, of, err := part(ctx, full, apart)
	if err != nil {
		return nil, err
	}
	t := &thinned{mesh: &geom.Mesh{Origin: m.Origin}, of: make([]int32, len(of))}
	for _, v := range seeds {
		t.mesh.Verts = append(t.mesh.Verts, full.Verts[v])
	}
	for i, v := range verts {
		t.of[v] = of[i]
	}
	seen := make(map[geom.Tri]bool, 3*len(seeds))
	for _, tri := range full.Tris {
		a, b, c := of[tri[0]], of[tri[1]], of[tri[2]]
		if a == b || b == c || c == a {
			continue
		}
		for a > b || a > c { // begin with the least, so that equals are equal
			a, b, c = b, c, a
		}
		if k := (geom.Tri{a, b, c}); !seen[k] {
			seen[k] = true
			t.mesh.Tris = append(t.mesh.Tris, k)
		}
	}
	return t, context.Cause(ctx)
}

// carry brings one number a vertex of the thinned surface to the full one.
func (t *thinned) carry(x []float32) []float32 {
	if t.of == nil {
		return x
	}
	full := make([]float32, len(t.of))
	for v, k := range t.of {
		full[v] = x[k]
	}
	return full
}

// part returns vertices that lie size mm apart at least and, for each vertex, which
// of those is nearest along edges.
func part(ctx context.Context, m *geom.Mesh, size float64) (seeds, of []int32, err error) {
	corners, first := fan(m)
	long := make([]float64, len(m.Verts))
	of = make([]int32, len(m.Verts))
	for v := range of {
		of[v], long[v] = -1, 2*size
	}
	var queue []geom.Near
	for v := range m.Verts {
		if v%1024 == 0 && ctx.Err() != nil {
			return nil, nil, context.Cause(ctx)
		}
		if of[v] >= 0 && long[v] <= size {
			continue
		}
		n := int32(len(seeds))
		seeds = append(seeds, int32(v))
		long[v], of[v] = 0, n
		queue = append(queue[:0], geom.Near{ID: int32(v)})
		for len(queue) > 0 {
			q := geom.PopNear(&queue)
			if q.Dist2 > long[q.ID] || of[q.ID] != n {
				continue
			}
			at := m.Verts[q.ID].Vec()
			for _, t := range corners[first[q.ID]:first[q.ID+1]] {
				for _, u := range m.Tris[t] {
					if d := q.Dist2 + m.Verts[u].Vec().Sub(at).Len(); d < long[u] {
						long[u], of[u] = d, n
						geom.PushNear(&queue, geom.Near{ID: u, Dist2: d})
					}
				}
			}
		}
	}
	return seeds, of, nil
}

// fan lists the triangles round each vertex v: list[first[v]:first[v+1]].
func fan(m *geom.Mesh) (list, first []int32) {
	first = make([]int32, len(m.Verts)+1)
	for _, tri := range m.Tris {
		for _, v := range tri {
			first[v+1]++
		}
	}
	for v := range m.Verts {
		first[v+1] += first[v]
	}
	at := append([]int32(nil), first...)
	list = make([]int32, 3*len(m.Tris))
	for t, tri := range m.Tris {
		for _, v := range tri {
			list[at[v]] = int32(t)
			at[v]++
		}
	}
	return list, first
}
