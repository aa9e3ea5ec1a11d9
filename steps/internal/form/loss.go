package form

import (
	"context"
	"math"

	"layette/steps/internal/geom"
)

// Loss says what a process leaves of relief: of a wave of length l, mm along the
// form, the share 2^-(At(l)/l)². Half is the wavelength of which half survives,
// mm. Where At is nil the process is a Gaussian filter, and At is Half at every
// length. At must be at least nought and change slowly: by less than its argument.
type Loss struct {
	Half float64
	At   func(length float64) float64
}

// Passed returns the share of a wave of the given length that Soften leaves in
// the form: what survives, with what is longer than Long cut-offs given back.
func (l Loss) Passed(length float64) float64 {
	survives := Transmission(l.Half, length)
	if l.At != nil {
		survives = Transmission(l.At(length), length)
	}
	return 1 - float64((1-survives)*(1-Transmission(Long*l.Half, length)))
}

// survives returns the share of waves that die at the given rate, 1/mm².
func (l Loss) survives(rate float64) float64 {
	half := l.Half
	if l.At != nil && rate > 0 {
		half = l.At(2 * math.Pi / math.Sqrt(rate))
	}
	return decay(float64(time(half) * rate))
}

// softPlaces returns places as the process leaves them; it shrinks round forms,
// which Soften makes good.
func (o *Operator) softPlaces(ctx context.Context, places []geom.Vec, loss Loss) ([]geom.Vec, error) {
	if loss.At == nil {
		return o.GaussPlaces(ctx, places, loss.Half)
	}
	return o.seriesPlaces(ctx, places, o.expanded(loss, loss.survives))
}

// expanded returns the coefficients of a function of the true rate that changes
// about as fast as the process does.
func (o *Operator) expanded(loss Loss, f func(rate float64) float64) []float64 {
	enough := 48 + int(4*math.Sqrt(20*float64(o.bound*time(loss.Half))))
	off := rest
	if loss.At != nil {
		off = restMeasured
	}
	return chebyshev(o.bound, enough, off, func(rate float64) float64 { return f(o.true(rate)) })
}
