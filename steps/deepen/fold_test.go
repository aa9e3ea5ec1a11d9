package deepen

import (
	"math"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
)

// hollow is flat skin with a hollow, deep mm and of radius r about, whose walls
// bulge so that it is narrower above than below.
func hollow(side, h, r, deep float64) *geom.Mesh {
	m := plate(side, h, 0, false, func(_, _ float64) float64 { return 0 })
	for i, v := range m.Verts {
		x, y := float64(v[0])-side/2, float64(v[1])-side/2
		far := math.Hypot(x, y)
		if far == 0 || far >= 2*r {
			continue
		}
		in := 1 - far/(2*r) // nought at its rim, one in its middle
		out := r * (1.1*math.Sin(math.Pi*in)*in + 2*(1-in)) / far
		m.Verts[i] = geom.Vec{X: side/2 + x*out, Y: side/2 + y*out, Z: -deep * (1 - math.Cos(math.Pi*in)) / 2}.Point()
	}
	return m
}

// TestFoldedSkin: where skin folds over itself within a detail or two, lines come
// out as wanted or are held back, with the reason said; none comes out too deep.
func TestFoldedSkin(t *testing.T) {
	for _, tt := range []struct{ r, deep, detail float64 }{{1.5, 2, 2}, {1.2, 3, 2.5}} {
		r := run(t, hollow(14, 0.15, tt.r, tt.deep), step.Values{"links": links(tt.detail), "cutoff": 3.0})
		if m := r.Measures; m["lines"] == int64(0) || m["lines.over"] != int64(0) || !(m["error.after"].(float64) < m["error.before"].(float64)) {
			t.Errorf("%+v: %v", tt, m)
		}
		for _, s := range r.Spots {
			if s.Fault && !strings.Contains(s.Says, "Held back by") {
				t.Errorf("%+v: %s", tt, s.Says)
			}
		}
	}
}
