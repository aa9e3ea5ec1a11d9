package specimen

import (
	"fmt"
	"math/rand/v2"
	"slices"

	"layette/steps/internal/geom"
)

// A What names a fault.
type What string

// Faults of form, planted in the solid; their places and values are exact.
const (
	FingerGap What = "finger-gap" // two fingers too close; value: air, mm
	Joined    What = "joined"     // two fingers grown together; value: 0
	Curled    What = "curled"     // a finger over the palm, not touching; value: air, mm
	ThinPlate What = "thin-plate" // a fin standing out of the skin; value: thickness, mm
	Crevice   What = "crevice"    // a sharp V cut; value: angle, degrees; Depth
	Slot      What = "slot"       // a deep narrow groove; value: width, mm; Depth
	Tilted    What = "tilted"     // head bent back; value: degrees
	Oval      What = "oval"       // opening out of round; value: mm broader than deep
	Large     What = "large"      // whole part too large; value: factor
	Foreign   What = "foreign"    // a hand or foot of another child; value: its size against the limb's
	WrongUnit What = "wrong-unit" // numbers are not millimetres; value: factor
	WrongSide What = "wrong-side" // a left part under a right part's name; value: -1
)

// Faults of the surface, done to the mesh at exact places on the solid's skin.
const (
	Hole       What = "hole"       // missing skin; value: radius, mm
	Flipped    What = "flipped"    // a patch facing inward; value: radius, mm
	Duplicates What = "duplicates" // faces there twice; value: how many
	Spike      What = "spike"      // one vertex pulled out; value: mm
	Floater    What = "floater"    // a loose ball beside the part; value: radius, mm
	Crossing   What = "crossing"   // a ball pushed halfway into the skin, not joined; value: radius, mm
)

var whats = []What{
	FingerGap, Joined, Curled, ThinPlate, Crevice, Slot, Tilted, Oval, Large, Foreign, WrongUnit, WrongSide,
	Hole, Flipped, Duplicates, Spike, Floater, Crossing,
}

// A Fault is a wish: what to plant, in which part, how large and where.
type Fault struct {
	What What
	Part string
	// Size is in the unit of the fault's value; 0 means a usual one. Faults of
	// the hand, and an oval opening, are said of a term newborn and grow or
	// shrink with the child: at 36 weeks 1 mm of air is 0.948 mm.
	Size float64
	Seed uint64 // decides the place, or the fingers
}

// mostGap is the widest air that leaning two fingers together gives a least
// value of its own, near their ends; above it the least is down at the web.
const mostGap = 1.3

// leastAir is the narrowest air that can be planted: nails and lines stand out
// of a finger by up to a tenth of it.
const leastAir = 0.4

func (f Fault) check() error {
	if !slices.Contains(whats, f.What) && !slices.Contains(moulding, f.What) {
		return fmt.Errorf("specimen: no fault %q; there are %v and %v", f.What, whats, moulding)
	}
	if !slices.Contains(Parts, f.Part) && !slices.Contains(Castings, f.Part) {
		return fmt.Errorf("specimen: fault %s is for part %q, which is not in a kit", f.What, f.Part)
	}
	hand := f.What == FingerGap || f.What == Joined || f.What == Curled
	if hand && !arms(f.Part) {
		return fmt.Errorf("specimen: fault %s needs fingers; %s has none", f.What, f.Part)
	}
	if hand && f.What != Joined && f.Size != 0 && f.Size < leastAir {
		return fmt.Errorf("specimen: fault %s of %g mm of air: %g mm is the least that can be planted exactly", f.What, f.Size, leastAir)
	}
	if f.What == FingerGap && f.Size > mostGap {
		return fmt.Errorf("specimen: fingers %g mm apart: their ends can be leant together to %g mm or less, exactly", f.Size, mostGap)
	}
	if long := slices.Contains(Parts, f.Part); f.What == Waist && !long || f.What == Hook && (!long || f.Part == "head") {
		return fmt.Errorf("specimen: %s has no length of limb for a %s", f.Part, f.What)
	}
	if f.What == Foreign && f.Part == "head" {
		return fmt.Errorf("specimen: the head has no hand or foot to take from another child")
	}
	if f.What == Tilted && f.Part != "head" {
		return fmt.Errorf("specimen: only the head can be tilted, not %s", f.Part)
	}
	if !(f.Size >= 0 && f.Size <= 1000) {
		return fmt.Errorf("specimen: fault %s of size %g", f.What, f.Size)
	}
	return nil
}

// Trouble returns one to three faults of different kinds in parts of a kit,
// chosen by the seed: the wishes for a kit that a check must find fault with.
func Trouble(seed uint64) []Fault {
	r := rand.New(rand.NewPCG(seed, 17))
	var out []Fault
	for n := 1 + r.IntN(3); len(out) < n; {
		f := Fault{What: whats[r.IntN(len(whats))], Part: Parts[r.IntN(len(Parts))], Seed: r.Uint64()}
		if f.check() == nil && !slices.ContainsFunc(out, func(g Fault) bool { return g.What == f.What }) {
			out = append(out, f)
		}
	}
	return out
}

func arms(part string) bool {
	return part == "left-arm" || part == "right-arm" || part == "left-hand" || part == "right-hand"
}

// usual sizes, in the unit of the fault's value.
var usual = map[What]float64{
	FingerGap: 0.8, Curled: 0.9, ThinPlate: 1.2, Crevice: 30, Slot: 0.8, Tilted: 6, Oval: 2, Large: 1.04, Foreign: 0.9,
	Knob: 4, Rod: 4.4, Waist: 12, Hook: 130, Channel: 1, Furrow: 0.15,
	WrongUnit: 0.1, WrongSide: -1, Hole: 2.5, Flipped: 3, Duplicates: 7, Spike: 6, Floater: 1.5, Crossing: 3,
}

func (f Fault) size() float64 { return or(f.Size, usual[f.What]) }

func (f Fault) rand() *rand.Rand {
	n := uint64(0)
	for _, c := range string(f.What) {
		n = n*131 + uint64(c)
	}
	return rand.New(rand.NewPCG(f.Seed, n))
}

// Planted is a fault as it is: exactly what and exactly where.
type Planted struct {
	What   What
	At     geom.Vec // in the part's frame, mm
	Radius float64  // of the place that is touched, mm
	Value  float64  // see What
	Depth  float64  // of a crevice or slot, mm
}

// length reports whether the value grows with the part.
func (p Planted) length() bool {
	switch p.What {
	case Crevice, Hook, Tilted, Large, Foreign, WrongUnit, WrongSide, Duplicates:
		return false
	}
	return true
}

// finest returns the least planted air or thickness, mm, or 0.
func finest(ps []Planted) float64 {
	least := 0.0
	for _, p := range ps {
		switch p.What {
		case FingerGap, Curled, ThinPlate, Slot:
			if least == 0 || p.Value < least {
				least = p.Value
			}
		}
	}
	return least
}

func (p *Part) plant(w What, at geom.Vec, radius, value float64) {
	p.Planted = append(p.Planted, Planted{What: w, At: at, Radius: radius, Value: value})
}

// faults are those of one part.
type faults []Fault

func (fs faults) find(w What) (Fault, bool) {
	for _, f := range fs {
		if f.What == w {
			return f, true
		}
	}
	return Fault{}, false
}

// size returns the size of the fault w, or 0 if there is none.
func (fs faults) size(w What) float64 {
	f, ok := fs.find(w)
	if !ok {
		return 0
	}
	return f.size()
}

// hand holds a hand as its faults have it.
func (fs faults) hand(h Hand) Hand {
	if f, ok := fs.find(FingerGap); ok {
		h.Gap, h.Between = f.size(), 1+f.rand().IntN(3)
	}
	if f, ok := fs.find(Joined); ok {
		h.Joined = 1 + f.rand().IntN(3)
		if h.Joined == h.Between {
			h.Joined = 1 + h.Joined%3
		}
	}
	if f, ok := fs.find(Curled); ok {
		h.Over, h.OverAir = 1+f.rand().IntN(4), f.size()
		if h.Gap > 0 && (h.Over == h.Between || h.Over == h.Between+1) {
			h.Over = 1 + (h.Over+1)%4 // leave leant fingers as they are
		}
	}
	return h
}

// onHand records the faults of a hand that are exact only once it is made.
func (fs faults) onHand(p *Part, a Arm, l limb, back Frame) error {
	h := a.Hand
	if h.Joined > 0 {
		q := l.digits[h.Joined].joint[2].Add(l.digits[h.Joined+1].joint[2]).Mul(0.5)
		p.plant(Joined, back.World(l.out(q)), 6, 0)
	}
	if h.Over > 0 {
		d, q, r, err := l.curled(h)
		if err != nil {
			return fmt.Errorf("%w (%s)", err, p.Name)
		}
		p.plant(Curled, back.World(q.Add(r).Mul(0.5)), 4, d)
	}
	if h := a.Oval; h != 0 {
		p.plant(Oval, geom.Vec{}, 20, h)
	}
	return nil
}

// solid plants what can stand anywhere on any part, and says what will be
// done to its surface.
func (fs faults) solid(p *Part) {
	for _, f := range fs {
		switch f.What {
		case ThinPlate, Crevice, Slot:
			p.scar(f)
		case Knob, Rod, Waist, Hook, Channel, Furrow:
			p.mould(f)
		case Large:
			p.resize(f.size())
			p.plant(Large, geom.Vec{}, 0, f.size())
		case WrongUnit, WrongSide:
			p.plant(f.What, geom.Vec{}, 0, f.size())
		case Hole, Flipped, Crossing:
			p.plant(f.What, p.clear(f.rand()).O, f.size(), f.size())
		case Duplicates, Spike:
			p.plant(f.What, p.clear(f.rand()).O, 3, f.size())
		case Floater:
			p.plant(f.What, p.clear(f.rand()).World(v(0, 0, f.size()+3)), f.size(), f.size())
		}
	}
}

// somewhere returns a frame on the part's skin, z outward, clear of digits,
// face and opening: on limbs between the opening and the wrist, on the head
// above the brow.
func (p *Part) somewhere(r *rand.Rand) Frame {
	o := geom.Vec{Z: 30}
	dir := geom.Vec{X: r.Float64() - 0.5, Y: r.Float64() - 0.5}
	switch q, ok := p.Marks["wrist"]; {
	case p.Name == "head":
		o = geom.Vec{Y: -10, Z: 85}
		dir = geom.Vec{X: 2 * (r.Float64() - 0.5), Y: -r.Float64(), Z: 0.6 * (r.Float64() + 0.5)}
	case ok && p.Marks["elbow"] == geom.Vec{}:
		o = q.Add(geom.Vec{Z: 14})
		dir.Y = 0.5
	case p.Marks["knee"] == geom.Vec{} && p.Marks["elbow"] == geom.Vec{}:
		o = p.Marks["ankle"].Add(geom.Vec{Z: 8})
		dir.Y = -0.5
	default:
		o.Z = 14 * (r.Float64() + 1.7)
	}
	if dir.Len() < 0.1 {
		dir.X = 1
	}
	at := outward(p.Field, o, dir.Unit())
	_, g := p.Field.At(at)
	return looking(at, g)
}

// clear returns the one of twenty such places that is farthest from what is
// planted already.
func (p *Part) clear(r *rand.Rand) Frame {
	var best Frame
	most := -1.0
	for range 20 {
		f, d := p.somewhere(r), far
		for _, q := range p.Planted {
			d = min(d, q.At.Sub(f.O).Len())
		}
		if d > most {
			best, most = f, d
		}
		if d > 15 {
			break
		}
	}
	return best
}

// scar puts a fin on the skin, or cuts a V or a slot into it.
func (p *Part) scar(f Fault) {
	fr := p.clear(f.rand())
	plane := func(at geom.Vec, n geom.Vec) Field { return halfspace{fr.World(at), fr.Turn(n.Unit())} }
	size := f.size()
	switch f.What {
	case ThinPlate: // two exactly parallel faces, 5 mm high, 7 mm to either side
		disc := meet(0.3, ball(fr.World(v(0, 0, -1)), 7), plane(v(size/2, 0, 0), v(1, 0, 0)), plane(v(-size/2, 0, 0), v(-1, 0, 0)))
		p.Field = join(0.4, p.Field, disc)
		p.Planted = append(p.Planted, Planted{What: f.What, At: fr.World(v(0, 0, 3)), Radius: 7, Value: size})
	case Crevice: // two planes that meet in a straight line 2.5 mm down
		const depth = 2.5
		c, s := cosSin(size / 2)
		tool := meet(0, ball(fr.O, 6), plane(v(0, 0, -depth), v(c, 0, -s)), plane(v(0, 0, -depth), v(-c, 0, -s)))
		p.Field = carve(p.Field, 0, tool)
		p.Planted = append(p.Planted, Planted{What: f.What, At: fr.World(v(0, 0, -depth)), Radius: 6, Value: size, Depth: depth})
	case Slot: // parallel walls, flat ground
		const depth = 4.0
		tool := meet(0, ball(fr.O, 7), plane(v(size/2, 0, 0), v(1, 0, 0)), plane(v(-size/2, 0, 0), v(-1, 0, 0)), plane(v(0, 0, -depth), v(0, 0, -1)))
		p.Field = carve(p.Field, 0, tool)
		p.Planted = append(p.Planted, Planted{What: f.What, At: fr.World(v(0, 0, -depth/2)), Radius: 7, Value: size, Depth: depth})
	}
}
