package stripping

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/steptest"
	"layette/steps/specimen"
)

// eared is a head of closed form: an ellipsoid of half axes 58, 47.5 and 60 mm
// whose middle lies 30 mm over its opening, with a bar at each side from which a
// rod of 3 mm radius hangs by hang mm (none if that is nought).
type eared struct{ hang float64 }

const barAt = 40 // height of the bars

func (e eared) At(q geom.Vec) (float64, geom.Vec) {
	d, g := specimen.Ellipsoid(58, 47.5, 60).Field.At(q.Sub(geom.Vec{Z: 30}))
	rod := func(a, b geom.Vec) {
		along := b.Sub(a)
		off := q.Sub(a.Add(along.Mul(min(1, max(0, q.Sub(a).Dot(along)/along.Len2())))))
		if r := off.Len() - 3; r < d {
			d, g = r, off.Unit()
		}
	}
	for _, side := range []float64{-1, 1} {
		if end := (geom.Vec{X: 66 * side, Z: barAt}); e.hang > 0 {
			rod(geom.Vec{X: 50 * side, Z: barAt}, end)
			rod(end, end.Add(geom.Vec{Z: -e.hang}))
		}
	}
	return d, g
}

func (e eared) Range(c geom.Vec, r float64) (lo, hi float64) {
	d, _ := e.At(c)
	return d - r, d + r
}
func (e eared) Within(geom.Vec, float64) specimen.Field { return e }
func (e eared) Bounds() geom.Box {
	return geom.Box{Min: geom.Vec{X: -70, Y: -50, Z: -32}, Max: geom.Vec{X: 70, Y: 50, Z: 92}}
}

func head(t *testing.T, hang float64, triangles int) *geom.Mesh {
	t.Helper()
	m, err := specimen.Surface(t.Context(), eared{hang}, true, specimen.Sampling{Triangles: triangles})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// The tape round the widest section, 116 by 95 mm, is 332.2593 mm (complete
// elliptic integral; facts, table F, 15). The opening's is less by the square
// root of 3/4.
func TestTapeOfHead(t *testing.T) {
	m := run(t, head(t, 0, 100_000), step.Values{"shape": "head"}).Measures
	if g := m["stretch.girth"].(float64); !(math.Abs(g-332.2593) <= 0.05) {
		t.Errorf("tape %.4f mm, want 332.2593", g)
	}
	within(t, "opening", m["opening.girth"], 332.2593*math.Sqrt(0.75), 0.001)
	if e := m["stretch.greatest"].(float64); !(math.Abs(e-(1/math.Sqrt(0.75)-1)) <= 0.001) {
		t.Errorf("stretch %.4f", e)
	}
	if m["catch.hook"] != 0.0 {
		t.Errorf("%v hangs from a bare ellipsoid", m["catch.hook"])
	}
}

// Rods that hang from bars are told with their length, both of them; those over
// "hook" catch; those no longer than they are thick are bulges.
func TestHangs(t *testing.T) {
	for _, tt := range []struct {
		hang           float64
		spots, catches int
	}{{20, 2, 2}, {10, 2, 0}, {3, 0, 0}} {
		r := run(t, head(t, tt.hang, 40_000), step.Values{"shape": "head"})
		n := 0
		for _, s := range r.Spots {
			if s.What != hanging {
				continue
			}
			n++
			// a rod of 10 mm hangs 10 mm below the underside of its bar
			if low := (geom.Vec{X: math.Copysign(66, s.At[0]), Z: barAt - tt.hang - 3}); !(math.Abs(s.Value-tt.hang) <= 0.3) || s.Fault != (tt.catches > 0) || (geom.Vec{X: s.At[0], Y: s.At[1], Z: s.At[2]}).Sub(low).Len() > 1.5 {
				t.Errorf("%g mm: %+v", tt.hang, s)
			}
		}
		if n != tt.spots || r.Measures["catch.spots"] != int64(tt.catches) {
			t.Errorf("%g mm: %d hang, %v catch", tt.hang, n, r.Measures["catch.spots"])
		}
	}
}

// Turned, mirrored, moved and with more triangles, a head asks for the same and
// its ears hang as far.
func TestLawsOfHead(t *testing.T) {
	m := steptest.Mesh(t, specimen.Options{Plain: true}, "head", 40_000)
	q := geom.Quaternion{W: 0.8, X: 0.3, Y: -0.4, Z: math.Sqrt(1 - 0.64 - 0.09 - 0.16)}.Rot()
	turned := &geom.Mesh{Tris: m.Tris}
	for _, p := range m.Verts {
		turned.Verts = append(turned.Verts, q.Apply(p.Vec()).Add(geom.Vec{X: 200, Y: -70, Z: 3}).Point())
	}
	seen := func(m *geom.Mesh) string {
		r := run(t, m, step.Values{"shape": "head"})
		return fmt.Sprintf("%.2f %.0f %.0f %v %.2f", r.Measures["stretch.greatest"], r.Measures["stretch.girth"], r.Measures["stretch.limit-girth"], len(r.Spots), r.Measures["undercut.share"])
	}
	deep := func(m *geom.Mesh) float64 {
		return run(t, m, step.Values{"shape": "head"}).Measures["catch.hook"].(float64)
	}
	want, hang := seen(m), deep(m)
	for name, other := range map[string]*geom.Mesh{"turned": turned, "mirrored": m.MirroredX(), "finer": steptest.Mesh(t, specimen.Options{Plain: true}, "head", 90_000)} {
		if got := seen(other); got != want {
			t.Errorf("%s: %s, want %s", name, got, want)
		}
		if got := deep(other); !(math.Abs(got-hang) <= 1) { // coarse triangles close the crease behind the lobe
			t.Errorf("%s: ears hang %.2f mm, want %.2f", name, got, hang)
		}
	}
}

// A surface that is inside out is looked at, and drawn, the right way round.
func TestInsideOut(t *testing.T) {
	m := head(t, 0, 4_000)
	for i, q := range m.Tris {
		m.Tris[i] = geom.Tri{q[0], q[2], q[1]}
	}
	data := run(t, m, step.Values{"shape": "head"}).Files["map/part-stripping.ply"]
	shown, _, err := meshio.Read(t.Context(), bytes.NewReader(data), int64(len(data)), meshio.Options{})
	if err != nil || !(shown.Volume() > 0) {
		t.Errorf("the map is inside out: %v", err)
	}
}

// A stub that leans back near the opening of a stout leg parts it into no
// branches and catches all the same; the leg keeps its joints.
func TestStubCatches(t *testing.T) {
	for _, seed := range []uint64{4, 9} {
		fault := specimen.Fault{What: specimen.Hook, Part: "right-leg", Size: 128, Seed: seed}
		r := run(t, steptest.Mesh(t, specimen.Options{Plain: true, Faults: []specimen.Fault{fault}}, "right-leg", 60_000), step.Values{"shape": "leg"})
		if a := r.Measures["catch.angle"].(float64); !(math.Abs(a-128) <= 2) || r.Measures["catch.spots"] != int64(1) || r.Measures["branches"] != int64(0) {
			t.Errorf("seed %d: %.1f degrees, %v catch, %v branches", seed, a, r.Measures["catch.spots"], r.Measures["branches"])
		}
		if s := r.Spots[0]; s.What != hooked || !s.Fault || !strings.Contains(s.Says, "what stands out of the") {
			t.Errorf("seed %d: %+v", seed, s)
		}
	}
}

// A stub on an arm that its skin joins aslant: the angle is that of the stub, not
// of its rings nor of sections that lean towards it.
func TestStubOnAnArm(t *testing.T) {
	for seed, deg := range []float64{124, 130} {
		fault := specimen.Fault{What: specimen.Hook, Part: "left-arm", Size: deg, Seed: uint64(seed)}
		r := run(t, steptest.Mesh(t, specimen.Options{Plain: true, Faults: []specimen.Fault{fault}}, "left-arm", 60_000), step.Values{"shape": "arm"})
		if a := r.Measures["catch.angle"].(float64); !(math.Abs(a-deg) <= 2) {
			t.Errorf("%.1f degrees, want %g", a, deg)
		}
	}
}

// A leg drawn in to 10 mm between two flat floors: 52 mm across must pass.
func TestFlatWaist(t *testing.T) {
	fault := specimen.Fault{What: specimen.Waist, Part: "right-leg", Size: 10}
	m := steptest.Mesh(t, specimen.Options{Plain: true, Knee: 20, Faults: []specimen.Fault{fault}}, "right-leg", 60_000)
	r := run(t, m, step.Values{"shape": "leg"})
	within(t, "narrow girth", r.Measures["stretch.limit-girth"], 10*math.Pi, 0.02)
	if r.Measures["bends.angle"].(float64) > 95 || r.Measures["stretch.place"] != "thigh" {
		t.Errorf("a bend of %v, the stretch in the %v", r.Measures["bends.angle"], r.Measures["stretch.place"])
	}
}

// A leg whose opening is rounded over has none, and its stub is not judged: which
// way it is pulled is not known.
func TestStubWithoutOpening(t *testing.T) {
	fault := specimen.Fault{What: specimen.Hook, Part: "right-leg", Size: 128, Seed: 4}
	m := steptest.Mesh(t, specimen.Options{Plain: true, Faults: []specimen.Fault{fault}}, "right-leg", 60_000)
	wide := 0.0
	for _, p := range m.Verts {
		if p[2] < 1e-3 {
			wide = max(wide, math.Hypot(float64(p[0]), float64(p[1])))
		}
	}
	for i, p := range m.Verts {
		if p[2] < 1e-3 {
			m.Verts[i][2] = float32(-math.Sqrt(max(0, wide*wide-float64(p[0]*p[0])-float64(p[1]*p[1]))))
		}
	}
	r := run(t, m, step.Values{"shape": "leg"})
	if a := r.Measures["catch.angle"].(float64); !math.IsNaN(a) || r.Measures["catch.spots"] != int64(0) || r.Measures["opening.count"] != int64(0) {
		t.Errorf("%v degrees, %v catch, %v openings", a, r.Measures["catch.spots"], r.Measures["opening.count"])
	}
}
