package form

import (
	"context"

	"layette/steps/internal/geom"
)

// Unfolded returns to, where a filter leaves vertices that were at from, but
// where the skin would fold over itself: a filter knows one skin at a time, and
// drives the walls of a narrow web through one another. There, and within a third
// of reach mm along edges, vertices stay; beyond they move by and by more. Where
// that folds the skin elsewhere, it is done again there with half as much more
// reach, so that few rounds do.
func (s *Skin) Unfolded(ctx context.Context, from, to []geom.Vec, reach float64) ([]geom.Vec, error) {
	at, stays := to, make([]bool, len(to))
	for ; ; reach *= 1.5 {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		folds := s.folds(from, at)
		if len(folds) == 0 {
			return at, nil
		}
		for _, t := range folds {
			for _, v := range s.Mesh.Tris[t] {
				stays[v] = true
			}
		}
		long := s.within(func(v int32) bool { return stays[v] }, reach)
		at = make([]geom.Vec, len(to))
		for v, p := range to {
			if at[v] = p; long[v] >= 0 {
				share := max(0, float64(1.5*long[v]/reach)-0.5)
				share = float64(float64(share*share) * (3 - 2*share))
				at[v] = from[v].Add(p.Sub(from[v]).Mul(share))
			}
		}
	}
}

// folds returns the triangles between two of which the skin turns back on itself
// in to and not in from. Slivers are left out: they turn at a touch.
func (s *Skin) folds(from, to []geom.Vec) []int32 {
	const sliver = 0.1 // twice the area over the longest side's square
	way := make([]geom.Vec, len(s.Mesh.Tris))
	geom.Chunks(len(way), s.workers, func(lo, hi int) {
		for t := lo; t < hi; t++ {
			way[t] = across(to, s.Mesh.Tris[t])
		}
	})
	plain := func(t int32) bool {
		tri := s.Mesh.Tris[t]
		a, b, c := from[tri[0]], from[tri[1]], from[tri[2]]
		return across(from, tri).Len() > float64(sliver*max(b.Sub(a).Len2(), c.Sub(b).Len2(), a.Sub(c).Len2()))
	}
	fold := make([]bool, len(way))
	geom.Chunks(len(way), s.workers, func(lo, hi int) {
		for t := int32(lo); t < int32(hi); t++ {
			for e := 3 * t; e < 3*t+3; e++ {
				mate := s.edges.Across[e] / 3
				if s.edges.Across[e] < 0 || way[t].Dot(way[mate]) >= 0 {
					continue
				}
				if across(from, s.Mesh.Tris[t]).Dot(across(from, s.Mesh.Tris[mate])) >= 0 && plain(t) && plain(mate) {
					fold[t] = true
				}
			}
		}
	})
	var found []int32
	for t, yes := range fold {
		if yes {
			found = append(found, int32(t))
		}
	}
	return found
}

// across returns the direction away from a triangle, as long as twice its area.
func across(places []geom.Vec, tri geom.Tri) geom.Vec {
	a, b, c := places[tri[0]], places[tri[1]], places[tri[2]]
	return b.Sub(a).Cross(c.Sub(a))
}
