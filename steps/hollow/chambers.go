package hollow

import (
	"cmp"
	"context"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// chamber is a void that hangs together: what the liquid fills once the vinyl
// has built up to the wall.
type chamber struct {
	volume float64 // mm³
	open   bool    // it reaches the opening
	at     int32   // its deepest cube
	deep   float64 // how deep that lies below the skin, mm
	mid    geom.Vec
	throat throat // for what is not open: where it was parted from the opening
}

// throat is the narrowest place of the widest way from a chamber out.
type throat struct {
	found bool
	at    geom.Vec
	wide  float64 // the part's clear width there, mm: twice the depth
}

// chambers finds what is left hollow with the given wall, the largest first.
// of names the chamber of each cube, or none.
func (d *depth) chambers(ctx context.Context, wall float64) (all []chamber, of []int32, err error) {
	of, n := d.connected(func(i int32) bool { return float64(d.at[i]) > wall })
	if ctx.Err() != nil {
		return nil, nil, context.Cause(ctx)
	}
	all = make([]chamber, n)
	around, layer := d.around(), d.nx*d.ny
	for i, deep := range d.at {
		if i%layer == 0 && ctx.Err() != nil {
			return nil, nil, context.Cause(ctx)
		}
		share := d.share(deep, wall)
		if deep < 0 || share == 0 {
			continue
		}
		k := of[i]
		if k == none {
			k = d.deepestAround(int32(i), around, of)
		}
		if k == none {
			continue
		}
		c := &all[k]
		c.volume += share
		c.mid = c.mid.Add(d.centre(int32(i)).Mul(share))
		if float64(deep) > c.deep {
			c.deep, c.at = float64(deep), int32(i)
		}
		c.open = c.open || of[i] != none && i/layer == d.open
	}
	order := make([]int32, n)
	for k := range all {
		order[k] = int32(k)
		all[k].mid = all[k].mid.Mul(1 / all[k].volume)
		all[k].volume *= d.h * d.h * d.h
	}
	slices.SortStableFunc(order, func(a, b int32) int { return cmp.Compare(all[b].volume, all[a].volume) })
	place, sorted := make([]int32, n), make([]chamber, n)
	for i, k := range order {
		place[k], sorted[i] = int32(i), all[k]
	}
	for i, k := range of {
		if k != none {
			of[i] = place[k]
		}
	}
	return sorted, of, nil
}

// deepestAround returns the chamber of the deepest neighbour that is of one.
func (d *depth) deepestAround(i int32, around, of []int32) int32 {
	best, deep := int32(none), float32(0)
	for _, s := range around {
		if of[i+s] != none && d.at[i+s] > deep {
			best, deep = of[i+s], d.at[i+s]
		}
	}
	return best
}

// connected numbers the cubes that hold into pieces, joined through faces.
func (g grid) connected(holds func(i int32) bool) (of []int32, n int) {
	of = make([]int32, g.len())
	var sets geom.Sets
	for i := range of {
		of[i] = none
		if !holds(int32(i)) {
			continue
		}
		for _, s := range [3]int{1, g.nx, g.nx * g.ny} { // back along each axis
			switch {
			case i < s || of[i-s] == none:
			case of[i] == none:
				of[i] = of[i-s]
			default:
				sets.Join(of[i], of[i-s])
			}
		}
		if of[i] == none {
			of[i] = int32(len(sets))
			sets = append(sets, of[i])
		}
	}
	number, n := sets.Number()
	for i, k := range of {
		if k != none {
			of[i] = number[k]
		}
	}
	return of, n
}

// throats finds for each chamber that is not open where it parted from the
// opening: cubes are flooded from the deepest up until it meets the open way.
// What meets it is the mountain pass of the depth, found to a cube and then
// settled between middles. Chambers under least mm³ are left unsettled.
func (d *depth) throats(ctx context.Context, all []chamber, of []int32, wall, least float64) error {
	f := flood{d: d, all: all, set: geom.NewSets(len(all) + 1), of: slices.Clone(of), out: int32(len(all))}
	f.met = make([]bool, len(all)+1)
	for k, c := range all {
		if c.open {
			f.set.Join(int32(k), f.out)
			f.met[k] = true
		}
	}
	for n, i := range d.descending(wall) {
		if n%100_000 == 0 && ctx.Err() != nil {
			return context.Cause(ctx)
		}
		f.reach(i)
	}
	for k := range all {
		if t := &all[k].throat; t.found && all[k].volume >= least {
			t.at, t.wide = d.pass(t.at, d.way(t.at))
		}
	}
	return nil
}

// descending returns the cubes of the part no deeper than wall, deepest first,
// in as many steps as levels.
func (d *depth) descending(wall float64) []int32 {
	const levels = 4096
	level := func(deep float32) int { return levels - 1 - int(float64(deep)/wall*(levels-1)) }
	var first [levels + 1]int
	for _, deep := range d.at {
		if deep >= 0 && float64(deep) <= wall {
			first[level(deep)+1]++
		}
	}
	for l := range levels {
		first[l+1] += first[l]
	}
	out := make([]int32, first[levels])
	for i, deep := range d.at {
		if deep >= 0 && float64(deep) <= wall {
			l := level(deep)
			out[first[l]] = int32(i)
			first[l]++
		}
	}
	return out
}

// flood joins chambers in falling order of depth.
type flood struct {
	d   *depth
	all []chamber
	set geom.Sets
	of  []int32 // chamber of each cube reached, or none
	out int32   // the set of what is open
	met []bool  // chambers that have met it
}

// reach takes cube i, as deep as none left.
func (f *flood) reach(i int32) {
	for _, s := range f.d.sides() {
		k := f.of[i+s]
		if k == none {
			continue
		}
		if f.of[i] == none {
			f.of[i] = k
			continue
		}
		f.join(f.of[i], k, i)
	}
	if f.of[i] == none { // as deep as any round it: a chamber of its own, too shallow to be hollow
		f.of[i] = int32(len(f.set))
		f.set = append(f.set, f.of[i])
	}
	if int(i)/(f.d.nx*f.d.ny) == f.d.open {
		f.join(f.of[i], f.out, i)
	}
}

// join makes the sets of a and b one; a chamber that meets the open way by it
// has its throat at cube i.
func (f *flood) join(a, b, i int32) {
	a, b = f.lead(a), f.lead(b)
	if a == b {
		return
	}
	out := f.lead(f.out)
	if a == out || b == out {
		for k := range f.all {
			if l := f.lead(int32(k)); !f.met[k] && (l == a || l == b) {
				f.met[k] = true
				f.all[k].throat = throat{found: true, at: f.d.centre(i)}
			}
		}
	}
	f.set.Join(a, b)
}

func (f *flood) lead(k int32) int32 {
	for f.set[k] != k {
		f.set[k] = f.set[f.set[k]]
		k = f.set[k]
	}
	return k
}

// way returns the direction of the widest way through a mountain pass near p:
// that in which the cubes about as deep or deeper spread most.
func (d *depth) way(p geom.Vec) geom.Vec {
	const reach = 5
	var deep []geom.Vec
	limit := float64(d.at[d.of(p)]) - float64(0.15*d.h)
	for z := -reach; z <= reach; z++ {
		for y := -reach; y <= reach; y++ {
			for x := -reach; x <= reach; x++ {
				q := geom.Vec{X: float64(x), Y: float64(y), Z: float64(z)}
				at := p.Add(q.Mul(d.h))
				if q.Len2() <= reach*reach && float64(d.at[d.of(at)]) >= limit {
					deep = append(deep, at)
				}
			}
		}
	}
	var m geom.Mat
	for _, v := range deep {
		q := v.Sub(p)
		for i, a := range [3]float64{q.X, q.Y, q.Z} {
			for k, b := range [3]float64{q.X, q.Y, q.Z} {
				m[i][k] += float64(a * b)
			}
		}
	}
	_, axes := geom.Eigen3(m)
	return axes[2]
}

// pass settles a mountain pass of the depth near p: square to along as deep as
// can be, along it as shallow as can be.
func (d *depth) pass(p, along geom.Vec) (geom.Vec, float64) {
	best, least := d.climb(p, along)
	for step := d.h; step > d.h/50; step /= 2 {
		for moved := true; moved; {
			moved = false
			for _, s := range [2]float64{step, -step} {
				if q, deep := d.climb(best.Add(along.Mul(s)), along); deep < least-1e-6 && q.Sub(p).Len() < 4*d.h {
					best, least, moved = q, deep, true
				}
			}
		}
	}
	return best, 2 * math.Abs(least)
}
