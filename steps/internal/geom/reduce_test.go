package geom

import (
	"context"
	"errors"
	"math"
	"slices"
	"testing"
)

// edgesOf counts how many triangles each edge has.
func edgesOf(m *Mesh) map[[2]int32]int {
	n := map[[2]int32]int{}
	for _, t := range m.Tris {
		for k := range t {
			a, b := t[k], t[(k+1)%3]
			n[[2]int32{min(a, b), max(a, b)}]++
		}
	}
	return n
}

// A reduced ball is a closed ball of nearly the same volume, and strays as
// little as its chords must: r - sqrt(r² - ρ²) with ρ the greatest radius of a
// circle round one of its triangles, and no more than a few times that.
func TestReduceBall(t *testing.T) {
	const r = 50.0
	full := ball(Vec{10, 20, 30}, r, 6) // 32,768 triangles or so
	for _, most := range []int{8000, 2000, 500} {
		red, err := Reduce(t.Context(), full, most, 2)
		if err != nil {
			t.Fatal(err)
		}
		n := len(red.Mesh.Tris)
		if n > most || n < most*9/10 {
			t.Errorf("asked for %d triangles, got %d", most, n)
		}
		for e, k := range edgesOf(red.Mesh) {
			if k != 2 {
				t.Fatalf("%d triangles: edge %v has %d triangles", n, e, k)
			}
		}
		if v, want := red.Mesh.Volume(), full.Volume(); !(math.Abs(v/want-1) <= 30/float64(n)) {
			t.Errorf("%d triangles: volume %.0f, want %.0f", n, v, want)
		}
		// n equal triangles have side a with n a² √3/4 = 4π r²; the chord's
		// depth at a triangle's middle is a²/3 / 2r
		depth := 4 * math.Pi * r * r / float64(n) * 4 / math.Sqrt(3) / 6 / r
		if red.Worst > 4*depth || red.Worst < depth/8 || red.Mean > red.Worst {
			t.Errorf("%d triangles: strays by %.3f mm, chords alone by about %.3f", n, red.Worst, depth)
		}
	}
}

// What is said to be the worst error is: brute force over all triangles.
func TestReduceErrorByBruteForce(t *testing.T) {
	full := ball(Vec{}, 20, 4)
	for i, p := range full.Verts {
		full.Verts[i] = p.Vec().Mul(1 + 0.1*math.Sin(float64(p[0]))).Point()
	}
	red, err := Reduce(t.Context(), full, 300, 1)
	if err != nil {
		t.Fatal(err)
	}
	worst := 0.0
	for _, p := range full.Verts {
		best := math.Inf(1)
		for i := range red.Mesh.Tris {
			a, b, c := red.Mesh.Corners(i)
			d, _, _, _ := closestOn(p.Vec().X, p.Vec().Y, p.Vec().Z, &[9]float32{
				float32(a.X), float32(a.Y), float32(a.Z), float32(b.X), float32(b.Y), float32(b.Z), float32(c.X), float32(c.Y), float32(c.Z)})
			best = min(best, d)
		}
		worst = max(worst, math.Sqrt(best))
	}
	if !(math.Abs(worst-red.Worst) <= 1e-9) {
		t.Errorf("strays by %v, brute force %v", red.Worst, worst)
	}
}

// Two skins 0.3 mm apart stay two skins, also where cells are wider than that.
func TestReduceKeepsGapsOpen(t *testing.T) {
	a, b := ball(Vec{-30.15, 0, 0}, 30, 8), ball(Vec{30.15, 0, 0}, 30, 8)
	n := int32(len(a.Verts))
	full := &Mesh{Verts: slices.Concat(a.Verts, b.Verts), Tris: slices.Clone(a.Tris)}
	for _, tri := range b.Tris {
		full.Tris = append(full.Tris, Tri{tri[0] + n, tri[1] + n, tri[2] + n})
	}
	red := &Reduced{Mesh: full, From: make([]int32, len(full.Verts))}
	for i := range red.From {
		red.From[i] = int32(i)
	}
	red.gather(t.Context(), 20000)
	if len(red.Mesh.Tris) > 40000 {
		t.Fatalf("cells left %d triangles", len(red.Mesh.Tris))
	}
	if err := red.collapse(t.Context(), 3000); err != nil {
		t.Fatal(err)
	}
	red.tidy()
	for i, tri := range red.Mesh.Tris {
		left := 0
		for _, v := range tri {
			if red.From[v] < n {
				left++
			}
		}
		if left != 0 && left != 3 {
			t.Fatalf("triangle %d joins the two balls", i)
		}
	}
}

// The rim of an open half ball stays where it is.
func TestReduceKeepsRims(t *testing.T) {
	full := ball(Vec{}, 40, 5)
	full.Tris = slices.DeleteFunc(full.Tris, func(t Tri) bool {
		return full.Verts[t[0]][2] < 0 || full.Verts[t[1]][2] < 0 || full.Verts[t[2]][2] < 0
	})
	red, err := Reduce(t.Context(), full, 800, 2)
	if err != nil {
		t.Fatal(err)
	}
	rim := 0
	for e, k := range edgesOf(red.Mesh) {
		if k != 1 {
			continue
		}
		rim++
		for _, v := range e {
			p := red.Mesh.Verts[v].Vec()
			if !(math.Abs(p.Z) <= 0.1) || !(math.Abs(math.Hypot(p.X, p.Y)-40) <= 0.3) {
				t.Fatalf("a rim vertex moved to %v", p)
			}
		}
	}
	if rim == 0 {
		t.Error("the rim is gone")
	}
}

func TestReduceSmallBadAndStopped(t *testing.T) {
	small := ball(Vec{}, 1, 1)
	red, err := Reduce(t.Context(), small, 1000, 2)
	if err != nil || red.Mesh != small || red.Worst != 0 || red.From[3] != 3 {
		t.Errorf("a small surface came back as %+v, %v", red, err)
	}
	bad := ball(Vec{}, 10, 4)
	bad.Verts[5][1] = float32(math.NaN())
	bad.Tris = append(bad.Tris, Tri{1, 1, 2}, Tri{7, 8, 7})
	if red, err = Reduce(t.Context(), bad, 200, 2); err != nil || len(red.Mesh.Tris) > 200 || !(red.Worst < 10) {
		t.Errorf("bad surface: %d triangles, worst %v, %v", len(red.Mesh.Tris), red.Worst, err)
	}
	stop := errors.New("stop")
	ctx, cancel := context.WithCancelCause(t.Context())
	cancel(stop)
	if _, err := Reduce(ctx, ball(Vec{}, 10, 5), 200, 2); !errors.Is(err, stop) {
		t.Errorf("stopped: %v", err)
	}
}

func TestReduceSameForAnyWorkers(t *testing.T) {
	full := ball(Vec{}, 10, 6)
	var want *Reduced
	for _, w := range []int{1, 2, 5} {
		got, err := Reduce(t.Context(), full, 900, w)
		if err != nil {
			t.Fatal(err)
		}
		if want == nil {
			want = got
		}
		if !slices.Equal(got.Mesh.Verts, want.Mesh.Verts) || !slices.Equal(got.Mesh.Tris, want.Mesh.Tris) || got.Worst != want.Worst {
			t.Errorf("%d workers: another surface", w)
		}
	}
}

// TestGathered: a ball for a picture has about as many triangles as were asked
// for, its vertices are those of the ball, it stays closed; a small one is left.
func TestGathered(t *testing.T) {
	m := ball(Vec{}, 60, 7) // 327,680 triangles
	g, err := Gathered(t.Context(), m, 40_000)
	if err != nil {
		t.Fatal(err)
	}
	if n := len(g.Tris); n < 20_000 || n > 60_000 {
		t.Errorf("%d triangles", n)
	}
	of := map[Point]bool{}
	for _, p := range m.Verts {
		of[p] = true
	}
	for _, p := range g.Verts {
		if !of[p] {
			t.Fatalf("%v is no vertex of the ball", p)
		}
	}
	if want, got := m.Volume(), g.Volume(); !(math.Abs(got/want-1) <= 0.002) {
		t.Errorf("volume %.0f of %.0f mm³", got, want)
	}
	if same, err := Gathered(t.Context(), g, 40_000); err != nil || len(same.Tris) != len(g.Tris) {
		t.Errorf("%v, or a surface that is small enough was changed", err)
	}
}

func BenchmarkGathered(b *testing.B) {
	m := ball(Vec{}, 60, 9)
	for b.Loop() {
		if _, err := Gathered(b.Context(), m, 200_000); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(m.Tris))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
}

func BenchmarkReduce(b *testing.B) {
	m := ball(Vec{}, 60, 9)
	b.ReportAllocs()
	var r *Reduced
	for b.Loop() {
		var err error
		if r, err = Reduce(b.Context(), m, 60000, 2); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(m.Tris))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
	b.ReportMetric(r.Worst*1000, "µm_worst")
}
