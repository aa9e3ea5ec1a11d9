package calibrate

import (
	"context"
	"fmt"
	"math"

	"layette/steps/internal/form"
	"layette/steps/internal/geom"
)

// found is what one sample says.
type found struct {
	name    string
	shrink  [3]band
	mean    band
	bend    float64 // mm: 95 of 100 places are bent or twisted by less
	sigma   float64 // mm: robust spread of what is left
	noise   float64 // mm: the part of it that neighbours do not share
	misfit  float64 // what noise does not explain of it, a share of half the size
	covered float64 // share of the master's skin that the sample shows
	detail  band    // mm on the sample
	share   [bands]band
	free    bool // whether the shares are of no curve
	regions []kept
	left    []float64 // at each vertex of the skin, mm; NaN where nothing is known
	lay     geom.Fit  // lays the sample on the master
	warp    warp      // takes it from there to where it was on the master
}

// kept is what a region tells.
type kept struct {
	name   string
	detail band // mm on the sample
	share  [bands]band
}

// study compares one sample with the master.
func (c *calibration) study(ctx context.Context, name string, sample *geom.Mesh) (*found, error) {
	f, err := c.compare(ctx, sample)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	f.name = name
	return f, nil
}

// Passes over which the master is softened as the sample seems to be: flash is
// sought after the second, and more points are used in the last.
const (
	passes   = 4
	oddPass  = 1
	hopeless = 4 * tells // a misfit that no softening mends

	roughly, closely = 0.005, 0.0005 // mm: when a fit has settled, over all its unknowns
)

// compare fits first the form alone, on which no line can catch a neighbouring
// one, then the master softened as the sample seems to be, so that lines that
// became shallower do not pull at size and shape.
func (c *calibration) compare(ctx context.Context, sample *geom.Mesh) (*found, error) {
	lay, err := c.place(ctx, sample)
	if err != nil {
		return nil, err
	}
	laid := &geom.Mesh{Verts: make([]geom.Point, len(sample.Verts))}
	for i, v := range sample.Verts {
		laid.Verts[i] = lay.Apply(v.Vec()).Point()
	}
	f := &fit{warp: warp{middle: c.middle, size: c.size}, detail2: 1}
	if err := c.fitForm(ctx, f, spread(laid, formPoints, c.workers)); err != nil {
		return nil, err
	}
	pts := spread(laid, softPoints, c.workers)
	var t *target
	for pass := range passes {
		if t, err = c.relief.softened(ctx, f.detail2, c.workers); err != nil {
			return nil, err
		}
		until := roughly
		if pass == passes-1 {
			pts, until = spread(laid, fitPoints, c.workers), closely
		}
		if err := c.refine(ctx, f, t, pts, forDetail, until); err != nil {
			return nil, err
		}
		if 2*f.misfit() > hopeless {
			break
		}
		if pass == oddPass {
			all, err := c.read(ctx, f, t, pts, c.reach)
			if err != nil {
				return nil, err
			}
			if f.odd, err = c.relief.odd(ctx, t, all); err != nil {
				return nil, err
			}
		}
	}
	// All points tell little more than these, so that one round and the step taken
	// in sum bring them there.
	pts = spread(laid, allPoints, c.workers)
	if err := c.refine(ctx, f, t, pts, forDetail, math.Inf(1)); err != nil {
		return nil, err
	}
	r, err := c.sum(ctx, f, t, pts, lay.Scale)
	if err != nil {
		return nil, err
	}
	r.lay, r.warp = lay, f.warp
	return r, nil
}

func (c *calibration) fitForm(ctx context.Context, f *fit, pts []geom.Vec) error {
	if err := c.refine(ctx, f, c.relief.forms[0], pts, forShift, 0.1); err != nil {
		return err
	}
	for _, t := range c.relief.forms {
		if err := c.refine(ctx, f, t, pts, forForm, roughly); err != nil {
			return err
		}
	}
	return nil
}

// estimates are the numbers that bounds are found for: the shrinkage along x, y
// and z and its mean, the squared detail, and the shares along a curve and free.
type estimates [5 + 2*bands]float64

func (c *calibration) estimate(f *fit, t *target, n *normal, points int, scale float64) (e estimates) {
	solve := func(of []int) []float64 { return n.solve(of, f.hold(of, points), &f.by) }
	x := solve(forDetail)
	w := f.plus(x)
	for k, long := range w.stretch() {
		e[k] = 1 - 1/float64(long*scale)
		e[3] += e[k] / 3
	}
	blur := c.blur(f)
	e[4] = max(0, float64(t.detail*t.detail)+x[detailed]) + blur
	curve, free := t.survives(solve(forWide)), t.survives(solve(forFree))
	for k := range bands {
		kept := form.Transmission(math.Sqrt(blur), cutoffAt(firstBand+k))
		e[5+k], e[5+bands+k] = float64(kept*curve[k]), float64(kept*free[k])
	}
	return e
}

// blur returns the squared detail that points which scatter along the skin hide,
// mm²: it is on scattered places that the master is held against them, which is
// what heat flow does to it in the time of half the square of their scatter.
func (c *calibration) blur(f *fit) float64 {
	scatter := float64(c.scatter * f.noise)
	return perTime / 2 * float64(scatter*scatter)
}

// sum turns a fit into estimates with bounds.
func (c *calibration) sum(ctx context.Context, f *fit, t *target, pts []geom.Vec, scale float64) (*found, error) {
	all, err := c.read(ctx, f, t, pts, c.reach)
	if err != nil {
		return nil, err
	}
	parts, err := c.equations(ctx, f, t, pts, all)
	if err != nil {
		return nil, err
	}
	n := whole(parts)
	at, without := c.estimate(f, t, n, len(pts), scale), [blocks]estimates{}
	c.each(blocks, func(b int) {
		rest := *n
		rest.plus(parts[b], -1)
		without[b] = c.estimate(f, t, &rest, len(pts), scale)
	})
	r := &found{sigma: f.sigma, noise: f.noise, misfit: f.misfit(), bend: f.bent(pts)}
	blur := c.blur(f)
	off := float64(offNoise*float64(f.noise*f.noise)) + offScatter*blur
	if r.settle(&at, &without, c.size, t.facets, off); !(math.Abs(r.mean.at) < 0.5) {
		r.mean = unknown
	}
	for _, ball := range c.regions {
		detail, share := c.within(t, all, ball.At.Sub(c.mesh.Origin), ball.Radius, 1-r.mean.at, blur)
		r.regions = append(r.regions, kept{ball.Name, detail, share})
	}
	if err := c.picture(ctx, r, t, all); err != nil {
		return nil, err
	}
	if !r.tells() {
		r.forget()
	}
	return r, nil
}

// settle puts bounds to the estimates. Where the free shares differ from the
// curve by much more than chance, they are taken.
//
// size is half the master's, mm; facets what its facets soften, mm²; noise how far
// off the squared detail may be by noise, mm².
func (r *found) settle(at *estimates, without *[blocks]estimates, size, facets, noise float64) {
	of := func(what func(*estimates) float64) band {
		var all [blocks]float64
		for b := range without {
			all[b] = what(&without[b])
		}
		return jackknife(what(at), all[:])
	}
	one := func(k int, off float64) band { return of(func(e *estimates) float64 { return e[k] }).wider(off) }
	for k := range 3 {
		r.shrink[k] = one(k, offShape/size)
	}
	r.mean = one(3, offShape/size)
	off := hypot(hypot(offDetail*at[4], offFacets*facets), noise)
	d, left := one(4, off), 1-r.mean.at
	r.detail = band{math.Sqrt(d.at) * left, math.Sqrt(max(0, d.from)) * left, math.Sqrt(max(0, d.to)) * left}
	for k := range bands {
		apart := of(func(e *estimates) float64 { return e[5+bands+k] - e[5+k] })
		r.free = r.free || edges(k, facets) >= freeEdges && math.Abs(apart.at) > max(freeLeast, freeTimes*(apart.to-apart.from)/2)
	}
	for k := range bands {
		if r.share[k] = unknown; edges(k, facets) < leastEdges {
			continue
		}
		which := 5 + k
		if r.free {
			which += bands
		}
		w := cutoffAt(firstBand + k)
		per := math.Ln2 / float64(w*w) // how much of its share a wave loses for a squared detail
		r.share[k] = one(which, float64(per*off*at[which]))
	}
}

// edges is how many edges of the master's triangles make the wave of band k;
// facets is what these soften, mm².
func edges(k int, facets float64) float64 {
	return cutoffAt(firstBand+k) / math.Sqrt(max(16*facets/perTime, 1e-12))
}

// A wave of fewer edges is not told, and one of fewer than the second not held
// against the curve (see perTime). Common practice, no source.
const (
	leastEdges = 3
	freeEdges  = 4
)

// Where the free shares are taken: they differ by so many times the bounds of the
// difference, which chance does in one of a thousand, and by so much.
const (
	freeTimes = 1.75
	freeLeast = 0.03
)

// misfit returns what noise does not explain of what is left, a share of half
// the size.
func (f *fit) misfit() float64 {
	usual := noisier * f.noise
	return math.Sqrt(max(0, float64(f.sigma*f.sigma)-float64(usual*usual))) / f.size
}

// tells reports whether the fit is good enough to believe.
func (r *found) tells() bool {
	for _, b := range append(r.shrink[:], r.mean) {
		if !((b.to-b.from)/2 <= tells) {
			return false
		}
	}
	return 2*r.misfit <= tells
}

// forget makes every estimate unknown.
func (r *found) forget() {
	r.mean, r.detail = unknown, unknown
	for k := range r.shrink {
		r.shrink[k] = unknown
	}
	for k := range r.share {
		r.share[k] = unknown
	}
	for k := range r.regions {
		r.regions[k] = kept{name: r.regions[k].name, detail: unknown}
		for b := range bands {
			r.regions[k].share[b] = unknown
		}
	}
}
