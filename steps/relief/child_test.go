package relief

import (
	"bytes"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/steptest"
	"layette/steps/specimen"
)

// TestSoundChild: on a sound hand, foot and head, though the chain holds 4 mm
// only, no triangle of the moulded skin is turned over, nothing is too deep but
// nostrils, and the webs of a hand's four fingers are places between two skins.
func TestSoundChild(t *testing.T) {
	for _, tt := range []struct {
		name               string
		triangles          int
		detail             float64
		tooDeep, leastWebs int64
	}{{"left-hand", 120_000, 4, 0, 3}, {"left-foot", 60_000, 4, 0, 0}, {"head", 120_000, 4, 2, 0}} {
		m := steptest.Mesh(t, specimen.Options{}, tt.name, tt.triangles)
		r := steptest.Run(t, Kind{}, steptest.Given{Inputs: file(t, m), Values: step.Values{"links": links(tt.detail)}})
		if deep, webs := r.Measures["lines.too-deep"].(int64), r.Measures["lines.unknown"].(int64); deep > tt.tooDeep || webs < tt.leastWebs {
			t.Errorf("%s: %d lines too deep, %d places between skins: %+v", tt.name, deep, webs, r.Spots[0])
		}
		ply := r.Files["moulded/hand-moulded.ply"]
		after, _, err := meshio.Read(t.Context(), bytes.NewReader(ply), int64(len(ply)), meshio.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if n := turnedOver(m, after); n > 0 {
			t.Errorf("%s, of detail %v mm: %d triangles of the moulded skin are turned over", tt.name, tt.detail, n)
		}
	}
}

// TestSlot: a slot in one skin is a line that is too deep, though its walls face
// one another.
func TestSlot(t *testing.T) {
	m := steptest.Mesh(t, specimen.Options{Faults: []specimen.Fault{{What: specimen.Slot, Part: "right-hand", Size: 0.8, Seed: 2}}}, "right-hand", 80_000)
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: file(t, m)})
	if r.Measures["lines.too-deep"] == int64(0) || r.Measures["lines.unknown"] != int64(3) {
		t.Errorf("%v lines too deep, %v places between skins", r.Measures["lines.too-deep"], r.Measures["lines.unknown"])
	}
}

// turnedOver counts the triangles that face the other way.
func turnedOver(m, after *geom.Mesh) (n int) {
	for i := range m.Tris {
		a, b, c := m.Corners(i)
		p, q, r := after.Corners(i)
		if b.Sub(a).Cross(c.Sub(a)).Dot(q.Sub(p).Cross(r.Sub(p))) < 0 {
			n++
		}
	}
	return n
}
