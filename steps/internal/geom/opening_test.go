package geom

import (
	"context"
	"errors"
	"math"
	"testing"
)

// A tube ends in two flat faces of known size, the wider first; moved, turned
// and shuffled it has the same.
func TestOpenings(t *testing.T) {
	m := tube(40, 64, upright(50), func(s float64) float64 { return 12 - 4*s })
	sin, cos := math.Sincos(0.7)
	turned := moved(m, func(p Vec) Vec { return Vec{p.X, cos*p.Y - sin*p.Z, sin*p.Y + cos*p.Z}.Add(Vec{30, -4, 9}) })
	for name, m := range map[string]*Mesh{"as it is": m, "shuffled": shuffled(m, 9), "turned": turned} {
		list, err := m.Openings(t.Context(), linksOf(t, m), 2)
		if err != nil || len(list) != 2 {
			t.Fatalf("%s: %d openings, %v", name, len(list), err)
		}
		facets := math.Sin(2*math.Pi/64) * 64 / 2
		near(t, "wide area", list[0].Area, facets*144, 1e-4)
		near(t, "narrow area", list[1].Area, facets*64, 1e-4)
		near(t, "girth", list[0].Girth, 2*64*12*math.Sin(math.Pi/64), 1e-4)
		if list[0].Open() || list[0].Flat > 1e-4 || len(list[0].Rim) != 64 || len(list[0].Face) != 64 {
			t.Errorf("%s: open %v, flat %g, %d on the rim, %d in the face", name, list[0].Open(), list[0].Flat, len(list[0].Rim), len(list[0].Face))
		}
		if d := list[0].Plane.Normal.Dot(list[1].Plane.Normal); d > -0.999 {
			t.Errorf("%s: the ends look the same way: %g", name, d)
		}
		if out := list[0].Centre.Sub(list[1].Centre).Dot(list[0].Plane.Normal); out < 49 {
			t.Errorf("%s: the wide end looks inward: %g", name, out)
		}
	}
}

func TestOpeningOfOpenSkin(t *testing.T) {
	m := tube(40, 64, upright(50), func(float64) float64 { return 12 })
	m.Tris = m.Tris[:len(m.Tris)-128] // the last 128 are both ends
	list, err := m.Openings(t.Context(), linksOf(t, m), 2)
	if err != nil || len(list) != 2 || !list[0].Open() || !list[1].Open() {
		t.Fatalf("%+v, %v", list, err)
	}
	if list[0].Plane.Normal.Dot(list[1].Plane.Normal) > -0.99 {
		t.Error("both rims look the same way")
	}
}

func TestOpeningNotFlat(t *testing.T) {
	m := moved(tube(60, 64, upright(50), func(float64) float64 { return 12 }), func(p Vec) Vec {
		if p.Z < 25 {
			p.Z -= 0.01 * p.X * p.X * (25 - p.Z) / 25
		}
		return p
	})
	list, err := m.Openings(t.Context(), linksOf(t, m), 2)
	if err != nil || len(list) != 2 {
		t.Fatalf("%d, %v", len(list), err)
	}
	if worst := max(list[0].Flat, list[1].Flat); !(math.Abs(worst-0.72) <= 0.1) { // half of 1.44 mm
		t.Errorf("strays %.3f mm", worst)
	}
}

func TestNoOpening(t *testing.T) {
	for _, m := range []*Mesh{ball(Vec{}, 10, 4), doughnut(20, 6, 60, 30)} {
		if list, err := m.Openings(t.Context(), linksOf(t, m), 2); err != nil || len(list) != 0 {
			t.Errorf("%d openings, %v", len(list), err)
		}
	}
}

// A face that runs into the skin over a soft edge is found where a person
// points at it.
func TestFaceAt(t *testing.T) {
	m := ball(Vec{}, 20, 5)
	m = moved(m, func(p Vec) Vec { // flattened below -15, softly
		if p.Z < -15 {
			p.Z = -15 - 0.02*(p.Z+15)*(p.Z+15)
		}
		return p
	})
	o, ok := m.FaceAt(linksOf(t, m), Vec{1, 1, -16}, 0.6)
	if !ok {
		t.Fatal("no face")
	}
	if o.Plane.Normal.Z > -0.99 || !(math.Abs(o.Area-math.Pi*175) <= 0.15*math.Pi*175) {
		t.Errorf("normal %v, area %.1f", o.Plane.Normal, o.Area)
	}
	if _, ok := (&Mesh{}).FaceAt(&Edges{}, Vec{}, 1); ok {
		t.Error("a face of nothing")
	}
}

func TestOpeningsCancelled(t *testing.T) {
	ctx, cancel := context.WithCancelCause(t.Context())
	stop := errors.New("enough")
	cancel(stop)
	m := ball(Vec{}, 5, 3)
	if _, err := m.Openings(ctx, linksOf(t, m), 2); !errors.Is(err, stop) {
		t.Fatal(err)
	}
}
