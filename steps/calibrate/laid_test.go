package calibrate

import (
	"bytes"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/steptest"
)

// TestLaid: a sample that became what the recipe says, turned and moved, is laid
// down where the finished part was before it was scaled up to the master, point
// for point; without a recipe the sample's own shrinkage says where.
func TestLaid(t *testing.T) {
	m := lump(40, geom.Vec{X: 30, Y: -12, Z: 55})
	finished := m.Scaled(0.95)
	sample := &geom.Mesh{Tris: finished.Tris, Verts: make([]geom.Point, len(finished.Verts))}
	turn := geom.Pose{Rot: geom.SmallTurn(geom.Vec{X: 0.3, Y: -0.5, Z: 0.2}), Move: geom.Vec{X: 80, Y: 9, Z: -40}}
	for i, v := range finished.Verts {
		sample.Verts[i] = turn.Apply(v.Vec()).Point()
	}
	for _, values := range []step.Values{{"links": recipe}, nil} {
		r := steptest.Run(t, Kind{}, given(t, m, values, sample))
		data := r.Files["laid/hand-sample.ply"]
		laid, _, err := meshio.Read(t.Context(), bytes.NewReader(data), int64(len(data)), meshio.Options{Scale: 1, Workers: 2})
		if err != nil {
			t.Fatal(err)
		}
		for i, v := range laid.Verts {
			if off := v.Vec().Sub(finished.Verts[i].Vec()).Len(); off > 0.02 {
				t.Fatalf("with %v: point %d is %.3f mm off", values, i, off)
			}
		}
	}
}
