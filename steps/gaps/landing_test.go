package gaps

import (
	"fmt"
	"math"
	"testing"

	"layette/steps/internal/geom"
)

// over is a finger of radius 3 that leaves a palm, whose face is z = 0, along x:
// it rises by steep degrees until the air under it is wide, then goes on for
// long mm, rising by on degrees.
func over(steep, wide, long, on float64) solid {
	const r = 3
	way := func(deg float64) geom.Vec {
		return geom.Vec{X: math.Cos(deg * math.Pi / 180), Z: math.Sin(deg * math.Pi / 180)}
	}
	knee := geom.Vec{Z: r + wide}
	root := knee.Sub(way(steep).Mul((wide + 0.6) / way(steep).Z)) // 0.6 mm of it within the palm
	palm := slab(geom.Vec{X: -2, Z: -5}, geom.Vec{X: 16, Y: 9, Z: 5}, 2)
	return join(palm, limb(root, knee, r, r), limb(knee, knee.Add(way(on).Mul(long)), r, r))
}

// TestLanding: a finger that curls over the palm is told by its least air where
// it comes to lie along the palm before they meet at its root, or nearer to it
// at its end than behind; one that only rises from the palm, however slowly, is
// a V of that angle. All are exact: a limb along a plane.
func TestLanding(t *testing.T) {
	tests := []struct {
		steep, wide, long, on float64
		least                 float64 // 0: a V
	}{
		{13, 0.6, 2, 0, 0.6},
		{20, 0.8, 2, 0, 0.8},
		{20, 0.8, 2.5, -3, 0.8 - 2.5*math.Sin(3*math.Pi/180)},
		{25, 0.6, 3, 0, 0.6},
		{13, 0.8, 5, 13, 0},
		{20, 0.8, 5, 12, 0},
		{13, 0.5, 2, 0, 0.5},
		{13, 0.6, 3, 0, 0.6},
		{13, 0.8, 4, 0, 0.8},
		{13, 0.8, 4, -4, 0.8 - 4*math.Sin(4*math.Pi/180)},
		{20, 0.6, 1.5, 0, 0.6},
		{20, 0.6, 2, 0, 0.6},
		{20, 1, 4, 0, 1},
		{25, 0.7, 2, 0, 0.7},
		{10, 0.8, 4, 0, 0.8},
		{10, 0.8, 5, 10, 0},
		{20, 0.8, 5, 20, 0},
	}
	if !fully() {
		tests = tests[:6]
	}
	for _, tt := range tests {
		t.Run(fmt.Sprintf("%g degrees to %g mm, %g on by %g", tt.steep, tt.wide, tt.long, tt.on), func(t *testing.T) {
			f := over(tt.steep, tt.wide, tt.long, tt.on)
			l, finds := looked(t, grid(f, geom.Vec{X: -20, Y: -11, Z: -11}, geom.Vec{X: 16, Y: 11, Z: 12}, 0.35))
			got, spots := l.measures(finds), int64(0)
			if tt.least > 0 {
				spots = 1
				if x := got["air.least"].(float64); !(math.Abs(x-tt.least) <= 0.02) {
					t.Errorf("least air %.3f mm, want %.3f", x, tt.least)
				}
			} else if x := got["crevice.least"].(float64); !(x >= tt.on-2 && x <= tt.steep+4) {
				t.Errorf("a V of %.1f degrees, want %g to %g", x, tt.on, tt.steep)
			}
			if got["air.curled"] != spots || got["air.spots"] != spots {
				t.Errorf("%v gaps, %v of them curled fingers, want %d", got["air.spots"], got["air.curled"], spots)
			}
		})
	}
}
