package geom

import (
	"math"
	"math/rand/v2"
	"testing"
)

// plainBounds is the box of the vertices that triangles use, corner by corner.
func plainBounds(m *Mesh) Box {
	b := EmptyBox()
	for _, t := range m.Tris {
		for _, i := range t {
			b = b.Include(m.Verts[i].Vec())
		}
	}
	return b
}

// TestBounds: the box is that of the vertices in use, wherever the others lie,
// also where several share a side and where a coordinate is no number.
func TestBounds(t *testing.T) {
	nan := float32(math.NaN())
	rng := rand.New(rand.NewPCG(1, 2))
	for round := range 2000 {
		m := &Mesh{}
		for range 3 + rng.IntN(8) {
			p := Point{float32(rng.IntN(4)), float32(rng.IntN(4)), float32(rng.IntN(9)) - 4}
			if rng.IntN(40) == 0 {
				p[rng.IntN(3)] = nan
			}
			m.Verts = append(m.Verts, p)
		}
		for range 1 + rng.IntN(5) {
			n := len(m.Verts)
			m.Tris = append(m.Tris, Tri{int32(rng.IntN(n)), int32(rng.IntN(n)), int32(rng.IntN(n))})
		}
		got, want := m.Bounds(), plainBounds(m)
		for _, x := range [][2]float64{{got.Min.X, want.Min.X}, {got.Min.Y, want.Min.Y}, {got.Min.Z, want.Min.Z}, {got.Max.X, want.Max.X}, {got.Max.Y, want.Max.Y}, {got.Max.Z, want.Max.Z}} {
			if x[0] != x[1] && !(math.IsNaN(x[0]) && math.IsNaN(x[1])) {
				t.Fatalf("round %d: %v, want %v of %v %v", round, got, want, m.Verts, m.Tris)
			}
		}
	}
	if b := (&Mesh{Verts: []Point{{1, 2, 3}}}).Bounds(); b.Min != (Vec{1, 2, 3}) || b.Max != b.Min {
		t.Errorf("one point: %v", b)
	}
}

// BenchmarkBounds boxes two million triangles.
func BenchmarkBounds(b *testing.B) {
	m := &Mesh{Verts: make([]Point, 1_000_000), Tris: make([]Tri, 2_000_000)}
	for i := range m.Verts {
		m.Verts[i] = Point{float32(i % 1000), float32(i / 1000), float32(i % 77)}
	}
	for i := range m.Tris {
		v := int32(i / 2)
		m.Tris[i] = Tri{v, (v + 1) % 1_000_000, (v + 1000) % 1_000_000}
	}
	for b.Loop() {
		m.Bounds()
	}
	b.ReportMetric(2*float64(b.N)/b.Elapsed().Seconds(), "Mtri/s")
}
