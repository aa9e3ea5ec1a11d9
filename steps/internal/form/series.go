package form

import (
	"context"
	"math"

	"layette/steps/internal/geom"
)

// What is left off a series, of its whole. A measured curve has bends, of which a
// series tells the last digits slowly.
const (
	rest         = 1e-7
	restMeasured = 5e-4
)

// chebyshev returns the coefficients of f over 0..bound, f(bound (1 + y) / 2) =
// sum c[k] T_k(y), by a sum over enough of Chebyshev's nodes. f must be smooth
// on the scale of bound/enough². Terms are left off the end up to rest.
func chebyshev(bound float64, enough int, rest float64, f func(float64) float64) []float64 {
	n := 64
	for n < 2*enough {
		n *= 2
	}
	cos := cosines(n)
	at := make([]float64, n)
	for j := range at {
		at[j] = f(float64(bound*(1+cos[2*j+1])) / 2)
	}
	c := make([]float64, enough)
	for k := range c {
		s := 0.0
		for j, v := range at {
			i := k * (2*j + 1) % (4 * n)
			if i > 2*n {
				i = 4*n - i
			}
			s += float64(v * cos[i])
		}
		c[k] = 2 * s / float64(n)
	}
	c[0] /= 2
	left := 0.0
	for len(c) > 2 {
		if left += math.Abs(c[len(c)-1]); left > rest {
			break
		}
		c = c[:len(c)-1]
	}
	return c
}

// cosines returns cos(i pi / 2n) for i = 0..2n, n a power of two, from square
// roots alone: the same bits on every processor.
func cosines(n int) []float64 {
	cos := []float64{1, 0, -1} // i pi/2
	for len(cos) < 2*n+1 {
		half := math.Sqrt((1 + cos[1]) / 2) // cosine of half the first angle
		finer := make([]float64, 2*len(cos)-1)
		for i, c := range cos {
			finer[2*i] = c
			if i > 0 {
				finer[2*i-1] = (c + cos[i-1]) / (2 * half)
			}
		}
		cos = finer
	}
	return cos
}

// heat returns the coefficients of heat flow for the time t, mm². Linear
// triangles with lumped areas take a wave for a longer one: on even triangles
// of edge h the rate k² comes out as k² - h² k⁴/16. The filter allows for that
// at the skin's mean area of a triangle, so that a skin of half as many
// triangles is filtered alike.
func (o *Operator) heat(t float64) []float64 {
	x := float64(o.bound*t) / 2
	return chebyshev(o.bound, 24+int(math.Sqrt(40*x)), rest, func(rate float64) float64 { return decay(float64(t * o.true(rate))) })
}

// true returns the rate of a wave whose rate on the triangles is given.
func (o *Operator) true(rate float64) float64 { return rate + float64(o.even*float64(rate*rate)) }

// Gauss returns x, one number a vertex, without what is shorter than the
// cut-off.
func (o *Operator) Gauss(ctx context.Context, x []float64, cutoff float64) ([]float64, error) {
	return o.flow(ctx, x, cutoff, time(cutoff))
}

// GaussPlaces is Gauss for the three coordinates of places.
func (o *Operator) GaussPlaces(ctx context.Context, x []geom.Vec, cutoff float64) ([]geom.Vec, error) {
	return o.flowPlaces(ctx, x, cutoff, time(cutoff))
}

// flow lets heat flow in x for the time t, mm²: what is left to do for cutoff.
func (o *Operator) flow(ctx context.Context, x []float64, cutoff, t float64) ([]float64, error) {
	c, err := o.coarser(ctx, cutoff)
	if err != nil {
		return nil, err
	}
	if c != nil {
		return c.flow(ctx, o, x, cutoff, t)
	}
	return o.series(ctx, x, o.heat(t))
}

// flowPlaces is flow for three numbers a vertex.
func (o *Operator) flowPlaces(ctx context.Context, x []geom.Vec, cutoff, t float64) ([]geom.Vec, error) {
	c, err := o.coarser(ctx, cutoff)
	if err != nil {
		return nil, err
	}
	if c != nil {
		return c.flowPlaces(ctx, o, x, cutoff, t)
	}
	return o.seriesPlaces(ctx, x, o.heat(t))
}

// series returns the sum of c[k] T_k(2 A/bound - 1) x.
func (o *Operator) series(ctx context.Context, x, c []float64) ([]float64, error) {
	sum := make([]float64, len(x))
	if o.bound == 0 {
		copy(sum, x)
		return sum, nil
	}
	now, was := append([]float64(nil), x...), make([]float64, len(x))
	scale := 2 / o.bound
	geom.Chunks(len(x), o.workers, func(lo, hi int) {
		for i := lo; i < hi; i++ {
			was[i] = float64(scale*o.at(now, i)) - x[i]
			sum[i] = float64(c[0]*x[i]) + float64(c[1]*was[i])
		}
	})
	now, was = was, now
	for _, ck := range c[2:] {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		geom.Chunks(len(x), o.workers, func(lo, hi int) {
			for i := lo; i < hi; i++ {
				next := 2*(float64(scale*o.at(now, i))-now[i]) - was[i]
				was[i] = next
				sum[i] += float64(ck * next)
			}
		})
		now, was = was, now
	}
	return sum, nil
}

// at returns row i of the operator on x.
func (o *Operator) at(x []float64, i int) float64 {
	s, here := 0.0, x[i]
	lo, hi := o.joined.first[i], o.joined.first[i+1]
	rate := o.rate[lo:hi]
	for k, j := range o.joined.list[lo:hi] {
		s += float64(float64(rate[k]) * (here - x[j]))
	}
	return s
}

// seriesPlaces is series for three numbers a vertex.
func (o *Operator) seriesPlaces(ctx context.Context, x []geom.Vec, c []float64) ([]geom.Vec, error) {
	sum := make([]geom.Vec, len(x))
	if o.bound == 0 {
		copy(sum, x)
		return sum, nil
	}
	now, was := append([]geom.Vec(nil), x...), make([]geom.Vec, len(x))
	scale := 2 / o.bound
	geom.Chunks(len(x), o.workers, func(lo, hi int) {
		for i := lo; i < hi; i++ {
			was[i] = o.placeAt(now, i).Mul(scale).Sub(x[i])
			sum[i] = x[i].Mul(c[0]).Add(was[i].Mul(c[1]))
		}
	})
	now, was = was, now
	for _, ck := range c[2:] {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		geom.Chunks(len(x), o.workers, func(lo, hi int) {
			for i := lo; i < hi; i++ {
				next := o.placeAt(now, i).Mul(scale).Sub(now[i]).Mul(2).Sub(was[i])
				was[i] = next
				sum[i] = sum[i].Add(next.Mul(ck))
			}
		})
		now, was = was, now
	}
	return sum, nil
}

func (o *Operator) placeAt(x []geom.Vec, i int) geom.Vec {
	var sx, sy, sz float64
	here := x[i]
	lo, hi := o.joined.first[i], o.joined.first[i+1]
	rate := o.rate[lo:hi]
	for k, j := range o.joined.list[lo:hi] {
		r, p := float64(rate[k]), &x[j]
		sx += float64(r * (here.X - p.X))
		sy += float64(r * (here.Y - p.Y))
		sz += float64(r * (here.Z - p.Z))
	}
	return geom.Vec{X: sx, Y: sy, Z: sz}
}
