package specimen

import (
	"math"

	"layette/steps/internal/geom"
)

// Faults of form that show in moulding and stripping. Trouble plants none of
// them; they are asked for by name.
const (
	Knob    What = "knob"    // a ball on a stalk: value: the stalk's thickness, mm; Depth: the ball's radius
	Rod     What = "rod"     // a round rod 8 mm long; value: thickness, mm
	Waist   What = "waist"   // a limb or neck drawn in round its axis; value: diameter, mm
	Hook    What = "hook"    // a rod that leans back toward the opening; value: its angle from the way in, degrees
	Channel What = "channel" // a half-round furrow; value: radius, mm
	Furrow  What = "furrow"  // a fine line; value: depth, mm; Depth: half its width at the rim
)

var moulding = []What{Knob, Rod, Waist, Hook, Channel, Furrow}

const (
	knobBall  = 6.5 // mm
	rodLong   = 8.0 // of the rod from the skin to where its end begins to round
	waistLong = 12.0
	hookLong  = 13.0
	furrowRim = 0.9 // half width
)

// mould plants what shows in moulding.
func (p *Part) mould(f Fault) {
	size := f.size()
	if f.What == Waist {
		p.waist(size / 2)
		return
	}
	fr := p.clear(f.rand())
	add := func(at geom.Vec, radius, depth float64) {
		p.Planted = append(p.Planted, Planted{What: f.What, At: at, Radius: radius, Value: size, Depth: depth})
	}
	switch f.What {
	case Knob: // the ball stands 4 mm off the skin
		r := size / 2
		c := fr.World(v(0, 0, 4+math.Sqrt(float64(knobBall*knobBall)-float64(r*r))))
		p.Field = join(0, join(0.4, p.Field, taper(fr.World(v(0, 0, -3)), c, r, r)), ball(c, knobBall))
		add(c, knobBall, knobBall)
	case Rod:
		r := size / 2
		p.Field = join(0.8, p.Field, taper(fr.World(v(0, 0, -3)), fr.World(v(0, 0, rodLong)), r, r))
		add(fr.World(v(0, 0, rodLong/2)), rodLong, 0)
	case Hook: // in the plane of the skin's direction and the way in
		way := geom.Vec{Z: 1}
		n := fr.Z.Sub(way.Mul(fr.Z.Z)).Unit()
		c, s := cosSin(size)
		dir := way.Mul(c).Add(n.Mul(s))
		p.Field = join(1, p.Field, taper(fr.O.Sub(dir.Mul(3)), fr.O.Add(dir.Mul(hookLong)), 3.6, 3.4))
		add(fr.O.Add(dir.Mul(hookLong/2)), hookLong/2+3, hookLong)
	case Channel: // its middle line lies in the plane that touches the skin
		p.Field = carve(p.Field, 0.3, taper(fr.World(v(-5, 0, 0)), fr.World(v(5, 0, 0)), size, size))
		add(fr.O, 6, 0)
	case Furrow:
		l := drawn(p.Field, furrowRim, size, fr.World(v(-7, 0, 0)), fr.World(v(-3, 0, 0)), fr.O, fr.World(v(3, 0, 0)), fr.World(v(7, 0, 0)))
		p.Field = engrave(p.Field, l)
		at := outward(p.Field, fr.World(v(0, 0, -3)), fr.Z)
		size = fr.O.Sub(at).Len() // the field's value falls off the line on the way down
		add(at, 7, furrowRim)
	}
}

// waist draws a part in round its axis near the opening.
func (p *Part) waist(r float64) {
	mid := geom.Vec{Z: 26}
	if p.Name == "head" {
		mid = geom.Vec{Y: -9, Z: 9}
	}
	up := geom.Vec{Z: waistLong / 2}
	rod := taper(mid.Sub(up.Mul(4)), mid.Add(up.Mul(4)), r, r)
	box := geom.Box{Min: mid.Sub(v(80, 80, waistLong)), Max: mid.Add(v(80, 80, waistLong))}
	round := meet(2, outside{rod, box}, halfspace{mid.Add(up), v(0, 0, 1)}, halfspace{mid.Sub(up), v(0, 0, -1)})
	p.Field = carve(p.Field, 1, round)
	p.Planted = append(p.Planted, Planted{What: Waist, At: mid, Radius: max(r, waistLong), Value: 2 * r})
}
