package specimen

import "layette/steps/internal/geom"

// between returns the exact distance of two tapers, mm, negative if they
// overlap, and the two nearest points on their skins. The distance is the
// least over balls of both of (distance of centres - radii), which is convex
// in the two places along them, so nested golden sections find it to 1e-9 mm.
func between(a, b *cone) (float64, geom.Vec, geom.Vec) {
	gap := func(s, t float64) float64 {
		return a.centre(s).Sub(b.centre(t)).Len() - a.radius(s) - b.radius(t)
	}
	inner := func(s float64) float64 { return least(func(t float64) float64 { return gap(s, t) }) }
	s := least(inner)
	t := inner(s)
	p, q := a.centre(s), b.centre(t)
	n := q.Sub(p).Unit()
	return gap(s, t), p.Add(n.Mul(a.radius(s))), q.Sub(n.Mul(b.radius(t)))
}

func (k *cone) centre(s float64) geom.Vec { return k.a.Add(k.u.Mul(float64(s * k.l))) }
func (k *cone) radius(s float64) float64  { return k.ra + float64(s*(k.rb-k.ra)) }

// least returns where in [0, 1] the convex f is least.
func least(f func(float64) float64) float64 {
	const g = 0.6180339887498949
	lo, hi := 0.0, 1.0
	x, y := 1-g, g
	fx, fy := f(x), f(y)
	for range 50 {
		if fx <= fy {
			hi, y, fy = y, x, fx
			x = hi - float64(g*(hi-lo))
			fx = f(x)
		} else {
			lo, x, fx = x, y, fy
			y = lo + float64(g*(hi-lo))
			fy = f(y)
		}
	}
	return (lo + hi) / 2
}

// closest returns the place on the skin of f nearest to p, searched from start
// downhill: exact if the skin between does not bend away more than p's
// distance allows.
func closest(f Field, p, start geom.Vec) geom.Vec {
	q := toward(f, start)
	for range 60 {
		_, g := f.At(q)
		n := g.Unit()
		w := p.Sub(q)
		side := w.Sub(n.Mul(w.Dot(n)))
		if side.Len2() < 1e-20 {
			break
		}
		if l := side.Len(); l > 1 {
			side = side.Mul(1 / l)
		}
		q = toward(f, q.Add(side))
	}
	return q
}

// facing returns the least distance between two stretches of the skin of f
// that face each other over air, from the guesses p and q on, and where.
func facing(f Field, p, q geom.Vec) (float64, geom.Vec, geom.Vec) { return apart(f, f, p, q) }

// apart returns the least distance near p and q between the skin of f and that
// of g: each point is moved to the place nearest to the other until neither
// moves.
func apart(f, g Field, p, q geom.Vec) (float64, geom.Vec, geom.Vec) {
	p, q = toward(f, p), toward(g, q)
	for range 400 {
		d := p.Sub(q).Len2()
		p = closest(f, q, p)
		q = closest(g, p, q)
		if e := d - p.Sub(q).Len2(); e < 1e-13 && e > -1e-13 {
			break
		}
	}
	return p.Sub(q).Len(), p, q
}
