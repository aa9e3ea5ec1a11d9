package geom

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestTriDistanceAgainstSampling: the exact distance is never above that of any
// pair of points, and hardly below that of the best of many.
func TestTriDistanceAgainstSampling(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	corner := func(far float64) Vec { return Vec{rng.Float64(), rng.Float64(), rng.Float64() + far} }
	const n = 24
	for range 200 {
		far := 1.2 * rng.Float64()
		a := [3]Vec{corner(0), corner(0), corner(0)}
		b := [3]Vec{corner(far), corner(far), corner(far)}
		d2, p, q := TriDistance(a, b)
		if got := p.Sub(q).Len2(); !(math.Abs(got-d2) <= 1e-12) {
			t.Fatalf("places are %v apart, distance %v", got, d2)
		}
		least := math.Inf(1)
		for i := range n + 1 {
			for j := range n + 1 - i {
				x := a[0].Add(a[1].Sub(a[0]).Mul(float64(i) / n)).Add(a[2].Sub(a[0]).Mul(float64(j) / n))
				y := OnTriangle(x, b)
				if on := OnTriangle(y, b); on.Sub(y).Len() > 1e-9 {
					t.Fatalf("%v is not on the triangle", y)
				}
				least = min(least, x.Sub(y).Len())
			}
		}
		if d := math.Sqrt(d2); d > least+1e-12 || d < least-2.0/n {
			t.Fatalf("distance %v, nearest of many points %v", d, least)
		}
	}
}

func TestTriDistanceKnown(t *testing.T) {
	flat := [3]Vec{{0, 0, 0}, {4, 0, 0}, {0, 4, 0}}
	tests := []struct {
		name  string
		other [3]Vec
		want  float64
	}{
		{"parallel above", [3]Vec{{1, 1, 0.5}, {2, 1, 0.5}, {1, 2, 0.5}}, 0.5},
		{"corner above inside", [3]Vec{{1, 1, 2}, {1, 1, 5}, {2, 1, 5}}, 2},
		{"edges crossing above", [3]Vec{{-1, 1, 1}, {1, -1, 1}, {0, 0, 9}}, 1},
		{"through", [3]Vec{{1, 1, -1}, {1, 1, 1}, {1.1, 1.1, 1}}, 0},
		{"sharing a corner", [3]Vec{{0, 0, 0}, {-1, 0, 1}, {0, -1, 1}}, 0},
		{"a point", [3]Vec{{1, 1, 3}, {1, 1, 3}, {1, 1, 3}}, 3},
		{"a line", [3]Vec{{1, 1, 3}, {5, 5, 3}, {3, 3, 3}}, 3},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if d2, _, _ := TriDistance(flat, tt.other); !(math.Abs(math.Sqrt(d2)-tt.want) <= 1e-12) {
				t.Errorf("%v, want %v", math.Sqrt(d2), tt.want)
			}
			if d2, _, _ := TriDistance(tt.other, flat); !(math.Abs(math.Sqrt(d2)-tt.want) <= 1e-12) {
				t.Errorf("turned about: %v, want %v", math.Sqrt(d2), tt.want)
			}
		})
	}
}
