package limb

import (
	"math"
	"strings"
	"testing"

	"layette/steps/internal/geom"
	"layette/steps/internal/steptest"
	"layette/steps/specimen"
)

func part(t testing.TB, o specimen.Options, name string, s specimen.Sampling) (*specimen.Part, *geom.Mesh) {
	t.Helper()
	p := steptest.Part(t, o, name)
	m, err := p.Mesh(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	return p, m
}

func look(t testing.TB, m *geom.Mesh, shape Shape) *Limb {
	t.Helper()
	l, err := New(t.Context(), m, Want{Shape: shape, Spacing: 0.5, Strays: 0.3, Workers: 2})
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// An arm of the invented newborn: five fingers, the thumb first, joints within
// the limb's radius of the marks.
func TestArm(t *testing.T) {
	for _, name := range []string{"right-arm", "left-arm"} {
		p, m := part(t, specimen.Options{}, name, specimen.Sampling{Triangles: 300_000})
		l := look(t, m, Arm)
		if len(l.Openings) != 1 || len(l.Notes) != 0 || l.Openings[0].Centre.Len() > 0.1 {
			t.Errorf("%s: openings %v, notes %q", name, l.Openings, l.Notes)
		}
		if len(l.Digits) != 5 {
			t.Fatalf("%s: %d digits", name, len(l.Digits))
		}
		for i, b := range l.Digits {
			tip := l.Mesh.Verts[l.Rings.Branches[b].Tip].Vec()
			if d := tip.Sub(p.Marks["tip."+fingers[i]]).Len(); d > 2.5 {
				t.Errorf("%s: tip of the %s is %.1f mm off", name, fingers[i], d)
			}
		}
		for _, joint := range []string{"elbow", "wrist"} {
			j, ok := l.Joint(joint)
			d := j.At.Sub(p.Marks[joint]).Len()
			t.Logf("%s: %s %.1f mm off, %.1f degrees", name, joint, d, j.Turn*180/math.Pi)
			if !ok || d > 5 {
				t.Errorf("%s: %s %.1f mm off", name, joint, d)
			}
		}
	}
}

func TestLeg(t *testing.T) {
	p, m := part(t, specimen.Options{}, "left-leg", specimen.Sampling{Triangles: 100_000})
	l := look(t, m, Leg)
	for joint, within := range map[string]float64{"knee": 5, "ankle": 12} {
		j, ok := l.Joint(joint)
		d := j.At.Sub(p.Marks[joint]).Len()
		t.Logf("%s %.1f mm off, %.1f degrees", joint, d, j.Turn*180/math.Pi)
		if !ok || d > within {
			t.Errorf("%s %.1f mm off", joint, d)
		}
	}
}

// What is wrong with a surface is said, and rings are found all the same.
func TestOddSurfaces(t *testing.T) {
	_, whole := part(t, specimen.Options{Plain: true}, "left-leg", specimen.Sampling{Triangles: 12_000})
	_, open := part(t, specimen.Options{Plain: true}, "left-leg", specimen.Sampling{Triangles: 12_000, Open: true})
	inside := &geom.Mesh{Verts: whole.Verts}
	for _, q := range whole.Tris {
		inside.Tris = append(inside.Tris, geom.Tri{q[0], q[2], q[1]})
	}
	ball := mesh(t, specimen.Ellipsoid(20, 20, 45))
	two := mesh(t, specimen.Capsules(4, 30, 4))
	for _, tt := range []struct {
		name string
		m    *geom.Mesh
		says string
	}{
		{"whole", whole, ""},
		{"open end", open, ""},
		{"inside out", inside, "inside out"},
		{"no opening", ball, "no opening"},
		{"two shells", two, "2 separate shells"},
		{"both ends cut", cutOff(whole), "2 openings"},
		{"skin missing", holed(whole), "the skin is open"},
		{"opening not flat", bulged(whole), "not flat"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			l := look(t, tt.m, Leg)
			got := strings.Join(l.Notes, "\n")
			if tt.says == "" && got != "" || !strings.Contains(got, tt.says) {
				t.Errorf("notes %q, want %q", got, tt.says)
			}
			if len(l.Rings.Rings) < 20 || len(l.Rings.Branches) == 0 {
				t.Errorf("%d rings", len(l.Rings.Rings))
			}
		})
	}
	if _, err := New(t.Context(), &geom.Mesh{}, Want{Spacing: 1}); err == nil {
		t.Error("no error for no surface")
	}
}

func mesh(t testing.TB, b specimen.Body) *geom.Mesh {
	t.Helper()
	m, err := b.Mesh(t.Context(), specimen.Sampling{Triangles: 12_000})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// cutOff flattens the leg's skin beyond z = 120: a second flat end.
func cutOff(m *geom.Mesh) *geom.Mesh {
	out := &geom.Mesh{Verts: m.Verts}
	for _, q := range m.Tris {
		if m.Verts[q[0]][2] < 120 || m.Verts[q[1]][2] < 120 || m.Verts[q[2]][2] < 120 {
			out.Tris = append(out.Tris, q)
		}
	}
	return out
}

func holed(m *geom.Mesh) *geom.Mesh {
	out := &geom.Mesh{Verts: m.Verts, Tris: append([]geom.Tri{}, m.Tris...)}
	for i, q := range out.Tris {
		if z := m.Verts[q[0]][2]; z > 40 {
			out.Tris = append(out.Tris[:i], out.Tris[i+1:]...)
			break
		}
	}
	return out
}

func bulged(m *geom.Mesh) *geom.Mesh {
	out := &geom.Mesh{Tris: m.Tris}
	for _, p := range m.Verts {
		if p[2] < 5 {
			p[2] += 0.004 * p[0] * p[0] * (5 - p[2]) / 5
		}
		out.Verts = append(out.Verts, p)
	}
	return out
}

func TestPins(t *testing.T) {
	_, m := part(t, specimen.Options{Plain: true}, "left-leg", specimen.Sampling{Triangles: 12_000})
	pin := geom.Vec{Z: 60}
	l, err := New(t.Context(), m, Want{Shape: Leg, Spacing: 0.5, Strays: 0.3, Pins: map[string]geom.Vec{"knee": pin}})
	if err != nil {
		t.Fatal(err)
	}
	if j, _ := l.Joint("knee"); !j.Pinned || j.At != pin || !(math.Abs(l.Rings.Rings[j.Ring].Centre.Z-60) <= 1) {
		t.Errorf("%+v", j)
	}
	if _, err := New(t.Context(), m, Want{Shape: Leg, Spacing: 0.5, Pins: map[string]geom.Vec{"elbow": pin}}); err == nil {
		t.Error("an elbow was pinned on a leg")
	}
	if _, err := New(t.Context(), m, Want{Shape: Leg, Spacing: 0.5, Strays: 0.3, Opening: &geom.Vec{X: 90, Z: 60}}); err == nil {
		t.Error("an opening was named where there is none")
	}
}
