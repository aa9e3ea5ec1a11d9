package geom

import (
	"math"
	"testing"
)

// An upright ellipsoid, standing open on a plane below its middle: sections by
// height have the girth and area of the ellipse there, nothing hangs, and all
// rings are trunk.
func TestRingsUpright(t *testing.T) {
	const a, b, c = 58, 47.5, 60
	m := &Mesh{}
	const around, up = 240, 160
	for i := range up {
		z := -30 + 89.9*float64(i)/(up-1)
		r := math.Sqrt(1 - z*z/(c*c))
		for k := range around {
			s, co := math.Sincos(2 * math.Pi * float64(k) / around)
			m.Verts = append(m.Verts, Vec{a * r * co, b * r * s, z}.Point())
		}
	}
	for i := range up - 1 {
		for k := range around {
			p, q := int32(i*around+k), int32(i*around+(k+1)%around)
			m.Tris = append(m.Tris, Tri{p, q, q + around}, Tri{p, q + around, p + around})
		}
	}
	m = shuffled(m, 3)
	e := linksOf(t, m)
	open, err := m.Openings(t.Context(), e, 2)
	if err != nil || len(open) == 0 {
		t.Fatalf("%d openings, %v", len(open), err)
	}
	r, err := m.RingsUpright(t.Context(), e, open[0], make([]int32, len(m.Verts)), 0, 0.5)
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Branches) != 1 || len(r.Hangs) != 0 {
		t.Fatalf("%d branches, %d hangs", len(r.Branches), len(r.Hangs))
	}
	for _, g := range r.Rings {
		z := g.Level - 30
		if z > 55 {
			continue // the last rows lie far apart along the skin
		}
		share := math.Sqrt(1 - z*z/(c*c))
		near(t, "tape", g.Across.Tape, 332.2593*share, 0.0005)
		near(t, "girth", g.Across.Girth, 332.2593*share, 0.0005)
		near(t, "area", g.Across.Area, math.Pi*a*b*share*share, 0.001)
		if g.Branch != 0 || !(math.Abs(g.Centre.Z-z) <= 1e-3) {
			t.Errorf("ring at %.2f: branch %d, middle %.3f", z, g.Branch, g.Centre.Z)
		}
	}
	if _, err := m.RingsUpright(t.Context(), e, open[0], nil, 0, 0.5); err == nil {
		t.Error("no shells, and no error")
	}
}
