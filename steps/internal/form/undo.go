package form

import (
	"context"
	"math"
)

// Passed returns the share of a wave of the given length that Split leaves in
// the form: Transmission, with what is longer than Long cut-offs given back.
func Passed(cutoff, length float64) float64 { return Loss{Half: cutoff}.Passed(length) }

// Gain returns how many times as deep Undo with a greatest gain makes a wave, by
// the share that Soften passes of it.
func Gain(greatest float64) func(passed float64) float64 {
	mu := damping(greatest)
	return func(passed float64) float64 { return 1 + float64((1-passed)*undone(passed, mu)) }
}

// Undo returns by how much, one number a vertex, the skin must be moved for
// Soften to give back a relief that it took away: each wave is divided by the
// share that Soften passes of it, and damped the more the less that is, by twice
// iterated regularisation (A. N. Tikhonov, 1963; J. D. Riley, 1955; from memory).
// No wave becomes more than gain times as deep; what is far finer than the
// process can hold stays as it is. A plain cut at that gain would leave less
// undone of waves just coarser than where it cuts, and ripples beside every
// sharp line.
func (o *Operator) Undo(ctx context.Context, relief []float64, loss Loss, gain float64) ([]float64, error) {
	mu := damping(gain)
	return o.byPassed(ctx, relief, loss, func(passed float64) float64 { return undone(passed, mu) })
}

// Kept returns what Soften leaves of heights, one number a vertex, mm.
func (o *Operator) Kept(ctx context.Context, heights []float64, loss Loss) ([]float64, error) {
	return o.byPassed(ctx, heights, loss, func(passed float64) float64 { return passed })
}

// byPassed multiplies each wave by a function of the share that Soften passes.
func (o *Operator) byPassed(ctx context.Context, x []float64, loss Loss, f func(float64) float64) ([]float64, error) {
	long := time(float64(Long * loss.Half))
	return o.series(ctx, x, o.expanded(loss, func(rate float64) float64 {
		return f(1 - float64((1-loss.survives(rate))*(1-decay(float64(long*rate)))))
	}))
}

// undone returns by what to multiply what was taken of a wave of which a share
// passed is left, damped by mu.
func undone(passed, mu float64) float64 {
	squared := float64(passed * passed)
	rest := mu / (squared + mu)
	// (1 - rest²) / passed, also where nothing passes
	return float64(passed*(1+rest)) / (squared + mu)
}

// damping returns the least mu with which no wave becomes more than gain times
// as deep, to a millionth; 1e9, which lets everything be, for a gain of 1.
func damping(gain float64) float64 {
	lo, hi := 1e-9, 1e9
	for hi/lo > 1+1e-6 {
		mu := math.Sqrt(float64(lo * hi))
		if most(mu) > gain-1 {
			lo = mu
		} else {
			hi = mu
		}
	}
	return hi
}

// most returns the greatest of (1 - passed) undone over the shares 1/512 apart.
func most(mu float64) float64 {
	top := 0.0
	for i := range 512 {
		passed := float64(i) / 512
		top = max(top, float64((1-passed)*undone(passed, mu)))
	}
	return top
}
