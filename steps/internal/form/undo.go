package form

import (
	"context"
	"math"
)

// Passed returns the share of a wave of the given length that Split leaves in
// the form: Transmission, with what is longer than Long cut-offs given back.
func Passed(cutoff, length float64) float64 {
	return 1 - float64((1-Transmission(cutoff, length))*(1-Transmission(Long*cutoff, length)))
}

// Undo returns by how much, one number a vertex, the skin must be moved for
// Split to give back a relief that it took away: each wave is divided by the
// share that Split passes of it. A wave that would have to become more than
// gain times as deep is deepened less the finer it is, down to not at all, so
// that what is finer than the process can hold stays as it is.
func (o *Operator) Undo(ctx context.Context, relief []float64, cutoff, gain float64) ([]float64, error) {
	return o.byPassed(ctx, relief, cutoff, func(passed float64) float64 { return undone(passed, gain) })
}

// Short returns what Undo leaves undone because of gain, mm a vertex: zero but
// for rounding where no wave is too fine.
func (o *Operator) Short(ctx context.Context, relief []float64, cutoff, gain float64) ([]float64, error) {
	return o.byPassed(ctx, relief, cutoff, func(passed float64) float64 { return 1 - float64(passed*undone(passed, gain)) })
}

// byPassed multiplies each wave by a function of the share that Split passes.
func (o *Operator) byPassed(ctx context.Context, x []float64, cutoff float64, f func(float64) float64) ([]float64, error) {
	t := time(cutoff)
	c := chebyshev(o.bound, 48+int(4*math.Sqrt(20*float64(o.bound*t))), func(rate float64) float64 {
		r := float64(t * o.true(rate))
		return f(1 - float64((1-decay(r))*(1-decay(float64(Long*Long*r)))))
	})
	return o.series(ctx, x, c)
}

// undone returns by what to multiply what was taken of a wave of which a share
// passed is left.
func undone(passed, gain float64) float64 {
	if u := float64(passed * gain); u < 1 {
		return float64(gain * float64(float64(u*u)*(3-2*u)))
	}
	return 1 / passed
}
