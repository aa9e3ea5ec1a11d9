package specimen

import (
	"fmt"
	"math"

	"layette/steps/internal/geom"
)

// An Arm says how a right arm is made and held. Its frame: the shoulder's
// opening at z = 0, the upper arm along z, the elbow bending toward -y, the
// thumb's side toward x.
type Arm struct {
	Hand  Hand
	Elbow float64 // degrees the elbow is bent; 0 means 38
	Roll  float64 // degrees the hand is turned about the forearm; 0 means 20
	Short bool    // three-quarter limb: cut in the middle of the upper arm
	Tie   bool    // a groove round the limb near the opening, for the tie
	Plump float64 // girth against a term newborn's; 0 means 1
	Oval  float64 // mm the opening is broader than it is deep
	Size  float64 // of the hand against the arm's; 0 means 1
}

// or returns x, or y if x is zero.
func or(x, y float64) float64 {
	if x == 0 {
		return y
	}
	return x
}

// limb is what a finished limb is made of, in the limb's frame.
type limb struct {
	solid  Field
	hand   Frame   // where the hand or foot sits
	size   float64 // of the hand or foot
	digits [5]*finger
	axis   []geom.Vec // joints from the opening on
}

func (a Arm) limb() limb {
	g := or(a.Plump, 1)
	upper := 74.0
	if a.Short {
		upper -= 36
	}
	shoulder := at(0, 0, 0)
	elbow := shoulder.moved(0, 0, upper).turned(0, or(a.Elbow, 38))
	wrist := elbow.moved(0, 0, 66).turned(0, -6).turned(2, or(a.Roll, 20))
	up := func(z float64) geom.Vec { return v(0, 0, upper+z) }
	fore := func(y, z float64) geom.Vec { return elbow.World(v(0, y, z)) }
	parts := []Field{
		oval(taper(up(-110), up(-74), 19.5*g, 18.2*g), 18.6*g, a.Oval),
		oval(taper(up(-74), up(-34), 18.2*g, 17.0*g), 18.6*g, a.Oval),
		egg3(at(0, -1.5, upper-36), v(17.6*g, 17.4*g, 22)),
		taper(up(-34), up(0), 16.6*g, 14.2*g),
		taper(fore(0, 0), fore(0, 22), 14.0*g, 14.6*g),
		egg3(elbow.moved(0, -0.6, 19), v(15.4*g, 14.8*g, 17)),
		taper(fore(0, 22), fore(0, 52), 14.2*g, 11.0*g),
		taper(fore(0, 52), fore(0, 66), 11.0*g, 10.0*g),
	}
	trunk := join(7, parts...)
	// The hand is made at the origin, so its trunk is carried there and back.
	size := or(a.Size, 1)
	hand, fs := a.Hand.solid(scaled{placed{trunk, wrist.Back()}, 1 / size})
	hand = a.Hand.detail(hand, fs)
	out := limb{hand: wrist, size: size, digits: fs, axis: []geom.Vec{shoulder.O, elbow.O, wrist.O, wrist.World(v(0, 0, 37))}}
	out.solid = placed{scaled{hand, size}, wrist}
	var lines []*line
	if !a.Hand.Plain {
		lines = append(lines,
			ringed(out.solid, 1.7, 0.9, wrist.World(v(0, 0, -2)), wrist.Z),
			ringed(out.solid, 1.4, 0.45, wrist.World(v(0, 0, -7.5)), wrist.Z),
		)
	}
	out.solid = tie(out.solid, a.Tie, lines)
	return out
}

// tieAt is the height of the tie's groove above the opening, mm.
const tieAt = 9.0

// tie cuts the groove for the tie, 6 mm wide and 2.5 mm deep, and draws lines.
func tie(f Field, wanted bool, lines []*line) Field {
	if wanted {
		lines = append(lines, ringed(f, 3, 2.5, v(0, 0, tieAt), v(0, 0, 1)))
	}
	if len(lines) == 0 {
		return f
	}
	return engrave(f, lines...)
}

// out takes a point of the hand's own frame into the limb's.
func (l limb) out(p geom.Vec) geom.Vec { return l.hand.World(p.Mul(l.size)) }

// gap returns the least air between fingers i and i+1 near their ends, with
// the two nearest points on the skin.
func (l limb) gap(i int) (float64, geom.Vec, geom.Vec) {
	_, p, q := pinch(l.digits[i], l.digits[i+1])
	return facing(l.solid, l.out(p), l.out(q))
}

const (
	gapBand = 0.02 // mm that planted air may differ from what was asked for
	gapPast = 1.5  // mm past both middle joints: nearer the web it is no gap between ends
)

// leant is gap for fingers that were leant together, mm in all. It is an error
// if the air is not what was asked for, or is least anywhere but between the
// ends of both fingers: toward the web all air runs out to nothing.
func (l limb) leant(h Hand) (float64, geom.Vec, geom.Vec, error) {
	i := h.Between
	d, p, q := l.gap(i)
	at := l.hand.Back().World(p.Add(q).Mul(0.5)).Mul(1 / l.size)
	past := far
	for _, f := range l.digits[i : i+2] {
		past = min(past, at.Sub(f.joint[1]).Dot(f.frames[1].Z))
	}
	if want := h.Gap * l.size; math.Abs(d-want) > gapBand || past < gapPast {
		return 0, p, q, fmt.Errorf("specimen: %s and %s finger cannot be leant together to %.3g mm of air: it comes out as %.3g mm, %.1f mm past their middle joints; ask for less air, curl them less, or take another seed for other fingers",
			digits[i], digits[i+1], want, d, past)
	}
	return d, p, q, nil
}

// curled is over for the finger that was curled, mm in all. It is an error if
// under half of the air that was asked for is left: then the air under its end
// is nowhere least, but runs out to nothing where the finger leaves the palm. A
// nail may stand out into a fifth of it.
func (l limb) curled(h Hand) (float64, geom.Vec, geom.Vec, error) {
	d, p, q := l.over(h.Over)
	if want := h.OverAir * l.size; d < want/2 {
		return 0, p, q, fmt.Errorf("specimen: %s finger cannot be curled to %.3g mm over the palm: its air runs out to %.2g mm; ask for less air, or take another seed for another finger", digits[h.Over], want, d)
	}
	return d, p, q, nil
}

// over returns the air between the end of finger i and the palm.
func (l limb) over(i int) (float64, geom.Vec, geom.Vec) {
	_, p, q := l.digits[i].over(palm(l.digits))
	return facing(l.solid, l.out(p), l.out(q))
}
