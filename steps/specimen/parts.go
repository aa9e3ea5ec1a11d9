package specimen

import (
	"fmt"

	"layette/steps/internal/geom"
)

// girth returns the length of a tape round f in the plane through o with the
// given normal: the convex hull of the section, by n rays from o. Its error
// falls with 1/n²; 720 rays give 0.01 mm on a head.
func girth(f Field, o, normal geom.Vec) float64 {
	const n = 720
	fr := looking(o, normal)
	pts := make([]geom.Vec, n)
	for i := range pts {
		c, s := cosSin(float64(i) * 360 / n)
		pts[i] = outward(f, o, fr.X.Mul(c).Add(fr.Y.Mul(s)))
	}
	return hull(pts, fr.Z)
}

// hull returns the length round the convex hull of points that stand in order
// round a place inside it, seen along n: points on the inside of a bend are
// dropped until none is left.
func hull(pts []geom.Vec, n geom.Vec) float64 {
	for again := true; again; {
		again = false
		keep := pts[:0:0]
		for i, p := range pts {
			a, b := pts[(i+len(pts)-1)%len(pts)], pts[(i+1)%len(pts)]
			if len(keep) > 0 {
				a = keep[len(keep)-1]
			}
			if p.Sub(a).Cross(b.Sub(p)).Dot(n) > 0 {
				keep = append(keep, p)
			} else {
				again = true
			}
		}
		pts = keep
	}
	var s geom.Sum
	for i, p := range pts {
		s.Add(pts[(i+1)%len(pts)].Sub(p).Len())
	}
	return s.Total()
}

// termGirth is the head girth that size 1 stands for, mm: between the WHO
// medians for girls and boys at birth, 339 and 345, nearer the boys'.
const termGirth = 345

func (k *Kit) head(p *Part, f faults) {
	h := Head{Awake: k.options.Awake, Plain: k.options.Plain, Oval: f.size(Oval)}
	solid, marks := h.solid()
	tape := girth(solid, marks["tape"], geom.Vec{Z: 1})
	s := termGirth / tape
	p.Field, p.Marks = scaled{solid, s}, marks
	for n, m := range marks {
		p.Marks[n] = m.Mul(s)
	}
	delete(p.Marks, "tape")
	p.Wet = []Spot{{p.Marks["mouth"], 9 * s}}
	for _, side := range [...]string{"left", "right"} {
		eye := p.Marks["canthus.inner."+side].Add(p.Marks["canthus.outer."+side]).Mul(0.5)
		p.Wet = append(p.Wet, Spot{eye.Add(geom.Vec{Y: 3 * s}), 5 * s})
	}
	p.Sizes["head.girth"] = termGirth
	if deg := f.size(Tilted); deg != 0 {
		fr := Home().turned(0, deg)
		p.Field, p.Marks = tilt(p.Field, p.Marks, deg)
		for i := range p.Wet {
			p.Wet[i].At = fr.World(p.Wet[i].At)
		}
		p.plant(Tilted, geom.Vec{}, 30*s, deg)
	}
	if h.Oval != 0 {
		p.plant(Oval, geom.Vec{}, 30*s, h.Oval*s)
	}
}

// tilt bends a head back about its opening.
func tilt(f Field, marks map[string]geom.Vec, deg float64) (Field, map[string]geom.Vec) {
	fr := Home().turned(0, deg)
	out := make(map[string]geom.Vec, len(marks))
	for n, m := range marks {
		out[n] = fr.World(m)
	}
	return placed{f, fr}, out
}

var digits = [...]string{"thumb", "index", "middle", "ring", "little"}

func (k *Kit) arm(p *Part, f faults, casting bool) error {
	o := k.options
	a := Arm{
		Hand: f.hand(Hand{Plain: o.Plain, Curl: o.Curl}), Elbow: o.Elbow, Short: o.ThreeQuarter, Tie: !o.NoTie,
		Plump: plump(k.scale), Oval: f.size(Oval), Size: f.size(Foreign),
	}
	l := a.limb()
	p.Field = l.solid
	back := Home()
	if casting { // the wrist, 8 mm into the forearm, becomes the opening
		back = l.hand.moved(0, 0, -8).Back()
		p.Field = placed{l.solid, back}
	}
	mark := func(name string, q geom.Vec) { p.Marks[name] = back.World(q) }
	if !casting {
		mark("opening", geom.Vec{})
		mark("elbow", l.axis[1])
		p.Sizes["upper"] = l.axis[1].Sub(l.axis[0]).Len()
		p.Sizes["lower"] = l.axis[2].Sub(l.axis[1]).Len()
	}
	mark("wrist", l.axis[2])
	for i, d := range l.digits {
		tip := d.joint[3].Add(d.frames[2].Z.Mul(d.radius[3]))
		mark("tip."+digits[i], l.out(tip))
		if i == 2 { // straightened out, wrist to tip
			p.Sizes["palm"] = l.size * d.joint[0].Len()
			p.Sizes["finger"] = l.size * (d.length[0] + d.length[1] + d.length[2] + d.radius[3])
			p.Sizes["hand"] = p.Sizes["palm"] + p.Sizes["finger"]
		}
	}
	if i := a.Hand.Between; a.Hand.Gap > 0 {
		d, q, r, err := l.leant(a.Hand)
		if err != nil {
			return fmt.Errorf("%w (%s)", err, p.Name)
		}
		p.Sizes[fmt.Sprintf("gap.%d", i)] = d
		p.plant(FingerGap, back.World(q.Add(r).Mul(0.5)), 3, d)
	}
	if l.size != 1 {
		p.plant(Foreign, back.World(l.axis[2]), 40, l.size)
	}
	return f.onHand(p, a, l, back)
}

func (k *Kit) leg(p *Part, f faults, casting bool) {
	o := k.options
	l := Leg{Knee: o.Knee, Short: o.ThreeQuarter, Tie: !o.NoTie, Plump: plump(k.scale), Plain: o.Plain, Oval: f.size(Oval), Foot: f.size(Foreign)}.limb()
	p.Field = l.solid
	back := Home()
	if casting {
		back = Frame{l.hand.World(v(0, 0, -8)), l.hand.X, l.hand.Y, l.hand.Z}.Back()
		p.Field = placed{l.solid, back}
	} else {
		p.Marks["opening"] = geom.Vec{}
		p.Marks["knee"] = l.axis[1]
		p.Sizes["upper"] = l.axis[1].Sub(l.axis[0]).Len()
		p.Sizes["lower"] = l.axis[2].Sub(l.axis[1]).Len()
	}
	p.Marks["ankle"] = back.World(l.axis[2])
	heel := outward(l.solid, l.out(v(0, 0, 14)), l.hand.Y.Mul(-1))
	toe := outward(l.solid, l.out(v(8.2, 30, 15)), l.hand.Y)
	p.Sizes["foot"] = toe.Sub(heel).Dot(l.hand.Y)
	p.Marks["heel"], p.Marks["toe"] = back.World(heel), back.World(toe)
	if l.size != 1 {
		p.plant(Foreign, p.Marks["ankle"], 40, l.size)
	}
	if d := f.size(Oval); d != 0 {
		p.plant(Oval, geom.Vec{}, 25, d)
	}
}

// plump is the girth of limbs against a term newborn's at the same size:
// preterm children are thin. By eye; mid-arm of 7.5 cm against 9.6 at term at
// nine tenths of the length or less (Gwalior series) is the anchor.
func plump(scale float64) float64 { return min(1, 1-float64(0.5*(1-scale))) }
