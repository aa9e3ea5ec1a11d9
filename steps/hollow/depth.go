package hollow

import (
	"context"
	"math"

	"layette/steps/internal/geom"
)

// depth is how deep the cubes of a part lie below its skin, mm; the opening is
// not skin, for no vinyl builds there. Outside the part it is -1.
//
// It is exact at the middle of every cube of a band of depths, and right to
// about one cube elsewhere.
type depth struct {
	grid
	skin *geom.Tree
	at   []float32
}

// newDepth measures the part in, exactly from one depth to another: skin is its
// surface without the opening.
func newDepth(ctx context.Context, g grid, in []bool, skin *geom.Tree, from, to float64, workers int) (*depth, error) {
	d := &depth{grid: g, skin: skin, at: make([]float32, g.len())}
	onSkin := make([]bool, g.len())
	g.mark(onSkin, skin.Mesh())
	near, err := g.nearest(ctx, func(i int32) bool { return onSkin[i] }, workers)
	if err != nil {
		return nil, err
	}
	err = each(ctx, g.nz, workers, func(z int) {
		for i := z * g.nx * g.ny; i < (z+1)*g.nx*g.ny; i++ {
			d.at[i] = -1
			if in[i] {
				d.at[i] = float32(g.h * math.Sqrt(float64(near.far2[i])))
			}
		}
	})
	if err != nil {
		return nil, err
	}
	return d, d.refine(ctx, from-float64(slack*g.h), to+float64(slack*g.h), workers)
}

// mark marks the cubes that the skin passes, leaving out at most some that it
// passes through a corner of.
func (g grid) mark(on []bool, m *geom.Mesh) {
	for t := range m.Tris {
		a, b, c := m.Corners(t)
		u, v := b.Sub(a), c.Sub(a)
		n := int(2*math.Sqrt(max(u.Len2(), v.Len2(), c.Sub(b).Len2()))/g.h) + 1
		for i := range n + 1 {
			for k := range n + 1 - i {
				on[g.of(a.Add(u.Mul(float64(i)/float64(n))).Add(v.Mul(float64(k)/float64(n))))] = true
			}
		}
	}
}

// slack is how far, in cubes, the distance between middles of cubes may be
// from the depth: half a cube's diagonal and the skin that mark leaves out.
const slack = 1.5

// refine replaces depths between low and high by exact ones, row by row.
func (d *depth) refine(ctx context.Context, low, high float64, workers int) error {
	return each(ctx, d.nz*d.ny, workers, func(k int) {
		first := int32(k * d.nx)
		row := d.at[first:][:d.nx]
		var last geom.Hit // of the cube before: what lies there bounds the next
		for x, deep := range row {
			if deep < 0 || float64(deep) < low || float64(deep) > high {
				last.Tri = -1
				continue
			}
			c := d.centre(first + int32(x))
			reach := math.Inf(1)
			if x > 0 && last.Tri >= 0 {
				reach = float64(c.Sub(last.Point).Len()*(1+1e-9)) + 1e-9
			}
			last, _ = d.skin.Closest(c, reach)
			row[x] = float32(math.Sqrt(last.Dist2))
		}
	})
}

// below returns how deep p lies below the skin; p must be inside the part.
func (d *depth) below(p geom.Vec) float64 {
	hit, ok := d.skin.Closest(p, math.Inf(1))
	if !ok {
		return 0
	}
	return math.Sqrt(hit.Dist2)
}

// share returns how much of a cube whose middle lies deep below the skin lies
// deeper than wall. Summed over a stretch of skin it gives the exact volume
// where the skin is flat, whichever way it lies.
func (d *depth) share(deep float32, wall float64) float64 {
	return min(max((float64(deep)-wall)/d.h+0.5, 0), 1)
}

// climb moves from p to the place that lies deepest nearby, within a plane
// with the given normal, or in all directions if the normal is zero: no farther
// than three cubes, and not out through the opening.
func (d *depth) climb(p, normal geom.Vec) (geom.Vec, float64) {
	axes := []geom.Vec{{X: 1}, {Y: 1}, {Z: 1}}
	if normal != (geom.Vec{}) {
		u := across(normal)
		axes = []geom.Vec{u, normal.Cross(u)}
	}
	best, start := d.below(p), p
	reach2 := float64(9 * d.h * d.h)
	for step := d.h; step > d.h/500; step /= 2 {
		for moved := true; moved; {
			moved = false
			for _, a := range axes {
				for _, s := range [2]float64{step, -step} {
					q := p.Add(a.Mul(s))
					if q.Sub(start).Len2() > reach2 || d.open >= 0 && q.Z < 0 {
						continue
					}
					if deep := d.below(q); deep > best+1e-9 {
						p, best, moved = q, deep, true
					}
				}
			}
		}
	}
	return p, best
}

// across returns a unit direction square to n.
func across(n geom.Vec) geom.Vec {
	a := geom.Vec{X: 1}
	if math.Abs(n.X) > 0.7 {
		a = geom.Vec{Y: 1}
	}
	return n.Cross(a).Unit()
}
