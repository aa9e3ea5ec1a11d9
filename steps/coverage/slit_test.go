package coverage

import (
	"math"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/steptest"
)

// sheet is flat skin of 40 by 40 mm in squares of 0.5 mm, seen twice; to what
// inside says of a place, mark does what it does.
func sheet(inside func(x, y float64) bool, open bool) *geom.Mesh {
	const n = 81
	m := &geom.Mesh{}
	for j := range n {
		for i := range n {
			x, y := 0.5*float64(i)-20, 0.5*float64(j)-20
			m.Verts = append(m.Verts, geom.Vec{X: x, Y: y}.Point())
			seen := uint16(2)
			if inside(x, y) && !open {
				seen = 0
			}
			m.Seen = append(m.Seen, seen)
		}
	}
	for j := range int32(n - 1) {
		for i := range int32(n - 1) {
			if open && inside(0.5*float64(i)-19.75, 0.5*float64(j)-19.75) {
				continue
			}
			a := j*n + i
			m.Tris = append(m.Tris, geom.Tri{a, a + 1, a + n + 1}, geom.Tri{a, a + n + 1, a + n})
		}
	}
	return m
}

// TestSlit: an ellipse of 4 by 16 mm that nobody saw is that wide and long,
// whether it was left open or closed; what is narrower than asked for is a
// pinhole, of which no cause is told.
func TestSlit(t *testing.T) {
	slit := func(x, y float64) bool { return x*x/64+y*y/4 < 1 }
	dot := func(x, y float64) bool { return math.Hypot(x-12, y-12) < 0.3 }
	for _, open := range []bool{true, false} {
		m := sheet(func(x, y float64) bool { return slit(x, y) || !open && dot(x, y) }, open)
		r := steptest.Run(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"surface": {ply(t, "m.ply", m)}}})
		if wide := r.Measures["unseen.widest"].(float64); !(math.Abs(wide-4) <= 0.4) {
			t.Errorf("open %v: %.2f mm wide, want 4", open, wide)
		}
		if says := r.Spots[0].Says; !strings.Contains(says, "mm wide and 16.") && !strings.Contains(says, "mm wide and 15.") {
			t.Errorf("open %v: %q", open, says)
		}
		if n := r.Measures["pinholes"]; !open && (n != int64(1) || r.Measures["unseen.places"] != int64(2) || len(r.Spots) != 1) {
			t.Errorf("%v pinholes of %v places, %d spots", n, r.Measures["unseen.places"], len(r.Spots))
		}
	}
}

// TestBad: no surface, one without numbers, one that nobody saw.
func TestBad(t *testing.T) {
	whole := func(x, y float64) bool { return false }
	nan := sheet(whole, false)
	for v := range nan.Verts {
		nan.Verts[v][2] = float32(math.NaN())
	}
	for _, tt := range []struct {
		file step.File
		says string
	}{
		{steptest.File("m.ply", nil, "mm"), "the file is empty"},
		{ply(t, "m.ply", &geom.Mesh{}), "m.ply"},
		{ply(t, "m.ply", nan), "NaN"},
		{ply(t, "m.ply", sheet(func(x, y float64) bool { return true }, false)), "no scan saw any of it"},
	} {
		_, err := steptest.Try(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"surface": {tt.file}}})
		if err == nil || !strings.Contains(err.Error(), tt.says) {
			t.Errorf("error %v, want %q", err, tt.says)
		}
	}
	// A flat sheet has one rim, its own opening.
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"surface": {ply(t, "m.ply", sheet(whole, false))}}})
	if r.Measures["openings"] != int64(1) || r.Measures["unseen.places"] != int64(0) || r.Measures["unseen.share"] != 0.0 {
		t.Errorf("a flat sheet: %v", r.Measures)
	}
}
