package calibrate

import (
	"context"
	"math"

	"layette/steps/internal/form"
	"layette/steps/internal/geom"
)

// beyond returns how far outside the master itself, not softened, a reading lies.
func (c *calibration) beyond(t *target, a *reading) float64 {
	off := a.left
	for k, v := range t.mesh.Tris[a.hit.Tri] {
		off += float64(a.share[k] * t.mesh.Verts[v].Vec().Sub(c.relief.places[v]).Dot(a.normal))
	}
	return off
}

// tries are the details that a region is held against: none and the cut-offs.
const tries = steps + 1

// misses sums, for each detail tried, the weights of readings, what they leave and
// its square.
type misses [tries][3]float64

func (m *misses) plus(n *misses, times float64) {
	for k := range m {
		for i := range m[k] {
			m[k][i] += float64(times * n[k][i])
		}
	}
}

// detail2 returns the squared detail, beside the facets', that leaves least about
// the mean: the lowest place of the parabola through the best detail tried and
// its neighbours.
func (m *misses) detail2() float64 {
	var at, left [tries]float64
	best := 1
	for k, x := range m {
		if k > 0 {
			at[k] = float64(cutoffAt(k-1) * cutoffAt(k-1))
		}
		left[k] = x[2] - float64(x[1]*x[1])/x[0]
		if left[k] < left[best] && k < tries-1 {
			best = k
		}
	}
	best = max(best, 1)
	p, q, r := at[best-1], at[best], at[best+1]
	up, down := (left[best+1]-left[best])/(r-q), (left[best]-left[best-1])/(q-p)
	if bend := (up - down) / (r - p); bend > 0 {
		q = float64(p+q)/2 - down/(2*bend)
	}
	return min(max(q, p), r)
}

// within tells what a region, radius mm about a place, keeps of its relief. Form
// cannot be told from relief there, so that only what bends within the region
// counts: each detail is tried with the whole region moved in or out as it likes.
func (c *calibration) within(t *target, all []reading, at geom.Vec, radius, left, blur float64) (detail band, share [bands]band) {
	var parts [blocks]misses
	var sum misses
	for i := range all {
		a := &all[i]
		if a.weight == 0 || a.hit.Point.Sub(at).Len2() > float64(radius*radius) {
			continue
		}
		off, m := c.beyond(t, a), &parts[i*blocks/len(all)]
		for k := range tries {
			x := off
			if k > 0 {
				x += c.relief.lostAt(t, a, k-1)
			}
			m[k][0] += a.weight
			m[k][1] += float64(a.weight * x)
			m[k][2] += float64(a.weight * float64(x*x))
		}
	}
	for b := range blocks {
		sum.plus(&parts[b], 1)
	}
	of := func(what func(d2 float64) float64) band {
		var without []float64
		for b := range blocks {
			rest := sum
			if rest.plus(&parts[b], -1); parts[b][0][0] > 0 && rest[0][0] > 1e-9*sum[0][0] {
				without = append(without, what(rest.detail2()+t.facets+blur))
			}
		}
		if len(without) < 4 {
			return unknown
		}
		return jackknife(what(sum.detail2()+t.facets+blur), without)
	}
	for k := range share {
		share[k] = of(func(d2 float64) float64 { return form.Passed(math.Sqrt(d2), cutoffAt(firstBand+k)) })
	}
	return of(func(d2 float64) float64 { return math.Sqrt(d2) * left }), share
}

// pictured is the length over which the map of differences is a mean, mm.
const pictured = 1.0

// picture fills in the map and how much of the master the sample shows.
func (c *calibration) picture(ctx context.Context, r *found, t *target, all []reading) error {
	var err error
	r.left, err = c.relief.over(ctx, t, all, func(a *reading) float64 { return c.beyond(t, a) }, pictured)
	if err != nil {
		return err
	}
	var skin, seen geom.Sum
	for i, a := range c.relief.skin.Areas(c.relief.places) {
		skin.Add(a)
		if r.left[i] == r.left[i] {
			seen.Add(a)
		}
	}
	r.covered = seen.Total() / skin.Total()
	return nil
}
