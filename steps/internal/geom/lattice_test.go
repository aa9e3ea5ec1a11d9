package geom

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// sampled fills a lattice with f wherever it is smaller than reach.
func sampled(cell, half, reach float64, f func(Vec) float64) *Lattice {
	l := NewLattice(cell)
	n := int32(half/cell) + 2
	for k := -n; k <= n; k++ {
		for j := -n; j <= n; j++ {
			for i := -n; i <= n; i++ {
				if v := f(l.Place(i, j, k)); math.Abs(v) <= reach {
					l.Set(i, j, k, float32(v))
				}
			}
		}
	}
	return l
}

// TestMarchClosedForms: a ball's volume and area, 4πr³/3 and 4πr², and a
// torus', 2π²Rr² and 4π²Rr, come out closed and within what chords of that
// length lose, and four times better with half the cell.
func TestMarchClosedForms(t *testing.T) {
	ball := func(p Vec) float64 { return p.Sub(Vec{0.1, 0.2, -0.3}).Len() - 6 }
	torus := func(p Vec) float64 { return math.Hypot(math.Hypot(p.X, p.Y)-5, p.Z) - 2 }
	for _, tt := range []struct {
		name         string
		f            func(Vec) float64
		volume, area float64
		lost         float64 // share of the volume that chords of a cell lose at most, over cell²
	}{
		{"ball", ball, 4 * math.Pi * 216 / 3, 4 * math.Pi * 36, 0.02},
		{"torus", torus, 2 * math.Pi * math.Pi * 5 * 4, 4 * math.Pi * math.Pi * 10, 0.06},
	} {
		before := 0.0
		for _, cell := range []float64{0.8, 0.4} {
			m, err := sampled(cell, 8, 3*cell, tt.f).March(t.Context(), 2)
			if err != nil {
				t.Fatal(err)
			}
			e, _ := m.Edges(t.Context(), 2)
			if _, n := m.Shells(e); !m.Closed(e) || n != 1 {
				t.Fatalf("%s: closed %v, %d shells", tt.name, m.Closed(e), n)
			}
			off := math.Abs(m.Volume()/tt.volume - 1)
			if off > tt.lost*cell*cell || !(math.Abs(m.Area()/tt.area-1) <= tt.lost*cell*cell) {
				t.Errorf("%s at %g: volume %.4f, want %.4f; area %.4f, want %.4f", tt.name, cell, m.Volume(), tt.volume, m.Area(), tt.area)
			}
			if before > 0 && off > before/3 {
				t.Errorf("%s: the error fell from %g to %g only", tt.name, before, off)
			}
			before = off
		}
	}
}

// TestMarchNoise: whatever the signs, each edge lies between two triangles that
// turn the same way, except at the end of what is known, and no triangle uses a
// vertex twice.
func TestMarchNoise(t *testing.T) {
	for seed := range uint64(20) {
		r := rand.New(rand.NewPCG(seed, 1))
		l := NewLattice(1)
		for k := range int32(14) {
			for j := range int32(14) {
				for i := range int32(14) {
					v := float32(r.Float64() - 0.5)
					if min(i, j, k) == 0 || max(i, j, k) == 13 {
						v = 1
					}
					l.Set(i-5, j-7, k-9, v)
				}
			}
		}
		m, err := l.March(t.Context(), 2)
		if err != nil {
			t.Fatal(err)
		}
		e, _ := m.Edges(t.Context(), 1)
		if !m.Closed(e) || len(e.Fans) > 0 || len(m.Tris) < 1000 {
			t.Fatalf("seed %d: closed %v, %d fans, %d triangles", seed, m.Closed(e), len(e.Fans), len(m.Tris))
		}
		if seed == 0 {
			if again, _ := l.March(t.Context(), 5); !slices.Equal(again.Verts, m.Verts) || !slices.Equal(again.Tris, m.Tris) {
				t.Error("other bits with other workers")
			}
		}
	}
}

// TestMarchEnds: where nothing is known the surface ends, without a fan.
func TestMarchEnds(t *testing.T) {
	l := sampled(0.5, 8, 1.5, func(p Vec) float64 {
		if p.Z > 3 {
			return 99
		}
		return p.Len() - 6
	})
	m, err := l.March(t.Context(), 2)
	if err != nil {
		t.Fatal(err)
	}
	e, _ := m.Edges(t.Context(), 2)
	if rims := m.Rims(e); len(rims) != 1 || len(e.Fans) != 0 {
		t.Errorf("%d rims, %d fans", len(rims), len(e.Fans))
	}
	// The cap below z = 3 of a ball of 6: area 2πrh, h = 9, to the cell above.
	if a := m.Area(); a > 2*math.Pi*6*9 || a < 2*math.Pi*6*8.4 {
		t.Errorf("area %.2f", a)
	}
}

func TestMarchCancel(t *testing.T) {
	ctx, cancel := context.WithCancelCause(t.Context())
	stop := errors.New("stop")
	cancel(stop)
	if _, err := sampled(1, 8, 3, func(p Vec) float64 { return p.Len() - 6 }).March(ctx, 2); !errors.Is(err, stop) {
		t.Errorf("error %v, want the cause", err)
	}
}

func TestCubesLeaveNoneOut(t *testing.T) {
	for mask, loops := range cubes {
		used := map[uint8]int{}
		for _, l := range loops {
			for _, e := range l.edges {
				used[e]++
			}
		}
		for c := range uint8(8) {
			for d := range uint8(3) {
				if c>>d&1 != 0 {
					continue
				}
				e := c | d<<3
				want := (mask>>c ^ mask>>(c|1<<d)) & 1
				if used[e] != want {
					t.Fatalf("mask %08b uses edge %d %d times, want %d", mask, e, used[e], want)
				}
			}
		}
	}
}
