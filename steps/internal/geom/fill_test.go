package geom

import (
	"math"
	"math/rand/v2"
	"testing"
)

// outline numbers points from first on.
func outline(first int32, pts ...float64) []flatPoint {
	var loop []flatPoint
	for i := 0; i < len(pts); i += 2 {
		loop = append(loop, flatPoint{first + int32(i/2), float64(float32(pts[i])), float64(float32(pts[i+1]))})
	}
	return loop
}

// round is n points on a circle, counter-clockwise, or clockwise for n < 0.
func round(first int32, n int, u, v, r float64) []flatPoint {
	var pts []float64
	for i := range max(n, -n) {
		a := 2 * math.Pi * float64(i) / float64(n)
		pts = append(pts, u+r*math.Cos(a), v+r*math.Sin(a))
	}
	return outline(first, pts...)
}

func loopArea(loop []flatPoint) float64 {
	s := 0.0
	for i, p := range loop {
		q := loop[(i+1)%len(loop)]
		s += p.u*q.v - q.u*p.v
	}
	return s / 2
}

// star is a spiky outline: half its corners are reflex.
func star(n int, seed uint64) []flatPoint {
	rng := rand.New(rand.NewPCG(seed, 1))
	var pts []float64
	for i := range n {
		a, r := 2*math.Pi*float64(i)/float64(n), 1+9*rng.Float64()
		pts = append(pts, r*math.Cos(a), r*math.Sin(a))
	}
	return outline(0, pts...)
}

// TestFill: as many triangles as there must be, none turned over, their areas
// adding up, every edge of the outline used once.
func TestFill(t *testing.T) {
	tests := map[string]struct {
		outline []flatPoint
		holes   [][]flatPoint
	}{
		"triangle":                         {outline: outline(0, 0, 0, 1, 0, 0, 1)},
		"square with corners on its sides": {outline: outline(0, 0, 0, 1, 0, 2, 0, 2, 1, 2, 2, 1, 2, 0, 2, 0, 1)},
		"letter L":                         {outline: outline(0, 0, 0, 3, 0, 3, 1, 1, 1, 1, 3, 0, 3)},
		"comb":                             {outline: outline(0, 0, 0, 7, 0, 7, 5, 6, 5, 6, 1, 5, 1, 5, 5, 4, 5, 4, 1, 3, 1, 3, 5, 2, 5, 2, 1, 1, 1, 1, 5, 0, 5)},
		"ring":                             {outline: round(0, 40, 0, 0, 10), holes: [][]flatPoint{round(40, -30, 0, 0, 9.9)}},
		"three holes": {outline: round(0, 50, 0, 0, 10), holes: [][]flatPoint{
			round(50, -12, -5, 0, 2), round(62, -12, 5, 0, 2), round(74, -12, 0, 5, 2)}},
		"holes in line": {outline: outline(0, 0, 0, 10, 0, 10, 4, 0, 4), holes: [][]flatPoint{
			outline(4, 1, 1, 1, 3, 3, 3, 3, 1), outline(8, 4, 1, 4, 3, 6, 3, 6, 1), outline(12, 7, 1, 7, 3, 9, 3, 9, 1)}},
		"star": {outline: star(400, 3)}, "other star": {outline: star(1001, 4)},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			where := map[int32]flatPoint{}
			edges := map[[2]int32]int{}
			want, corners := 0.0, 0
			for _, loop := range append([][]flatPoint{tt.outline}, tt.holes...) {
				want += loopArea(loop)
				corners += len(loop)
				for i, p := range loop {
					where[p.id] = p
					edges[[2]int32{p.id, loop[(i+1)%len(loop)].id}]++
				}
			}
			tris := fill(tt.outline, tt.holes)
			if n := corners + 2*len(tt.holes) - 2; len(tris) != n {
				t.Errorf("%d triangles, want %d", len(tris), n)
			}
			got := 0.0
			for _, tri := range tris {
				a, b, c := where[tri[0]], where[tri[1]], where[tri[2]]
				if leftOf(a, b, c) < 0 {
					t.Fatalf("triangle %v is turned over", tri)
				}
				got += loopArea([]flatPoint{a, b, c})
				for k := range tri {
					edges[[2]int32{tri[k], tri[(k+1)%3]}]--
				}
			}
			if !(math.Abs(got-want) <= 1e-9*want) {
				t.Errorf("area %v, want %v", got, want)
			}
			for e, n := range edges {
				if n != 0 && n != edges[[2]int32{e[1], e[0]}] || n < -1 {
					t.Fatalf("edge %v is left over %d times", e, n)
				}
			}
		})
	}
}
