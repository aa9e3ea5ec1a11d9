package gaps

import (
	"fmt"
	"math"
	"os"
	"slices"
	"testing"

	"layette/steps/internal/geom"
	"layette/steps/internal/steptest"
	"layette/steps/specimen"
)

// handOf is a specimen's hand, splayed as it is: its fingers stand more than
// 2 mm apart at their ends and meet in webs between their roots.
func handOf(t testing.TB, name string, o specimen.Options, triangles int) (*specimen.Part, *geom.Mesh) {
	t.Helper()
	p := steptest.Part(t, o, name)
	m, err := p.Mesh(t.Context(), specimen.Sampling{Triangles: triangles})
	if err != nil {
		t.Fatal(err)
	}
	return p, m
}

// fully reports whether everything is to be tested that there is.
func fully() bool { return os.Getenv("LAYETTE_HANDS") != "" }

// TestSoundHand: splayed fingers end in a crevice each, and are no gap, however
// old the child, left or right, its fingers a little bent or not; what is thin
// is the fingers, not a crumpled web.
func TestSoundHand(t *testing.T) {
	tests := []struct {
		part  string
		weeks float64
		curl  [5]float64
		least float64 // solid: about the thickness of a little finger
	}{
		{"right-hand", 40, [5]float64{}, 5},
		{"left-hand", 24, [5]float64{}, 3.3},
		{"left-hand", 40, [5]float64{10, 20, 5, 30, 10}, 5},
		{"right-hand", 28, [5]float64{}, 3.7},
		{"right-hand", 34, [5]float64{0, 10, 10, 10, 0}, 4.3},
		{"left-hand", 37, [5]float64{0, 0, 30, 0, 0}, 4.5},
		{"left-hand", 42, [5]float64{}, 5},
	}
	if !fully() {
		tests = tests[:2]
	}
	for _, tt := range tests {
		t.Run(fmt.Sprintf("%s %g weeks %v", tt.part, tt.weeks, tt.curl), func(t *testing.T) {
			_, m := handOf(t, tt.part, specimen.Options{Weeks: tt.weeks, Curl: tt.curl}, 80_000)
			l, finds := looked(t, m)
			got := l.measures(finds)
			for name, want := range map[string]int64{"air.spots": 0, "air.touching": 0, "slot.folds": 0, "crevice.spots": 3} {
				if got[name] != want {
					t.Errorf("%s is %v, want %v", name, got[name], want)
				}
			}
			if x := got["air.least"].(float64); x < 1.2 {
				t.Errorf("least gap %.3f, want none under 1.2", x)
			}
			if x := got["crevice.least"].(float64); x < 9 || x > 25 {
				t.Errorf("fingers open by %.1f degrees, want 9 to 25", x)
			}
			if x := got["solid.least"].(float64); x < tt.least {
				t.Errorf("least solid %.2f, want at least %.2f", x, tt.least)
			}
		})
	}
}

// TestPlantedOnSpecimen: two fingers leant together, or one curled over the
// palm, are the first spot, where they were planted and as wide; fingers grown
// together are none. The webs beside them stay crevices.
func TestPlantedOnSpecimen(t *testing.T) {
	tests := []struct {
		fault specimen.Fault
		what  string
	}{
		{specimen.Fault{What: specimen.FingerGap, Size: 0.8, Seed: 3}, fingerGap},
		{specimen.Fault{What: specimen.Curled, Size: 0.9, Seed: 2}, curledFinger},
		{specimen.Fault{What: specimen.Joined, Seed: 1}, ""},
		{specimen.Fault{What: specimen.FingerGap, Size: 1.1, Seed: 3}, fingerGap},
		{specimen.Fault{What: specimen.FingerGap, Size: 0.4, Seed: 0}, fingerGap},
		{specimen.Fault{What: specimen.FingerGap, Size: 0.55, Seed: 1}, fingerGap},
		{specimen.Fault{What: specimen.FingerGap, Size: 0.7, Seed: 2}, fingerGap},
		{specimen.Fault{What: specimen.FingerGap, Size: 0.9, Seed: 4}, fingerGap},
		{specimen.Fault{What: specimen.FingerGap, Size: 1, Seed: 5}, fingerGap},
		{specimen.Fault{What: specimen.FingerGap, Size: 1.3, Seed: 3}, fingerGap},
		{specimen.Fault{What: specimen.Curled, Size: 0.6, Seed: 1}, curledFinger},
		{specimen.Fault{What: specimen.Curled, Size: 1.1, Seed: 3}, curledFinger},
	}
	if !fully() {
		tests = tests[:3]
	}
	for _, tt := range tests {
		t.Run(fmt.Sprintf("%s %g", tt.fault.What, tt.fault.Size), func(t *testing.T) {
			tt.fault.Part = "left-hand"
			p, m := handOf(t, tt.fault.Part, specimen.Options{Faults: []specimen.Fault{tt.fault}}, 80_000)
			l, finds := looked(t, m)
			got, planted := l.measures(finds), p.Planted[0]
			if tt.what == "" {
				if got["air.spots"] != int64(0) {
					t.Errorf("fingers grown together have %v gaps", got["air.spots"])
				}
				return
			}
			f := finds[0]
			if planted.Value >= l.least { // a remark, after the webs' faults
				f = finds[slices.IndexFunc(finds, func(f find) bool { return f.what == tt.what })]
			}
			if f.fault != (planted.Value < l.least) || f.what != tt.what {
				t.Fatalf("the first spot is %s: %s", f.what, f.says)
			}
			if !(math.Abs(f.value-planted.Value) <= 0.02) || got["air.least"] != f.value {
				t.Errorf("%.3f mm wide, least %.3f, planted %.3f", f.value, got["air.least"], planted.Value)
			}
			if d := f.pinch.at.Add(f.pinch.to).Mul(0.5).Sub(planted.At).Len(); d > planted.Radius {
				t.Errorf("found %.1f mm from where it was planted", d)
			}
		})
	}
}

// TestPlateOfFewTriangles: a fin is as thick as its faces are apart, though few
// triangles cut off its rounded rim and make it thinner there.
func TestPlateOfFewTriangles(t *testing.T) {
	for _, seed := range []uint64{1, 2} {
		p, m := handOf(t, "left-foot", specimen.Options{Plain: true, Faults: []specimen.Fault{{What: specimen.ThinPlate, Part: "left-foot", Size: 1.5, Seed: seed}}}, 25_000)
		_, finds := looked(t, m)
		q, best := p.Planted[0], math.Inf(1)
		for _, f := range finds {
			if f.what == thinSolid && f.pinch.at.Sub(q.At).Len() < q.Radius+2 {
				best = min(best, f.value)
			}
		}
		if !(math.Abs(best/q.Value-1) <= 0.02) {
			t.Errorf("seed %d: %.3f mm, want %.3f", seed, best, q.Value)
		}
	}
}
