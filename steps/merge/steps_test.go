package merge

import (
	"fmt"
	"math"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/poses"
	"layette/steps/internal/steptest"
)

// plate is a shot from 300 mm of a flat square of 40 mm, with points pitch mm apart.
func plate(pitch float64) *geom.Mesh {
	n := int(40/pitch) + 1
	m := &geom.Mesh{}
	for j := range n {
		for i := range n {
			m.Verts = append(m.Verts, geom.Vec{X: pitch*float64(i) - 20, Y: pitch*float64(j) - 20, Z: 300}.Point())
		}
	}
	for j := range n - 1 {
		for i := range n - 1 {
			a := int32(j*n + i)
			m.Tris = append(m.Tris, geom.Tri{a, a + int32(n) + 1, a + 1}, geom.Tri{a, a + int32(n), a + int32(n) + 1})
		}
	}
	return m
}

// TestNoSteps: of two, three or four shots of one plate the first is placed
// 0.2 mm too high and ends in the middle of the others. The surface goes from the
// mean down to where it lies without the first within the 2 mm over which a
// scan fades, and never by a step: with the weight w = t²(3-2t) against one other
// the mean, 0.2 w/(1+w), falls by 0.085 mm a mm where it is steepest, and less
// against more. So it is with points far closer than the surface can show.
func TestNoSteps(t *testing.T) {
	for _, pitch := range []float64{0.6, 0.2} {
		for others := 1; others <= 3; others++ {
			in := map[string][]step.File{}
			var table poses.Table
			for k := range others + 1 {
				f := scanFile(t, fmt.Sprintf("%d.ply", k), plate(pitch+0.001*float64(k)))
				pose := geom.Pose{Rot: geom.Identity, Move: geom.Vec{X: 0.1 * float64(k)}}
				if k == 0 {
					pose.Move = geom.Vec{X: -20, Z: -0.2}
				}
				in["scans"], table.Scans = append(in["scans"], f), append(table.Scans, poses.At(f, pose))
			}
			in["poses"] = tableFile(t, table)
			r := steptest.Run(t, Kind{}, steptest.Given{Inputs: in, Values: step.Values{"voxel": 0.6}})
			m, _ := surfaceOf(t, r)
			steepest := 0.0
			for i, tri := range m.Tris {
				a, b, c := m.Corners(i)
				if max(math.Abs(a.Y), math.Abs(a.X)) < 15 && m.Seen[tri[0]] > 0 { // far from the others' own borders
					n := b.Sub(a).Cross(c.Sub(a))
					steepest = max(steepest, math.Hypot(n.X, n.Y)/math.Abs(n.Z))
				}
			}
			t.Logf("points %.1f mm apart, %d others: steepest %.3f", pitch, others, steepest)
			if steepest > 0.1 || steepest < 0.02 {
				t.Errorf("points %.1f mm apart, %d others: the surface falls by %.3f mm a mm", pitch, others, steepest)
			}
		}
	}
}
