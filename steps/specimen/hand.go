package specimen

import (
	"math"

	"layette/steps/internal/geom"
)

// A Hand says how a right hand is held. Its frame: origin at the wrist crease,
// z toward the fingers, x toward the thumb, the palm facing -y. At size 1 it
// is 64 mm from wrist crease to the tip of the middle finger: the mean of term
// newborns (Halder, Dharap and Than, Anthropol. Anz. 57, 1999), 27 mm of them
// finger.
type Hand struct {
	// Gap is the least air between fingers Between and Between+1 (1 index to
	// 4 little), mm: their ends lean toward each other until it is exact. 0
	// leaves the fingers as they fall, in a V from the web between them.
	Gap     float64
	Between int
	// Curl bends each finger (0 thumb to 4 little) at all its joints, degrees
	// in all, on top of a relaxed hand's own.
	Curl [5]float64
	// Over curls that finger (1 index to 4 little) over the palm until the air
	// under it is OverAir mm; 0 curls none.
	Over    int
	OverAir float64
	// Joined fills the space between fingers Joined and Joined+1, 1 to 3.
	Joined int
	// Plain leaves out nails and lines.
	Plain bool
}

// A finger is three tapers in a row from the knuckle, with its frame at the
// knuckle (z along it, palm at -y) and what it looks like.
type finger struct {
	root   Frame
	length [3]float64
	radius [4]float64
	bend   [3]float64 // degrees toward the palm, at each joint
	lean   float64    // degrees toward +x at the middle joint
	bones  [3]*cone
	joint  [4]geom.Vec
	frames [3]Frame
}

func (f *finger) pose() {
	fr := f.root
	for i := range 3 {
		fr = fr.turned(0, f.bend[i])
		if i == 1 {
			fr = fr.turned(1, f.lean)
		}
		f.frames[i], f.joint[i] = fr, fr.O
		next := fr.moved(0, 0, f.length[i])
		f.bones[i] = taper(fr.O, next.O, f.radius[i], f.radius[i+1])
		fr = next
	}
	f.joint[3] = fr.O
}

// flesh returns the finger from bone from on, before bone to, with the pads
// under its joints.
func (f *finger) flesh(from, to int) Field {
	var parts []Field
	for i := from; i < to; i++ {
		mid := f.frames[i].moved(0, -0.16*f.radius[i], 0.52*f.length[i])
		r := f.radius[i]
		parts = append(parts, f.bones[i], egg3(mid, geom.Vec{X: 0.93 * r, Y: 0.98 * r, Z: 0.52 * f.length[i]}))
	}
	return join(1.2, parts...)
}

// nail returns the nail's plate.
func (f *finger) nail() Field {
	r := f.radius[3]
	tip := f.frames[2].moved(0, 0.72*r, 0.80*f.length[2]).turned(0, -7)
	return egg3(tip, geom.Vec{X: 0.74 * r, Y: 0.34 * r, Z: float64(0.36*f.length[2]) + float64(0.28*r)})
}

func (f *finger) lines(skin Field) []*line {
	var out []*line
	r := f.radius[3]
	// Fold round the nail: down one side, across its root, up the other.
	at := func(x, z float64) geom.Vec {
		return f.frames[2].turned(0, -7).World(geom.Vec{X: x * r, Y: 1.1 * r, Z: z * f.length[2]})
	}
	out = append(out, drawn(skin, 0.7, 0.22, at(0.72, 1.02), at(0.74, 0.8), at(0.55, 0.5), at(0, 0.42), at(-0.55, 0.5), at(-0.74, 0.8), at(-0.72, 1.02)))
	for i := 1; i < 3; i++ { // under each joint a crease, over it two wrinkles
		q := f.radius[i]
		fr := f.frames[i].turned(0, -f.bend[i]/2)
		across := func(y, z float64) *line {
			var pts []geom.Vec
			for _, x := range []float64{-1, -0.6, 0, 0.6, 1} {
				yy := y * q * (1.25 - float64(0.5*x*x))
				pts = append(pts, fr.World(geom.Vec{X: x * q, Y: yy, Z: z + float64(0.5*x*x)}))
			}
			depth := 0.32
			if y > 0 {
				depth = 0.16
			}
			return drawn(skin, 0.9, depth, pts...)
		}
		out = append(out, across(-1, 0), across(1, -0.5), across(1, 0.7))
	}
	out = append(out, ringPart(skin, f.root.turned(0, f.bend[0]/2), f.radius[0], 0.36*f.length[0]))
	return out
}

// ringPart is the crease where a finger meets the palm.
func ringPart(skin Field, fr Frame, r, z float64) *line {
	var pts []geom.Vec
	for _, x := range []float64{-0.9, -0.45, 0, 0.45, 0.9} {
		pts = append(pts, fr.World(geom.Vec{X: x * r, Y: -1.3 * r, Z: z}))
	}
	return drawn(skin, 0.95, 0.35, pts...)
}

// fingers returns thumb, index, middle, ring and little finger, posed.
func (h Hand) fingers() [5]*finger {
	type shape struct {
		x, y, z, spread float64
		length          [3]float64
		r               float64
		bend            [3]float64
	}
	shapes := [5]shape{
		{13.4, -4.5, 15.0, 30, [3]float64{12.0, 10.2, 8.8}, 4.5, [3]float64{12, 10, 8}},
		{10.4, 0.6, 36.0, 10, [3]float64{12.0, 7.6, 6.0}, 3.75, [3]float64{10, 14, 8}},
		{3.3, 1.1, 37.4, 1, [3]float64{13.0, 8.3, 6.2}, 3.85, [3]float64{12, 16, 9}},
		{-3.8, 0.7, 36.2, -9, [3]float64{12.2, 7.8, 6.0}, 3.7, [3]float64{15, 18, 10}},
		{-10.2, -0.4, 33.2, -21, [3]float64{9.6, 6.2, 5.4}, 3.35, [3]float64{17, 18, 10}},
	}
	var out [5]*finger
	for i, s := range shapes {
		fr := at(s.x, s.y, s.z).turned(1, s.spread)
		if i == 0 { // the thumb stands out of the palm and faces the fingers
			fr = at(s.x, s.y, s.z).turned(1, s.spread).turned(0, 12).turned(2, 62)
		}
		f := &finger{root: fr}
		for j, l := range s.length {
			f.length[j] = 0.87 * l
		}
		f.radius = [4]float64{s.r, 0.97 * s.r, 0.9 * s.r, 0.78 * s.r}
		for j := range 3 {
			f.bend[j] = s.bend[j] + float64(h.Curl[i]*[3]float64{0.3, 0.4, 0.3}[j])
		}
		f.pose()
		out[i] = f
	}
	return out
}

// solid returns the hand's field, joined to whatever trunk leads to its wrist,
// and the exact least air between the chosen fingers.
func (h Hand) solid(trunk Field) (Field, [5]*finger) {
	fs := h.fingers()
	h.close(fs)
	h.curl(fs)
	hand := palm(fs)
	if trunk != nil {
		hand = join(6, trunk, hand)
	}
	// The roots of the fingers flow into the palm; their ends do not flow into
	// anything, so that air under or between them stays as it is.
	roots, ends := make([]Field, 5), []Field{}
	for i, f := range fs {
		roots[i] = f.flesh(0, 1)
		ends = append(ends, f.flesh(1, 3))
	}
	if h.Joined > 0 {
		a, b := fs[h.Joined], fs[h.Joined+1]
		for i := range 3 {
			ends = append(ends, taper(a.joint[i+1], b.joint[i+1], 0.8*a.radius[i+1], 0.8*b.radius[i+1]))
		}
	}
	k := h.seam()
	hand = join(3, hand, join(k, roots[1:]...))
	hand = join(4, hand, roots[0])
	return join(k, append([]Field{hand}, ends...)...), fs
}

// seam is how far the skin is rounded where fingers meet each other, mm: as
// much as planted air leaves exactly as it is.
func (h Hand) seam() float64 {
	k := 1.3
	if h.Gap > 0 {
		k = min(k, 0.75*h.Gap)
	}
	if h.Over > 0 {
		k = min(k, 0.75*h.OverAir)
	}
	return k
}

// palm returns the hand without its fingers.
func palm(fs [5]*finger) Field {
	parts := []Field{
		taper(geom.Vec{X: 4.5, Y: 0, Z: 4}, geom.Vec{X: 9.8, Y: 0.3, Z: 32}, 8.6, 4.9),
		taper(geom.Vec{X: 1.5, Y: 0.4, Z: 3}, geom.Vec{X: 3.3, Y: 0.7, Z: 33}, 9.0, 5.1),
		taper(geom.Vec{X: -1.5, Y: 0.4, Z: 3}, geom.Vec{X: -3.7, Y: 0.4, Z: 32}, 9.0, 5.0),
		taper(geom.Vec{X: -4.5, Y: 0, Z: 4}, geom.Vec{X: -9.6, Y: -0.5, Z: 29}, 8.4, 4.7),
		// Ball of the thumb, heel of the little finger's side, pads below the fingers.
		taper(geom.Vec{X: 6.5, Y: -3.2, Z: 6}, geom.Vec{X: 12.6, Y: -5.2, Z: 17}, 6.6, 6.2),
		taper(geom.Vec{X: -7.2, Y: -2.6, Z: 8}, geom.Vec{X: -9.6, Y: -2.6, Z: 22}, 6.0, 5.2),
		egg3(at(7.2, -3.0, 30.5), geom.Vec{X: 5.2, Y: 4.0, Z: 4.4}),
		egg3(at(-1.2, -2.8, 31.5), geom.Vec{X: 5.2, Y: 4.0, Z: 4.4}),
		egg3(at(-8.2, -3.0, 28), geom.Vec{X: 4.6, Y: 4.0, Z: 4.6}),
		// Web between thumb and index.
		taper(geom.Vec{X: 9.5, Y: -2, Z: 22}, geom.Vec{X: 14, Y: -4, Z: 21}, 4.6, 3.4),
	}
	// Webs between the fingers.
	for i := 1; i < 4; i++ {
		a, b := fs[i], fs[i+1]
		p := a.root.World(geom.Vec{Z: 0.20 * a.length[0]})
		q := b.root.World(geom.Vec{Z: 0.24 * b.length[0]})
		parts = append(parts, taper(p, q, 2.6, 2.5))
	}
	return join(3, parts...)
}

// above returns the least air between a finger's outer bone and the palm, with
// the nearest points on both.
func (f *finger) above(palm Field) (float64, geom.Vec, geom.Vec) {
	least := far
	var p, q geom.Vec
	b := f.bones[2]
	for _, s := range []float64{0, 0.25, 0.5, 0.75, 1} {
		c, r := b.centre(s), b.radius(s)
		at := closest(palm, c, c)
		v := at.Sub(c)
		d := v.Len() - r
		if x, _ := palm.At(c); x < 0 {
			d = -v.Len() - r
		}
		if d < least {
			least, p, q = d, c.Add(v.Unit().Mul(r)), at
		}
	}
	return least, p, q
}

// curl bends finger h.Over until h.OverAir mm are left above the palm.
func (h Hand) curl(fs [5]*finger) {
	if h.Over < 1 || h.Over > 4 {
		return
	}
	f := fs[h.Over]
	rest, body := f.bend, palm(fs)
	bent := func(deg float64) float64 {
		for j, share := range [3]float64{0.32, 0.40, 0.28} {
			f.bend[j] = rest[j] + float64(share*deg)
		}
		f.pose()
		d, _, _ := f.above(body)
		return d
	}
	bones := h.OverAir + 0.6
	for range 6 {
		lo, hi := 60.0, 60.0
		for hi < 260 && bent(hi) > bones {
			lo, hi = hi, hi+5
		}
		for range 40 {
			mid := (lo + hi) / 2
			if bent(mid) > bones {
				lo = mid
			} else {
				hi = mid
			}
		}
		bent(lo)
		d, _, _ := f.over(body)
		bones += h.OverAir - d
	}
}

// detail adds nails and lines to a hand.
func (h Hand) detail(hand Field, fs [5]*finger) Field {
	if h.Plain {
		return hand
	}
	nails := make([]Field, 0, 5)
	var lines []*line
	for _, f := range fs {
		nails = append(nails, f.nail())
		lines = append(lines, f.lines(hand)...)
	}
	if h.Over == 0 { // under a curled finger they would change its planted air
		lines = append(lines, palmLines(hand)...)
	}
	return engrave(join(0.6, append([]Field{hand}, nails...)...), lines...)
}

// palmLines draws the three lines of the palm.
func palmLines(hand Field) []*line {
	p := func(x, z float64) geom.Vec { return geom.Vec{X: x, Y: -9, Z: z} }
	return []*line{
		drawn(hand, 1.4, 0.55, p(11.5, 25), p(6, 25.5), p(-1, 23), p(-9, 18.5)), // head line
		drawn(hand, 1.4, 0.55, p(-13, 24.5), p(-6, 27.2), p(1, 28.4), p(5.5, 31.5)),
		drawn(hand, 1.4, 0.6, p(11.5, 24.6), p(6.5, 21), p(3.2, 14), p(2.6, 5)),
	}
}

// close leans the ends of two fingers together until the air between them is
// exactly h.Gap: exactly between their bones, and then again by what their
// flesh takes of it. Not every hand has such a place: see limb.leant.
func (h Hand) close(fs [5]*finger) {
	if h.Gap <= 0 || h.Between < 1 || h.Between > 3 {
		return
	}
	a, b := fs[h.Between], fs[h.Between+1]
	bones, d := h.Gap+0.4, 0.0
	for range 6 {
		lean(a, b, 40, func() bool { d, _, _ := air(a, b); return d > bones })
		d, _, _ = pinch(a, b)
		bones += h.Gap - d
	}
	// Where air near the middle joints, which no lean changes, is hardly more
	// than is asked for, bones lead astray; flesh does not, but takes longer.
	if math.Abs(d-h.Gap) > gapBand {
		lean(a, b, 20, func() bool { d, _, _ := pinch(a, b); return d > h.Gap })
	}
}

// lean halves the angle between the ends of two fingers so many times, from 60
// degrees of it, closing it while they are apart.
func lean(a, b *finger, times int, apart func() bool) {
	lo, hi := -20.0, 40.0
	for range times {
		mid := (lo + hi) / 2
		a.lean, b.lean = -mid/2, mid/2
		a.pose()
		b.pose()
		if apart() {
			lo = mid
		} else {
			hi = mid
		}
	}
}

// air returns the least distance between the two outer bones of two fingers,
// and where.
func air(a, b *finger) (float64, geom.Vec, geom.Vec) {
	least := far
	var p, q geom.Vec
	for _, x := range a.bones[1:] {
		for _, y := range b.bones[1:] {
			if d, r, s := between(x, y); d < least {
				least, p, q = d, r, s
			}
		}
	}
	return least, p, q
}

// pinch returns the least air between the flesh of the outer bones of two
// fingers, and where: the best of twenty searches started along them.
func pinch(a, b *finger) (float64, geom.Vec, geom.Vec) {
	f, g := a.flesh(1, 3), b.flesh(1, 3)
	least := far
	var p, q geom.Vec
	for _, x := range a.bones[1:] {
		for _, s := range []float64{0, 0.25, 0.5, 0.75, 1} {
			for _, y := range b.bones[1:] {
				_, r, t := between(ball(x.centre(s), x.radius(s)), y)
				if d, r, t := apart(f, g, r, t); d < least {
					least, p, q = d, r, t
				}
			}
		}
	}
	return least, p, q
}

// over is the same for the end of a finger and the palm.
func (f *finger) over(palm Field) (float64, geom.Vec, geom.Vec) {
	flesh := f.flesh(2, 3)
	least := far
	var p, q geom.Vec
	for _, s := range []float64{0.25, 0.5, 0.75, 1} {
		c := f.bones[2].centre(s)
		t := closest(palm, c, c)
		r := c.Add(t.Sub(c).Unit().Mul(f.bones[2].radius(s)))
		if d, r, t := apart(flesh, palm, r, t); d < least {
			least, p, q = d, r, t
		}
	}
	return least, p, q
}
