package specimen

import (
	"math"
	"testing"

	"layette/steps/internal/geom"
)

// TestCleanScanLiesOnTheSkin: without noise every point of a scan, put where
// the truth says, is on the field, to float32's rounding.
func TestCleanScanLiesOnTheSkin(t *testing.T) {
	for _, name := range []string{"head", "left-hand"} {
		p := part(t, name, Options{})
		n := 0
		s := Session{Scanner: Scanner{Clean: true, Pitch: 1}, Shots: 6, Seed: 5}
		err := s.Run(t.Context(), p, func(c Scan) error {
			for _, q := range c.Mesh.Verts {
				at := c.Pose.Apply(q.Vec())
				if d, _ := p.Field.At(at); !(math.Abs(d) <= 1e-4) {
					t.Fatalf("%s: %v is %g mm off the skin", c.Name, at, d)
				}
				n++
			}
			for i := range c.Mesh.Tris {
				a, b, e := c.Mesh.Corners(i)
				if b.Sub(a).Cross(e.Sub(a)).Dot(a) > 0 {
					t.Fatalf("%s: face %d looks away from the scanner", c.Name, i)
				}
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		if n < 3000 {
			t.Errorf("%s: only %d points", name, n)
		}
	}
}

// TestNoiseIsAsStated: along the ray, square on, the points scatter by the
// stated standard deviation.
func TestNoiseIsAsStated(t *testing.T) {
	p := &Part{Field: halfspaceIn{halfspace{n: geom.Vec{Z: 1}}}}
	scene, err := NewScene(t.Context(), p)
	if err != nil {
		t.Fatal(err)
	}
	shot := Aim(geom.Vec{}, geom.Vec{Z: 1}, 220, 30, 9)
	m, err := Scanner{Noise: 0.1, Stray: -1, Pitch: 0.4, Wide: 30, High: 30}.Scan(t.Context(), scene, shot)
	if err != nil {
		t.Fatal(err)
	}
	var s2 float64
	for _, q := range m.Verts {
		z := shot.Pose().Apply(q.Vec()).Z
		s2 += z * z
	}
	sigma := math.Sqrt(s2 / float64(len(m.Verts)))
	if !(math.Abs(sigma-0.1) <= 0.005) || len(m.Verts) < 5000 {
		t.Errorf("scatter %.4f mm over %d points, want 0.1", sigma, len(m.Verts))
	}
}

// halfspaceIn is a plane with a box small enough to scan.
type halfspaceIn struct{ halfspace }

func (h halfspaceIn) Bounds() geom.Box { return grow(geom.EmptyBox().Include(h.c), 40) }

// TestSessionTruth: bad shots, the copy and the child's movement are where the
// record says, and equal seeds give equal scans.
func TestSessionTruth(t *testing.T) {
	p, later := part(t, "right-hand", Options{}), part(t, "right-hand", Options{Curl: [5]float64{1: 20}})
	s := Session{Scanner: Scanner{Pitch: 1}, Shots: 20, Overlap: 0.5, Bad: 0.1, Twice: true, Later: later, Seed: 4}
	var first, all []Scan
	for _, to := range []*[]Scan{&first, &all} {
		err := s.Run(t.Context(), p, func(c Scan) error { *to = append(*to, c); return nil })
		if err != nil {
			t.Fatal(err)
		}
	}
	count := map[string]int{}
	moved := 0
	for i, c := range all {
		count[c.Fault]++
		if digest(t, c.Mesh) != digest(t, first[i].Mesh) {
			t.Errorf("%s: other bytes the second time", c.Name)
		}
		if c.Fault == Duplicate && digest(t, c.Mesh) != digest(t, all[c.Of].Mesh) {
			t.Errorf("%s is not a copy of %s", c.Name, all[c.Of].Name)
		}
		if c.Moved {
			moved++
		}
	}
	if count[""] != 17 || count[Duplicate] != 1 || count[Blurred] != 1 || count[Sparse] != 1 || moved < 6 {
		t.Errorf("counts %v, %d moved", count, moved)
	}
}
