package specimen

import (
	"context"
	"math"

	"layette/steps/internal/geom"
)

// A quick field answers rays: its box is cut into equal cells, and each cell
// that the skin may pass through keeps the field as it is there.
type quick struct {
	box  geom.Box
	side float64
	n    [3]int
	cell []Field // nil where there is no skin
}

// quickSide is the side of a cell, mm: at 2.5 mm a cell of a hand sees two or
// three of its hundred solids.
const quickSide = 2.5

func quicken(ctx context.Context, f Field, box geom.Box) (*quick, error) {
	q := &quick{box: box, side: quickSide}
	s := box.Size()
	for i, x := range [3]float64{s.X, s.Y, s.Z} {
		q.n[i] = max(1, int(math.Ceil(x/q.side)))
	}
	q.cell = make([]Field, q.n[0]*q.n[1]*q.n[2])
	const block = 8 // cells to a side; pruned once for all of them
	nb := [3]int{(q.n[0] + block - 1) / block, (q.n[1] + block - 1) / block, (q.n[2] + block - 1) / block}
	err := each(ctx, 0, nb[0]*nb[1]*nb[2], func(b int) {
		at := [3]int{block * (b % nb[0]), block * (b / nb[0] % nb[1]), block * (b / nb[0] / nb[1])}
		q.fill(f, at, block)
	})
	return q, err
}

// fill prunes the field for the cells of a cube of n cells, halving it.
func (q *quick) fill(f Field, at [3]int, n int) {
	if at[0] >= q.n[0] || at[1] >= q.n[1] || at[2] >= q.n[2] {
		return
	}
	h := float64(n) * q.side / 2
	c := q.box.Min.Add(geom.Vec{X: float64(at[0]), Y: float64(at[1]), Z: float64(at[2])}.Mul(q.side).Add(v(h, h, h)))
	r := float64(1.7321*h) + 0.05
	if lo, hi := f.Range(c, r); lo > 0 || hi < 0 {
		return
	}
	f = f.Within(c, r)
	if n == 1 {
		q.cell[(at[2]*q.n[1]+at[1])*q.n[0]+at[0]] = f
		return
	}
	for i := range 8 {
		q.fill(f, [3]int{at[0] + n/2*(i&1), at[1] + n/2*(i>>1&1), at[2] + n/2*(i>>2&1)}, n/2)
	}
}

// ray returns where the ray o + t d, d of length one, first meets the skin
// from outside, and the gradient there.
func (q *quick) ray(o, d geom.Vec, tmax float64) (t float64, g geom.Vec, ok bool) {
	t, end, ok := clip(q.box, o, d)
	if !ok {
		return 0, g, false
	}
	end = min(end, tmax)
	var cell, step [3]int
	var next, per [3]float64
	p := o.Add(d.Mul(t)).Sub(q.box.Min)
	ps, ds := [3]float64{p.X, p.Y, p.Z}, [3]float64{d.X, d.Y, d.Z}
	for i := range 3 {
		cell[i] = min(max(int(ps[i]/q.side), 0), q.n[i]-1)
		switch {
		case ds[i] > 0:
			step[i], per[i] = 1, q.side/ds[i]
			next[i] = t + (float64(float64(cell[i]+1)*q.side)-ps[i])/ds[i]
		case ds[i] < 0:
			step[i], per[i] = -1, -q.side/ds[i]
			next[i] = t + (float64(float64(cell[i])*q.side)-ps[i])/ds[i]
		default:
			next[i] = math.Inf(1)
		}
	}
	for t < end {
		axis := 0
		if next[1] < next[axis] {
			axis = 1
		}
		if next[2] < next[axis] {
			axis = 2
		}
		out := min(next[axis], end)
		if f := q.cell[(cell[2]*q.n[1]+cell[1])*q.n[0]+cell[0]]; f != nil {
			if at, g, ok := walk(f, o, d, t, out); ok {
				return at, g, true
			}
		}
		t = out
		next[axis] += per[axis]
		cell[axis] += step[axis]
		if cell[axis] < 0 || cell[axis] >= q.n[axis] {
			break
		}
	}
	return 0, g, false
}

// walk looks for the skin between from and to along a ray: steps of most of
// the value, then false position once the sign has changed.
func walk(f Field, o, d geom.Vec, from, to float64) (float64, geom.Vec, bool) {
	const least = 0.02 // mm: what is thinner may be missed
	t, v := from, 0.0
	for first := true; ; first = false {
		last, was := t, v
		if !first {
			if t >= to {
				return 0, geom.Vec{}, false
			}
			t = min(t+max(0.8*v, least), to)
		}
		v, _ = f.At(o.Add(d.Mul(t)))
		if v > 0 {
			continue
		}
		if first { // it came in from a cell the skin had left: take it here
			last, was = t-least, least
		}
		return settleOn(f, o, d, last, t, was, v)
	}
}

func settleOn(f Field, o, d geom.Vec, lo, hi, dlo, dhi float64) (float64, geom.Vec, bool) {
	t := hi
	var g geom.Vec
	for range 30 {
		t = lo + float64((hi-lo)*(dlo/(dlo-dhi)))
		var v float64
		v, g = f.At(o.Add(d.Mul(t)))
		if math.Abs(v) < 1e-7 {
			break
		}
		if v > 0 {
			lo, dlo, dhi = t, v, dhi/2
		} else {
			hi, dhi, dlo = t, v, dlo/2
		}
	}
	return t, g, true
}

// clip returns the stretch of a ray inside a box.
func clip(b geom.Box, o, d geom.Vec) (from, to float64, ok bool) {
	from, to = 0, math.Inf(1)
	lo, hi := [3]float64{b.Min.X - o.X, b.Min.Y - o.Y, b.Min.Z - o.Z}, [3]float64{b.Max.X - o.X, b.Max.Y - o.Y, b.Max.Z - o.Z}
	for i, x := range [3]float64{d.X, d.Y, d.Z} {
		if x == 0 {
			if lo[i] > 0 || hi[i] < 0 {
				return 0, 0, false
			}
			continue
		}
		a, c := lo[i]/x, hi[i]/x
		from, to = max(from, min(a, c)), min(to, max(a, c))
	}
	return from, to, from < to
}
