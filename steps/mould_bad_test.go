package steps_test

import (
	"math"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/bends"
	"layette/steps/gaps"
	"layette/steps/hollow"
	"layette/steps/internal/geom"
	"layette/steps/internal/steptest"
	"layette/steps/relief"
	"layette/steps/stripping"
)

// tube is a limb of radius 12 mm along z, 60 mm long, each end closed by a flat
// disc, closed by half a ball, left open, or closed by a bowl.
func tube(low, high string) *geom.Mesh {
	const n, rows, r, long = 72, 60, 12.0, 60.0
	m := &geom.Mesh{}
	ring := func(wide, z float64) int32 {
		first := int32(len(m.Verts))
		for i := range n {
			a := 2 * math.Pi * float64(i) / n
			m.Verts = append(m.Verts, geom.Vec{X: wide * math.Cos(a), Y: wide * math.Sin(a), Z: z}.Point())
		}
		return first
	}
	band := func(a, b int32) {
		for i := range int32(n) {
			k := (i + 1) % n
			m.Tris = append(m.Tris, geom.Tri{a + i, a + k, b + k}, geom.Tri{a + i, b + k, b + i})
		}
	}
	end := func(from int32, z, up float64, how string) {
		if how == "open" {
			return
		}
		for k := 1; k < 18; k++ {
			wide, at := r*float64(18-k)/18, z
			switch how {
			case "round":
				at = z + up*r*math.Sqrt(1-wide*wide/r/r)
			case "bowl":
				at = z + up*0.4*(1-wide*wide/r/r)
			}
			next := ring(wide, at)
			if up > 0 {
				band(from, next)
			} else {
				band(next, from)
			}
			from = next
		}
		tip := z
		switch how {
		case "round":
			tip = z + up*r
		case "bowl":
			tip = z + up*0.4
		}
		m.Verts = append(m.Verts, geom.Vec{Z: tip}.Point())
		last := int32(len(m.Verts) - 1)
		for i := range int32(n) {
			k := (i + 1) % n
			if up > 0 {
				m.Tris = append(m.Tris, geom.Tri{from + i, from + k, last})
			} else {
				m.Tris = append(m.Tris, geom.Tri{from + k, from + i, last})
			}
		}
	}
	first := ring(r, 0)
	from := first
	for k := 1; k <= rows; k++ {
		next := ring(r, long*float64(k)/rows)
		band(from, next)
		from = next
	}
	end(from, long, 1, high)
	end(first, 0, -1, low)
	return m
}

// turnedOver faces the other way.
func turnedOver(m *geom.Mesh) *geom.Mesh {
	out := &geom.Mesh{Verts: m.Verts}
	for _, t := range m.Tris {
		out.Tris = append(out.Tris, geom.Tri{t[0], t[2], t[1]})
	}
	return out
}

// besides adds a second shell x mm away.
func besides(m *geom.Mesh, x float64) *geom.Mesh {
	out := &geom.Mesh{Verts: append([]geom.Point(nil), m.Verts...), Tris: append([]geom.Tri(nil), m.Tris...)}
	n := int32(len(m.Verts))
	for _, p := range m.Verts {
		out.Verts = append(out.Verts, p.Vec().Add(geom.Vec{X: x}).Point())
	}
	for _, t := range m.Tris {
		out.Tris = append(out.Tris, geom.Tri{t[0] + n, t[1] + n, t[2] + n})
	}
	return out
}

// TestBadParts: two openings, none, one that is not flat, an open surface,
// several shells and a surface inside out are said by all five steps, which look at the
// part all the same.
func TestBadParts(t *testing.T) {
	for _, tt := range []struct {
		name string
		m    *geom.Mesh
		says map[string]string // what a note or a spot says; "" for nothing to say
	}{
		{"sound", tube("flat", "round"), map[string]string{"gaps": "", "hollow": "", "relief": ""}},
		{"two openings", tube("flat", "flat"), map[string]string{"gaps": "2 openings", "hollow": "2 flat ends", "relief": "2 openings", "bends": "2 openings", "stripping": "2 openings"}},
		{"no opening", tube("round", "round"), map[string]string{"gaps": "no opening", "hollow": "no flat end", "relief": "no opening", "bends": "no opening", "stripping": "no opening"}},
		{"opening not flat", tube("bowl", "round"), map[string]string{"gaps": "not flat", "hollow": "strays", "relief": "not flat", "bends": "not flat", "stripping": "not flat"}},
		{"open", tube("open", "open"), map[string]string{"gaps": "open", "hollow": "open at 2 rims", "relief": "open", "bends": "openings", "stripping": "openings"}},
		{"two shells", besides(tube("flat", "round"), 25), map[string]string{"gaps": "1.000 mm apart", "hollow": "2 separate shells", "relief": "2 separate shells", "bends": "2 separate shells", "stripping": "2 separate shells"}},
		{"inside out", turnedOver(tube("flat", "round")), map[string]string{"gaps": "inside out", "hollow": "inside out", "relief": "inside out", "bends": "inside out", "stripping": "inside out"}},
	} {
		f := ply(t, tt.m)
		for _, kind := range []step.Kind{gaps.Kind{}, bends.Kind{}, stripping.Kind{}, hollow.Kind{}, relief.Kind{}} {
			name := kind.Handbook().Name
			r, err := steptest.Try(t, kind, steptest.Given{Inputs: map[string][]step.File{"surface": {f}}})
			var said string
			if err != nil {
				t.Errorf("%s, %s: %v", tt.name, name, err)
				continue
			}
			said = strings.Join(r.Notes, "; ")
			for _, s := range r.Spots {
				said += "; " + s.Says
			}
			t.Logf("%s, %s: %.200s", tt.name, name, said)
			if !strings.Contains(said, tt.says[name]) {
				t.Errorf("%s, %s: %q, want %q", tt.name, name, said, tt.says[name])
			}
		}
	}
}
