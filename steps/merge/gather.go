package merge

import (
	"math"

	"layette/steps/internal/geom"
)

// gather puts those patches together that lie in one cell of the picture, fine mm
// wide, on the same skin, and makes the picture one of what came of them. Where
// points stand at 0.16 mm and edges of the surface are 0.4 mm long, more than half
// of the work falls away; of a skin that bends with a radius of 3 mm the means lie
// 0.002 mm inside.
func (v *view) gather(fine float64) {
	coarser := max(1, fine/v.spacing)
	across := max(fine/2, 4*v.noise)
	if !(v.noise > 0) {
		across = fine / 2
	}
	var out []patch
	var sums []gathered
	w := v.picture
	for c := range w.nx * w.ny {
		sums = sums[:0]
		for _, p := range v.patches[w.first[c]:w.first[c+1]] {
			sums = put(sums, p, across, 2*coarser)
		}
		w.first[c] = int32(len(out))
		for i := range sums {
			out = append(out, sums[i].mean(coarser))
		}
	}
	w.first[w.nx*w.ny] = int32(len(out))
	v.patches, v.spacing = out, v.spacing*coarser
}

// gathered sums patches of one skin.
type gathered struct {
	from         patch    // the first of them
	at, up       geom.Vec // sums, places counted from the first
	weight, wide float64  // sums
	many         float64
}

// put adds p to the one of sums whose skin it lies on, no more than so many mm
// across and so many times its width along the skin off, or else begins another.
func put(sums []gathered, p patch, across, along float64) []gathered {
	up := p.up.Vec()
	for i := range sums {
		g := &sums[i]
		d := p.at.Vec().Sub(g.from.at.Vec())
		if up.Dot(g.from.up.Vec()) > 0.7 && math.Abs(d.Dot(up)) < across && d.Len() < along*float64(p.wide) {
			g.add(p, d)
			return sums
		}
	}
	g := gathered{from: p}
	g.add(p, geom.Vec{})
	return append(sums, g)
}

func (g *gathered) add(p patch, d geom.Vec) {
	g.at, g.up = g.at.Add(d), g.up.Add(p.up.Vec())
	g.weight, g.wide, g.many = g.weight+float64(p.weight), g.wide+float64(p.wide), g.many+float64(p.many)
}

func (g *gathered) mean(coarser float64) patch {
	per := 1 / g.many
	return patch{
		at: g.from.at.Vec().Add(g.at.Mul(per)).Point(), up: g.up.Unit().Point(),
		weight: float32(g.weight * per), wide: float32(g.wide * per * coarser), many: float32(g.many),
	}
}
