package specimen

import (
	"math"
	"strings"
	"testing"
)

// TestLeantAsAsked: whatever the fingers, the child and the air, up to the
// most, what is planted is what was asked for at the child's size, between the
// ends of the fingers, and on the skin of the finished hand the place is in air.
func TestLeantAsAsked(t *testing.T) {
	weeks := []float64{40, 36, 24, 42, 30}
	n := 0
	for _, seed := range []uint64{1, 2, 6} { // index, middle, ring and the next
		for _, size := range []float64{0, leastAir, 1.1, 1.18, 1.22, mostGap} {
			name, w := "right-hand", weeks[n%len(weeks)]
			if n++; size == 1.22 {
				name, w = "left-arm", 36
			}
			p, q := plantAt(t, w, Fault{What: FingerGap, Part: name, Size: size, Seed: seed})
			want := or(size, usual[FingerGap])
			k, err := NewKit(Options{Weeks: w})
			if err != nil {
				t.Fatal(err)
			}
			if !(math.Abs(q.Value/k.scale-want) <= gapBand) {
				t.Errorf("seed %d, %g weeks, %g mm: %.4f planted", seed, w, want, q.Value/k.scale)
			}
			if d, _ := p.Field.At(q.At); d < 0.3*q.Value {
				t.Errorf("seed %d, %g weeks, %g mm: the place is %.3f mm from the skin", seed, w, want, d)
			}
			tip := far
			for _, d := range digits[1:] {
				tip = min(tip, p.Marks["tip."+d].Sub(q.At).Len()/k.scale)
			}
			if tip > 12 { // two outer bones and a radius: 15 mm and more
				t.Errorf("seed %d, %g weeks, %g mm: %.1f mm from any finger's tip", seed, w, want, tip)
			}
		}
	}
}

func plantAt(t *testing.T, weeks float64, f Fault) (*Part, Planted) {
	t.Helper()
	p := part(t, f.Part, Options{Weeks: weeks, Plain: true, Faults: []Fault{f}})
	if len(p.Planted) != 1 || p.Planted[0].What != FingerGap {
		t.Fatalf("planted %v", p.Planted)
	}
	return p, p.Planted[0]
}

// TestLeantBesideCurled: a finger curled over the palm is none of those that
// are leant together, whatever the seeds.
func TestLeantBesideCurled(t *testing.T) {
	for a := range uint64(8) {
		for b := range uint64(8) {
			h := faults{{What: FingerGap, Seed: a}, {What: Curled, Seed: b}}.hand(Hand{})
			if h.Over < 1 || h.Over > 4 || h.Over == h.Between || h.Over == h.Between+1 {
				t.Errorf("finger %d curled, %d leant to the next", h.Over, h.Between)
			}
		}
	}
}

// TestCannotBeLeant: air that would run out to nothing toward the web, and
// fingers curled past each other, are errors that name the fingers.
func TestCannotBeLeant(t *testing.T) {
	wide := Arm{Hand: Hand{Gap: 1.45, Between: 1, Plain: true}}
	if d, _, _, err := wide.limb().leant(wide.Hand); err == nil || !strings.Contains(err.Error(), "index and middle") {
		t.Errorf("1.45 mm: planted %g, %v", d, err)
	}
	k, err := NewKit(Options{Plain: true, Curl: [5]float64{1: 70}, Faults: []Fault{{What: FingerGap, Part: "right-hand", Seed: 1}}})
	if err != nil {
		t.Fatal(err)
	}
	if p, err := k.Part("right-hand"); err == nil || !strings.Contains(err.Error(), "right-hand") {
		t.Errorf("curled past each other: %v, %v", p, err)
	}
}

// TestTooFineToShow: air or a plate that would take more triangles than the
// most is refused at once; an edge is obeyed all the same.
func TestTooFineToShow(t *testing.T) {
	p := part(t, "right-hand", Options{Plain: true, Faults: []Fault{{What: ThinPlate, Part: "right-hand", Size: 1e-10}}})
	for _, s := range []Sampling{{}, {Triangles: 20_000}} {
		if _, err := p.Mesh(t.Context(), s); err == nil || !strings.Contains(err.Error(), "triangles") {
			t.Errorf("%+v: %v", s, err)
		}
	}
	if _, err := p.Mesh(t.Context(), Sampling{Edge: 2}); err != nil {
		t.Error(err)
	}
}
