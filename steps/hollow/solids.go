package hollow

import (
	"cmp"
	"context"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// vinyl tells how far every place of the part lies from the nearest void: over
// sound skin that is the wall, over a solid tip as much as the tip is deep.
type vinyl struct {
	*depth
	wall float64
	near *nearest // to the cubes that are void
	some bool     // there is any void
}

func newVinyl(ctx context.Context, d *depth, of []int32, wall float64, workers int) (*vinyl, error) {
	near, err := d.nearest(ctx, func(i int32) bool { return of[i] != none }, workers)
	v := &vinyl{depth: d, wall: wall, near: near}
	v.some = err == nil && len(near.seed) > 0 && near.seed[0] != none
	return v, err
}

// from returns how far p lies from the void that cube i belongs to: the ball
// about its middle that reaches the vinyl is void, so no farther than to that.
func (v *vinyl) from(p geom.Vec, i int32) float64 {
	return p.Sub(v.centre(i)).Len() - (float64(v.at[i]) - v.wall)
}

// cube returns how far the middle of cube i lies from the void.
func (v *vinyl) cube(i int32) float64 { return v.from(v.centre(i), v.near.seed[i]) }

// place returns how far a place on the skin lies from the void: cubes about
// the nearest one are looked at too.
func (v *vinyl) place(p geom.Vec, around []int32) float64 {
	seed := v.near.seed[v.of(p)]
	best := v.from(p, seed)
	for _, s := range around {
		if i := seed + s; i >= 0 && int(i) < len(v.at) && float64(v.at[i]) > v.wall {
			best = min(best, v.from(p, i))
		}
	}
	return max(best, 0)
}

// skin returns the thickness of vinyl under each vertex of m, mm; without any
// void as much as the part is long.
func (v *vinyl) skin(ctx context.Context, m *geom.Mesh, workers int) ([]float32, error) {
	out := make([]float32, len(m.Verts))
	around := v.around()
	const piece = 4096
	err := each(ctx, (len(out)+piece-1)/piece, workers, func(k int) {
		for i := k * piece; i < min((k+1)*piece, len(out)); i++ {
			if v.some {
				out[i] = float32(v.place(m.Verts[i].Vec(), around))
			} else {
				out[i] = float32(m.Bounds().Size().Len())
			}
		}
	})
	return out, err
}

// lump is vinyl beyond the wall that hangs together: a solid tip, or what
// builds up in an inside corner of the mould.
type lump struct {
	volume float64  // mm³
	at     geom.Vec // on the skin, where it is deepest
	reach  float64  // from there to the void, mm
	mid    geom.Vec
	wide   float64 // thickness of its outer half: twice the greatest depth below the skin there, mm
	inner  int32   // its deepest cube
}

// solid reports whether walls meet in it, rather than build up in a corner.
func (l lump) solid(wall float64) bool { return l.reach >= solidFrom*wall }

// solidFrom is how many walls of vinyl under the skin are no corner any more:
// in a corner of 60 degrees they are two.
const solidFrom = 2

// lumps finds the vinyl that lies farther than the wall from any void, the
// largest first. thick holds the thickness under each vertex of m.
func (v *vinyl) lumps(ctx context.Context, m *geom.Mesh, thick []float32) ([]lump, error) {
	beyond := v.wall + v.h/2
	of, n := v.connected(func(i int32) bool {
		return v.at[i] >= 0 && float64(v.at[i]) <= v.wall && (!v.some || v.cube(i) > beyond)
	})
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	all := make([]lump, n)
	for i, k := range of {
		if k == none {
			continue
		}
		l := &all[k]
		l.volume++
		l.mid = l.mid.Add(v.centre(int32(i)))
		if v.some {
			l.reach = max(l.reach, v.cube(int32(i)))
		}
	}
	v.widest(all, of)
	for k := range all {
		all[k].mid = all[k].mid.Mul(1 / all[k].volume)
		all[k].volume *= v.h * v.h * v.h
	}
	v.tips(all, of, m, thick)
	slices.SortStableFunc(all, func(a, b lump) int { return cmp.Compare(b.volume, a.volume) })
	for k := range all {
		if l := &all[k]; v.some && l.volume >= leastLump {
			l.reach = v.settle(l.at)
		}
		if all[k].solid(v.wall) {
			_, deep := v.climb(v.centre(all[k].inner), geom.Vec{})
			all[k].wide = 2 * deep
		}
	}
	return all, nil
}

// widest finds where each lump is thickest, in the half of it that lies farther
// from the void: at its root every lump is about two walls thick, or as thick as
// the corner that it stands in. It clears reach.
func (v *vinyl) widest(all []lump, of []int32) {
	for i, k := range of {
		if k == none {
			continue
		}
		l := &all[k]
		if v.some && v.cube(int32(i)) < (v.wall+l.reach)/2 {
			continue
		}
		if deep := float64(v.at[i]); deep > l.wide {
			l.wide, l.inner = deep, int32(i)
		}
	}
	for k := range all {
		all[k].reach = 0
	}
}

// settle returns how far p, on the skin, lies from the void: from the nearest
// cube of it on, the place moves towards p as long as it stays in the void.
func (v *vinyl) settle(p geom.Vec) float64 {
	q := v.centre(v.near.seed[v.of(p)])
	best := p.Sub(q).Len()
	for step := v.h; step > v.h/200; step /= 2 {
		for moved := true; moved; {
			moved = false
			for i := range 27 {
				d := geom.Vec{X: float64(i%3 - 1), Y: float64(i/3%3 - 1), Z: float64(i/9 - 1)}
				to := q.Add(d.Unit().Mul(step))
				if far := p.Sub(to).Len(); far < best-1e-9 && v.below(to) >= v.wall {
					q, best, moved = to, far, true
				}
			}
		}
	}
	return best
}

// tips finds where on the skin each lump is deepest.
func (v *vinyl) tips(all []lump, of []int32, m *geom.Mesh, thick []float32) {
	around := v.around()
	for i, p := range m.Verts {
		if float64(thick[i]) <= v.wall {
			continue
		}
		at := v.of(p.Vec())
		k := of[at]
		for j := 0; k == none && j < len(around); j++ {
			if q := at + around[j]; q >= 0 && int(q) < len(of) {
				k = of[q]
			}
		}
		if k != none && float64(thick[i]) > all[k].reach {
			all[k].reach, all[k].at = float64(thick[i]), p.Vec()
		}
	}
	for k := range all {
		if all[k].reach == 0 {
			all[k].at = all[k].mid
		}
	}
}

// held is liquid that cannot run out: a stretch of open void too narrow for it.
type held struct {
	volume float64 // mm³
	at     geom.Vec
	wide   float64 // its greatest clear width, mm
}

// keeps finds the liquid that stays in open voids because a way narrower than
// drain lies between it and the opening, the most first. Within a cube's
// breadth of a way just wide enough nothing is counted.
func (d *depth) keeps(ctx context.Context, all []chamber, of []int32, wall, drain float64, workers int) ([]held, error) {
	inner := wall + drain/2
	wide, n := d.connected(func(i int32) bool { return float64(d.at[i]) > inner && of[i] != none && all[of[i]].open })
	runs, layer := make([]bool, n+1), d.nx*d.ny
	for i, k := range wide {
		if k != none && i/layer == d.open {
			runs[k] = true
		}
	}
	near, err := d.nearest(ctx, func(i int32) bool { return wide[i] != none && runs[wide[i]] }, workers)
	if err != nil {
		return nil, err
	}
	limit := drain/2*math.Sqrt(3) + d.h // a ball that fits a square corner leaves so much of it
	far := int32(limit / d.h * limit / d.h)
	pieces, n := d.connected(func(i int32) bool { return of[i] != none && all[of[i]].open && near.far2[i] > far })
	out := make([]held, n)
	for i, k := range pieces {
		if k == none {
			continue
		}
		h := &out[k]
		h.volume += d.h * d.h * d.h * d.share(d.at[i], wall)
		if w := 2 * (float64(d.at[i]) - wall); w > h.wide {
			h.wide, h.at = w, d.centre(int32(i))
		}
	}
	slices.SortStableFunc(out, func(a, b held) int { return cmp.Compare(b.volume, a.volume) })
	return out, context.Cause(ctx)
}

// clearest returns the greatest clear width of the opening for the liquid, mm.
func (d *depth) clearest(wall float64) float64 {
	best, at := float32(-1), int32(none)
	layer := d.nx * d.ny
	for i := d.open * layer; d.open >= 0 && i < (d.open+1)*layer; i++ {
		if d.at[i] > best {
			best, at = d.at[i], int32(i)
		}
	}
	if at == none {
		return 0
	}
	p := d.centre(at)
	_, deep := d.climb(geom.Vec{X: p.X, Y: p.Y}, geom.Vec{Z: 1})
	return max(0, 2*(deep-math.Abs(wall)))
}
