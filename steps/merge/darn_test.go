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

// TestPinholes: of two places of a ball that no scan saw, the one of 3 mm, which
// shrinks to less than four voxels, is closed about a middle that is marked as
// invented; the one of 9 mm is left open, and so are both if the recipe says so.
func TestPinholes(t *testing.T) {
	small, large := geom.Vec{X: 20}, geom.Vec{Y: 20}
	in := holed(t, func(p geom.Vec) bool { return p.Sub(small).Len() > 1.4 && p.Sub(large).Len() > 4.5 })
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

// holed is a ball of 20 mm seen from all sides, as far as seen says.
func holed(t *testing.T, seen func(geom.Vec) bool) map[string][]step.File {
	in := map[string][]step.File{}
	var table poses.Table
	for i, d := range dirs {
		m, pose := globe(20, 0.6, d)
		tris := m.Tris
		m.Tris = nil
		for _, tri := range tris {
			if seen(pose.Apply(m.Verts[tri[0]].Vec())) {
				m.Tris = append(m.Tris, tri)
			}
		}
		f := scanFile(t, fmt.Sprintf("%02d.ply", i), m)
		in["scans"], table.Scans = append(in["scans"], f), append(table.Scans, poses.At(f, pose))
	}
	in["poses"] = tableFile(t, table)
	return in
}

// TestSlits: slits some two and three voxels wide and a third of the way round a
// ball are closed, and no triangle is folded over; one twice as wide is left open.
func TestSlits(t *testing.T) {
	for _, c := range []struct {
		half float64 // mm
		left int64
	}{{1, 0}, {1.5, 0}, {3, 1}} {
		in := holed(t, func(p geom.Vec) bool { return math.Abs(p.Z) > c.half || p.X < 10 })
		r := steptest.Run(t, Kind{}, steptest.Given{Inputs: in, Values: step.Values{"voxel": 0.8}})
		if r.Measures["open.rims"] != c.left || (r.Measures["darned"] == int64(0)) != (c.left == 1) || r.Measures["watertight"] != (c.left == 0) {
			t.Errorf("half %g mm wide: %v rims, %v darned, watertight %v", c.half, r.Measures["open.rims"], r.Measures["darned"], r.Measures["watertight"])
		}
		m, _ := surfaceOf(t, r)
		if n := patches(m); int64(n) != r.Measures["darned"] {
			t.Errorf("half %g mm wide: %d patches are marked as invented in %v holes", c.half, n, r.Measures["darned"])
		}
		for i := range m.Tris {
			a, b, d := m.Corners(i)
			if b.Sub(a).Cross(d.Sub(a)).Dot(a.Add(b).Add(d)) < 0 {
				t.Fatalf("triangle %d of %d at %.2f %.2f %.2f looks inward; seen %d %d %d", i, len(m.Tris), a, b, d, m.Seen[m.Tris[i][0]], m.Seen[m.Tris[i][1]], m.Seen[m.Tris[i][2]])
			}
		}
		for v, n := range m.Seen {
			if p := m.Verts[v].Vec(); n == 0 && (math.Abs(p.Z) > c.half+0.8 || math.Abs(p.Len()-20) > 0.2) {
				t.Errorf("an invented vertex at %.2f, %.2f mm from the middle", p, p.Len())
			}
		}
	}
}

// patches counts the sets of unseen vertices that hang together by edges.
func patches(m *geom.Mesh) int {
	sets := geom.NewSets(len(m.Verts))
	for _, t := range m.Tris {
		for k := range 3 {
			if a, b := t[k], t[(k+1)%3]; m.Seen[a] == 0 && m.Seen[b] == 0 {
				sets.Join(a, b)
			}
		}
	}
	n := 0
	for v, seen := range m.Seen {
		if seen == 0 && sets.Lead(int32(v)) == int32(v) {
			n++
		}
	}
	return n
}

// TestOpening: of two places that no scan saw, 16 and 9 mm wide, both are closed,
// or, if the recipe says that an opening is wider than 12 mm, the lesser.
func TestOpening(t *testing.T) {
	small, large := geom.Vec{X: 20}, geom.Vec{Z: -20}
	in := holed(t, func(p geom.Vec) bool { return p.Sub(small).Len() > 4.5 && p.Sub(large).Len() > 8 })
	for _, c := range []struct {
		opening float64
		rims    int64
	}{{0, 0}, {12, 1}, {4, 2}} {
		r := steptest.Run(t, Kind{}, steptest.Given{Inputs: in, Values: step.Values{"voxel": 0.8, "unseen": "closed", "opening": c.opening}})
		if r.Measures["open.rims"] != c.rims {
			t.Errorf("opening %g mm: %v rims, want %v", c.opening, r.Measures["open.rims"], c.rims)
		}
		m, d := surfaceOf(t, r)
		if len(d) != len(m.Verts) || len(m.Seen) != len(m.Verts) {
			t.Fatalf("%d vertices, %d seen, %d disagree", len(m.Verts), len(m.Seen), len(d))
		}
		invented := 0
		for v, p := range m.Verts {
			if m.Seen[v] > 0 {
				continue
			}
			invented++
			if p.Vec().Sub(small).Len() > 6 && c.opening > 0 {
				t.Errorf("opening %g mm: invented skin is left at %v", c.opening, p)
			}
		}
		if (invented == 0) != (c.rims == 2) {
			t.Errorf("opening %g mm: %d vertices are invented", c.opening, invented)
		}
	}
}
