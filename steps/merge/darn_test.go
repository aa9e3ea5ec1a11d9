package merge

import (
	"fmt"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/poses"
	"layette/steps/internal/steptest"
)

// TestPinholes: of two places of a ball that no scan saw, the one of 3 mm, which
// shrinks to less than four voxels, is closed about a middle that is marked as
// invented; the one of 9 mm is left open, and so are both if the recipe says so.
func TestPinholes(t *testing.T) {
	small, large := geom.Vec{X: 20}, geom.Vec{Y: 20}
	in := map[string][]step.File{}
	var table poses.Table
	for i, d := range dirs {
		m, pose := globe(20, 0.6, d)
		tris := m.Tris
		m.Tris = nil
		for _, tri := range tris {
			at := pose.Apply(m.Verts[tri[0]].Vec())
			if at.Sub(small).Len() > 1.4 && at.Sub(large).Len() > 4.5 {
				m.Tris = append(m.Tris, tri)
			}
		}
		f := scanFile(t, fmt.Sprintf("%02d.ply", i), m)
		in["scans"], table.Scans = append(in["scans"], f), append(table.Scans, poses.At(f, pose))
	}
	in["poses"] = tableFile(t, table)
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: in, Values: step.Values{"voxel": 0.8}})
	if r.Measures["open.rims"] != int64(1) || r.Measures["darned"] != int64(1) {
		t.Errorf("%v rims, %v darned; want one of each", r.Measures["open.rims"], r.Measures["darned"])
	}
	m, _ := surfaceOf(t, r)
	for v, n := range m.Seen {
		if d := m.Verts[v].Vec().Sub(small).Len(); n == 0 && d > 2 {
			t.Errorf("an invented vertex %.2f mm from the pinhole's middle", d)
		}
	}
	if a := r.Measures["invented.area"].(float64); a == 0 || a > 8 {
		t.Errorf("%.2f mm² are invented in a hole of 3 mm", a)
	}
	r = steptest.Run(t, Kind{}, steptest.Given{Inputs: in, Values: step.Values{"voxel": 0.8, "pinhole": 0.0}})
	if r.Measures["open.rims"] != int64(2) || r.Measures["darned"] != int64(0) {
		t.Errorf("%v rims, %v darned; want two, none", r.Measures["open.rims"], r.Measures["darned"])
	}
}
