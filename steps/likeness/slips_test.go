package likeness

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"layette/steps/internal/geom"
)

// TestSlips: a part that was scaled by 1 % or moved by 2 mm by accident is
// caught and named to a hundredth of a per cent or a mm (other triangles and the
// robust fit cost the last digit); so is a sample smaller than forecast.
func TestSlips(t *testing.T) {
	for _, tt := range []struct {
		name string
		slip func(geom.Vec) geom.Vec
		says string
	}{
		{"scaled", func(p geom.Vec) geom.Vec { return p.Mul(1.01) }, "The whole is 1.01 % larger"},
		{"moved", func(p geom.Vec) geom.Vec { return p.Add(geom.Vec{X: 1.2, Y: -1.6}) }, "moved by 2.00 mm"},
		{"a sample against its forecast", func(p geom.Vec) geom.Vec { return p.Mul(0.98) }, "The whole is 1.99 % smaller"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r := compare(t, lump(210, tt.slip), lump(200, same), nil)
			if says := strings.Join(r.Notes, "\n"); !strings.Contains(says, tt.says) {
				t.Errorf("notes %q, want %q; %v", says, tt.says, r.Measures)
			}
			near(t, r, "fitted.rms", 0, 0.01)
		})
	}
}

// TestLiveAgainstCast: the RMS on which a gate judges live scans against
// castings comes out as 0.70, 1.00 and 1.20 mm where it is that by closed form,
// on both sides of the bounds that Ritschl et al., Head Face Med 2018;14:11
// (0.72 ± 0.22 mm) give: the mean with one and with two standard deviations.
func TestLiveAgainstCast(t *testing.T) {
	const one, two = 0.72 + 0.22, 0.72 + 2*0.22
	ball := func(r float64) *geom.Mesh {
		return lump(200, func(p geom.Vec) geom.Vec { return p.Unit().Mul(r) })
	}
	cast := ball(30)
	for _, tt := range []struct {
		rms  float64
		want string
	}{{0.70, "true true"}, {1.00, "false true"}, {1.20, "false false"}} {
		r := compare(t, ball(30+tt.rms), cast, nil)
		near(t, r, "rms", tt.rms, 0.002)
		got := r.Measures["rms"].(float64)
		if s := fmt.Sprint(got <= one, got <= two); s != tt.want {
			t.Errorf("%.2f mm: within one and two deviations %s, want %s", tt.rms, s, tt.want)
		}
	}
	// A landmark that a hand moved by 0.5 mm is found for itself and is no drift.
	nose := geom.Vec{X: 30, Y: 2, Z: 3}
	r := compare(t, lump(210, func(p geom.Vec) geom.Vec {
		if d := p.Sub(nose).Len(); d < 6 {
			p = p.Add(p.Unit().Mul(0.5 * math.Min(1, 2-d/3)))
		}
		return p
	}), lump(200, same), map[string]any{"allow": 0.3})
	if n := r.Measures["changed.places"]; n != int64(1) {
		t.Errorf("%v places changed, want 1", n)
	}
	near(t, r, "drift.scale", 0, 5e-4)
}

// TestFarSlips: a part moved farther than a partner is sought, or read in another
// unit, is no likeness of anything, and is told what happened to it.
func TestFarSlips(t *testing.T) {
	for _, tt := range []struct {
		slip func(geom.Vec) geom.Vec
		says string
	}{
		{func(p geom.Vec) geom.Vec { return p.Add(geom.Vec{X: 90}) }, "its middle lies 90 mm off, and it is 1 times as long: was it moved or turned?"},
		{func(p geom.Vec) geom.Vec { return p.Mul(10) }, "it is 10 times as long: is it in another unit?"},
		{func(p geom.Vec) geom.Vec { return p.Mul(0.001).Add(geom.Vec{Z: 60}) }, "it is 0.001 times as long: is it in another unit?"},
	} {
		r := compare(t, lump(60, tt.slip), lump(60, same), nil)
		if says := strings.Join(r.Notes, "\n"); !strings.Contains(says, tt.says) {
			t.Errorf("notes %q, want %q; %v", says, tt.says, r.Measures)
		}
		if s := r.Measures["drift.scale"].(float64); !math.IsNaN(s) {
			t.Errorf("%q: a drift in scale of %g is told; unknown is wanted", tt.says, s)
		}
	}
}

// TestInventedReference: what the sculptor makes of skin that no scan saw is no
// change of it, whether the joined surface was closed there or left open.
func TestInventedReference(t *testing.T) {
	ear := geom.Vec{X: 30, Y: 2, Z: 3}
	whole := lump(120, same)
	whole.Seen = make([]uint16, len(whole.Verts))
	for v, p := range whole.Verts {
		if p.Vec().Sub(ear).Len() > 14 {
			whole.Seen[v] = 3
		}
	}
	sculpted := lump(130, func(p geom.Vec) geom.Vec {
		if d := p.Sub(ear).Len(); d < 10 {
			p = p.Add(p.Unit().Mul(2 * (1 - d*d/100)))
		}
		return p
	})
	r := compare(t, sculpted, whole, nil)
	if most := r.Measures["most"].(float64); r.Measures["changed.places"] != int64(0) || most > 0.1 {
		t.Errorf("it changed in %v places, by %.2f mm", r.Measures["changed.places"], most)
	}
	if alone := r.Measures["alone.share"].(float64); alone < 0.04 || alone > 0.15 {
		t.Errorf("%.3f of it has no partner", alone)
	}
	whole.Seen = nil
	if r = compare(t, sculpted, whole, nil); r.Measures["changed.places"] != int64(1) {
		t.Errorf("where all was seen it changed in %v places, want 1", r.Measures["changed.places"])
	}
}
