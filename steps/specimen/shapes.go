package specimen

import (
	"math"

	"layette/steps/internal/geom"
)

// A cone is the hull of two balls: a finger bone with its flesh, an arm.
// Neither ball may hold the other.
type cone struct {
	a, u   geom.Vec // centre of the first ball; direction to the second
	l      float64  // distance of the centres
	ra, rb float64
	s, c   float64 // sine and cosine of the half angle
}

// taper returns the hull of the ball of radius ra about a and that of radius
// rb about b, mm. Its field is the exact distance.
func taper(a, b geom.Vec, ra, rb float64) *cone {
	ab := b.Sub(a)
	l := ab.Len()
	if l <= math.Abs(ra-rb) { // one holds the other: the larger ball
		if rb > ra {
			a, ra = b, rb
		}
		return &cone{a: a, u: geom.Vec{Z: 1}, l: 0, ra: ra, rb: ra, c: 1}
	}
	s := (ra - rb) / l
	return &cone{a: a, u: ab.Mul(1 / l), l: l, ra: ra, rb: rb, s: s, c: math.Sqrt(1 - float64(s*s))}
}

func ball(c geom.Vec, r float64) *cone { return taper(c, c, r, r) }

func (k *cone) end() geom.Vec { return k.a.Add(k.u.Mul(k.l)) }

func (k *cone) At(p geom.Vec) (float64, geom.Vec) {
	pa := p.Sub(k.a)
	y := pa.Dot(k.u)
	w := pa.Sub(k.u.Mul(y))
	q := w.Len()
	t := y - float64(q*k.s)/k.c
	switch {
	case t <= 0:
		return fromPoint(pa, k.ra)
	case t >= k.l:
		return fromPoint(p.Sub(k.end()), k.rb)
	}
	d := float64(q*k.c) + float64(y*k.s) - k.ra
	if q == 0 {
		return d, k.u
	}
	return d, w.Mul(k.c / q).Add(k.u.Mul(k.s))
}

func fromPoint(v geom.Vec, r float64) (float64, geom.Vec) {
	l := v.Len()
	if l == 0 {
		return -r, geom.Vec{Z: 1}
	}
	return l - r, v.Mul(1 / l)
}

func (k *cone) Range(c geom.Vec, r float64) (lo, hi float64) {
	d, _ := k.At(c)
	return d - r, d + r
}

func (k *cone) Within(geom.Vec, float64) Field { return k }

func (k *cone) Bounds() geom.Box {
	a := grow(geom.EmptyBox().Include(k.a), k.ra)
	b := grow(geom.EmptyBox().Include(k.end()), k.rb)
	return a.Include(b.Min).Include(b.Max)
}

// An egg is an ellipsoid in a frame.
type egg struct {
	c        geom.Vec
	e        [3]geom.Vec // unit axes
	r        [3]float64  // half axes, mm
	rlo, rhi float64
}

// egg3 returns the ellipsoid with half axes r along the frame's axes. Its
// value q(q-1)/|grad q|, with q the scaled length of p, is the distance to
// first order at the skin and lies between (q-1) times the least and the
// greatest half axis everywhere.
func egg3(f Frame, r geom.Vec) *egg {
	return &egg{
		c: f.O, e: [3]geom.Vec{f.X, f.Y, f.Z}, r: [3]float64{r.X, r.Y, r.Z},
		rlo: min(r.X, r.Y, r.Z), rhi: max(r.X, r.Y, r.Z),
	}
}

func (g *egg) At(p geom.Vec) (float64, geom.Vec) {
	v := p.Sub(g.c)
	var k0, k1 float64
	var a, b [3]float64 // coordinates over r² and over r⁴
	for i := range 3 {
		x := v.Dot(g.e[i])
		q := x / g.r[i]
		a[i] = q / g.r[i]
		b[i] = a[i] / float64(g.r[i]*g.r[i])
		k0 += float64(q * q)
		k1 += float64(a[i] * a[i])
	}
	k0, k1 = math.Sqrt(k0), math.Sqrt(k1)
	if k1 == 0 {
		return -g.rlo, geom.Vec{Z: 1}
	}
	d := k0 * (k0 - 1) / k1
	// grad k0 = a/k0, grad k1 = b/k1.
	f0 := (2*k0 - 1) / (k1 * k0)
	f1 := d / float64(k1*k1)
	var n geom.Vec
	for i := range 3 {
		n = n.Add(g.e[i].Mul(float64(f0*a[i]) - float64(f1*b[i])))
	}
	return d, n
}

func (g *egg) Range(c geom.Vec, r float64) (lo, hi float64) {
	v := c.Sub(g.c)
	var q2 float64
	for i := range 3 {
		q := v.Dot(g.e[i]) / g.r[i]
		q2 += float64(q * q)
	}
	q := math.Sqrt(q2)
	lo, hi = max(q-r/g.rlo, 0)-1, q+r/g.rlo-1
	return min(lo*g.rlo, lo*g.rhi), max(hi*g.rlo, hi*g.rhi)
}

func (g *egg) Within(geom.Vec, float64) Field { return g }

func (g *egg) Bounds() geom.Box { return grow(geom.EmptyBox().Include(g.c), g.rhi) }

const far = 1e9 // mm, beyond every solid

// A ring is a torus: a tube of radius r about a circle of radius R.
type ring struct {
	c, n geom.Vec
	R, r float64
}

func (t *ring) At(p geom.Vec) (float64, geom.Vec) {
	v := p.Sub(t.c)
	z := v.Dot(t.n)
	w := v.Sub(t.n.Mul(z))
	q := w.Len()
	if q == 0 {
		w, q = crosswise(t.n), 1
		w, q = w.Mul(1e-12), 1e-12
	}
	x := q - t.R
	l := math.Sqrt(float64(x*x) + float64(z*z))
	if l == 0 {
		return -t.r, t.n
	}
	return l - t.r, w.Mul(x / (q * l)).Add(t.n.Mul(z / l))
}

func (t *ring) Range(c geom.Vec, r float64) (lo, hi float64) {
	d, _ := t.At(c)
	return d - r, d + r
}

func (t *ring) Within(geom.Vec, float64) Field { return t }

func (t *ring) Bounds() geom.Box { return grow(geom.EmptyBox().Include(t.c), t.R+t.r) }

// A halfspace is everything behind the plane through c with outward normal n.
type halfspace struct{ c, n geom.Vec }

func (h halfspace) At(p geom.Vec) (float64, geom.Vec) { return p.Sub(h.c).Dot(h.n), h.n }

func (h halfspace) Range(c geom.Vec, r float64) (lo, hi float64) {
	d := c.Sub(h.c).Dot(h.n)
	return d - r, d + r
}

func (h halfspace) Within(geom.Vec, float64) Field { return h }

func (h halfspace) Bounds() geom.Box {
	return grow(geom.EmptyBox().Include(h.c), far)
}

// mirrored is a solid seen in the mirror x = 0.
type mirrored struct{ f Field }

func flip(v geom.Vec) geom.Vec { return geom.Vec{X: -v.X, Y: v.Y, Z: v.Z} }

func (m mirrored) At(p geom.Vec) (float64, geom.Vec) {
	d, g := m.f.At(flip(p))
	return d, flip(g)
}

func (m mirrored) Range(c geom.Vec, r float64) (lo, hi float64) { return m.f.Range(flip(c), r) }
func (m mirrored) Within(c geom.Vec, r float64) Field           { return mirrored{m.f.Within(flip(c), r)} }

func (m mirrored) Bounds() geom.Box {
	b := m.f.Bounds()
	lo, hi := b.Min.X, b.Max.X
	b.Min.X, b.Max.X = -hi, -lo
	return b
}

// scaled is a solid made s times as large about the origin.
type scaled struct {
	f Field
	s float64
}

func (m scaled) At(p geom.Vec) (float64, geom.Vec) {
	d, g := m.f.At(p.Mul(1 / m.s))
	return d * m.s, g
}

func (m scaled) Range(c geom.Vec, r float64) (lo, hi float64) {
	lo, hi = m.f.Range(c.Mul(1/m.s), r/m.s)
	return lo * m.s, hi * m.s
}

func (m scaled) Within(c geom.Vec, r float64) Field {
	return scaled{m.f.Within(c.Mul(1/m.s), r/m.s), m.s}
}

func (m scaled) Bounds() geom.Box {
	b := m.f.Bounds()
	return geom.Box{Min: b.Min.Mul(m.s), Max: b.Max.Mul(m.s)}
}

// placed is a solid moved and turned by a frame.
type placed struct {
	f  Field
	at Frame
}

func (m placed) At(p geom.Vec) (float64, geom.Vec) {
	d, g := m.f.At(m.at.Local(p))
	return d, m.at.Turn(g)
}

func (m placed) Range(c geom.Vec, r float64) (lo, hi float64) { return m.f.Range(m.at.Local(c), r) }

func (m placed) Within(c geom.Vec, r float64) Field {
	return placed{m.f.Within(m.at.Local(c), r), m.at}
}

func (m placed) Bounds() geom.Box {
	b, out := m.f.Bounds(), geom.EmptyBox()
	for i := range 8 {
		v := b.Min
		if i&1 != 0 {
			v.X = b.Max.X
		}
		if i&2 != 0 {
			v.Y = b.Max.Y
		}
		if i&4 != 0 {
			v.Z = b.Max.Z
		}
		out = out.Include(m.at.World(v))
	}
	return out
}

// stretched is a solid drawn out by factors along x, y, z. Its value is the
// inner one over the length of its gradient, near the distance at the skin.
type stretched struct {
	f Field
	s geom.Vec
}

func (m *stretched) in(p geom.Vec) geom.Vec {
	return geom.Vec{X: p.X / m.s.X, Y: p.Y / m.s.Y, Z: p.Z / m.s.Z}
}

func (m *stretched) At(p geom.Vec) (float64, geom.Vec) {
	d, g := m.f.At(m.in(p))
	return d, m.in(g)
}

func (m *stretched) Range(c geom.Vec, r float64) (lo, hi float64) {
	return m.f.Range(m.in(c), r/min(m.s.X, m.s.Y, m.s.Z))
}

func (m *stretched) Within(c geom.Vec, r float64) Field {
	return &stretched{m.f.Within(m.in(c), r/min(m.s.X, m.s.Y, m.s.Z)), m.s}
}

func (m *stretched) Bounds() geom.Box {
	b := m.f.Bounds()
	out := func(v geom.Vec) geom.Vec { return geom.Vec{X: v.X * m.s.X, Y: v.Y * m.s.Y, Z: v.Z * m.s.Z} }
	return geom.Box{Min: out(b.Min), Max: out(b.Max)}
}
