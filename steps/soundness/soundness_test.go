package soundness

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/steptest"
)

// knob returns a closed surface of nu*nv*2 triangles: a doughnut of ring
// radius 30 and tube radius 10 mm with a fine relief.
func knob(nu, nv int, relief float64) *geom.Mesh {
	m := &geom.Mesh{}
	for i := range nu {
		for k := range nv {
			a, b := 2*math.Pi*float64(i)/float64(nu), 2*math.Pi*float64(k)/float64(nv)
			r := 10 + relief*math.Sin(9*a)*math.Sin(5*b)
			w := 30 + r*math.Cos(b)
			m.Verts = append(m.Verts, geom.Vec{X: w * math.Cos(a), Y: w * math.Sin(a), Z: r * math.Sin(b)}.Point())
		}
	}
	for i := range nu {
		for k := range nv {
			a, b := int32(i*nv+k), int32((i+1)%nu*nv+k)
			c, d := int32((i+1)%nu*nv+(k+1)%nv), int32(i*nv+(k+1)%nv)
			m.Tris = append(m.Tris, geom.Tri{a, b, c}, geom.Tri{a, c, d})
		}
	}
	return m
}

// cube returns a cube with edges of s mm, its least corner at o.
func cube(o geom.Vec, s float64) *geom.Mesh {
	m := &geom.Mesh{}
	for k := range 8 {
		m.Verts = append(m.Verts, o.Add(geom.Vec{X: float64(k & 1), Y: float64(k >> 1 & 1), Z: float64(k >> 2)}.Mul(s)).Point())
	}
	for _, q := range [][4]int32{{0, 2, 3, 1}, {4, 5, 7, 6}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 4, 6, 2}, {1, 3, 7, 5}} {
		m.Tris = append(m.Tris, geom.Tri{q[0], q[1], q[2]}, geom.Tri{q[0], q[2], q[3]})
	}
	return m
}

func joined(all ...*geom.Mesh) *geom.Mesh {
	out := &geom.Mesh{}
	for _, m := range all {
		n := int32(len(out.Verts))
		out.Verts = append(out.Verts, m.Verts...)
		for _, t := range m.Tris {
			out.Tris = append(out.Tris, geom.Tri{t[0] + n, t[1] + n, t[2] + n})
		}
	}
	return out
}

func turnedOver(m *geom.Mesh) *geom.Mesh {
	out := &geom.Mesh{Verts: m.Verts}
	for _, t := range m.Tris {
		out.Tris = append(out.Tris, geom.Tri{t[0], t[2], t[1]})
	}
	return out
}

func fileOf(t testing.TB, m *geom.Mesh) step.File {
	t.Helper()
	var b bytes.Buffer
	if err := meshio.WritePLY(&b, m); err != nil {
		t.Fatal(err)
	}
	return steptest.File("part.ply", b.Bytes(), "mm")
}

// TestFaults: what is wrong with small surfaces a person can draw.
func TestFaults(t *testing.T) {
	open := cube(geom.Vec{}, 10)
	open.Tris = open.Tris[2:]
	fin := cube(geom.Vec{}, 10)
	fin.Verts = append(fin.Verts, geom.Point{-5, -5, 5})
	fin.Tris = append(fin.Tris, geom.Tri{0, 4, 8})
	flipped := cube(geom.Vec{}, 10)
	flipped.Tris[5] = geom.Tri{flipped.Tris[5][0], flipped.Tris[5][2], flipped.Tris[5][1]}
	twice := cube(geom.Vec{}, 10)
	twice.Tris = append(twice.Tris, twice.Tris[3])
	needle := cube(geom.Vec{}, 10)
	needle.Verts = append(needle.Verts, geom.Point{5, 0, 0})
	needle.Tris = append(needle.Tris, geom.Tri{0, 8, 1})
	farFace := joined(cube(geom.Vec{}, 10), cube(geom.Vec{X: 100}, 10))
	for _, k := range []int{22, 23} {
		farFace.Tris[k] = geom.Tri{farFace.Tris[k][0], farFace.Tris[k][2], farFace.Tris[k][1]}
	}
	tests := []struct {
		name string
		mesh *geom.Mesh
		want map[string]any // all others as for a sound cube
		says string         // in some spot
	}{
		{"sound", cube(geom.Vec{}, 10), nil, ""},
		{"open", open, map[string]any{"watertight": false, "triangles": int64(10), "edges.open": int64(4), "loops": int64(1), "loops.longest": 40.0, "loops.largest": 100.0}, "a hole of 100 mm², 40 mm round, 4 edges"},
		{"a fin", fin, map[string]any{"watertight": false, "triangles": int64(13), "edges.open": int64(2), "loops": int64(1), "edges.crowded": int64(1)}, "three or more triangles meet"},
		{"a turned triangle", flipped, map[string]any{"watertight": false, "edges.turned": int64(3), "faces.turned": int64(1)}, "1 triangles, 50 mm², face inward"},
		{"inside out", turnedOver(cube(geom.Vec{}, 10)), map[string]any{"inside-out": true, "volume": -1000.0}, "inside facing out"},
		{"open and inside out", turnedOver(open), map[string]any{"watertight": false, "inside-out": true, "triangles": int64(10), "edges.open": int64(4), "loops": int64(1), "loops.longest": 40.0, "loops.largest": 100.0}, "inside facing out"},
		{"a turned face far from the middle", farFace, map[string]any{"watertight": false, "triangles": int64(24), "shells": int64(2), "edges.turned": int64(4), "faces.turned": int64(2), "inside-out": false}, "face inward"},
		{"a copy", twice, map[string]any{"watertight": false, "triangles": int64(13), "edges.crowded": int64(3), "faces.duplicate": int64(1)}, "there twice"},
		{"without area", needle, map[string]any{"watertight": false, "triangles": int64(13), "edges.crowded": int64(1), "edges.open": int64(2), "loops": int64(1), "faces.degenerate": int64(1), "faces.slivers": int64(1)}, "no area"},
		{"loose beside", joined(cube(geom.Vec{}, 10), cube(geom.Vec{X: 20}, 1)), map[string]any{"triangles": int64(24), "shells": int64(2), "volume": 1001.0}, "a loose piece 1.73 mm across"},
		{"loose inside", joined(cube(geom.Vec{}, 10), cube(geom.Vec{X: 4, Y: 4, Z: 4}, 1)), map[string]any{"triangles": int64(24), "shells": int64(2), "shells.inner": int64(1), "volume": 1001.0}, "lies loose inside another"},
		{"hollow", joined(cube(geom.Vec{}, 10), turnedOver(cube(geom.Vec{X: 4, Y: 4, Z: 4}, 1))), map[string]any{"triangles": int64(24), "shells": int64(2), "shells.inner": int64(1), "volume": 999.0}, "a closed hollow"},
		{"touching at a corner", joined(cube(geom.Vec{}, 10), cube(geom.Vec{X: 10, Y: 10, Z: 10}, 10)), map[string]any{"triangles": int64(24), "shells": int64(2), "vertices.crowded": int64(1), "volume": 2000.0}, "touch at a single point"},
	}
	sound := map[string]any{
		"watertight": true, "plausible": true, "inside-out": false, "triangles": int64(12), "shells": int64(1), "shells.inner": int64(0),
		"edges.open": int64(0), "loops": int64(0), "edges.crowded": int64(0), "edges.turned": int64(0), "faces.turned": int64(0),
		"vertices.crowded": int64(0), "faces.degenerate": int64(0), "faces.slivers": int64(0), "faces.duplicate": int64(0), "faces.lost": int64(0),
		"crossing.pairs": int64(0), "crossing.faces": int64(0), "spikes": int64(0),
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := soundness(t, fileOf(t, tt.mesh), nil)
			for name, got := range r.Measures {
				want, ok := tt.want[name]
				if !ok {
					want, ok = sound[name]
				}
				if ok && got != want {
					t.Errorf("%s: %v, want %v", name, got, want)
				}
			}
			if !said(r, tt.says) || tt.says == "" && len(r.Spots) > 0 {
				t.Errorf("spots %v, want one that says %q", r.Spots, tt.says)
			}
			if len(r.Measures) != len(measures) {
				t.Errorf("%d measures of %d", len(r.Measures), len(measures))
			}
		})
	}
}

func said(r *steptest.Result, what string) bool {
	for _, s := range r.Spots {
		if strings.Contains(s.Says, what) {
			return true
		}
	}
	return what == ""
}

// TestCrossingSkin: two cubes that overlap cross along their edges.
func TestCrossingSkin(t *testing.T) {
	r := soundness(t, fileOf(t, joined(cube(geom.Vec{}, 10), cube(geom.Vec{X: 5.5, Y: 4.25, Z: 3.125}, 10))), nil)
	if count(r, "crossing.pairs") < 6 || !said(r, "the skin runs through itself") {
		t.Errorf("%d pairs, spots %v", count(r, "crossing.pairs"), r.Spots)
	}
	// Half in the tube of a doughnut, its first corner inside.
	r = soundness(t, fileOf(t, joined(knob(60, 30, 0), cube(geom.Vec{X: -24, Y: -4.5, Z: -4.5}, 9))), nil)
	if count(r, "crossing.pairs") == 0 || count(r, "shells.inner") != 0 {
		t.Errorf("%d pairs, %d inner shells; want some and none", count(r, "crossing.pairs"), count(r, "shells.inner"))
	}
}

// TestSize: a wrong unit shows, and the right one is proposed.
func TestSize(t *testing.T) {
	tests := []struct {
		side        float64
		unit        string
		least, most float64
		plausible   bool
		says        string
	}{
		{130, "mm", 100, 160, true, ""},
		{0.13, "mm", 100, 160, false, "if the file were in m (130 mm)"},
		{3400, "mm", 250, 400, false, "no other unit would fit"},
		{13, "mm", 100, 160, false, "if the file were in cm (130 mm)"},
		{5, "mm", 100, 160, false, "if the file were in in (127 mm)"},
		{13, "cm", 100, 160, true, ""},
		{130, "cm", 100, 160, false, "if the file were in mm (130 mm)"},
	}
	for _, tt := range tests {
		f := fileOf(t, cube(geom.Vec{}, tt.side))
		f.Units = tt.unit
		r := soundness(t, f, step.Values{"least": tt.least, "most": tt.most})
		if r.Measures["plausible"] != tt.plausible || !said(r, tt.says) {
			t.Errorf("%v %s: plausible %v, notes %v; want %v and %q", tt.side, tt.unit, r.Measures["plausible"], r.Notes, tt.plausible, tt.says)
		}
	}
}

// TestSurfaceGoesOn: a file in millimetres goes on byte for byte, another as a
// PLY in millimetres.
func TestSurfaceGoesOn(t *testing.T) {
	f := fileOf(t, cube(geom.Vec{}, 10))
	in, _ := f.Open()
	var bytesIn bytes.Buffer
	bytesIn.ReadFrom(in)
	if r := soundness(t, f, nil); !bytes.Equal(r.Files["surface/part.ply"], bytesIn.Bytes()) {
		t.Error("the file was not given on as it came")
	}
	f.Units = "cm"
	r := soundness(t, f, nil)
	out := r.Files["surface/part.ply"]
	m, _, err := meshio.Read(t.Context(), bytes.NewReader(out), int64(len(out)), meshio.Options{})
	if err != nil || m.Bounds().Size() != (geom.Vec{X: 100, Y: 100, Z: 100}) {
		t.Errorf("in cm: %v, %v; want 100 mm each way", m.Bounds().Size(), err)
	}
}

// TestJoinNear: corners a little apart are one at a weld above that.
func TestJoinNear(t *testing.T) {
	m := cube(geom.Vec{}, 10)
	loose := &geom.Mesh{}
	for i, tri := range m.Tris {
		for k, v := range tri {
			p := m.Verts[v]
			p[0] += float32(i%3) * 0.001
			p[1] += float32(k) * 0.0005
			loose.Verts = append(loose.Verts, p)
		}
		n := int32(3 * i)
		loose.Tris = append(loose.Tris, geom.Tri{n, n + 1, n + 2})
	}
	if r := soundness(t, fileOf(t, loose), nil); r.Measures["watertight"] != false {
		t.Error("loose corners pass for joined")
	}
	r := soundness(t, fileOf(t, loose), step.Values{"weld": 0.01})
	if r.Measures["watertight"] != true || count(r, "triangles") != 12 {
		t.Errorf("watertight %v, %d triangles; want true and 12", r.Measures["watertight"], count(r, "triangles"))
	}
}

// TestLaws: moved, mirrored, renumbered and larger by a power of two, the
// counts stay; any number of workers gives the same outcome.
func TestLaws(t *testing.T) {
	m := joined(knob(60, 30, 0.5), cube(geom.Vec{X: 35, Y: -3, Z: -3}, 8.125), turnedOver(cube(geom.Vec{X: 80}, 4)))
	m.Tris = append(m.Tris[:100], m.Tris[140:]...)
	m.Tris[7] = geom.Tri{m.Tris[7][0], m.Tris[7][2], m.Tris[7][1]}
	want := soundness(t, fileOf(t, m), nil)
	mapped := func(f func(geom.Vec) geom.Vec) *geom.Mesh {
		out := &geom.Mesh{Tris: m.Tris}
		for _, p := range m.Verts {
			out.Verts = append(out.Verts, f(p.Vec()).Point())
		}
		return out
	}
	backward := &geom.Mesh{Verts: m.Verts}
	for i := range m.Tris {
		backward.Tris = append(backward.Tris, m.Tris[len(m.Tris)-1-i])
	}
	for name, other := range map[string]*geom.Mesh{
		"twice as large": mapped(func(v geom.Vec) geom.Vec { return v.Mul(2) }),
		"mirrored":       turnedOver(mapped(func(v geom.Vec) geom.Vec { return geom.Vec{X: -v.X, Y: v.Y, Z: v.Z} })),
		"backward":       backward,
	} {
		got := soundness(t, fileOf(t, other), nil)
		for name2, w := range want.Measures {
			if n, ok := w.(int64); ok && got.Measures[name2] != n {
				t.Errorf("%s: %s %v, want %v", name, name2, got.Measures[name2], n)
			}
		}
		if len(got.Spots) != len(want.Spots) {
			t.Errorf("%s: %d spots, want %d", name, len(got.Spots), len(want.Spots))
		}
	}
	for _, workers := range []int{1, 3, 8} {
		got := steptest.Run(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"surface": {fileOf(t, m)}}, Workers: workers})
		if !reflect.DeepEqual(got.Outcome, want.Outcome) {
			t.Errorf("%d workers find otherwise than two", workers)
		}
	}
}

// TestBounded: thousands of faults give no more than 200 spots, numbered, and
// the total.
func TestBounded(t *testing.T) {
	m := &geom.Mesh{}
	for i := range 1000 {
		m = joined(m, cube(geom.Vec{X: float64(i%10) * 3, Y: float64(i/10%10) * 3, Z: float64(i/100) * 3}, 1))
		m.Tris = m.Tris[:len(m.Tris)-i%2]
	}
	r := soundness(t, fileOf(t, m), nil)
	if len(r.Spots) != 2*spotsEach || !strings.Contains(strings.Join(r.Notes, "\n"), "1499 spots in all; the 120 gravest are shown") {
		t.Errorf("%d spots, notes %v", len(r.Spots), r.Notes)
	}
}

// TestHeaped: tens of thousands of triangles at one place are counted without
// trying each against each.
func TestHeaped(t *testing.T) {
	const n = 60_000
	sound := joined(cube(geom.Vec{}, 10), cube(geom.Vec{X: 20}, 10), cube(geom.Vec{X: 25.5, Y: 4.25, Z: 3.125}, 10))
	m := &geom.Mesh{Verts: sound.Verts}
	for range n { // first, so that every triangle of the cubes moves up
		m.Tris = append(m.Tris, sound.Tris[3], geom.Tri{5, 5, 5}, geom.Tri{9, 9, 10})
	}
	m.Tris = append(m.Tris, sound.Tris...)
	r, alone := soundness(t, fileOf(t, m), nil), soundness(t, fileOf(t, sound), nil)
	if count(r, "faces.duplicate") != n || count(r, "faces.degenerate") != 2*n {
		t.Errorf("%d copies, %d without area; want %d and %d", count(r, "faces.duplicate"), count(r, "faces.degenerate"), n, 2*n)
	}
	for _, name := range []string{"crossing.pairs", "crossing.faces", "shells.inner"} {
		if count(r, name) != count(alone, name) {
			t.Errorf("%s: %d, without the heap %d", name, count(r, name), count(alone, name))
		}
	}
	if !strings.Contains(strings.Join(r.Notes, "\n"), "without the 180000 triangles") {
		t.Errorf("notes %v", r.Notes)
	}
}

// TestPinned: if this fails, outcomes have changed: raise Handbook.Version.
func TestPinned(t *testing.T) {
	// Whole numbers and halves only: the same bits wherever it is made.
	m := joined(cube(geom.Vec{}, 10), cube(geom.Vec{X: 5.5, Y: 4.25, Z: 3.125}, 10), turnedOver(cube(geom.Vec{X: 2, Y: 2, Z: 1}, 1)))
	m.Tris = m.Tris[1:]
	r := soundness(t, fileOf(t, m), step.Values{"least": 10.0, "most": 20.0})
	b, err := json.Marshal(r.Outcome)
	if err != nil {
		t.Fatal(err)
	}
	const want = "7429e495cf967449"
	if got := fmt.Sprintf("%x", sha256.Sum256(b))[:16]; got != want || (Kind{}).Handbook().Version != 1 {
		t.Errorf("outcome %s, want %s:\n%s", got, want, b)
	}
}

func TestBadInput(t *testing.T) {
	for name, tt := range map[string]struct{ data, unit, says string }{
		"empty":     {"", "mm", "part.stl: the file is empty"},
		"a picture": {"\x89PNG\r\n\x1a\n", "mm", "a PNG picture"},
		"no unit":   {"solid\n", "", "its unit must be stated"},
		"points":    {"ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\nproperty float y\nproperty float z\nend_header\n0 0 0\n", "mm", "no triangles"},
	} {
		_, err := steptest.Try(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"surface": {steptest.File("part.stl", []byte(tt.data), tt.unit)}}})
		if err == nil || !strings.Contains(err.Error(), tt.says) {
			t.Errorf("%s: %v, want %q", name, err, tt.says)
		}
	}
}

// hearer cancels when it is told of a certain piece of work.
type hearer struct {
	at     string
	cancel func()
}

func (h hearer) Start(what string, _ int) {
	if strings.Contains(what, h.at) {
		h.cancel()
	}
}
func (hearer) Add(int) {}

func TestCancelled(t *testing.T) {
	for _, at := range []string{"reading", "edges", "cross"} {
		stop := errors.New("stop")
		ctx, cancel := context.WithCancelCause(t.Context())
		job := &step.Job{
			Inputs:   map[string][]step.File{"surface": {fileOf(t, knob(100, 60, 0.1))}},
			Values:   step.Values{"weld": 0.0},
			Workers:  2,
			Progress: hearer{at, func() { cancel(stop) }},
		}
		if _, err := (Kind{}).Run(ctx, job); !errors.Is(err, stop) {
			t.Errorf("stopped at %q: %v", at, err)
		}
	}
}

// BenchmarkSoundness: the whole step on two million triangles, and its parts.
func BenchmarkSoundness(b *testing.B) {
	m := knob(2000, 500, 0.05)
	var stl bytes.Buffer
	if err := meshio.WriteSTL(&stl, m, "part"); err != nil {
		b.Fatal(err)
	}
	f := steptest.File("part.stl", stl.Bytes(), "mm")
	for b.Loop() {
		r := soundness(b, f, nil)
		if r.Measures["watertight"] != true {
			b.Fatal("not watertight")
		}
	}
	b.ReportMetric(float64(len(m.Tris))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
}
