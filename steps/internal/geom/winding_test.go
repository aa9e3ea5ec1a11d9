package geom

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestWinding: one inside a ball and none outside; behind the middle of half a
// ball, exactly one half by its solid angle; and everywhere what the sum over
// all triangles gives.
func TestWinding(t *testing.T) {
	ball, err := sampled(0.4, 8, 1.2, func(p Vec) float64 { return p.Len() - 6 }).March(t.Context(), 2)
	if err != nil {
		t.Fatal(err)
	}
	half := &Mesh{Verts: ball.Verts}
	for i, tri := range ball.Tris {
		if a, b, c := ball.Corners(i); a.Add(b).Add(c).Z > 0 {
			half.Tris = append(half.Tris, tri)
		}
	}
	w, err := NewWinding(t.Context(), ball, 2)
	if err != nil {
		t.Fatal(err)
	}
	h, _ := NewWinding(t.Context(), half, 2)
	r := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		p := Vec{r.Float64() - 0.5, r.Float64() - 0.5, r.Float64() - 0.5}.Mul(16)
		want := 0.0
		switch d := p.Len(); {
		case d < 5.9:
			want = 1
		case d < 6.1:
			continue
		}
		if got := w.At(p); !(math.Abs(got-want) <= 0.01) {
			t.Errorf("winding at %v: %.4f, want %v", p, got, want)
		}
		sum := 0.0
		for i := range half.Tris {
			a, b, c := half.Corners(i)
			sum += solidAngle(a.Sub(p), b.Sub(p), c.Sub(p))
		}
		if got := h.At(p); !(math.Abs(got-sum/(4*math.Pi)) <= 0.01) {
			t.Errorf("half a ball at %v: %.4f, the sum over all is %.4f", p, got, sum/(4*math.Pi))
		}
	}
	if got := h.At(Vec{}); !(math.Abs(got-0.5) <= 0.02) {
		t.Errorf("middle of half a ball: %.4f", got)
	}
}

func BenchmarkWinding(b *testing.B) {
	m, err := sampled(0.1, 8, 0.3, func(p Vec) float64 { return p.Len() - 6 }).March(b.Context(), 2)
	if err != nil {
		b.Fatal(err)
	}
	w, err := NewWinding(b.Context(), m, 2)
	if err != nil {
		b.Fatal(err)
	}
	n := 0
	for b.Loop() {
		w.At(Vec{float64(n%10) / 10, 6.2, 0})
		n++
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds()/1e6, "Mplaces/s")
}
