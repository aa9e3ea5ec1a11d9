package specimen

import (
	"math"

	"layette/steps/internal/geom"
)

// A Field is an exact implicit solid: negative inside, positive outside, zero
// on the skin. Near the skin its value is close to the distance in mm, and its
// gradient is exact (by the chain rule, not by differences) and never zero.
// Fields are not changed once built and may be used by several goroutines.
type Field interface {
	// At returns the value at p, mm, and the gradient there.
	At(p geom.Vec) (float64, geom.Vec)
	// Range returns bounds of the value over the ball of radius r about c.
	Range(c geom.Vec, r float64) (lo, hi float64)
	// Within returns a field that has the same bits as this one everywhere in
	// the ball of radius r about c and costs less there.
	Within(c geom.Vec, r float64) Field
	// Bounds returns a box that holds all of the solid.
	Bounds() geom.Box
}

// slack widens every comparison of bounds, mm: far above the rounding of a
// field (1e-13 mm at 1 m) and far below anything that matters.
const slack = 1e-9

// blend is the smooth least of a and b over width k: exactly the lesser one
// where they differ by k or more, so that what is far away has no influence at
// all. wb is the share of b in the gradient.
//
// Source: the quadratic smooth minimum in common use for implicit modelling
// (from memory).
func blend(a, b, k float64) (d, wb float64) {
	gap := b - a
	switch {
	case gap >= k:
		return a, 0
	case -gap >= k:
		return b, 1
	case gap >= 0:
		h := (k - gap) / k
		return a - float64(h*h)*k/4, h / 2
	}
	h := (k + gap) / k
	return b - float64(h*h)*k/4, 1 - h/2
}

func mix(a, b geom.Vec, wb float64) geom.Vec {
	switch wb {
	case 0:
		return a
	case 1:
		return b
	}
	return a.Mul(1 - wb).Add(b.Mul(wb))
}

// A union joins solids one after the other, rounding the seam over k mm.
type union struct {
	k   float64
	of  []Field
	box geom.Box
}

// join returns the union of solids with seams rounded over k mm (0: sharp).
func join(k float64, of ...Field) Field {
	if len(of) == 1 {
		return of[0]
	}
	box := geom.EmptyBox()
	for _, f := range of {
		b := f.Bounds()
		box = box.Include(b.Min).Include(b.Max)
	}
	return &union{k: k, of: of, box: grow(box, k)}
}

func (u *union) At(p geom.Vec) (float64, geom.Vec) {
	d, g := u.of[0].At(p)
	for _, f := range u.of[1:] {
		e, ge := f.At(p)
		var w float64
		d, w = blend(d, e, u.k)
		g = mix(g, ge, w)
	}
	return d, g
}

func (u *union) Range(c geom.Vec, r float64) (lo, hi float64) {
	lo, hi = u.of[0].Range(c, r)
	for _, f := range u.of[1:] {
		l, h := f.Range(c, r)
		lo, _ = blend(lo, l, u.k)
		hi, _ = blend(hi, h, u.k)
	}
	return lo, hi
}

// Within drops a solid that is too far to touch the sum before it, and all
// before one that is nearer by more than k throughout.
func (u *union) Within(c geom.Vec, r float64) Field {
	keep := make([]Field, 0, len(u.of))
	var lo, hi float64
	for i, f := range u.of {
		l, h := f.Range(c, r)
		switch {
		case i == 0:
			lo, hi = l, h
			keep = append(keep, f.Within(c, r))
			continue
		case l > hi+u.k+slack:
			continue
		case lo > h+u.k+slack:
			keep = keep[:0]
			lo, hi = l, h
		default:
			lo, _ = blend(lo, l, u.k)
			hi, _ = blend(hi, h, u.k)
		}
		keep = append(keep, f.Within(c, r))
	}
	if len(keep) == 1 {
		return keep[0]
	}
	return &union{k: u.k, of: keep, box: u.box}
}

func (u *union) Bounds() geom.Box { return u.box }

// outside is everything that a solid is not. Its box is that of what it is
// used for.
type outside struct {
	f   Field
	box geom.Box
}

func (o outside) At(p geom.Vec) (float64, geom.Vec) {
	d, g := o.f.At(p)
	return -d, g.Mul(-1)
}

func (o outside) Range(c geom.Vec, r float64) (lo, hi float64) {
	lo, hi = o.f.Range(c, r)
	return -hi, -lo
}

func (o outside) Within(c geom.Vec, r float64) Field { return outside{o.f.Within(c, r), o.box} }
func (o outside) Bounds() geom.Box                   { return o.box }

// carve takes tools out of a solid, rounding the rims over k mm.
func carve(from Field, k float64, tools ...Field) Field {
	box := from.Bounds()
	return outside{join(k, append([]Field{outside{from, box}}, tools...)...), box}
}

// meet returns what solids have in common, its edges rounded over k mm.
func meet(k float64, of ...Field) Field {
	box := of[0].Bounds()
	rest := make([]Field, len(of))
	for i, f := range of {
		rest[i] = outside{f, box}
	}
	return outside{join(k, rest...), box}
}

func grow(b geom.Box, by float64) geom.Box {
	v := geom.Vec{X: by, Y: by, Z: by}
	return geom.Box{Min: b.Min.Sub(v), Max: b.Max.Add(v)}
}

// toward moves p onto the skin of f along the gradient, by Newton's method.
// It returns the point reached; a start within a few mm of the skin ends
// within 1e-9 mm of it.
func toward(f Field, p geom.Vec) geom.Vec {
	for range 12 {
		d, g := f.At(p)
		l := g.Len2()
		if math.Abs(d) < 1e-10 || l < 1e-12 {
			break
		}
		p = p.Sub(g.Mul(d / l))
	}
	return p
}
