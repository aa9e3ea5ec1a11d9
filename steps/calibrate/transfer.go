package calibrate

import (
	"context"
	"math"

	"layette/steps/internal/form"
	"layette/steps/internal/geom"
)

// Cut-offs that the master's relief is told apart with: 0.5 mm and on by roots
// of two to 8 mm. Shares are reported at those from 1 to 5.7 mm.
const (
	steps     = 9
	firstBand = 2
	bands     = 6
	trend     = 16.0 // mm: what is longer than this in the difference is misfit of form, not relief
)

func cutoffAt(k int) float64 {
	c := 0.5
	for range k / 2 {
		c *= 2
	}
	if k%2 == 1 {
		c *= math.Sqrt2
	}
	return c
}

// relieved is the master with what the filter takes from it at each cut-off.
type relieved struct {
	skin   *form.Skin
	places []geom.Vec
	normal []geom.Vec
	metric *form.Operator
	lost   [steps][]float64
	beside []bool
	block  []uint8 // which piece of skin a vertex is in
}

func newRelieved(ctx context.Context, m *geom.Mesh, workers int) (*relieved, error) {
	r := &relieved{}
	var err error
	if r.skin, err = form.NewSkin(ctx, m, workers); err != nil {
		return nil, err
	}
	r.places = r.skin.Places()
	if r.metric, err = r.skin.Metric(ctx, r.places, 1); err != nil {
		return nil, err
	}
	for k := range steps {
		p, err := r.skin.Split(ctx, r.metric, r.places, cutoffAt(k))
		if err != nil {
			return nil, err
		}
		r.lost[k] = p.Relief
		if k == firstBand {
			r.normal = p.Normal
		}
	}
	r.beside = r.skin.Beside(2)
	r.block = make([]uint8, len(r.places)) // the skin's vertices lie along a curve
	for i := range r.block {
		r.block[i] = uint8(i * blocks / len(r.places))
	}
	return r, nil
}

// softened returns the master as a chain that holds detail would leave it.
func (r *relieved) softened(ctx context.Context, m *geom.Mesh, detail float64) (*geom.Mesh, error) {
	p, err := r.skin.Split(ctx, r.metric, r.places, detail)
	if err != nil {
		return nil, err
	}
	return r.skin.CarryMesh(m, p.Form(r.places)), nil
}

// differences returns how far outside the master the sample, brought to the
// master's size and shape, lies at each vertex of the master: along its
// direction, NaN where nothing is within reach mm.
func (r *relieved) differences(ctx context.Context, sample *geom.Mesh, reach float64, workers int) ([]float64, error) {
	tree, err := geom.NewTree(ctx, sample, workers)
	if err != nil {
		return nil, err
	}
	e := make([]float64, len(r.places))
	geom.Chunks(len(e), workers, func(lo, hi int) {
		for i := lo; i < hi && ctx.Err() == nil; i++ {
			e[i] = math.NaN()
			out, okOut := tree.Ray(r.places[i], r.normal[i], 0, reach)
			in, okIn := tree.Ray(r.places[i], r.normal[i].Mul(-1), 0, reach)
			okOut, okIn = okOut && out.Back, okIn && !in.Back
			switch {
			case r.beside[i]:
			case okOut && (!okIn || out.T <= in.T):
				e[i] = out.T
			case okIn:
				e[i] = -in.T
			}
		}
	})
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	return e, nil
}

// straightened takes out of e what is longer than trend, which is misfit of the
// form, and what lies far outside the rest.
func (r *relieved) straightened(ctx context.Context, e []float64) ([]float64, error) {
	known, there := make([]float64, len(e)), make([]float64, len(e))
	var sizes []float64
	for _, x := range e {
		if x == x {
			sizes = append(sizes, math.Abs(x))
		}
	}
	if len(sizes) == 0 {
		return e, nil
	}
	sorted(sizes)
	most := 6 * 1.4826 * sizes[len(sizes)/2]
	for i, x := range e {
		if x == x && math.Abs(x) < most {
			known[i], there[i] = x, 1
		}
	}
	mean, err := r.metric.Gauss(ctx, known, trend)
	if err != nil {
		return nil, err
	}
	share, err := r.metric.Gauss(ctx, there, trend)
	if err != nil {
		return nil, err
	}
	out := make([]float64, len(e))
	for i := range e {
		out[i] = math.NaN()
		if there[i] == 1 {
			out[i] = known[i] - mean[i]/max(share[i], 0.05)
		}
	}
	return out, nil
}

// Flash, seams and flaws: skin that lies off by more than four times the usual
// over a place of oddOver mm, but no more than a tenth of it.
const (
	oddOver  = 1.5
	oddTimes = 4 * 1.4826
	oddLeast = 0.02 // mm
)

// odd marks the vertices where the difference e, less what softening to detail
// explains, is not of the usual size over a whole place; e becomes unknown there.
func (r *relieved) odd(ctx context.Context, e []float64, detail float64) ([]bool, error) {
	w := weightsAt(detail)
	rest, there := make([]float64, len(e)), make([]float64, len(e))
	for i, x := range e {
		if x != x {
			continue
		}
		for k, share := range w {
			x += float64(share * r.lost[k][i])
		}
		rest[i], there[i] = x, 1
	}
	mean, err := r.metric.Gauss(ctx, rest, oddOver)
	if err != nil {
		return nil, err
	}
	share, err := r.metric.Gauss(ctx, there, oddOver)
	if err != nil {
		return nil, err
	}
	var sizes []float64
	for i := range mean {
		if mean[i] /= max(share[i], 0.05); there[i] == 1 {
			sizes = append(sizes, math.Abs(mean[i]))
		}
	}
	odd := make([]bool, len(e))
	if len(sizes) == 0 {
		return odd, nil
	}
	sorted(sizes)
	most := max(oddTimes*sizes[len(sizes)/2], sizes[len(sizes)*9/10], oddLeast)
	for i, m := range mean {
		if m > most || m < -most {
			odd[i], e[i] = true, math.NaN()
		}
	}
	return odd, nil
}

// gram holds the products over the skin of the difference and of what each
// cut-off takes: all that transfer needs, for each piece of skin.
type gram [blocks][steps + 1][steps + 1]float64

func (r *relieved) gram(e []float64, only func(i int) bool) *gram {
	g := &gram{}
	area := r.skin.Areas(r.places)
	var v [steps + 1]float64
	for i, x := range e {
		if x != x || only != nil && !only(i) {
			continue
		}
		v[0] = x
		for k := range steps {
			v[k+1] = r.lost[k][i]
		}
		b := &g[r.block[i]]
		for j := range v {
			for k := 0; k <= j; k++ {
				b[j][k] += float64(area[i] * float64(v[j]*v[k]))
			}
		}
	}
	return g
}

// sum adds the pieces up but one; -1 leaves none out.
func (g *gram) sum(but int) *[steps + 1][steps + 1]float64 {
	var s [steps + 1][steps + 1]float64
	for b := range g {
		if b == but {
			continue
		}
		for j := range s {
			for k := 0; k <= j; k++ {
				s[j][k] += g[b][j][k]
				if j != k {
					s[k][j] = s[j][k]
				}
			}
		}
	}
	return &s
}

// curve is a transfer: the detail, and the share that survives at each band.
type curve struct {
	detail float64
	share  [bands]float64
}

// transfer finds the curve from products over the skin.
func transfer(s *[steps + 1][steps + 1]float64) curve {
	detail := bestDetail(s)
	w := weightsAt(detail)
	var c curve
	c.detail = detail
	for j := range bands {
		k := firstBand + j // lost[k+1] - lost[k-1] is the relief about cutoffAt(k)
		num, den := 0.0, 0.0
		for _, side := range [2]struct {
			at   int
			sign float64
		}{{k + 2, 1}, {k, -1}} {
			left := s[side.at][0]
			for q, x := range w {
				left += float64(x * s[side.at][q+1])
			}
			num += float64(side.sign * left)
			den += float64(side.sign * s[side.at][steps])
		}
		c.share[j] = form.Passed(detail, cutoffAt(k))
		if den > 0 {
			c.share[j] += num / den
		}
	}
	return c
}

// weightsAt returns with what shares the cut-offs' losses make up that of
// another: a parabola through the three nearest, over the square of the cut-off.
func weightsAt(c float64) (w [steps]float64) {
	k := 1
	for k < steps-2 && cutoffAt(k) < c/1.19 {
		k++
	}
	x := float64(c * c)
	var at [3]float64
	for i := range at {
		at[i] = float64(cutoffAt(k-1+i) * cutoffAt(k-1+i))
	}
	if c < cutoffAt(0) { // down to nothing at zero
		w[0] = x / at[0]
		return w
	}
	for i := range 3 {
		p, q := (i+1)%3, (i+2)%3
		w[k-1+i] = float64((x-at[p])*(x-at[q])) / float64((at[i]-at[p])*(at[i]-at[q]))
	}
	return w
}

// bestDetail returns the cut-off whose loss explains the difference best, by
// thirds.
func bestDetail(s *[steps + 1][steps + 1]float64) float64 {
	left := func(c float64) float64 {
		w := weightsAt(c)
		sum := 0.0
		for j, x := range w {
			sum += float64(2 * float64(x*s[j+1][0]))
			for k, y := range w {
				sum += float64(float64(x*y) * s[j+1][k+1])
			}
		}
		return sum
	}
	best, at := 0.0, 0.0 // no loss at all explains nothing
	for c := 0.05; c < 6; c *= 1.05 {
		if l := left(c); l < best {
			best, at = l, c
		}
	}
	if at == 0 {
		return 0
	}
	lo, hi := at/1.05, at*1.05
	for range 40 {
		a, b := lo+(hi-lo)/3, hi-(hi-lo)/3
		if left(a) < left(b) {
			hi = b
		} else {
			lo = a
		}
	}
	return (lo + hi) / 2
}
