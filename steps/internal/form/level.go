package form

import (
	"context"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// rounds of filling the lines, each going half as far again as the filling
// says: the dip under a line a third of the cut-off wide falls to 0.46 at each.
const (
	rounds = 8
	eager  = 1.5
)

// Depth returns for each vertex how deep it lies below the skin beside the
// lines, mm. The form of a split dips below a line, so that relief alone
// understates its depth, by a third for a line a sixth of the cut-off wide.
// Here lines are filled up to the form, the form is taken again of what is
// filled, and so on, until it runs straight across them. What counts as a line
// is deeper than fine mm, or than three times the usual relief, so that noise
// is not filled. Valleys keep out of a form alike in the robust Gaussian
// regression of ISO 16610-31 (from memory), from which the gate on medians is
// taken.
func (s *Skin) Depth(ctx context.Context, p *Split, fine float64) ([]float64, error) {
	gate := max(fine, 4.4*median(p.Relief))
	depth := make([]float64, len(p.Relief))
	for i, r := range p.Relief {
		depth[i] = -r
	}
	fill, level := make([]float64, len(depth)), make([]float64, len(depth))
	for range rounds {
		geom.Chunks(len(fill), s.workers, func(lo, hi int) {
			for i := lo; i < hi; i++ {
				fill[i] = 0
				if u := min(2*depth[i]/gate-1, 1); u > 0 { // from half the gate on
					fill[i] = float64(depth[i] * float64(float64(u*u)*(3-2*u)))
				}
			}
		})
		filled, err := p.metric.Gauss(ctx, fill, p.Cutoff)
		if err != nil {
			return nil, err
		}
		geom.Chunks(len(level), s.workers, func(lo, hi int) {
			for i := lo; i < hi; i++ {
				level[i] += float64(eager * (filled[i] - level[i]))
				depth[i] = level[i] - p.Relief[i]
			}
		})
	}
	return depth, nil
}

// median returns the median of the sizes of x.
func median(x []float64) float64 {
	size := make([]float64, 0, len(x)/16+1)
	for i := 0; i < len(x); i += 1 + len(x)/200000 {
		size = append(size, math.Abs(x[i]))
	}
	slices.Sort(size)
	if len(size) == 0 {
		return 0
	}
	return size[len(size)/2]
}
