package form

import (
	"context"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// Filling the lines: some rounds that find where they are, then rounds that fill
// all of what is found, by Chebyshev's semi-iteration for a share of least and
// more of the dip in each (G. H. Golub and R. S. Varga, "Chebyshev semi-iterative
// methods", Numerische Mathematik 1961; from memory). Gaussian lines of up to a
// fifth of the cut-off wide come to within 0.01 of their depth, one of a third to
// 0.95. More rounds, or more skin beside a line, would bring that nearer, and
// take hollows of the form about shallow lines for part of them.
const (
	rounds = 10
	eager  = 1.5
	least  = 0.04
	tail   = 0.1 // cut-offs beside a line that belong to it
	core   = 1.4 // gates: what is deeper, and tail beside it, is a line
	looked = 2   // the round before which that is looked at
)

// Depth returns for each vertex how deep it lies below the skin beside the
// lines, mm. The form of a split dips below a line, so that relief alone
// understates its depth, by a third for a line a sixth of the cut-off wide.
// Here lines are filled up to the form, the form is taken again of what is
// filled, and so on, until it runs straight across them. What counts as a line
// is deeper than fine mm, or than three times the usual relief, so that noise
// is not filled, and what lies beside that. Valleys keep out of a form alike in
// the robust Gaussian regression of ISO 16610-31 (from memory), from which the
// gate on medians is taken.
func (s *Skin) Depth(ctx context.Context, p *Split, fine float64) ([]float64, error) {
	n := len(p.Relief)
	f := filling{gate: max(fine, 4.4*median(p.Relief)), depth: make([]float64, n), fill: make([]float64, n), level: make([]float64, n), was: make([]float64, n)}
	for i, r := range p.Relief {
		f.depth[i] = -r
	}
	for round := range rounds {
		if round == looked {
			f.line = s.within(func(v int32) bool { return f.depth[v] > float64(core*f.gate) }, float64(tail*p.Cutoff))
		}
		geom.Chunks(n, s.workers, f.fillUp)
		filled, err := p.metric.Gauss(ctx, f.fill, p.Cutoff)
		if err != nil {
			return nil, err
		}
		ahead, keep := f.next()
		geom.Chunks(n, s.workers, func(lo, hi int) {
			for i := lo; i < hi; i++ {
				next := f.level[i] + float64(ahead*(filled[i]-f.level[i])) + float64(keep*(f.level[i]-f.was[i]))
				f.was[i], f.level[i] = f.level[i], next
				f.depth[i] = next - p.Relief[i]
			}
		})
	}
	return f.depth, nil
}

// filling is what is known while lines are filled.
type filling struct {
	gate                    float64
	line                    []float64 // negative where there is none; nil before it is looked at
	depth, fill, level, was []float64
	since                   int // rounds since then
	omega                   float64
}

// fillUp sets fill: before lines are looked at, from half the gate on.
func (f *filling) fillUp(lo, hi int) {
	for i := lo; i < hi; i++ {
		f.fill[i] = 0
		switch {
		case f.line != nil && f.line[i] >= 0:
			f.fill[i] = f.depth[i]
		case f.line == nil:
			if u := min(2*f.depth[i]/f.gate-1, 1); u > 0 {
				f.fill[i] = float64(f.depth[i] * float64(float64(u*u)*(3-2*u)))
			}
		}
	}
}

// next returns how far the next round goes toward what is filled, and on from
// the last.
func (f *filling) next() (ahead, keep float64) {
	if f.line == nil {
		return eager, 0
	}
	const q = (1 - least) / (1 + least)
	switch f.since {
	case 0:
		f.omega = 1
	case 1:
		f.omega = 1 / (1 - q*q/2)
	default:
		f.omega = 1 / (1 - float64(float64(f.omega*(q*q))/4))
	}
	f.since++
	return f.omega * (2 / (1 + least)), f.omega - 1
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
