package geom

import (
	"fmt"
	"math"
	"testing"
)

// Tubes bent by known angles at known radii: angle and radius within 2 %, the
// inside radius within 2 % or 0.15 mm.
func TestBendsOfTubes(t *testing.T) {
	const r = 10.0
	for _, R := range []float64{15, 20, 30, 45} {
		for _, deg := range []float64{20, 38, 60, 90} {
			t.Run(fmt.Sprintf("R%g/%gdeg", R, deg), func(t *testing.T) {
				m := shuffled(tube(240, 64, bent(45, R, deg), func(float64) float64 { return r }), 4)
				rings, _ := ringsOf(t, m, 0.5)
				list := rings.Bends(0, 0.1)
				if len(list) != 1 {
					t.Fatalf("%d bends: %+v", len(list), list)
				}
				b := list[0]
				t.Logf("%.2f deg, radius %.3f, inside %.3f", b.Turn*180/math.Pi, b.Radius, b.Inside)
				near(t, "turn", b.Turn*180/math.Pi, deg, 0.02)
				near(t, "radius", b.Radius, R, 0.02)
				near(t, "inside", b.Inside, R-r, max(0.02, 0.15/(R-r)))
			})
		}
	}
}
