package hollow

import (
	"context"
	"math"

	"layette/steps/internal/geom"
)

// depth is how deep the cubes of a part lie below its skin, mm; the opening is
// not skin, for no vinyl builds there. Outside the part it is -1.
//
// It is exact at the middle of every cube less than exact deep, and right to
// about one cube below that.
type depth struct {
	grid
	skin  *geom.Tree
	at    []float32
	exact float64 // mm
}

// newDepth measures the part in: skin is its surface without the opening.
func newDepth(ctx context.Context, g grid, in []bool, skin *geom.Tree, exact float64, workers int) (*depth, error) {
	d := &depth{grid: g, skin: skin, at: make([]float32, g.len()), exact: exact}
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
	return d, d.refine(ctx, workers)
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

// refine replaces depths up to exact by exact ones, layer by layer.
func (d *depth) refine(ctx context.Context, workers int) error {
	layer := d.nx * d.ny
	limit := d.exact + float64(slack*d.h)
	return each(ctx, d.nz*d.ny, workers, func(k int) {
		if ctx.Err() != nil {
			return
		}
		row := d.at[k/d.ny*layer+k%d.ny*d.nx:][:d.nx]
		first := int32(k * d.nx)
		reach := math.Inf(1) // how far the last middle lies, a bound for the next
		for x := range row {
			if row[x] < 0 || float64(row[x]) > limit {
				reach = math.Inf(1)
				continue
			}
			reach = min(reach+float64(1.001*d.h), float64(row[x])+float64(2*slack*d.h))
			hit, ok := d.skin.Closest(d.centre(first+int32(x)), reach)
			if !ok {
				hit, _ = d.skin.Closest(d.centre(first+int32(x)), math.Inf(1))
			}
			reach = math.Sqrt(hit.Dist2)
			row[x] = float32(reach)
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
