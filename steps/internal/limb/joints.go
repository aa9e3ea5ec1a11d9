package limb

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// Names that a person may pin, by shape.
var names = map[Shape][]string{
	Arm: {"elbow", "wrist", "knuckle.thumb", "knuckle.index", "knuckle.middle", "knuckle.ring", "knuckle.little"},
	Leg: {"knee", "ankle"},
}

// fingers are the digits of an arm in order.
var fingers = [5]string{"thumb", "index", "middle", "ring", "little"}

// DigitName returns what digit i of the limb is called.
func (l *Limb) DigitName(shape Shape, i int) string {
	if shape == Arm && len(l.Digits) == 5 {
		return fingers[i]
	}
	return fmt.Sprintf("branch %d", i+1)
}

// Joint returns the joint with a name.
func (l *Limb) Joint(name string) (Joint, bool) {
	for _, j := range l.Joints {
		if j.Name == name {
			return j, true
		}
	}
	return Joint{}, false
}

// name finds the joints of an arm or a leg and puts pinned ones where they were
// pinned.
//
// The wrist is the narrowest section between elbow and hand, the ankle that in
// the far half of a leg; elbow and knee are where the trunk bends most before
// them, and lie by the middle of the way if it hardly bends; a knuckle is where
// a finger leaves the hand. Common practice of anthropometry, by eye. What is no
// whole limb has neither: see whole.
func (l *Limb) name(w Want) error {
	for pin := range w.Pins {
		if !slices.Contains(names[w.Shape], pin) {
			return fmt.Errorf("no joint %q can be pinned on a part of shape %q; there are %v", pin, w.Shape, names[w.Shape])
		}
	}
	switch w.Shape {
	case Arm:
		l.hinge("elbow", "wrist", 0.6, 0.98)
		for i, b := range l.Digits {
			if len(l.Digits) == 5 {
				k := l.Rings.Branches[b].Rings[0]
				l.Joints = append(l.Joints, Joint{Name: "knuckle." + fingers[i], At: l.Rings.Rings[k].Across.Mid, Ring: k})
			}
		}
	case Leg:
		l.hinge("knee", "ankle", 0.5, 0.85)
	}
	for _, name := range names[w.Shape] {
		if at, ok := w.Pins[name]; ok {
			l.pin(name, at.Sub(l.Mesh.Origin))
		}
	}
	slices.SortStableFunc(l.Joints, func(a, b Joint) int {
		return cmp.Compare(l.Rings.Rings[a.Ring].Level, l.Rings.Rings[b.Ring].Level)
	})
	return nil
}

// hinge finds the narrowest place of the trunk between two shares of its way,
// and where it bends most before.
func (l *Limb) hinge(bend, narrow string, from, to float64) {
	axis := l.Rings.Axis(0)
	if len(axis) < 8 {
		return
	}
	long := l.Rings.Rings[axis[len(axis)-1].Ring].Level
	share := func(p geom.AxisPoint) float64 { return l.Rings.Rings[p.Ring].Level / long }
	slim := -1
	for i, p := range axis {
		if s := share(p); s >= from && s <= to && (slim < 0 || p.Radius < axis[slim].Radius) {
			slim = i
		}
	}
	if slim < 0 || !whole(axis, axis[slim].Radius) {
		l.note("no %s and no %s: for a whole limb the part is too short or too stout. A hand or foot alone is of shape %q; where a limb is folded so far that its skins have grown together, its bend is not known: pin the %s, and look at it", bend, narrow, Other, bend)
		return
	}
	best := Joint{Name: bend}
	for _, b := range l.Rings.Bends(0, 8*math.Pi/180) {
		level := l.Rings.Rings[b.Ring].Level / long
		if level > 0.15 && level < 0.9*share(axis[slim]) && b.Turn > best.Turn {
			best.At, best.Ring, best.Turn = b.At, b.Ring, b.Turn
		}
	}
	hasFork := len(l.Digits) > 0 || narrow == "ankle"
	if best.Turn == 0 && share(axis[slim]) > 0.7 && hasFork {
		mid := axis[slim*6/10]
		best.At, best.Ring = mid.At, mid.Ring
		l.note("the limb hardly bends: the %s is put six tenths of the way to the %s; pin it if that is wrong", bend, narrow)
	}
	if best.Turn > 0 || best.Ring > 0 {
		l.Joints = append(l.Joints, best)
	}
	l.Joints = append(l.Joints, Joint{Name: narrow, At: axis[slim].At, Ring: axis[slim].Ring})
}

// whole reports whether a trunk is that of an arm or leg: over 4.4 times as long
// as the radius of its thick half, and at its slimmest under 0.85 of that. Whole
// invented limbs, three-quarter ones and preterm children's too, are 5 to 9
// times so long and slim down to 0.6; hands and feet alone are 3 times so long,
// and slim down to 0.8 and more.
func whole(axis []geom.AxisPoint, slim float64) bool {
	thick := 0.0
	for _, p := range axis[:len(axis)/2] {
		thick = max(thick, p.Radius)
	}
	return axis[len(axis)-1].Along > 4.4*thick && slim < 0.85*thick
}

// pin moves a joint to the point of the axes nearest to where a person put it.
func (l *Limb) pin(name string, at geom.Vec) {
	best, dist := int32(-1), math.Inf(1)
	for i := range l.Rings.Rings {
		g := &l.Rings.Rings[i]
		if d := g.Across.Mid.Sub(at).Len(); g.Branch >= 0 && d < dist {
			best, dist = int32(i), d
		}
	}
	if best < 0 {
		return
	}
	j := Joint{Name: name, At: at, Ring: best, Pinned: true}
	if i := slices.IndexFunc(l.Joints, func(j Joint) bool { return j.Name == name }); i >= 0 {
		j.Turn = l.Joints[i].Turn
		l.Joints[i] = j
		return
	}
	l.Joints = append(l.Joints, j)
}
