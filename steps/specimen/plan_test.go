package specimen

import (
	"math"
	"testing"

	"layette/steps/internal/geom"
)

// TestShared: shots taken one after another share what was asked for, counted
// on the scans themselves, while the session as a whole sees the skin many
// times over.
func TestShared(t *testing.T) {
	for _, c := range []struct {
		part  string
		shots int
	}{{"right-hand", 24}, {"right-arm", 24}, {"head", 30}} {
		var scans []Scan
		s := Session{Scanner: Scanner{Pitch: 1}, Shots: c.shots, Shared: 0.3, Seed: 5}
		if err := s.Run(t.Context(), part(t, c.part, Options{}), func(c Scan) error { scans = append(scans, c); return nil }); err != nil {
			t.Fatal(err)
		}
		share := sharesOf(t, scans, 1.2)
		step, others := 0.0, 0.0
		for i := range scans {
			if i > 0 {
				step += share[i][i-1] / float64(len(scans)-1)
			}
			for k := range scans {
				if k != i {
					others += share[i][k] / float64(len(scans))
				}
			}
		}
		t.Logf("%s, %d shots: %.3f shared with the shot before, each point seen by %.1f others", c.part, c.shots, step, others)
		if !(math.Abs(step-0.3) <= 0.06) || others < 2.5 {
			t.Errorf("%s: %.3f shared with the shot before, want 0.3; seen by %.1f others, want 2.5 or more", c.part, step, others)
		}
	}
}

// sharesOf returns the share of each scan's points that have one of each other
// scan's within reach mm.
func sharesOf(t *testing.T, scans []Scan, reach float64) [][]float64 {
	t.Helper()
	pts := make([][]geom.Point, len(scans))
	share := make([][]float64, len(scans))
	for i, c := range scans {
		for _, p := range c.Mesh.Verts {
			pts[i] = append(pts[i], c.Pose.Apply(p.Vec()).Point())
		}
	}
	for k := range scans {
		tree, err := geom.NewPointTree(t.Context(), pts[k], 1)
		if err != nil {
			t.Fatal(err)
		}
		for i := range scans {
			n := 0
			for _, p := range pts[i] {
				if tree.Nearest(p.Vec(), reach).ID >= 0 {
					n++
				}
			}
			share[i] = append(share[i], float64(n)/float64(max(1, len(pts[i]))))
		}
	}
	return share
}
