package form

import (
	"context"

	"layette/steps/internal/geom"
)

// Sharp and repeated as this, the filter leaves what the triangles can tell alone:
// common practice, no source.
const (
	facetsOrder = 4
	facetsTimes = 4
)

// WithoutFacets returns x, one number a vertex, without what the triangles about
// each vertex are too coarse to tell: waves of two triangles keep a fifth, of
// three two thirds, of four 0.96 and longer ones all. What departs from the mean
// of the neighbours, and that from the mean of its neighbours, and so on, is taken
// off (after G. Taubin, A signal processing approach to fair surface design, 1995;
// from memory).
func (s *Skin) WithoutFacets(ctx context.Context, x []float64) ([]float64, error) {
	x = append([]float64(nil), x...)
	off, next := make([]float64, len(x)), make([]float64, len(x))
	for range facetsTimes {
		copy(off, x)
		for range facetsOrder {
			if ctx.Err() != nil {
				return nil, context.Cause(ctx)
			}
			geom.Chunks(len(x), s.workers, func(lo, hi int) {
				for v := lo; v < hi; v++ {
					next[v] = (off[v] - s.about(off, v)) / 2
				}
			})
			off, next = next, off
		}
		for v, d := range off {
			x[v] -= d
		}
	}
	return x, nil
}

// about returns the mean of x over the corners of the triangles about v but v
// itself; x at v where there are none.
func (s *Skin) about(x []float64, v int) float64 {
	fan := s.fan.of(v)
	if len(fan) == 0 {
		return x[v]
	}
	sum := 0.0
	for _, c := range fan {
		t, k := s.Mesh.Tris[c/3], c%3
		sum += x[t[(k+1)%3]] + x[t[(k+2)%3]]
	}
	return sum / float64(2*len(fan))
}
