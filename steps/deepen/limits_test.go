package deepen

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/steptest"
)

// plate is flat skin of side mm, triangles of edge h, its heights given; raised
// by over, and turned to face down if down.
func plate(side, h, over float64, down bool, height func(x, y float64) float64) *geom.Mesh {
	n := int(math.Round(side / h))
	m := &geom.Mesh{}
	for i := range n + 1 {
		for j := range n + 1 {
			x, y := float64(i)*side/float64(n), float64(j)*side/float64(n)
			z := height(x, y)
			if down {
				z = -z
			}
			m.Verts = append(m.Verts, geom.Vec{X: x, Y: y, Z: over + z}.Point())
			if p := int32(i*(n+1) + j); i < n && j < n {
				q := p + int32(n) + 1
				a, b := geom.Tri{p, q, q + 1}, geom.Tri{p, q + 1, p + 1}
				if down {
					a[1], a[2], b[1], b[2] = a[2], a[1], b[2], b[1]
				}
				m.Tris = append(m.Tris, a, b)
			}
		}
	}
	return m
}

// both is two surfaces in one.
func both(a, b *geom.Mesh) *geom.Mesh {
	n := int32(len(a.Verts))
	m := &geom.Mesh{Verts: append(append([]geom.Point(nil), a.Verts...), b.Verts...), Tris: append([]geom.Tri(nil), a.Tris...)}
	for _, t := range b.Tris {
		m.Tris = append(m.Tris, geom.Tri{t[0] + n, t[1] + n, t[2] + n})
	}
	return m
}

// airs returns the way from every vertex of two facing skins, of which the first
// has n vertices, to the nearest place of the other.
func airs(t *testing.T, m *geom.Mesh, n int) []float64 {
	t.Helper()
	var own, other [2]geom.Mesh
	for k := range own {
		own[k].Verts = m.Verts
	}
	for _, tri := range m.Tris {
		k := 0
		if int(tri[0]) >= n {
			k = 1
		}
		own[k].Tris = append(own[k].Tris, tri)
	}
	other[0], other[1] = own[1], own[0]
	away := make([]float64, len(m.Verts))
	for k := range other {
		tree, err := geom.NewTree(t.Context(), &other[k], 2)
		if err != nil {
			t.Fatal(err)
		}
		for i, v := range m.Verts {
			if (i >= n) == (k == 1) {
				hit, ok := tree.Closest(v.Vec(), 100)
				if !ok {
					t.Fatal("nothing faces it")
				}
				away[i] = math.Sqrt(hit.Dist2)
			}
		}
	}
	return away
}

// TestFacingSkins: two skins 1.2 mm apart, or that much and a little more, with
// ridges on both that stand face to face, side by side, or crosswise, come no nearer
// than 1.2 mm where they were farther apart, and hardly nearer than they were elsewhere.
func TestFacingSkins(t *testing.T) {
	ridges := func(at, depth, wave float64) func(u float64) float64 {
		return func(u float64) float64 { return depth * math.Cos(2*math.Pi*(u-at)/wave) }
	}
	along := func(f func(float64) float64) func(x, y float64) float64 {
		return func(x, _ float64) float64 { return f(x) }
	}
	across := func(f func(float64) float64) func(x, y float64) float64 {
		return func(_, y float64) float64 { return f(y) }
	}
	for _, tt := range []struct {
		name        string
		apart       float64
		lower, over func(x, y float64) float64
	}{
		{"face to face", 1.2, along(ridges(0, 0.12, 1.6)), along(ridges(0, 0.12, 1.6))},
		{"side by side", 1.2, along(ridges(0, 0.12, 1.6)), along(ridges(0.8, 0.12, 1.6))},
		{"a third beside", 1.3, along(ridges(0, 0.12, 1.6)), along(ridges(0.5, 0.15, 1.6))},
		{"crosswise", 1.45, along(ridges(0, 0.12, 1.6)), across(ridges(0, 0.1, 1.3))},
		{"lines alone", 1.4, along(func(u float64) float64 { return -0.2 * math.Exp(-math.Pow((u-4)/0.4, 2)) }), along(ridges(0, 0, 1))},
	} {
		lower := plate(8, 0.2, 0, false, tt.lower)
		wanted := both(lower, plate(8, 0.2, tt.apart, true, tt.over))
		r := run(t, wanted, step.Values{"gap": 1.2, "steepest": 50.0, "most": 5.0})
		got := master(t, r)
		was, is := airs(t, wanted, len(lower.Verts)), airs(t, got, len(lower.Verts))
		under, nearer := 0.0, 0.0
		for i := range is {
			if was[i] >= 1.2 {
				under = max(under, 1.2-is[i])
			} else {
				nearer = max(nearer, was[i]-is[i])
			}
		}
		held := r.Measures["limited.gap"].(float64)
		// Beside the nearest places a ball touches elsewhere.
		if !(under <= 0.002 && nearer <= 0.008) {
			t.Errorf("%s: skins come %.4f mm nearer than 1.2 mm, and %.4f mm nearer where they were nearer than that", tt.name, under, nearer)
		}
		if lines := tt.name == "lines alone"; lines == (held > 0) || lines && r.Measures["moved.in"].(float64) < 0.05 {
			t.Errorf("%s: the gap held %v of the skin, cut in by %v", tt.name, held, r.Measures["moved.in"])
		}
	}
}

// TestNoWallOverhangs: a groove in flat skin, however steep its walls and
// however far it is to be deepened, gets no wall that leans over its floor: seen
// from straight above, no triangle shows its back.
func TestNoWallOverhangs(t *testing.T) {
	for _, tt := range []struct {
		name                 string
		width, wall, depth   float64 // between the tops of its walls, of each wall, mm
		detail, h, gain, lie float64 // lie: how far the skin is bent, 1/mm
	}{
		{"steep", 1.2, 0.25, 0.8, 1, 0.1, 3, 0},
		{"narrow", 0.7, 0.2, 0.9, 1.5, 0.1, 5, 0},
		{"coarse", 1.6, 0.4, 1.2, 2, 0.2, 8, 0},
	} {
		section := func(x, _ float64) float64 {
			u := (tt.width/2 - math.Abs(x-6)) / tt.wall
			u = max(0, min(1, u))
			return -tt.depth * u * u * (3 - 2*u)
		}
		wanted := plate(12, tt.h, 0, false, section)
		r := run(t, wanted, step.Values{"steepest": 1000.0, "most": 5.0, "gain": tt.gain, "gap": 0.0, "links": links(tt.detail)})
		got := master(t, r)
		least, before := 1.0, 1.0
		for i := range got.Tris {
			if a, _, _ := got.Corners(i); a.Y < tt.detail || a.Y > 12-tt.detail {
				continue // beside a rim the filter does not tell where the skin would be
			}
			least, before = min(least, up(got, i)), min(before, up(wanted, i))
		}
		if least < min(before, 0)-1e-5 {
			t.Errorf("%s: a wall leans over by %.3f", tt.name, -least)
		}
		if r.Measures["moved.in"].(float64) < 0.02 {
			t.Errorf("%s: the groove was not deepened: %v", tt.name, r.Measures)
		}
		if held, ok := r.Measures["limited.overhang"].(float64); tt.name == "coarse" && (!ok || held == 0 || !strings.Contains(strings.Join(r.Notes, "\n"), "held back by a wall that would overhang")) {
			t.Errorf("%s: it is not said what held it: %v %q", tt.name, r.Measures, r.Notes)
		}
	}
}

// up returns how much of a triangle's direction is z.
func up(m *geom.Mesh, i int) float64 {
	a, b, c := m.Corners(i)
	return b.Sub(a).Cross(c.Sub(a)).Unit().Z
}

// TestLimitsDoNotDependOnTheFrame: turned, mirrored and renumbered, with limits at
// work, the skin moves as it did; with other workers the files are the same.
func TestLimitsDoNotDependOnTheFrame(t *testing.T) {
	lower := plate(8, 0.2, 0, false, func(x, y float64) float64 {
		return 0.12*math.Cos(2*math.Pi*x/1.6) - 0.6*math.Exp(-math.Pow((y-4)/0.3, 4))
	})
	m := both(lower, plate(8, 0.2, 1.35, true, func(x, _ float64) float64 { return 0.1 * math.Cos(2*math.Pi*(x-0.3)/1.6) }))
	values := step.Values{"gap": 1.2, "steepest": 2.0}
	is := run(t, m, values)
	other := &geom.Mesh{Verts: make([]geom.Point, len(m.Verts))}
	n := int32(len(m.Verts))
	for i, v := range m.Verts { // by 53 degrees about z, then x and z changed for one another, which mirrors
		x, y := 0.6*float64(v[0])-0.8*float64(v[1]), 0.8*float64(v[0])+0.6*float64(v[1])
		other.Verts[n-1-int32(i)] = geom.Vec{X: float64(v[2]), Y: y, Z: x}.Point()
	}
	for i := range m.Tris {
		tri := m.Tris[len(m.Tris)-1-i]
		other.Tris = append(other.Tris, geom.Tri{n - 1 - tri[1], n - 1 - tri[0], n - 1 - tri[2]})
	}
	got := run(t, other, values)
	_, a := read(t, is, "map/hand-deepening.ply", "moved")
	_, b := read(t, got, "map/hand-deepening.ply", "moved")
	off, held := 0.0, 0
	for i, d := range a.Columns[0].Values {
		if by := math.Abs(float64(d - b.Columns[0].Values[n-1-int32(i)])); by > 0.002 {
			held++
			off = max(off, by)
		}
	}
	if held > int(n)/200 || off > 0.02 {
		t.Errorf("%d of %d places move differently, by %.4f mm at most", held, n, off)
	}
	for _, name := range []string{"limited.gap", "limited.steep"} {
		if is.Measures[name].(float64) == 0 {
			t.Errorf("%s did not hold: %v", name, is.Measures)
		}
	}
	values["links"] = links(1)
	one := steptest.Run(t, Kind{}, steptest.Given{Inputs: file(t, m), Values: values, Workers: 1})
	for _, name := range is.Order {
		if !bytes.Equal(one.Files[name], is.Files[name]) {
			t.Errorf("%s differs with one worker", name)
		}
	}
}
