package form

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"layette/steps/internal/geom"
	"layette/steps/specimen"
)

// sheet is a flat piece of skin of side by side mm in triangles of edge h,
// lifted by height.
func sheet(side, h float64, height func(x, y float64) float64) *geom.Mesh {
	n := int(math.Round(side / h))
	m := &geom.Mesh{}
	for i := range n + 1 {
		for j := range n + 1 {
			x, y := float64(i)*side/float64(n), float64(j)*side/float64(n)
			m.Verts = append(m.Verts, geom.Vec{X: x, Y: y, Z: height(x, y)}.Point())
			if p := int32(i*(n+1) + j); i < n && j < n {
				if (i+j)%2 == 0 {
					m.Tris = append(m.Tris, geom.Tri{p, p + int32(n) + 1, p + int32(n) + 2}, geom.Tri{p, p + int32(n) + 2, p + 1})
				} else {
					m.Tris = append(m.Tris, geom.Tri{p, p + int32(n) + 1, p + 1}, geom.Tri{p + 1, p + int32(n) + 1, p + int32(n) + 2})
				}
			}
		}
	}
	return m
}

func skinOf(t testing.TB, m *geom.Mesh) *Skin {
	t.Helper()
	s, err := NewSkin(t.Context(), m, 2)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func splitOf(t testing.TB, s *Skin, cutoff float64) *Split {
	t.Helper()
	o, err := s.Metric(t.Context(), s.Places(), cutoff)
	if err != nil {
		t.Fatal(err)
	}
	p, err := s.Split(t.Context(), o, s.Places(), cutoff)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TestTransmission holds the filter against ISO 11562 and ISO 16610-21: waves
// of 4, 2, 1, 1/2 and 1/4 cut-offs pass with .957603, .840896, .5, .0625, .000015.
func TestTransmission(t *testing.T) {
	for _, tt := range []struct{ waves, want float64 }{{4, .957603}, {2, .840896}, {1, .5}, {0.5, .0625}, {0.25, .000015}} {
		if got := Transmission(1, tt.waves); !(math.Abs(got-tt.want) <= 1e-6) {
			t.Errorf("a wave of %v cut-offs passes with %.7f, want %.6f", tt.waves, got, tt.want)
		}
		const cutoff = 2.0
		wave := tt.waves * cutoff
		h := min(wave/16, 0.25)
		if tt.waves < 0.4 {
			h = wave / 8
		}
		side := math.Ceil(max(9*cutoff, 3*wave)/wave) * wave
		const a = 0.002
		s := skinOf(t, sheet(side, h, func(x, _ float64) float64 { return a * math.Sin(2*math.Pi*x/wave) }))
		p := splitOf(t, s, cutoff)
		var num, den float64
		for i, v := range s.Places() {
			if v.X > 3*cutoff && v.X < side-3*cutoff && v.Y > 3*cutoff && v.Y < side-3*cutoff {
				w := math.Sin(2 * math.Pi * v.X / wave)
				num += p.Relief[i] * w
				den += a * w * w
			}
		}
		// What goes back to the form from beyond Long cut-offs belongs to the method.
		want := 1 - (1-tt.want)*(1-Transmission(Long, tt.waves))
		if got := 1 - num/den; !(math.Abs(got-want) <= 0.002) || !(math.Abs(got-tt.want) <= 0.01) {
			t.Errorf("a wave of %v cut-offs passes with %.4f, want %.4f", tt.waves, got, want)
		}
	}
}

// TestRippledBall: on a ball whose skin rises and falls along z the filter
// passes what the closed form says, to 1 %, though wavelengths are counted
// along the round form and the ripples are steep.
func TestRippledBall(t *testing.T) {
	for _, tt := range []struct{ r, depth, wave, cutoff, edge float64 }{
		{8, 0.05, 2, 1, 0.2}, {8, 0.05, 2, 2, 0.2}, {12, 0.2, 3, 2, 0.25},
	} {
		m, err := specimen.Rippled(tt.r, tt.depth, tt.wave).Mesh(t.Context(), specimen.Sampling{Edge: tt.edge})
		if err != nil {
			t.Fatal(err)
		}
		s := skinOf(t, m)
		p := splitOf(t, s, tt.cutoff)
		// near the equator the waves are tt.wave long
		var num, den, want float64
		for i, v := range s.Places() {
			if math.Abs(v.Z) < 2*tt.wave {
				c := math.Cos(2 * math.Pi * v.Z / tt.wave)
				num += p.Relief[i] * c
				den += tt.depth * c * c
				slope := math.Sqrt(1 - v.Z*v.Z/v.Len2())
				want += tt.depth * c * c * (1 - Transmission(tt.cutoff, tt.wave/slope))
			}
		}
		if got, want := 1-num/den, 1-want/den; !(math.Abs(got-want) <= 0.01) {
			t.Errorf("%+v: the ripples pass with %.4f, want %.4f", tt, got, want)
		}
	}
}

// lines is a bent piece of skin with a few lines in it, open at its rim.
func lines() *geom.Mesh {
	m := sheet(24, 0.3, func(x, y float64) float64 {
		return 0.02*x*y + 0.3*math.Sin(x/3) - 0.3*math.Exp(-math.Pow(x-9-y/4, 2)) - 0.2*math.Exp(-4*math.Pow(y-12, 2))
	})
	return m
}

// TestFormAndReliefAreTheSurface: form + relief = surface (ISO 16610-1;
// docslib.org/doc/2401963 eq. 3), to the last bits.
func TestFormAndReliefAreTheSurface(t *testing.T) {
	s := skinOf(t, lines())
	p := splitOf(t, s, 2)
	most := 0.0
	for i, f := range p.Form(s.Places()) {
		most = max(most, f.Add(p.Normal[i].Mul(p.Relief[i])).Sub(s.Places()[i]).Len())
		if s.Held[i] && !(math.Abs(p.Relief[i]) <= 0) {
			t.Fatalf("vertex %d is held and has relief %v", i, p.Relief[i])
		}
	}
	if most > 1e-12 {
		t.Errorf("form + relief misses the surface by %g mm", most)
	}
}

// byPlace returns the relief at each place of the given mesh.
func byPlace(t *testing.T, m *geom.Mesh) []float32 {
	s := skinOf(t, m)
	return s.Carry(splitOf(t, s, 2).Relief)
}

// TestInvariance: turned, mirrored, renumbered or worked by another number of
// hands, the relief is the same.
func TestInvariance(t *testing.T) {
	m := lines()
	want := byPlace(t, m)
	turn := geom.SmallTurn(geom.Vec{X: 0.7, Y: -0.4, Z: 0.3})
	turned := &geom.Mesh{Tris: m.Tris, Verts: make([]geom.Point, len(m.Verts))}
	for i, v := range m.Verts {
		turned.Verts[i] = turn.Apply(v.Vec()).Point()
	}
	rng := rand.New(rand.NewPCG(1, 2))
	order := rng.Perm(len(m.Verts))
	mixed := &geom.Mesh{Verts: make([]geom.Point, len(m.Verts))}
	for i, o := range order {
		mixed.Verts[o] = m.Verts[i]
	}
	for _, tri := range m.Tris {
		mixed.Tris = append(mixed.Tris, geom.Tri{int32(order[tri[1]]), int32(order[tri[2]]), int32(order[tri[0]])})
	}
	rng.Shuffle(len(mixed.Tris), func(i, j int) { mixed.Tris[i], mixed.Tris[j] = mixed.Tris[j], mixed.Tris[i] })
	back := byPlace(t, mixed)
	unmixed := make([]float32, len(back))
	for i, o := range order {
		unmixed[i] = back[o]
	}
	for name, got := range map[string][]float32{"turned": byPlace(t, turned), "mirrored": byPlace(t, m.MirroredX()), "renumbered": unmixed} {
		most := 0.0
		for i := range got {
			most = max(most, math.Abs(float64(got[i]-want[i])))
		}
		if most > 2e-5 {
			t.Errorf("%s, the relief differs by %g mm", name, most)
		}
	}
}

// TestWorkers: the same bits for any number of workers.
func TestWorkers(t *testing.T) {
	m := lines()
	var first []float64
	for _, workers := range []int{1, 2, 5} {
		s, err := NewSkin(t.Context(), m, workers)
		if err != nil {
			t.Fatal(err)
		}
		if p := splitOf(t, s, 2); first == nil {
			first = p.Relief
		} else if !slices.Equal(first, p.Relief) {
			t.Errorf("%d workers find another relief", workers)
		}
	}
}

// TestMeshDoesNotMatter: half as fine, the same lines have the same relief.
func TestMeshDoesNotMatter(t *testing.T) {
	at := func(h float64) []float64 {
		s := skinOf(t, sheet(24, h, func(x, _ float64) float64 { return -0.3 * math.Exp(-math.Pow((x-12)/0.7, 2)) }))
		p := splitOf(t, s, 2)
		deep := make([]float64, 25)
		for i, v := range s.Places() {
			if math.Abs(v.Y-12) < 1e-6 && math.Mod(v.X, 1) == 0 {
				deep[int(v.X)] = p.Relief[i]
			}
		}
		return deep
	}
	fine, coarse := at(0.125), at(0.25)
	for i := range fine {
		if !(math.Abs(fine[i]-coarse[i]) <= 0.003) {
			t.Errorf("at %d mm %.4f and %.4f", i, fine[i], coarse[i])
		}
	}
}

// TestSliversDoNotMatter: slivers cut into a sheet neither stop the filter nor
// change what it finds beside them.
func TestSliversDoNotMatter(t *testing.T) {
	m := sheet(24, 0.25, func(x, _ float64) float64 { return -0.3 * math.Exp(-math.Pow((x-12)/0.7, 2)) })
	plain := byPlace(t, m)
	worse := &geom.Mesh{Verts: append([]geom.Point(nil), m.Verts...)}
	for i, tri := range m.Tris {
		if i%50 != 0 {
			worse.Tris = append(worse.Tris, tri)
			continue
		}
		a, b, c := m.Corners(i)
		n := int32(len(worse.Verts)) // a vertex beside the middle of a side
		worse.Verts = append(worse.Verts, a.Mul(0.5).Add(b.Mul(0.4999)).Add(c.Mul(0.0001)).Point())
		worse.Tris = append(worse.Tris, geom.Tri{tri[0], tri[1], n}, geom.Tri{tri[1], tri[2], n}, geom.Tri{tri[2], tri[0], n})
	}
	got := byPlace(t, worse)
	most := 0.0
	for i := range plain {
		most = max(most, math.Abs(float64(plain[i]-got[i])))
	}
	if most > 0.01 {
		t.Errorf("slivers change the relief by %g mm", most)
	}
}

// TestSeries holds the series against exp and against Chebyshev's own.
func TestSeries(t *testing.T) {
	for _, x := range []float64{0, 1e-9, 0.3, 1, 7.7, 50, 699} {
		if got, want := decay(x), math.Exp(-x); !(math.Abs(got-want) <= 1e-13) {
			t.Errorf("decay(%v) = %v, want %v", x, got, want)
		}
	}
	for i, c := range cosines(64) {
		if want := math.Cos(float64(i) * math.Pi / 128); !(math.Abs(c-want) <= 1e-14) {
			t.Fatalf("cosine %d is %v, want %v", i, c, want)
		}
	}
	for _, bound := range []float64{0.5, 20, 3000} {
		c := chebyshev(bound, 24+int(math.Sqrt(20*bound)), rest, func(r float64) float64 { return decay(r) })
		for _, y := range []float64{-1, -0.9999, -0.97, -0.3, 0.5, 1} {
			now, next, sum := 1.0, y, 0.0
			for _, k := range c {
				sum += k * now
				now, next = next, 2*y*next-now
			}
			if want := math.Exp(-bound * (1 + y) / 2); !(math.Abs(sum-want) <= 1e-6) {
				t.Errorf("bound %v at %v: %v, want %v", bound, y, sum, want)
			}
		}
	}
}

// TestOpeningIsHeld: the flat end of a dome is held, its round skin is not,
// and no flat but cut face of a mere plate's groove is taken for skin.
func TestOpeningIsHeld(t *testing.T) {
	m, err := specimen.Dome(12).Mesh(t.Context(), specimen.Sampling{Edge: 0.8})
	if err != nil {
		t.Fatal(err)
	}
	s := skinOf(t, m)
	for i, v := range s.Places() {
		if flat := v.Z < 1e-6; s.Held[i] != flat {
			t.Fatalf("vertex at %v: held %v", v, s.Held[i])
		}
	}
	beside := s.Beside(2)
	for i, v := range s.Places() {
		if v.Z > 2.2 && beside[i] || v.Z < 1.5 && !beside[i] {
			t.Fatalf("vertex at %v: beside the opening %v", v, beside[i])
		}
	}
}

func TestStops(t *testing.T) {
	s := skinOf(t, lines())
	stop := errors.New("stop")
	ctx, cancel := context.WithCancelCause(t.Context())
	cancel(stop)
	if _, err := s.Metric(ctx, s.Places(), 2); !errors.Is(err, stop) {
		t.Errorf("%v, want %v", err, stop)
	}
	if _, err := NewSkin(ctx, s.Mesh, 2); !errors.Is(err, stop) {
		t.Errorf("%v, want %v", err, stop)
	}
}

// BenchmarkSplit tells the relief of a part of two million triangles.
func BenchmarkSplit(b *testing.B) {
	m := sheet(180, 0.18, func(x, y float64) float64 { return 10*math.Sin(x/20)*math.Cos(y/25) + 0.1*math.Sin(3*x) })
	for b.Loop() {
		s := skinOf(b, m)
		o, err := s.Metric(b.Context(), s.Places(), 2)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := s.Split(b.Context(), o, s.Places(), 2); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(m.Tris))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
}
