package shrinkage

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"math"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/process"
	"layette/steps/internal/steptest"
)

// table makes a value table from names and values in turn.
func table(pairs ...any) step.Table {
	var t step.Table
	for i := 0; i < len(pairs); i += 2 {
		t.Names = append(t.Names, pairs[i].(string))
		t.Kinds = append(t.Kinds, step.Share)
		t.Values = append(t.Values, pairs[i+1])
	}
	return t
}

var (
	threeTwos = table("wax", 0.02, "mould", 0.02, "season", 0.02)
	cast      = table("cast", table("alginate", 0.015, "gypsum", table("grows", 0.003)))
)

// brick is a closed box of 100 x 50 x 20 mm about zero.
func brick() *geom.Mesh {
	m := &geom.Mesh{}
	for i := range 8 {
		m.Verts = append(m.Verts, geom.Point{float32(i>>2)*100 - 50, float32(i>>1&1)*50 - 25, float32(i&1)*20 - 10})
	}
	for _, q := range [][4]int32{{0, 1, 3, 2}, {4, 6, 7, 5}, {0, 4, 5, 1}, {2, 3, 7, 6}, {0, 2, 6, 4}, {1, 5, 7, 3}} {
		m.Tris = append(m.Tris, geom.Tri{q[0], q[1], q[2]}, geom.Tri{q[0], q[2], q[3]})
	}
	return m
}

func file(t testing.TB, m *geom.Mesh) []step.File {
	var b bytes.Buffer
	if err := meshio.WritePLY(&b, m); err != nil {
		t.Fatal(err)
	}
	return []step.File{steptest.File("hand.ply", b.Bytes(), "mm")}
}

func run(t *testing.T, values step.Values) *steptest.Result {
	t.Helper()
	return steptest.Run(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"surface": file(t, brick())}, Values: values})
}

// TestOutsideValues holds the scale against published and derived figures.
func TestOutsideValues(t *testing.T) {
	tests := []struct {
		name   string
		values step.Values
		want   map[string]float64
		within float64
	}{
		// ISO 294-4 sense: 5 % of the mould; 100 mm needs 105.26316, and 105.000 is the wrong formula.
		{"five per cent", step.Values{"links": table("mould", 0.05), "reference": 100.0}, map[string]float64{"reference.master": 105.26316, "scale.total": 1 / 0.95}, 1e-5},
		// 3 % and 6 % likewise.
		{"three", step.Values{"links": table("mould", 0.03), "reference": 100.0}, map[string]float64{"reference.master": 103.0928}, 1e-4},
		{"six", step.Values{"links": table("mould", 0.06), "reference": 100.0}, map[string]float64{"reference.master": 106.3830}, 1e-4},
		// Three links of 2 % (figure-oem.com 2021-12-27) and arithmetic: the girth of a head of 345 mm.
		{"chain", step.Values{"links": threeTwos, "reference": 345.0}, map[string]float64{"reference.master": 366.5565, "loss.total": 0.058808, "scale.total": 1.062482, "scale.x": 1.062482, "scale.z": 1.062482}, 1e-4},
		// The same from a plaster cast: 0.985 x 1.003 x 0.98³ = 0.929855.
		{"cast", step.Values{"links": threeTwos, "sources": cast, "source": "cast"}, map[string]float64{"scale.total": 1.075436, "loss.total": 1 - 0.929855, "loss.links": 0.058808}, 1e-6},
		{"live beside cast", step.Values{"links": threeTwos, "sources": cast}, map[string]float64{"scale.total": 1.062482}, 1e-6},
		// Cure shrinkage by volume (Polymers 2025;17:610): 7.28 % and 11.2 % are 2.4881 % and 3.8821 % of length.
		{"by volume", step.Values{"links": table("print", table("volume", 0.0728))}, map[string]float64{"loss.total": 0.024881}, 1e-6},
		{"by more volume", step.Values{"links": table("print", table("volume", 0.112))}, map[string]float64{"loss.total": 0.038821}, 1e-6},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := run(t, tt.values)
			for name, want := range tt.want {
				if x := got.Measures[name].(float64); !(math.Abs(x-want) <= tt.within) {
					t.Errorf("%s is %.9g, want %v", name, x, want)
				}
			}
		})
	}
}

// TestMasterIsScaled reads the master back: every corner where it should be,
// sizes and volume with it.
func TestMasterIsScaled(t *testing.T) {
	got := run(t, step.Values{"links": threeTwos})
	b := got.Files["master/hand-master.stl"]
	m, _, err := meshio.Read(t.Context(), bytes.NewReader(b), int64(len(b)), meshio.Options{})
	if err != nil {
		t.Fatal(err)
	}
	f := 1 / (0.98 * 0.98 * 0.98)
	if size := m.Bounds().Size(); !(math.Abs(size.X-100*f) <= 1e-5) || !(math.Abs(size.Y-50*f) <= 1e-5) || !(math.Abs(size.Z-20*f) <= 1e-5) {
		t.Errorf("size %v", size)
	}
	if v := got.Measures["volume.after"].(float64); !(math.Abs(v-1e5*f*f*f) <= 0.05) {
		t.Errorf("volume %v, want %v", v, 1e5*f*f*f)
	}
	for i := range m.Tris {
		if p := m.Verts[m.Tris[i][0]]; p != (geom.Vec{X: math.Copysign(50*f, float64(p[0])), Y: math.Copysign(25*f, float64(p[1])), Z: math.Copysign(10*f, float64(p[2]))}).Point() {
			t.Fatalf("a corner at %v", p)
		}
	}
}

// TestEqualSharesAreTheScalarCase: per axis, in any frame, equal shares give
// what one share gives, to 1e-12.
func TestEqualSharesAreTheScalarCase(t *testing.T) {
	frames, wrong := process.Frames(table("mould", table("x", []float64{1, 2, 2}, "y", []float64{2, 1, -2})))
	if len(wrong) > 0 {
		t.Fatal(wrong)
	}
	even, _ := process.One("vinyl", 0.06, nil)
	byAxis, err := process.One("vinyl", table("x", 0.06, "y", 0.06, "z", 0.06, "frame", "mould"), frames)
	if err != nil {
		t.Fatal(err)
	}
	nearly, err := process.One("vinyl", table("x", 0.06, "y", 0.06, "z", math.Nextafter(0.06, 1), "frame", "mould"), frames)
	if err != nil {
		t.Fatal(err)
	}
	for i := range 3 {
		for j := range 3 {
			if d := byAxis.Undo()[i][j] - even.Undo()[i][j]; d != 0 {
				t.Errorf("entry %d %d differs by %v", i, j, d)
			}
			if d := nearly.Undo()[i][j] - even.Undo()[i][j]; !(math.Abs(d) <= 1e-12) {
				t.Errorf("through the frame entry %d %d differs by %v", i, j, d)
			}
		}
	}
}

// TestFrameDecides: unequal shares depend on whose axes they are.
func TestFrameDecides(t *testing.T) {
	link := func(frame string) step.Values {
		return step.Values{
			"links":  table("vinyl", table("x", 0.02, "y", 0.02, "z", 0.10, "frame", frame)),
			"frames": table("model", table("x", []float64{1, 0, 0}, "y", []float64{0, 1, 0}), "mould", table("x", []float64{0, 1, 0}, "y", []float64{0, 0, 1})),
		}
	}
	model, mould := run(t, link("model")), run(t, link("mould")) // the mould's z is the model's x
	if x, z := mould.Measures["scale.x"].(float64), model.Measures["scale.z"].(float64); !(math.Abs(x-1/0.9) <= 1e-9) || !(math.Abs(z-1/0.9) <= 1e-9) {
		t.Errorf("scale.x in the mould's frame %v, scale.z in the model's %v; want 1/0.9", x, z)
	}
	if a, b := model.Measures["volume.after"], mould.Measures["volume.after"]; !(math.Abs(a.(float64)-b.(float64)) <= 1) {
		t.Errorf("volumes %v and %v", a, b)
	}
}

// TestTableEndsWhereItBegan: the last running size is the first.
func TestTableEndsWhereItBegan(t *testing.T) {
	links := table("wax", table("shrinks", 0.02, "origin", "published: a maker's note, about 2 %"), "mould", 0.02, "season", 0.02)
	got := run(t, step.Values{"links": links, "sources": cast, "source": "cast", "reference": 60.0})
	want := `link,share_x_percent,share_y_percent,share_z_percent,frame,factor,running_factor,running_size_mm,origin
as it is to be,0,0,0,,1.000000000,1.000000000,60.0000,
alginate,1.5,1.5,1.5,,0.985000000,0.985000000,59.1000,
gypsum,-0.3,-0.3,-0.3,,1.003000000,0.987955000,59.2773,
master,0,0,0,,1.075436097,1.062482469,63.7489,
wax,2,2,2,,0.980000000,1.041232820,62.4740,"published: a maker's note, about 2 %"
mould,2,2,2,,0.980000000,1.020408163,61.2245,
season,2,2,2,,0.980000000,1.000000000,60.0000,
`
	if s := string(got.Files["table/hand-shrinkage.csv"]); s != want {
		t.Errorf("table\n%s", s)
	}
}

// TestSizesAreAt20Degrees: ISO 1. A resin of 70 millionths a kelvin (from memory)
// makes 120 mm read 0.084 mm more at 30 °C, and 106.25 mm 0.0892 mm at 32 °C.
func TestSizesAreAt20Degrees(t *testing.T) {
	for _, tt := range []struct {
		warm, expansion, more float64
		says                  string
	}{
		{20, 70, 0, "all sizes are at 20 °C (ISO 1)"},
		{32, 0, 0, "is not known without the expansion"},
		{32, 70, 0.0892, "at 32 °C the longest side of the master, 106.25 mm, reads +0.089 mm"},
		{8, 70, -0.0892, "reads -0.089 mm"},
	} {
		r := run(t, step.Values{"links": threeTwos, "temperature": tt.warm, "expansion": tt.expansion})
		if x := r.Measures["warm"].(float64); !(math.Abs(x-tt.more) <= 1e-4) || !strings.Contains(strings.Join(r.Notes, "\n"), tt.says) {
			t.Errorf("%+v: %v, %q", tt, x, r.Notes)
		}
		if x := r.Measures["scale.total"].(float64); !(math.Abs(x-1.062482) <= 1e-6) {
			t.Errorf("the warmth of the room scales the master by %v", x)
		}
	}
	r := run(t, step.Values{"links": table("mould", 1-100.0/120), "temperature": 30.0, "expansion": 70.0})
	if x := r.Measures["warm"].(float64); !(math.Abs(x-0.084) <= 1e-9) {
		t.Errorf("120 mm read %v mm more at 30 °C", x)
	}
}

// TestSourceInItsMouldsFrame: a casting that shrank more along its mould's z,
// which is the part's x, then three even links: each axis by hand.
func TestSourceInItsMouldsFrame(t *testing.T) {
	r := run(t, step.Values{
		"links":   threeTwos,
		"frames":  table("mould", table("x", []float64{0, 1, 0}, "y", []float64{0, 0, 1})),
		"sources": table("cast", table("wax", table("x", 0.01, "y", 0.01, "z", 0.03, "frame", "mould")), "print", table("resin", 0.0)),
		"source":  "cast",
	})
	even := 1 / (0.98 * 0.98 * 0.98)
	for name, want := range map[string]float64{"scale.x": even / 0.97, "scale.y": even / 0.99, "scale.z": even / 0.99, "loss.links": 0.058808} {
		if x := r.Measures[name].(float64); !(math.Abs(x-want) <= 1e-6) {
			t.Errorf("%s is %v, want %v", name, x, want)
		}
	}
}

func TestRemarksOutsideThePublished(t *testing.T) {
	remark := func(v step.Values) bool { return strings.Contains(strings.Join(run(t, v).Notes, "\n"), "published") }
	if remark(step.Values{"links": threeTwos}) || !remark(step.Values{"links": table("mould", 0.08)}) || !remark(step.Values{"links": table("mould", 0.01)}) {
		t.Error("5.88 % needs no remark, 8 % and 1 % do")
	}
}

func TestCheckSaysWhatIsWrong(t *testing.T) {
	tests := []struct {
		values step.Values
		want   string
	}{
		{step.Values{"links": step.Table{}}, "no links"},
		{step.Values{"links": table("mould", 1.2)}, "mould: a share of 120 %"},
		{step.Values{"links": table("mould", math.NaN())}, "mould: a share"},
		{step.Values{"links": table("mould", "2")}, "mould: a link is a share"},
		{step.Values{"links": table("mould", table("x", 0.02))}, "mould: a link's table holds"},
		{step.Values{"links": table("mould", table("x", 0.02, "y", 0.02, "z", 0.03))}, "need a frame"},
		{step.Values{"links": table("mould", table("x", 0.02, "y", 0.02, "z", 0.03, "frame", "oven"))}, `no frame "oven"`},
		{step.Values{"links": table("mould", table("x", 0.02, "y", 0.02, "z", 0.03, "frame", table("x", []float64{1, 0, 0}, "y", []float64{1, 1, 0})))}, "mould: a frame is two directions at right angles"},
		{step.Values{"links": threeTwos, "source": "cast"}, `no "cast" among sources`},
		{step.Values{"links": threeTwos, "sources": table("cast", 0.3)}, "a source is a table of links"},
		{step.Values{"links": threeTwos, "frames": table("mould", table("x", []float64{1, 0, 0}, "y", []float64{1, 1, 0}))}, "right angles"},
	}
	for _, tt := range tests {
		got := Kind{}.Check(tt.values)
		if len(got) == 0 || !strings.Contains(got[0].Says, tt.want) {
			t.Errorf("%v, want %q", got, tt.want)
		}
	}
	if got := (Kind{}).Check(step.Values{"links": threeTwos, "sources": cast, "source": "cast"}); len(got) != 0 {
		t.Errorf("nothing is wrong, yet %v", got)
	}
}

// TestUnitsAreAskedFor: an STL of 34.5 without a unit is refused, not guessed.
func TestUnitsAreAskedFor(t *testing.T) {
	f := file(t, brick())
	f[0].Units = ""
	_, err := steptest.Try(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"surface": f}, Values: step.Values{"links": threeTwos}})
	if err == nil || !strings.Contains(err.Error(), "hand.ply: its unit must be stated") {
		t.Errorf("%v", err)
	}
}

func TestBadInput(t *testing.T) {
	bad := []step.File{steptest.File("hand.stl", []byte("solid x\nfacet normal 0,0 0 1\n"), "mm")}
	_, err := steptest.Try(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"surface": bad}, Values: step.Values{"links": threeTwos}})
	if err == nil || !strings.Contains(err.Error(), `hand.stl: line 2: "0,0" has a decimal comma`) {
		t.Errorf("%v", err)
	}
}

func TestStops(t *testing.T) {
	stop := errors.New("stop")
	ctx, cancel := context.WithCancelCause(t.Context())
	cancel(stop)
	job := &step.Job{Inputs: map[string][]step.File{"surface": file(t, brick())}, Values: step.Values{"links": threeTwos, "usual-least": 0.04, "usual-most": 0.06}, Progress: step.NoProgress}
	if _, err := (Kind{}).Run(ctx, job); !errors.Is(err, stop) {
		t.Errorf("%v, want %v", err, stop)
	}
}

// TestPinned fails when the master's bytes change: then raise the step's Version.
func TestPinned(t *testing.T) {
	sum := sha256.Sum256(run(t, step.Values{"links": threeTwos}).Files["master/hand-master.stl"])
	if got, want := hex.EncodeToString(sum[:8]), "8f5775a78a414a33"; got != want {
		t.Errorf("master %s, pinned %s at version %d", got, want, Kind{}.Handbook().Version)
	}
}

// BenchmarkRun scales a part of two million triangles, from PLY to STL.
func BenchmarkRun(b *testing.B) {
	const n = 1000
	m := &geom.Mesh{}
	for i := range n + 1 {
		for j := range n + 1 {
			m.Verts = append(m.Verts, geom.Point{float32(i) * 0.2, float32(j) * 0.2, float32((i*7+j*3)%11) * 0.01})
			if p := int32(i*(n+1) + j); i < n && j < n {
				m.Tris = append(m.Tris, geom.Tri{p, p + n + 2, p + 1}, geom.Tri{p, p + n + 1, p + n + 2})
			}
		}
	}
	in := file(b, m)
	for b.Loop() {
		steptest.Run(b, Kind{}, steptest.Given{Inputs: map[string][]step.File{"surface": in}, Values: step.Values{"links": threeTwos}})
	}
	b.ReportMetric(float64(len(m.Tris))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
}
