package specimen

import (
	"math"
	"testing"
)

// TestCastingLiesInItsLimb: every point of a casting, but those of the plane
// it is cut along, lies on the limb's skin.
func TestCastingLiesInItsLimb(t *testing.T) {
	o := Options{Plain: true}
	k, err := NewKit(o)
	if err != nil {
		t.Fatal(err)
	}
	for casting, limb := range map[string]string{"right-hand": "right-arm", "left-hand": "left-arm", "left-foot": "left-leg"} {
		m, err := k.Casting(t.Context(), casting, Sampling{Triangles: 20_000})
		if err != nil {
			t.Fatal(err)
		}
		f, on := part(t, limb, o).Field, 0
		for _, p := range m.Verts {
			if d, _ := f.At(p.Vec()); math.Abs(d) < 0.02 {
				on++
			}
		}
		// The cut of a wrist or ankle is about a twentieth of the skin.
		if share := float64(on) / float64(len(m.Verts)); share < 0.9 {
			t.Errorf("%s: %.1f %% of its points lie on the %s", casting, 100*share, limb)
		}
		if m.Bounds().Min.Z < 20 {
			t.Errorf("%s reaches down to the opening of the %s: %v", casting, limb, m.Bounds())
		}
	}
	if _, err := k.Casting(t.Context(), "head", Sampling{}); err == nil {
		t.Error("a casting of the head was made")
	}
}
