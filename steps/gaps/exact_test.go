package gaps

import (
	"math"
	"testing"

	"layette/steps/internal/geom"
)

// ring is a torus round z through c: wide is the radius of its middle line.
func ring(c geom.Vec, wide, r float64) solid {
	return func(p geom.Vec) float64 {
		q := p.Sub(c)
		return math.Hypot(math.Hypot(q.X, q.Y)-wide, q.Z) - r
	}
}

// elbow is a limb of radius r bent by a right angle round a circle of radius
// wide, with straight ends.
func elbow(wide, r, long float64) solid {
	bend := ring(geom.Vec{}, wide, r)
	a := limb(geom.Vec{X: wide}, geom.Vec{X: wide, Y: -long}, r, r)
	b := limb(geom.Vec{Y: wide}, geom.Vec{X: -long, Y: wide}, r, r)
	return func(p geom.Vec) float64 {
		if p.X >= 0 && p.Y >= 0 {
			return bend(p)
		}
		return min(a(p), b(p))
	}
}

// egg is an ellipsoid; off its skin the value only bounds the distance.
func egg(s geom.Vec) solid {
	return func(p geom.Vec) float64 {
		q := geom.Vec{X: p.X / s.X, Y: p.Y / s.Y, Z: p.Z / s.Z}
		g := geom.Vec{X: q.X / s.X, Y: q.Y / s.Y, Z: q.Z / s.Z}
		k := q.Len()
		return k * (k - 1) / max(g.Len(), 1e-9)
	}
}

// TestExact measures bodies whose values follow from their sizes, within 2 % or
// 0.02 mm: the hole of a ring and the inside of an elbow are inside corners; an
// ellipsoid is thickest, twice its least half axis, in its middle.
func TestExact(t *testing.T) {
	tests := []struct {
		name  string
		shape solid
		half  geom.Vec // of the box that holds it
		want  map[string]float64
	}{
		{"torus", ring(geom.Vec{}, 4, 3.2), geom.Vec{X: 8, Y: 8, Z: 4}, map[string]float64{"solid.least": 6.4, "corner 1 %": 0.8, "air.spots": 0}},
		{"elbow", elbow(4, 3, 6), geom.Vec{X: 10, Y: 10, Z: 4}, map[string]float64{"solid.least": 6, "corner 1 %": 1, "air.spots": 0}},
		{"ellipsoid", egg(geom.Vec{X: 7, Y: 6, Z: 2.5}), geom.Vec{X: 8, Y: 7, Z: 3}, map[string]float64{"solid 100 %": 5, "air.spots": 0}},
		{"a ball loose in a hollow one", join(
			limb(geom.Vec{}, geom.Vec{X: 1e-6}, 3, 3),
			cut(limb(geom.Vec{}, geom.Vec{X: 1e-6}, 6, 6), limb(geom.Vec{}, geom.Vec{X: 1e-6}, 4, 4))),
			geom.Vec{X: 7, Y: 7, Z: 7}, map[string]float64{"air.least": 1, "air.spots": 1, "solid.least": 2}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			l, finds := looked(t, finer(grid(tt.shape, tt.half.Mul(-1), tt.half, 0.4), tt.shape))
			got := l.measures(finds)
			got["solid 100 %"] = got["solid.curve"].([]float64)[6]
			if c := got["corner.curve"].([]float64); len(c) > 1 {
				got["corner 1 %"] = c[1]
			}
			for name, want := range tt.want {
				x, ok := got[name].(float64)
				if n, count := got[name].(int64); count {
					x, ok = float64(n), true
				}
				if !ok || !(math.Abs(x-want) <= max(0.02, 0.02*want)) {
					t.Errorf("%s is %v, want %v", name, got[name], want)
				}
			}
		})
	}
}
