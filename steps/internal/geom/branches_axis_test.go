package geom

import (
	"fmt"
	"math"
	"testing"
)

// Tubes bent by known angles at known radii: angle, radius of the axis and inside
// radius within 2 %; the axis within 3 % where the inside is a twentieth of it.
func TestBendsOfTubes(t *testing.T) {
	const r = 10.0
	for _, R := range []float64{10.5, 11, 12, 13, 15, 20, 30, 45} {
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
				near(t, "radius", b.Radius, R, map[bool]float64{false: 0.02, true: 0.03}[R < 1.1*r])
				near(t, "inside", b.Inside, R-r, 0.02)
			})
		}
	}
}
