package steps_test

import (
	"math/rand/v2"
	"strings"
	"testing"

	"layette/steps/internal/geom"
	"layette/steps/specimen"
)

// child is one part of an invented child with what is wrong with it.
type child struct {
	seed    uint64
	part    *specimen.Part
	plain   bool
	mesh    *geom.Mesh
	joint   float64 // of elbow or knee, degrees
	planted []specimen.Planted
}

// born makes the part that a seed describes: any part, age and pose; a quarter
// are sound, the others have one to three faults.
func born(t testing.TB, seed uint64) child {
	rng := rand.New(rand.NewPCG(seed, 4))
	between := func(lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }
	name := []string{"left-hand", "right-hand", "right-hand", "left-hand", "left-arm", "right-leg", "right-leg", "left-foot", "head"}[rng.IntN(9)]
	o := specimen.Options{Weeks: between(31, 42), Plain: rng.IntN(2) == 0, Awake: rng.IntN(4) == 0, NoTie: rng.IntN(3) == 0}
	for i := range o.Curl {
		o.Curl[i] = between(0, 20)
	}
	bend := between(15, 62)
	many := rng.IntN(4)
	var faults []specimen.Fault
	for range many {
		f, sharp := wish(rng, name)
		if sharp {
			bend = between(104, 116)
			continue
		}
		if goesWith(f, faults) && !(f.What == specimen.Waist && bend > 90) {
			faults = append(faults, f)
			o.Plain = o.Plain || f.What == specimen.Furrow // its own lines might cross it
		}
	}
	o.Elbow, o.Knee = bend, bend
	o.Faults = faults
	c := child{seed: seed, part: makePart(t, name, &o), plain: o.Plain, joint: bend}
	triangles := map[string]int{"left-hand": 80_000, "right-hand": 80_000, "left-foot": 60_000, "left-arm": 150_000, "right-leg": 100_000, "head": 100_000}[name]
	var err error
	fine := specimen.Sampling{Triangles: triangles}
	for _, q := range c.part.Planted {
		if q.What == specimen.Crevice || q.What == specimen.Furrow { // a V of 2.5 mm depth and a line 1.8 mm wide want edges of 0.4 mm
			fine = specimen.Sampling{Edge: 0.36}
		}
	}
	if c.mesh, err = c.part.Mesh(t.Context(), fine); err != nil {
		t.Fatalf("seed %d: %v", seed, err)
	}
	c.planted = c.part.Planted
	return c
}

// makePart leaves out fingers that cannot be leant together, or curled, as asked.
func makePart(t testing.TB, name string, o *specimen.Options) *specimen.Part {
	for {
		k, err := specimen.NewKit(*o)
		if err != nil {
			t.Fatal(err)
		}
		p, err := k.Part(name)
		if err == nil && apart(p.Planted) {
			return p
		}
		if len(o.Faults) == 0 {
			t.Fatal(err)
		}
		o.Faults = o.Faults[:len(o.Faults)-1]
	}
}

// wish is one fault for a part, of a size that its mesh can show; sharp asks
// for a joint bent too far instead.
func wish(rng *rand.Rand, name string) (f specimen.Fault, sharp bool) {
	between := func(lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }
	fine := 0.6 // least width of a slot
	kinds := []specimen.What{specimen.Crevice, specimen.Slot, specimen.ThinPlate, specimen.Knob, specimen.Rod, specimen.Channel, specimen.Furrow}
	switch {
	case name == "head": // its mesh shows nothing finer
		fine = 1.5
		kinds = []specimen.What{specimen.ThinPlate, specimen.Knob, specimen.Channel, specimen.Waist, specimen.Waist}
	case strings.HasSuffix(name, "arm"):
		fine = 1.1
		kinds = append(kinds, specimen.FingerGap, specimen.Curled, specimen.Waist, specimen.Hook, "")
	case strings.HasSuffix(name, "leg"):
		fine = 1.1
		kinds = append(kinds, specimen.Waist, specimen.Hook, "")
	case strings.HasSuffix(name, "hand"):
		kinds = append(kinds, specimen.FingerGap, specimen.FingerGap, specimen.Curled, specimen.Joined)
	}
	f = specimen.Fault{What: kinds[rng.IntN(len(kinds))], Part: name, Seed: rng.Uint64()}
	switch f.What {
	case "":
		return f, true
	case specimen.FingerGap:
		f.Size = between(0.45, 1.12)
	case specimen.Curled:
		f.Size = between(0.5, 1.1)
	case specimen.Crevice:
		f.Size = between(28, 43)
		if rng.IntN(2) == 0 {
			f.Size = between(47, 85)
		}
	case specimen.Slot:
		f.Size = between(fine, fine+0.35)
	case specimen.ThinPlate:
		f.Size = between(max(1, fine), max(1, fine)+1)
	case specimen.Knob:
		f.Size = between(3, 4.5)
	case specimen.Rod:
		f.Size = between(3.4, 4.7)
		if rng.IntN(2) == 0 {
			f.Size = between(7.2, 9)
		}
	case specimen.Channel:
		f.Size = between(1, 1.6)
	case specimen.Furrow:
		f.Size = []float64{between(0.12, 0.14), between(0.25, 0.6)}[rng.IntN(2)]
	case specimen.Hook:
		f.Size = between(123, 132)
	case specimen.Waist:
		f.Size = []float64{between(3.6, 4.7), between(9, 12.5), between(20, 24)}[rng.IntN(3)]
		if name == "head" {
			f.Size = []float64{between(30, 36), between(44, 48)}[rng.IntN(2)]
		}
	}
	return f, false
}

// goesWith reports whether a fault leaves those before it as they are.
func goesWith(f specimen.Fault, before []specimen.Fault) bool {
	hand := func(w specimen.What) bool {
		return w == specimen.FingerGap || w == specimen.Curled || w == specimen.Joined
	}
	for _, b := range before {
		if b.What == f.What || f.What == specimen.Waist && !hand(b.What) || b.What == specimen.Waist && !hand(f.What) {
			return false
		}
	}
	return true
}

// apart reports whether no planted fault reaches another.
func apart(ps []specimen.Planted) bool {
	for i, p := range ps {
		for _, q := range ps[:i] {
			if p.At.Sub(q.At).Len() < p.Radius+q.Radius+2 {
				return false
			}
		}
	}
	return true
}
