package gaps

import "math"

// A finger that curls over the palm comes to lie along it and then meets it at
// its root; two that are splayed open all the way up from their web. Both have
// walls that only come nearer until they meet, and both have flanks that open
// to all sides, as round limbs do. They differ along the way down between them:
// where walls lie along one another for most of it, they are those of a gap, as
// wide as they lie there; where they open for most of it, those of a V.

// valley is the way down between two walls that meet: how wide the air is at
// least, mm, by the way along the skin from wall to wall round the bottom, a
// cell apart; infinite where there is none. A place counts for all that lie
// deeper, so that widths only rise.
type valley struct {
	cell  float64
	wide  []float64
	floor int // the first that is clear of the bottom by the width
}

// valleyOf follows the members of a V up to where they open by over 30 degrees.
func (l *look) valleyOf(members []int32) valley {
	v := valley{cell: l.cell(), wide: infinite(int(l.farthest()/l.cell()) + 1)}
	for _, i := range members {
		if k := float64(l.along[i]) / v.cell; k < float64(len(v.wide)) && l.air[i].Turn < steep {
			v.wide[int(k)] = min(v.wide[int(k)], 2*float64(l.air[i].Radius))
		}
	}
	for k := len(v.wide) - 1; k > 0; k-- {
		v.wide[k-1] = min(v.wide[k-1], v.wide[k])
	}
	for v.floor < len(v.wide) && float64(v.floor)*v.cell < 3*v.wide[v.floor]+v.cell {
		v.floor++
	}
	return v
}

// landing reports whether the walls of the valley lie along one another over
// more of the way than they open, and from where on, by the way round the
// bottom, they do so best. They lie along one another where over a stretch as
// long as wide they open by under 3 degrees.
func (v valley) landing() (from float64, lies bool) {
	flat, reach, best := 0, v.floor, math.Inf(1)
	last := v.floor
	for k := v.floor; k < len(v.wide) && !math.IsInf(v.wide[k], 1); k++ {
		last = k
		end := k + max(3, int(math.Ceil(2*v.wide[k]/v.cell))) // along both walls
		if end >= len(v.wide) || math.IsInf(v.wide[end], 1) {
			continue
		}
		opens := (v.wide[end] - v.wide[k]) / (float64(end-k) * v.cell)
		if opens < lying {
			flat += end - max(k, reach)
			reach = end
		}
		if opens = round(opens, 0.01); opens < best { // the deepest of those that lie alike
			from, best = float64(k+1)*v.cell, opens // a cell on: triangles reach back
		}
	}
	return from, 2*flat > last-v.floor
}

// lying is the tangent of half the opening angle, 3 degrees, under which walls
// lie along one another.
const lying = 0.0262
