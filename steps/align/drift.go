package align

import (
	"math"

	"layette/steps/internal/geom"
)

// Rules for what distances have in common. In seeded sessions of heads and a hand
// those that were the first to be placed falsely, 130 to 180 degrees from their place
// on smooth skin, came to 4.4 to 6.9 mm, whatever else spoke for them; of 160 right
// ones nine in ten came to 1.6 mm when they were placed, and none of 150 to more than
// 1.8 mm once all had settled. Common practice has no numbers for them.
const (
	mostDrift  = 2.5 // mm
	driftPatch = 4   // spacings across
	driftAsked = 600 // points
	driftNear  = 14  // neighbours
)

// drift is how far the scan would have to slide, the way it is held least, for
// what its distances to its neighbours have in common from place to place, mm.
// Where it belongs they differ by noise, which knows nothing of places; on skin of
// almost the same shape they go up and down in broad waves, however small. The
// part of their variance that lies between patches of the skin, beyond what noise
// leaves of so many points, is that of an analysis of variance one way (R. A.
// Fisher, Statistical Methods for Research Workers, 1925; from memory).
func (g *group) drift(p *place, near []int) float64 {
	var v variance
	for _, o := range near[:min(len(near), driftNear)] {
		v.patches = make(map[[3]int32]int)
		g.deviations(p, o, func(at geom.Point, off float64) {
			q := driftPatch * g.s.spacing
			v.add([3]int32{int32(math.Floor(float64(at[0]) / q)), int32(math.Floor(float64(at[1]) / q)), int32(math.Floor(float64(at[2]) / q))}, off)
		})
	}
	return math.Sqrt(v.between() / max(p.firm, 1e-9))
}

// deviations calls f with points of a scan that lie over member o, and how far above
// its skin they lie there, mm; what does not lie on it counts as just not.
func (g *group) deviations(p *place, o int, f func(at geom.Point, off float64)) {
	a, b := g.s.scans[p.scan].view, g.s.scans[o].view
	pose, limit := p.at.Then(g.at[o].Inverse()), g.s.within(p.scan, o)
	for k := 0; k < len(a.Points); k += 1 + len(a.Points)/driftAsked {
		if off, over := a.Above(b, k, pose); over {
			f(a.Points[k], min(max(off, -limit), limit))
		}
	}
}

// variance gathers deviations by patch.
type variance struct {
	patches map[[3]int32]int // of the neighbour that is looked at
	n, sum  []float64        // by patch
	square  float64
	all     float64
}

func (v *variance) add(patch [3]int32, x float64) {
	k, ok := v.patches[patch]
	if !ok {
		k = len(v.n)
		v.patches[patch] = k
		v.n, v.sum = append(v.n, 0), append(v.sum, 0)
	}
	v.n[k]++
	v.sum[k] += x
	v.square += float64(x * x)
	v.all++
}

// between returns the part of the variance that lies between patches, mm².
func (v *variance) between() float64 {
	groups := float64(len(v.n))
	if v.all <= groups {
		return 0
	}
	between := 0.0
	for k, s := range v.sum {
		between += float64(s*s) / v.n[k]
	}
	within := (v.square - between) / (v.all - groups)
	return max(0, (between-float64(groups*within))/v.all)
}
