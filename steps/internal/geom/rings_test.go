package geom

import (
	"math"
	"testing"
)

// ringsOf finds the rings of a surface from its largest opening.
func ringsOf(t testing.TB, m *Mesh, spacing float64) (*Rings, Opening) {
	t.Helper()
	e := linksOf(t, m)
	open, err := m.Openings(t.Context(), e, 2)
	if err != nil || len(open) == 0 {
		t.Fatalf("%d openings, %v", len(open), err)
	}
	r, err := m.RingsFrom(t.Context(), e, open, spacing)
	if err != nil {
		t.Fatal(err)
	}
	return r, open[0]
}

func near(t *testing.T, what string, got, want, share float64) {
	t.Helper()
	if !(math.Abs(got-want) <= share*math.Abs(want)) {
		t.Errorf("%s: %.5g, want %.5g", what, got, want)
	}
}

// A bottle's rings: the girth of each section is that of its height.
func TestRingsOfTurnedBody(t *testing.T) {
	radius := func(s float64) float64 { return 12 - 5*math.Sin(math.Pi*s) }
	m := shuffled(tube(120, 96, upright(60), radius), 5)
	r, o := ringsOf(t, m, 1)
	near(t, "opening's area", o.Area, math.Pi*144, 0.002)
	if len(r.Branches) != 1 {
		t.Fatalf("%d branches", len(r.Branches))
	}
	for _, k := range r.Branches[0].Rings {
		ring := r.Rings[k]
		z := ring.Centre.Z
		if z < 2 || z > 58 {
			continue
		}
		want := radius(z / 60)
		near(t, "girth", ring.Girth, 2*math.Pi*want, 0.005)
		near(t, "section", ring.Across.Girth, 2*math.Pi*want, 0.005)
		near(t, "tape", ring.Across.Tape, 2*math.Pi*want, 0.005)
		near(t, "area", ring.Across.Area, math.Pi*want*want, 0.01)
	}
}

// Beyond a bend rings hardly lean, and sections not at all.
func TestSectionsBeyondBend(t *testing.T) {
	m := tube(200, 64, bent(40, 25, 70), func(float64) float64 { return 10 })
	r, _ := ringsOf(t, m, 1)
	leaning := 0.0
	for i, k := range r.Branches[0].Rings {
		ring := r.Rings[k]
		leaning = max(leaning, ring.Girth)
		if i < 3 || ring.top-ring.Level < 25 {
			continue
		}
		near(t, "girth across", ring.Across.Girth, 2*math.Pi*10, 0.01)
	}
	// Rings of the distance alone lean by 70 degrees' radians, 1.6 times too long.
	if leaning > 1.1*2*math.Pi*10 {
		t.Errorf("the longest ring has %.1f mm", leaning)
	}
}

// The tape round an ellipse of 116 by 95 mm: 332.2593 mm (complete elliptic
// integral); round two such side by side the straight parts count too.
func TestTape(t *testing.T) {
	ellipse := func(x float64) []Vec {
		var at []Vec
		for i := range 2000 {
			s, c := math.Sincos(2 * math.Pi * float64(i) / 2000)
			at = append(at, Vec{x + 58*c, 47.5 * s, 3})
		}
		return at
	}
	up := Vec{Z: 1}
	near(t, "tape", Tape(ellipse(0), up), 332.2593, 1e-5)
	near(t, "tape round two", Tape(append(ellipse(0), ellipse(300)...), up), 332.2593+600, 1e-5)
	if Tape(nil, up) != 0 || Tape([]Vec{{1, 2, 3}}, up) != 0 {
		t.Error("a tape round nothing has a length")
	}
}
