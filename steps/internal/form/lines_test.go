package form

import (
	"math"
	"testing"
)

// TestWidth: a trench is as wide as the way between its walls; the foot of a step
// has a wall on one side only, and no width.
func TestWidth(t *testing.T) {
	for _, tt := range []struct {
		name      string
		deep      func(x float64) float64
		wide, off float64
	}{
		{"trench", func(x float64) float64 { return min(max(0, 4*(0.6-math.Abs(x-6))), 1) }, 0.95, 0.05},
		{"step", func(x float64) float64 { return min(max(0, 4*(x-5.9)), 1) }, 0, 0},
	} {
		s := skinOf(t, sheet(12, 0.1, func(x, _ float64) float64 { return -tt.deep(x) }))
		depth, but := make([]float64, len(s.Mesh.Verts)), make([]bool, len(s.Mesh.Verts))
		flat := s.Places()
		for v, p := range flat {
			if flat[v].Z = 0; p.X < 6.6 {
				depth[v] = tt.deep(p.X)
			}
		}
		lines, err := s.Lines(t.Context(), flat, depth, but, 0.05, 40)
		if err != nil || len(lines) != 1 {
			t.Fatalf("%s: %d lines, %v", tt.name, len(lines), err)
		}
		if w := lines[0].Width; !(math.Abs(w-tt.wide) <= tt.off) {
			t.Errorf("%s: %.3f mm wide, want %g", tt.name, w, tt.wide)
		}
	}
}
