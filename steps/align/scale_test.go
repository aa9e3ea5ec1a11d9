package align

import (
	"math"
	"strings"
	"testing"

	"layette/steps/internal/geom"
	"layette/steps/specimen"
)

// TestOtherChild: coarse shots of a preterm child's hand, a twelfth smaller,
// lie on a child's born at term within the noise; by their size they are known.
func TestOtherChild(t *testing.T) {
	scanner := specimen.Scanner{Pitch: 0.7, Wide: 75, High: 75}
	shots := sitting(t, "right-hand", specimen.Options{}, specimen.Session{Scanner: scanner, Shots: 12, Seed: 2})
	other := sitting(t, "right-hand", specimen.Options{Weeks: 34}, specimen.Session{Scanner: scanner, Shots: 1, Seed: 8})
	files := filesOf(t, shots)
	res := run(t, append(files, plyOf(t, "other", other[0].mesh)), nil)
	got := posesOf(t, res)
	if row := rowOf(got, "other"); row.Placed || !strings.Contains(row.Why, "another child") {
		t.Errorf("another child's hand: placed %v, %q", row.Placed, row.Why)
	}
	if n := res.Measures["placed"].(int64); n < 8 { // as many as without it
		t.Errorf("%d of the others are placed", n)
	}
}

// TestGrown: a bumpy patch scaled by a known share, its partners known, is
// found to be scaled by that; of a plane, which shows no size, nothing is said.
func TestGrown(t *testing.T) {
	for _, share := range []float64{-0.05, -0.01, 0, 0.02, 0.08} {
		for _, flat := range []bool{false, true} {
			f := func(x, y float64) float64 { return 4*math.Sin(x/5)*math.Cos(y/6) - x*x/60 }
			if flat {
				f = func(_, _ float64) float64 { return 0 }
			}
			r := newNoise(4)
			var touches []geom.Touch
			for k := range 400 {
				x, y := float64(k%20)*2-19, float64(k/20)*2-19
				const h = 1e-4
				n := geom.Vec{X: (f(x-h, y) - f(x+h, y)) / (2 * h), Y: (f(x, y-h) - f(x, y+h)) / (2 * h), Z: 1}.Unit()
				q := geom.Vec{X: x, Y: y, Z: f(x, y)}
				touches = append(touches, geom.Touch{At: q.Mul(1 / (1 + share)).Add(n.Mul(0.02 * r.NormFloat64())), Plane: q, Normal: n})
			}
			scale, sd := grown(touches, geom.Vec{}, 25)
			switch {
			case flat && math.Abs(scale) > surelyGrown*sd:
				t.Errorf("a plane is said to be scaled by %.4f, sd %.4f", scale, sd)
			case !flat && math.Abs(scale-share) > 0.004:
				t.Errorf("scaled by %.3f, found %.4f, sd %.4f", share, scale, sd)
			}
		}
	}
}
