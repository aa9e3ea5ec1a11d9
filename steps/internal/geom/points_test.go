package geom

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// pointSets are sets that try a tree: by what is true of them.
func pointSets() map[string][]Point {
	rng := rand.New(rand.NewPCG(1, 2))
	random := make([]Point, 3000)
	grid := []Point{} // many equal distances
	line := make([]Point, 500)
	same := make([]Point, 300)
	for i := range random {
		random[i] = Point{rng.Float32() * 80, rng.Float32() * 60, rng.Float32()}
	}
	for x := range 9 {
		for y := range 9 {
			for z := range 9 {
				grid = append(grid, Point{float32(x), float32(y), float32(z)})
			}
		}
	}
	rng.Shuffle(len(grid), func(i, j int) { grid[i], grid[j] = grid[j], grid[i] })
	for i := range line {
		line[i] = Point{float32(i) * 0.1, 0, 0}
	}
	for i := range same {
		same[i] = Point{7, 7, 7}
	}
	return map[string][]Point{"random": random, "grid": grid, "line": line, "same place": same,
		"one": {{1, 2, 3}}, "none": {}}
}

// brute answers by looking at every point.
func brute(pts []Point, q Vec, limit float64) []Near {
	var near []Near
	for i, p := range pts {
		if d := p.Vec().Sub(q).Len2(); d <= limit*limit {
			near = append(near, Near{int32(i), d})
		}
	}
	sortNear(near)
	return near
}

func TestPointTreeAgainstBruteForce(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for name, pts := range pointSets() {
		t.Run(name, func(t *testing.T) {
			tree, err := NewPointTree(t.Context(), pts, 2)
			if err != nil {
				t.Fatal(err)
			}
			queries, all := make([]Point, 5000), make([]Near, 5000) // more than one chunk
			for i := range queries {
				queries[i] = Point{rng.Float32() * 20, rng.Float32() * 20, rng.Float32()}
			}
			if err := tree.NearestAll(t.Context(), queries, 3, 2, all); err != nil {
				t.Fatal(err)
			}
			for i, q := range queries {
				if one := tree.Nearest(q.Vec(), 3); all[i].ID != one.ID || one.ID >= 0 && all[i] != one {
					t.Fatalf("all at once near %v: %v, alone %v", q, all[i], one)
				}
			}
			for range 200 {
				q := Vec{math.Round(rng.Float64()*18) / 2, math.Round(rng.Float64()*18) / 2, math.Round(rng.Float64()*18) / 2}
				limit := 0.5 + 4*rng.Float64()
				want := brute(pts, q, limit)
				if got := tree.Within(q, limit, nil); !slices.Equal(got, want) {
					t.Fatalf("within %v of %v: %d points, want %d", limit, q, len(got), len(want))
				}
				k := 1 + rng.IntN(20)
				if got := tree.Around(q, k, limit, nil); !slices.Equal(got, want[:min(k, len(want))]) {
					t.Fatalf("%d around %v: %v, want %v", k, q, got, want[:min(k, len(want))])
				}
				got := tree.Nearest(q, limit)
				if len(want) == 0 {
					if got.ID >= 0 {
						t.Fatalf("nearest to %v: %v, want none", q, got)
					}
				} else if got != want[0] {
					t.Fatalf("nearest to %v: %v, want %v", q, got, want[0])
				}
			}
		})
	}
}

func TestPointTreeDoesNotDependOnWorkers(t *testing.T) {
	pts := randomSphere(50_000)
	one, _ := NewPointTree(t.Context(), pts, 1)
	four, _ := NewPointTree(t.Context(), pts, 4)
	if !slices.Equal(one.Order(), four.Order()) || !slices.Equal(one.boxes, four.boxes) {
		t.Fatal("one worker and four build different trees")
	}
	seen := make([]bool, len(pts))
	for _, id := range one.Order() {
		seen[id] = true
	}
	if slices.Contains(seen, false) {
		t.Fatal("the order leaves a point out")
	}
}

// TestCurveStepsAreShort: along the curve one step leads to a neighbouring
// cell, which is what makes it worth having.
func TestCurveStepsAreShort(t *testing.T) {
	var pts []Point
	for x := range 16 {
		for y := range 16 {
			for z := range 16 {
				pts = append(pts, Point{float32(x), float32(y), float32(z)})
			}
		}
	}
	order := CurveOrder(pts, 2)
	for i := 1; i < len(order); i++ {
		if d := pts[order[i]].Vec().Sub(pts[order[i-1]].Vec()).Len2(); d != 1 {
			t.Fatalf("step %d is %v long, want 1", i, math.Sqrt(d))
		}
	}
}

func TestPointTreeRefuses(t *testing.T) {
	if _, err := NewPointTree(t.Context(), []Point{{0, 0, 0}, {0, float32(math.NaN()), 0}}, 1); err == nil {
		t.Error("a point that is not a number was taken")
	}
	ctx, cancel := context.WithCancelCause(t.Context())
	stop := errors.New("stop")
	tree, err := NewPointTree(ctx, randomSphere(10_000), 2)
	if err != nil {
		t.Fatal(err)
	}
	cancel(stop)
	if _, err := NewPointTree(ctx, randomSphere(10), 1); !errors.Is(err, stop) {
		t.Errorf("building after cancel: %v", err)
	}
	if err := tree.NearestAll(ctx, randomSphere(10), 1, 1, make([]Near, 10)); !errors.Is(err, stop) {
		t.Errorf("asking after cancel: %v", err)
	}
}

// randomSphere returns n points on a ball of 50 mm, about the size of a head.
func randomSphere(n int) []Point {
	rng := rand.New(rand.NewPCG(5, 6))
	pts := make([]Point, n)
	for i := range pts {
		v := Vec{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}.Unit()
		pts[i] = v.Mul(50).Point()
	}
	return pts
}

func BenchmarkPointTreeBuild(b *testing.B) {
	pts := randomSphere(2_000_000)
	for b.Loop() {
		if _, err := NewPointTree(b.Context(), pts, 2); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(pts))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mpoints/s")
}

func BenchmarkPointTreeNearest(b *testing.B) {
	pts := randomSphere(2_000_000)
	tree, err := NewPointTree(b.Context(), pts, 2)
	if err != nil {
		b.Fatal(err)
	}
	queries := make([]Point, len(pts))
	for i := range queries {
		queries[i] = pts[i].Vec().Mul(1.001).Point()
	}
	near := make([]Near, len(queries))
	for b.Loop() {
		if err := tree.NearestAll(b.Context(), queries, math.Inf(1), 2, near); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(queries))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mqueries/s")
}
