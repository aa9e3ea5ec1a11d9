package geom

import (
	"context"
	"slices"
	"sync"
)

// Edges tells which triangles lie across each edge of a surface. The corner
// edges are numbered 3*t+k: edge k of triangle t runs from its corner k to its
// corner k+1. It takes 12 bytes for each triangle.
type Edges struct {
	// Across holds for each of the 3#F corner edges the one corner edge on the
	// other side; Rim where there is none; and -2-g where three or more
	// triangles meet, or a triangle meets itself: those are Fans[g].
	Across []int32
	// Fans holds the corner edges that share an edge which is not between
	// exactly two triangles, each fan and the fans among each other in rising
	// order.
	Fans [][]int32
}

// Rim marks a corner edge with no triangle across.
const Rim = -1

// Ends returns the two vertices of corner edge e, in the order in which its
// triangle turns.
func (m *Mesh) Ends(e int32) (from, to int32) {
	t, k := e/3, e%3
	next := k + 1
	if k == 2 {
		next = 0
	}
	return m.Tris[t][k], m.Tris[t][next]
}

// Turned reports whether the triangles on both sides of corner edge e run
// along it the same way, which means that one of them is turned over.
func (m *Mesh) Turned(edges *Edges, e int32) bool {
	mate := edges.Across[e]
	return mate >= 0 && m.Tris[e/3][e%3] == m.Tris[mate/3][mate%3]
}

// Edges finds what lies across each edge, whichever way the triangles turn. It
// asks nothing of the surface. An edge from a vertex to itself has nothing
// across.
//
// Corner edges are sorted into one bucket for each vertex, the smaller of
// their two, and matched within; each worker takes a range of vertices. Two
// million triangles take about 0.1 s over two workers and 26 bytes each while
// it lasts.
func (m *Mesh) Edges(ctx context.Context, workers int) (*Edges, error) {
	workers = max(1, min(workers, 16))
	e := &Edges{Across: make([]int32, 3*len(m.Tris))}
	fans := make([][][]int32, workers)
	var wg sync.WaitGroup
	for w := range workers {
		lo, hi := len(m.Verts)*w/workers, len(m.Verts)*(w+1)/workers
		wg.Go(func() { fans[w] = m.matchEdges(ctx, e.Across, int32(lo), int32(hi)) })
	}
	wg.Wait()
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	for _, some := range fans {
		e.Fans = append(e.Fans, some...)
	}
	slices.SortFunc(e.Fans, func(a, b []int32) int { return int(a[0]) - int(b[0]) })
	for g, fan := range e.Fans {
		for _, c := range fan {
			e.Across[c] = int32(-2 - g)
		}
	}
	return e, nil
}

// matchEdges matches the corner edges whose smaller vertex is in lo <= v < hi
// and returns those that are not two.
func (m *Mesh) matchEdges(ctx context.Context, across []int32, lo, hi int32) [][]int32 {
	ends := make([]int32, hi-lo+1) // where each vertex's bucket ends
	each := func(do func(v, c int32)) {
		for t, tri := range m.Tris {
			if t&0xffff == 0 && ctx.Err() != nil {
				return
			}
			for k, c := range [3][2]int32{{tri[0], tri[1]}, {tri[1], tri[2]}, {tri[2], tri[0]}} {
				if v := min(c[0], c[1]); v >= lo && v < hi {
					do(v-lo, int32(3*t+k))
				}
			}
		}
	}
	each(func(v, _ int32) { ends[v+1]++ })
	for v := range hi - lo {
		ends[v+1] += ends[v]
	}
	bucket := make([]int32, ends[hi-lo])
	each(func(v, c int32) { bucket[ends[v]] = c; ends[v]++ })
	var fans [][]int32
	start := int32(0)
	for v := range hi - lo {
		fans = m.matchBucket(bucket[start:ends[v]], across, fans)
		start = ends[v]
	}
	return fans
}

// matchBucket matches corner edges that share their smaller vertex, given in
// rising order.
func (m *Mesh) matchBucket(corner, across []int32, fans [][]int32) [][]int32 {
	other := func(c int32) int32 { a, b := m.Ends(c); return max(a, b) }
	if len(corner) > 32 {
		slices.SortStableFunc(corner, func(a, b int32) int { return int(other(a)) - int(other(b)) })
	} else {
		for i := 1; i < len(corner); i++ {
			c, k := corner[i], i
			for o := other(c); k > 0 && other(corner[k-1]) > o; k-- {
				corner[k] = corner[k-1]
			}
			corner[k] = c
		}
	}
	for i := 0; i < len(corner); {
		o, k := other(corner[i]), i+1
		for k < len(corner) && other(corner[k]) == o {
			k++
		}
		a, b := m.Ends(corner[i])
		switch run := corner[i:k]; {
		case a == b || len(run) == 1:
			for _, c := range run {
				across[c] = Rim
			}
		case len(run) == 2 && run[0]/3 != run[1]/3:
			across[run[0]], across[run[1]] = run[1], run[0]
		default:
			fans = append(fans, slices.Clone(run))
		}
		i = k
	}
	return fans
}

// Closed reports whether every edge lies between exactly two triangles that
// turn the same way: then the surface bounds a solid, or several.
func (m *Mesh) Closed(e *Edges) bool {
	for c, mate := range e.Across {
		if mate < 0 || m.Turned(e, int32(c)) {
			return false
		}
	}
	return true
}
