package calibrate

import (
	"context"
	"fmt"

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
	off     float64 // by how much the shrinkage may be off in all pieces alike
	covered float64 // share of the master's skin that the sample shows
	detail  band    // mm on the sample
	share   [bands]band
	regions []kept
	left    []float64 // at each vertex of the skin, mm; NaN where nothing is known
}

// kept is the share of the relief's depth that survived in a region.
type kept struct {
	name  string
	share band
}

// study compares one sample with the master: first with its form alone, on
// which no line can catch a neighbouring one, then with the master as it is, then with the master
// softened as the sample seems to be, so that lines that became shallower do
// not pull at size and shape.
func (c *calibration) study(ctx context.Context, name string, sample *geom.Mesh) (*found, error) {
	pose, err := c.form.place(ctx, sample, c.workers)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	laid := &geom.Mesh{Tris: sample.Tris, Verts: make([]geom.Point, len(sample.Verts))}
	for i, v := range sample.Verts {
		laid.Verts[i] = pose.Apply(v.Vec()).Point()
	}
	pts := spread(laid, fitPoints, c.workers)
	rough, err := c.form.fit(ctx, pts, nil, c.reach, c.workers)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	f, err := c.master.fit(ctx, pts, &rough.warp, c.reach, c.workers)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	e, err := c.compare(ctx, laid, &f.warp)
	if err != nil {
		return nil, err
	}
	for range 2 {
		first := transfer(c.relief.gram(e, nil).sum(-1))
		odd, err := c.relief.odd(ctx, e, first.detail)
		if err != nil {
			return nil, err
		}
		soft, err := c.relief.softened(ctx, c.master.mesh, first.detail)
		if err != nil {
			return nil, err
		}
		again, err := newMaster(ctx, soft, c.workers)
		if err != nil {
			return nil, err
		}
		again.centre, again.size = c.master.centre, c.master.size
		again.odd = make([]bool, len(odd))
		for i, v := range c.relief.skin.Back {
			again.odd[v] = odd[i]
		}
		if f, err = again.fit(ctx, pts, &f.warp, c.reach, c.workers); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		if e, err = c.compare(ctx, laid, &f.warp); err != nil {
			return nil, err
		}
		if _, err = c.relief.odd(ctx, e, first.detail); err != nil {
			return nil, err
		}
	}
	return c.sum(name, f, pts, e), nil
}

// compare brings the sample to the master's size and shape and returns how far
// it lies outside, without what is misfit of the form.
func (c *calibration) compare(ctx context.Context, laid *geom.Mesh, w *warp) ([]float64, error) {
	brought := &geom.Mesh{Tris: laid.Tris, Verts: make([]geom.Point, len(laid.Verts))}
	geom.Chunks(len(laid.Verts), c.workers, func(lo, hi int) {
		for i := lo; i < hi; i++ {
			brought.Verts[i] = w.apply(laid.Verts[i].Vec()).Point()
		}
	})
	e, err := c.relief.differences(ctx, brought, 1, c.workers)
	if err != nil {
		return nil, err
	}
	return c.relief.straightened(ctx, e)
}

// sum turns a fit and the differences into estimates with bounds.
func (c *calibration) sum(name string, f *fitted, pts []geom.Vec, e []float64) *found {
	r := &found{name: name, sigma: f.sigma, noise: f.noise, bend: f.bent(pts), left: e}
	r.off = f.off(r.bend)
	share := func(s [3]float64) [4]float64 {
		x := [4]float64{1 - 1/s[0], 1 - 1/s[1], 1 - 1/s[2]}
		x[3] = (x[0] + x[1] + x[2]) / 3
		return x
	}
	at := share(f.stretch())
	var without [4][]float64
	for b := range f.without {
		for k, x := range share(f.without[b].stretch()) {
			without[k] = append(without[k], x)
		}
	}
	for k := range 3 {
		r.shrink[k] = jackknife(at[k], without[k]).wider(r.off)
	}
	r.mean = jackknife(at[3], without[3]).wider(r.off)
	g := c.relief.gram(e, nil)
	all := transfer(g.sum(-1))
	var details []float64
	var shares [bands][]float64
	for b := range blocks {
		one := transfer(g.sum(b))
		details = append(details, one.detail)
		for k, x := range one.share {
			shares[k] = append(shares[k], x)
		}
	}
	size := 1 - r.mean.at
	d := jackknife(all.detail, details).wider(offDetail * all.detail)
	r.detail = band{d.at * size, max(0, d.from) * size, d.to * size}
	for k := range bands {
		r.share[k] = jackknife(all.share[k], shares[k]).wider(offKept)
	}
	var skin, seen geom.Sum
	for i, a := range c.relief.skin.Areas(c.relief.places) {
		skin.Add(a)
		if e[i] == e[i] {
			seen.Add(a)
		}
	}
	r.covered = seen.Total() / skin.Total()
	for _, ball := range c.regions {
		g := c.relief.gram(e, func(i int) bool {
			return c.relief.places[i].Add(c.master.mesh.Origin).Sub(ball.At).Len2() < float64(ball.Radius*ball.Radius)
		})
		r.regions = append(r.regions, kept{ball.Name, survived(g)})
	}
	if !r.tells() {
		r.forget()
	}
	return r
}

// tells reports whether the fit is good enough to believe.
func (f *found) tells() bool { return f.off <= tells }

// forget makes every estimate unknown.
func (f *found) forget() {
	f.mean, f.detail = unknown, unknown
	for k := range f.shrink {
		f.shrink[k] = unknown
	}
	for k := range f.share {
		f.share[k] = unknown
	}
	for k := range f.regions {
		f.regions[k].share = unknown
	}
}

// survived returns the share of the depth of all relief shorter than 8 mm that
// is left, over a region; unknown where the region has too little skin.
func survived(g *gram) band {
	of := func(but int) float64 {
		s := g.sum(but)
		return 1 + s[steps][0]/s[steps][steps]
	}
	var without []float64
	for b := range g {
		if g[b][steps][steps] > 0 {
			without = append(without, of(b))
		}
	}
	if len(without) < 2 {
		return band{of(-1), 0, 1}
	}
	return jackknife(of(-1), without).wider(offKept)
}
