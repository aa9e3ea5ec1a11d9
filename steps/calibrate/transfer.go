package calibrate

import (
	"context"
	"math"
	"slices"

	"layette/steps/internal/form"
	"layette/steps/internal/geom"
)

// Cut-offs that the master's relief is told apart with: 0.5 mm and on by roots
// of two to 8 mm. Shares are reported at those from 1 to 5.7 mm.
const (
	steps     = 9
	firstBand = 2
	bands     = 6
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

// freeAt names, for each departure from the Gaussian curve, the cut-offs between
// which it lies.
var freeAt = [frees][2]int{{1, 3}, {3, 5}, {5, 7}}

// relieved is the master with what the filter takes from it at each cut-off.
type relieved struct {
	skin    *form.Skin
	places  []geom.Vec
	outward []geom.Vec // of the form without what is shorter than the last cut-off
	metric  *form.Operator
	lost    [steps][]float64
	forms   []*target // without what is finer than the cut-offs formAt
}

// formAt names the cut-offs, 8, 4 and 2 mm, without whose relief a sample is
// first laid on its master one after the other, so that no line catches a
// neighbouring one: common practice, no source.
var formAt = [...]int{8, 6, 4}

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
		r.lost[k], r.outward = p.Relief, p.Normal
		if slices.Contains(formAt[:], k) {
			t, err := newTarget(ctx, r.at(p.Form(r.places)), cutoffAt(k), workers)
			if err != nil {
				return nil, err
			}
			r.forms = append([]*target{t}, r.forms...)
		}
	}
	return r, nil
}

// softened returns the master as a chain that holds the squared detail, mm²,
// would leave it. Its facets do a part of that, of all waves, however long.
func (r *relieved) softened(ctx context.Context, detail2 float64, workers int) (*target, error) {
	cutoff2 := max(0, detail2-facets(r.skin.Mesh))
	places, err := r.places, error(nil)
	if cutoff2 > 0 {
		if places, err = r.filtered(ctx, cutoff2, detail2); err != nil {
			return nil, err
		}
	}
	t, err := newTarget(ctx, r.at(places), math.Sqrt(cutoff2), workers)
	if err != nil {
		return nil, err
	}
	t.steeper = detail2 - cutoff2
	return t, nil
}

// filtered returns the places of the skin without what the squared cut-off, mm²,
// takes; what the filter gives back of long waves is raised to what the squared
// detail gives back.
func (r *relieved) filtered(ctx context.Context, cutoff2, detail2 float64) ([]geom.Vec, error) {
	detail := math.Sqrt(detail2)
	o, err := r.skin.Metric(ctx, r.places, detail)
	if err != nil {
		return nil, err
	}
	smooth, err := o.GaussPlaces(ctx, r.places, math.Sqrt(cutoff2))
	if err != nil {
		return nil, err
	}
	out, relief := r.skin.Normals(smooth), make([]float64, len(smooth))
	for i, p := range r.places {
		relief[i] = p.Sub(smooth[i]).Dot(out[i])
	}
	long, err := o.Gauss(ctx, relief, form.Long*detail)
	if err != nil {
		return nil, err
	}
	places := make([]geom.Vec, len(smooth))
	for i, p := range r.places {
		if places[i] = p; !r.skin.Held[i] {
			places[i] = p.Sub(out[i].Mul(relief[i] - float64(long[i]*detail2/cutoff2)))
		}
	}
	return places, nil
}

// at returns the skin with its vertices at places.
func (r *relieved) at(places []geom.Vec) *geom.Mesh {
	m := &geom.Mesh{Verts: make([]geom.Point, len(places)), Tris: r.skin.Mesh.Tris}
	for i, p := range places {
		m.Verts[i] = p.Point()
	}
	return m
}

// row says how a reading changes with the squared detail, with the share of the
// skin that is softened by root two more and less, half each, and with each
// departure from the curve.
func (r *relieved) row(s *target, at *reading, into []float64) {
	for i, v := range s.mesh.Tris[at.hit.Tri] {
		x, k := float64(at.share[i]*at.normal.Dot(r.outward[v])), s.nearest
		into[0] += float64(x * r.perDetail(s, v))
		into[1] += float64(x * ((r.lost[k-1][v]+r.lost[k+1][v])/2 - r.lost[k][v]))
		for j, c := range freeAt {
			into[2+j] -= float64(x * (r.lost[c[1]][v] - r.lost[c[0]][v]))
		}
	}
}

// perDetail returns how a vertex of the skin sinks with the squared detail.
func (r *relieved) perDetail(s *target, v int32) (in float64) {
	for j, w := range s.slope {
		if w != 0 {
			in += float64(w * r.lost[j][v])
		}
	}
	return in
}

// lostAt returns how far in the filter of cut-off k moves the skin at a reading.
func (r *relieved) lostAt(s *target, at *reading, k int) (in float64) {
	for i, v := range s.mesh.Tris[at.hit.Tri] {
		in += float64(at.share[i] * float64(r.lost[k][v]*at.normal.Dot(r.outward[v])))
	}
	return in
}

// slopeAt returns with what shares the cut-offs' losses make up the change of a
// loss with its squared cut-off: that of a parabola through the three nearest.
func slopeAt(c float64) (w [steps]float64) {
	k := nearestTo(c)
	x := float64(c * c)
	var at [3]float64
	for i := range at {
		at[i] = float64(cutoffAt(k-1+i) * cutoffAt(k-1+i))
	}
	if c < cutoffAt(0) { // down to nothing at zero
		w[0] = 1 / at[0]
		return w
	}
	for i := range 3 {
		p, q := (i+1)%3, (i+2)%3
		w[k-1+i] = (2*x - at[p] - at[q]) / float64((at[i]-at[p])*(at[i]-at[q]))
	}
	return w
}

// nearestTo returns the cut-off nearest to c that has one on either side.
func nearestTo(c float64) int {
	k := 1
	for k < steps-2 && cutoffAt(k) < c/1.19 {
		k++
	}
	return k
}

// survives returns the share of relief depth that survives at each band, from
// the steps solved for.
func (s *target) survives(x []float64) (share [bands]float64) {
	detail, k := math.Sqrt(max(float64(s.detail*s.detail)+x[detailed], 0)), s.nearest
	for b := range bands {
		at := cutoffAt(firstBand + b)
		passed := func(j int) float64 { return form.Passed(cutoffAt(j), at) }
		share[b] = form.Passed(detail, at) + float64(x[widened]*((passed(k-1)+passed(k+1))/2-passed(k)))
		for j, c := range freeAt {
			share[b] += float64(x[freed+j] * (passed(c[0]) - passed(c[1])))
		}
	}
	return share
}

// Flash, seams and flaws: skin that lies off by more than three and a half times
// the usual over a place of oddOver mm, but no more than a tenth of it, and what
// lies beside such places. Chosen by us, no source.
const (
	oddOver  = 1.5
	oddTimes = 3.5 * 1.4826
	oddLeast = 0.02 // mm
	oddRound = 3.0  // mm
	oddShare = 0.15
)

// over returns the mean of the readings over places of so many mm at each vertex
// of the skin; NaN where there are none.
func (r *relieved) over(ctx context.Context, s *target, all []reading, of func(*reading) float64, place float64) ([]float64, error) {
	sum, count := make([]float64, len(r.places)), make([]float64, len(r.places))
	for i := range all {
		if a := &all[i]; a.hit.Tri >= 0 {
			x, share := of(a), [3]float64{1 - a.hit.V - a.hit.W, a.hit.V, a.hit.W}
			for k, v := range s.mesh.Tris[a.hit.Tri] {
				sum[v] += float64(share[k] * x)
				count[v] += share[k]
			}
		}
	}
	mean, err := r.metric.Gauss(ctx, sum, place)
	if err != nil {
		return nil, err
	}
	if count, err = r.metric.Gauss(ctx, count, place); err != nil {
		return nil, err
	}
	usual := 0.0
	for _, n := range count {
		usual += n / float64(len(count))
	}
	for i, n := range count {
		if mean[i] /= n; !(n > float64(0.1*usual)) {
			mean[i] = math.NaN()
		}
	}
	return mean, nil
}

// odd marks the vertices where what is left is not of the usual size over a
// whole place.
func (r *relieved) odd(ctx context.Context, s *target, all []reading) ([]bool, error) {
	mean, err := r.over(ctx, s, all, func(a *reading) float64 { return a.left }, oddOver)
	if err != nil {
		return nil, err
	}
	var sizes []float64
	for _, m := range mean {
		if m == m {
			sizes = append(sizes, math.Abs(m))
		}
	}
	odd := make([]bool, len(mean))
	if len(sizes) == 0 {
		return odd, nil
	}
	sorted(sizes)
	most := max(oddTimes*sizes[len(sizes)/2], sizes[len(sizes)*9/10], oddLeast)
	marks := make([]float64, len(mean))
	for i, m := range mean {
		if m > most || m < -most {
			marks[i] = 1
		}
	}
	beside, err := r.metric.Gauss(ctx, marks, oddRound)
	if err != nil {
		return nil, err
	}
	for i, b := range beside {
		odd[i] = marks[i] > 0 || b > oddShare
	}
	return odd, nil
}

// middle returns the middle of the skin.
func (r *relieved) middle() geom.Vec {
	var x, y, z, skin geom.Sum
	for i, a := range r.skin.Areas(r.places) {
		p := r.places[i].Mul(a)
		x.Add(p.X)
		y.Add(p.Y)
		z.Add(p.Z)
		skin.Add(a)
	}
	return geom.Vec{X: x.Total(), Y: y.Total(), Z: z.Total()}.Mul(1 / skin.Total())
}
