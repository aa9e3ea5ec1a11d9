package calibrate

import (
	"context"

	"layette/steps/internal/geom"
)

// beyond returns how far outside the master itself, not softened, a reading lies,
// and how far out the master's relief shorter than the last cut-off lies there.
func (c *calibration) beyond(t *target, a *reading) (off, depth float64) {
	off = a.left
	share := [3]float64{1 - a.hit.V - a.hit.W, a.hit.V, a.hit.W}
	for k, v := range t.mesh.Tris[a.hit.Tri] {
		off += float64(share[k] * t.mesh.Verts[v].Vec().Sub(c.relief.places[v]).Dot(a.normal))
		depth += float64(share[k] * float64(c.relief.lost[steps-1][v]*a.normal.Dot(c.relief.outward[v])))
	}
	return off, depth
}

// survived returns the share of the depth of all relief shorter than 8 mm that
// is left within radius mm of a place; unknown where there is too little skin.
func (c *calibration) survived(t *target, all []reading, at geom.Vec, radius float64) band {
	var loss, depth [blocks]float64
	var losses, depths float64
	for i := range all {
		a := &all[i]
		if a.weight == 0 || a.hit.Point.Sub(at).Len2() > float64(radius*radius) {
			continue
		}
		off, d := c.beyond(t, a)
		b := i * blocks / len(all)
		loss[b] += float64(a.weight * float64(off*d))
		depth[b] += float64(a.weight * float64(d*d))
	}
	for b := range blocks {
		losses, depths = losses+loss[b], depths+depth[b]
	}
	var without []float64
	for b := range blocks {
		if depth[b] > 0 && depth[b] < depths {
			without = append(without, 1+(losses-loss[b])/(depths-depth[b]))
		}
	}
	if len(without) < 2 {
		return unknown
	}
	return jackknife(1+losses/depths, without)
}

// pictured is the length over which the map of differences is a mean, mm.
const pictured = 1.0

// picture fills in the map and how much of the master the sample shows.
func (c *calibration) picture(ctx context.Context, r *found, t *target, all []reading) error {
	var err error
	r.left, err = c.relief.over(ctx, t, all, func(a *reading) float64 { off, _ := c.beyond(t, a); return off }, pictured)
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
