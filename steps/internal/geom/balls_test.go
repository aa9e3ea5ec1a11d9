package geom

import (
	"context"
	"errors"
	"math"
	"slices"
	"testing"
)

// roundBall returns a ball of radius r about c as n squares of longitude by n/2
// of latitude, directions outward if out is true.
func roundBall(c Vec, r float64, n int, out bool) *Mesh {
	m := &Mesh{}
	rows := n / 2
	for i := 1; i < rows; i++ {
		for j := range n {
			a, b := math.Pi*float64(i)/float64(rows), 2*math.Pi*float64(j)/float64(n)
			m.Verts = append(m.Verts, c.Add(Vec{math.Sin(a) * math.Cos(b), math.Sin(a) * math.Sin(b), math.Cos(a)}.Mul(r)).Point())
		}
	}
	top, bottom := int32(len(m.Verts)), int32(len(m.Verts)+1)
	m.Verts = append(m.Verts, c.Add(Vec{0, 0, r}).Point(), c.Add(Vec{0, 0, -r}).Point())
	at := func(i, j int) int32 { return int32((i-1)*n + j%n) }
	for j := range n {
		m.Tris = append(m.Tris, Tri{top, at(1, j), at(1, j+1)}, Tri{bottom, at(rows-1, j+1), at(rows-1, j)})
		for i := 1; i < rows-1; i++ {
			m.Tris = append(m.Tris, Tri{at(i, j), at(i+1, j), at(i+1, j+1)}, Tri{at(i, j), at(i+1, j+1), at(i, j+1)})
		}
	}
	if !out {
		for i, t := range m.Tris {
			m.Tris[i] = Tri{t[0], t[2], t[1]}
		}
	}
	return m
}

// joinMeshes puts shells into one surface.
func joinMeshes(ms ...*Mesh) *Mesh {
	all := &Mesh{}
	for _, m := range ms {
		at := int32(len(all.Verts))
		all.Verts = append(all.Verts, m.Verts...)
		for _, t := range m.Tris {
			all.Tris = append(all.Tris, Tri{t[0] + at, t[1] + at, t[2] + at})
		}
	}
	return all
}

func ballsOf(t testing.TB, m *Mesh, longest float64, side Side, widest float64) (*Skin, []Ball) {
	t.Helper()
	s, err := NewSkin(t.Context(), m, longest, 4_000_000, 2)
	if err != nil {
		t.Fatal(err)
	}
	tree, err := NewPointTree(t.Context(), s.At, 2)
	if err != nil {
		t.Fatal(err)
	}
	balls, err := s.Balls(t.Context(), tree, side, widest, 0.1, 2)
	if err != nil {
		t.Fatal(err)
	}
	return s, balls
}

// TestBallsInHollowBall: between two balls about one centre every touching ball
// of the solid is as thick as the wall, whatever the place.
func TestBallsInHollowBall(t *testing.T) {
	m := joinMeshes(roundBall(Vec{3, 2, 1}, 30, 160, true), roundBall(Vec{3, 2, 1}, 28.8, 160, false))
	_, balls := ballsOf(t, m, 1.3, Solid, 12)
	for i, b := range balls {
		if b.Free() || !(math.Abs(2*float64(b.Radius)-1.2) <= 0.024) {
			t.Fatalf("place %d: %v across, want 1.2 within 2 %%", i, 2*b.Radius)
		}
	}
	_, balls = ballsOf(t, m, 1.3, Air, 12)
	for i, b := range balls {
		if !b.Free() {
			t.Fatalf("place %d: air ball %v across, want none: the hollow is 57.6 across", i, 2*b.Radius)
		}
	}
}

// TestBallsBetweenBalls: the least air ball between two balls is the gap on the
// line of centres; the solid balls of a ball are the ball itself.
func TestBallsBetweenBalls(t *testing.T) {
	m := joinMeshes(roundBall(Vec{}, 4, 96, true), roundBall(Vec{0, 0, 8.5}, 4, 96, true))
	_, balls := ballsOf(t, m, 0.4, Air, 3)
	least := math.Inf(1)
	for _, b := range balls {
		least = min(least, 2*float64(b.Radius))
	}
	if !(math.Abs(least-0.5) <= 0.01) {
		t.Errorf("least gap %v, want 0.5", least)
	}
	_, balls = ballsOf(t, m, 0.4, Solid, 12)
	off := 0 // crowded rows near the poles tell directions a little worse
	for i, b := range balls {
		if !(math.Abs(float64(b.Radius)-4) <= 0.16) {
			t.Fatalf("place %d: solid ball of radius %v, want 4 within 4 %%", i, b.Radius)
		}
		if math.Abs(float64(b.Radius)-4) > 0.08 {
			off++
		}
	}
	if off*50 > len(balls) {
		t.Errorf("%d of %d solid balls are off by over 2 %%", off, len(balls))
	}
}

// TestBallsOfABox: twelve triangles are enough; a box 30 by 30 by 5 is 5 thick
// in its middle and its rims are sharp.
func TestBallsOfABox(t *testing.T) {
	s, balls := ballsOf(t, boxMesh(30, 30, 5), 1, Solid, 12)
	total, middle := 0.0, 0
	for i, b := range balls {
		total += s.Area[i]
		p, d := s.At[i].Vec(), s.Out[i].Vec()
		if math.Abs(d.Z) == 1 && p.X > 4 && p.X < 26 && p.Y > 4 && p.Y < 26 {
			middle++
			if !(math.Abs(2*float64(b.Radius)-5) <= 1e-5) {
				t.Fatalf("at %v: %v thick, want 5", p, 2*b.Radius)
			}
		}
	}
	if middle < 800 {
		t.Fatalf("only %d places in the middle", middle)
	}
	if want := 2*900.0 + 4*150; !(math.Abs(total-want) <= 1e-6) {
		t.Errorf("places stand for %v mm², want %v", total, want)
	}
}

func boxMesh(x, y, z float32) *Mesh {
	m := &Mesh{Verts: []Point{{0, 0, 0}, {x, 0, 0}, {x, y, 0}, {0, y, 0}, {0, 0, z}, {x, 0, z}, {x, y, z}, {0, y, z}}}
	for _, q := range [][4]int32{{0, 3, 2, 1}, {4, 5, 6, 7}, {0, 1, 5, 4}, {1, 2, 6, 5}, {2, 3, 7, 6}, {3, 0, 4, 7}} {
		m.Tris = append(m.Tris, Tri{q[0], q[1], q[2]}, Tri{q[0], q[2], q[3]})
	}
	return m
}

// TestSkinStaysClosed: halving edges keeps area, volume and closedness.
func TestSkinStaysClosed(t *testing.T) {
	m := boxMesh(30, 3, 0.5)
	s, err := NewSkin(t.Context(), m, 0.4, 1_000_000, 2)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := s.Mesh.Volume(), m.Volume(); !(math.Abs(got-want) <= 1e-4) {
		t.Errorf("volume %v, was %v", got, want)
	}
	sides := map[[2]int32]int{}
	for _, f := range s.Mesh.Tris {
		for k := range 3 {
			a, b := f[k], f[(k+1)%3]
			sides[[2]int32{a, b}]++
			if l := s.Mesh.Verts[a].Vec().Sub(s.Mesh.Verts[b].Vec()).Len(); l > 0.4 {
				t.Fatalf("an edge of %v is left", l)
			}
		}
	}
	for e, n := range sides {
		if n != 1 || sides[[2]int32{e[1], e[0]}] != 1 {
			t.Fatalf("edge %v has lost its other side", e)
		}
	}
	if _, err := NewSkin(t.Context(), m, 0.001, 10_000, 2); err == nil {
		t.Error("a spacing that needs 400 million places was taken")
	}
}

func TestBallsDoNotDependOnWorkersAndStop(t *testing.T) {
	m := joinMeshes(roundBall(Vec{}, 4, 128, true), roundBall(Vec{0, 0, 8.5}, 4, 128, true))
	s, two := ballsOf(t, m, 0.3, Air, 3)
	tree, _ := NewPointTree(t.Context(), s.At, 1)
	one, _ := s.Balls(t.Context(), tree, Air, 3, 0.1, 1)
	if !slices.Equal(one, two) {
		t.Error("one worker and two find different balls")
	}
	ctx, cancel := context.WithCancelCause(t.Context())
	stop := errors.New("stop")
	cancel(stop)
	if _, err := s.Balls(ctx, tree, Air, 3, 0.1, 2); !errors.Is(err, stop) {
		t.Errorf("after cancel: %v", err)
	}
}

// BenchmarkBalls: two million triangles, five fingers' worth of balls in a row.
func BenchmarkBalls(b *testing.B) {
	var row []*Mesh
	for i := range 5 {
		row = append(row, roundBall(Vec{X: 20.8 * float64(i)}, 10, 632, true))
	}
	m := joinMeshes(row...)
	s, err := NewSkin(b.Context(), m, 0.4, 4_000_000, 2)
	if err != nil {
		b.Fatal(err)
	}
	for _, side := range []Side{Air, Solid} {
		name, widest := "air", 3.0
		if side == Solid {
			name, widest = "solid", 12.5
		}
		b.Run(name, func(b *testing.B) {
			tree, err := NewPointTree(b.Context(), s.At, 2)
			if err != nil {
				b.Fatal(err)
			}
			for b.Loop() {
				if _, err := s.Balls(b.Context(), tree, side, widest, 0.1, 2); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(len(s.At))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mplaces/s")
		})
	}
	b.Run("skin", func(b *testing.B) {
		for b.Loop() {
			if _, err := NewSkin(b.Context(), m, 0.4, 4_000_000, 2); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(len(m.Tris))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
	})
}
