package shot

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"layette/steps/internal/geom"
)

// plate is a flat square of 41 by 41 points 0.5 mm apart, 200 mm before zero,
// leant by a slope, with scatter across it; moved by what is asked.
func plate(slope, noise float64, by geom.Vec) *geom.Mesh {
	r := rand.New(rand.NewPCG(3, 4))
	m := &geom.Mesh{}
	across := math.Sqrt(1 + slope*slope)
	for j := range 41 {
		for i := range 41 {
			x, y := 0.5*float64(i-20)/across, 0.5*float64(j-20)
			m.Verts = append(m.Verts, geom.Vec{X: x, Y: y, Z: 200 + slope*x + noise*across*r.NormFloat64()}.Add(by).Point())
		}
	}
	for j := range int32(40) {
		for i := range int32(40) {
			a := j*41 + i
			m.Tris = append(m.Tris, geom.Tri{a, a + 42, a + 1}, geom.Tri{a, a + 41, a + 42})
		}
	}
	return m
}

// TestPlate: on a flat plate leant by 45 degrees everything is known in closed form.
func TestPlate(t *testing.T) {
	s, err := Look(t.Context(), plate(1, 0, geom.Vec{}), 3, 1)
	if err != nil {
		t.Fatal(err)
	}
	if !s.View.Known || s.View.Away || s.View.At != (geom.Vec{}) {
		t.Errorf("view %+v", s.View)
	}
	middle := 20*41 + 20
	if c := float64(s.Cos[middle]); !(math.Abs(c-math.Sqrt(0.5)) <= 1e-4) {
		t.Errorf("cosine %.5f in the middle, leant by 45 degrees", c)
	}
	for j := range 41 {
		for i := range 41 {
			want := min(3, 0.5*float64(min(i, 40-i, j, 40-j)))
			if got := float64(s.Border[j*41+i]); !(math.Abs(got-want) <= 1e-4) {
				t.Fatalf("point (%d, %d) lies %.4f mm from the border, want %.4f", i, j, got, want)
			}
		}
	}
	if s.Noise > 1e-4 || !(math.Abs(s.Spacing-0.5) <= 1e-3) {
		t.Errorf("noise %g, spacing %g", s.Noise, s.Spacing)
	}
}

// TestScatter: the noise across the skin is what was put there, whatever the
// lean, and normals turn by far less than the triangles do.
func TestScatter(t *testing.T) {
	for _, slope := range []float64{0, 1} {
		s, err := Look(t.Context(), plate(slope, 0.05, geom.Vec{}), 2, 1)
		if err != nil {
			t.Fatal(err)
		}
		if !(math.Abs(s.Noise-0.05) <= 0.006) {
			t.Errorf("slope %g: noise %.4f, want 0.05", slope, s.Noise)
		}
		flat := geom.Vec{X: slope, Z: -1}.Unit()
		worst := 0.0
		for j := 8; j < 33; j++ {
			for i := 8; i < 33; i++ {
				worst = max(worst, s.Normals[j*41+i].Sub(flat).Len())
			}
		}
		if worst > 0.15 {
			t.Errorf("slope %g: a normal is %.3f rad off", slope, worst)
		}
	}
}

// TestMiddle is the number that sorting puts in the middle, also of many equal
// numbers, of sorted ones, and of an organ pipe.
func TestMiddle(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for n := range 300 {
		for kind := range 4 {
			all := make([]float32, n*n/20)
			for i := range all {
				all[i] = [4]float32{r.Float32(), float32(r.IntN(4)), float32(i), float32(min(i, len(all)-i))}[kind]
			}
			want := 0.0
			if sorted := slices.Sorted(slices.Values(all)); len(all) > 0 {
				want = float64(sorted[len(all)/2])
			}
			if got := Middle(all); got != want {
				t.Fatalf("of %d numbers of kind %d the middle is %g, want %g", len(all), kind, got, want)
			}
		}
	}
	// A number that is none stops nothing.
	Middle([]float32{float32(math.NaN()), 1, 2, float32(math.NaN()), 3, 4, 5, 6, 7, 8, 9, 1, 2, 3, 4, 5, 6, 7, 8, 9, float32(math.NaN())})
}

// TestStand: a file that another program moved does not show where the scanner
// stood; one turned over shows its back.
func TestStand(t *testing.T) {
	if v := Stand(plate(0.3, 0, geom.Vec{Z: -200})); v.Known || v.Away || v.Along.Z > -0.9 {
		t.Errorf("about zero: %+v", v)
	}
	m := plate(0.3, 0, geom.Vec{})
	for i, tri := range m.Tris {
		m.Tris[i] = geom.Tri{tri[0], tri[2], tri[1]}
	}
	if v := Stand(m); v.Known || !v.Away {
		t.Errorf("turned over: %+v", v)
	}
	far := plate(0.3, 0, geom.Vec{})
	far.Origin = geom.Vec{X: 500}
	if v := Stand(far); v.At.X != -500 {
		t.Errorf("with an origin: %+v", v)
	}
}

func TestNoSkin(t *testing.T) {
	m := &geom.Mesh{Verts: make([]geom.Point, 3), Tris: []geom.Tri{{0, 1, 2}}}
	if _, err := Look(t.Context(), m, 2, 1); err == nil {
		t.Error("three points at one place are looked at")
	}
	ctx, cancel := context.WithCancelCause(t.Context())
	stop := errors.New("stop")
	cancel(stop)
	if _, err := Look(ctx, plate(0, 0, geom.Vec{}), 2, 1); !errors.Is(err, stop) {
		t.Errorf("error %v, want the cause", err)
	}
}

func BenchmarkLook(b *testing.B) {
	m := plate(0.5, 0.05, geom.Vec{})
	for b.Loop() {
		if _, err := Look(b.Context(), m, 2, 1); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(m.Verts))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mpoints/s")
}
