package printbed

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/hpinc/go3mf"

	"layette/engine/step"
	"layette/steps/cut"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/steptest"
	"layette/steps/specimen"
)

// box has its sides along x, y and z.
func box(x, y, z float64) *geom.Mesh {
	m := &geom.Mesh{}
	for i := range 8 {
		m.Verts = append(m.Verts, geom.Vec{X: x * float64(i&1), Y: y * float64(i>>1&1), Z: z * float64(i>>2)}.Point())
	}
	for _, q := range [6][4]int32{{0, 2, 3, 1}, {4, 5, 7, 6}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 4, 6, 2}, {1, 3, 7, 5}} {
		m.Tris = append(m.Tris, geom.Tri{q[0], q[1], q[2]}, geom.Tri{q[0], q[2], q[3]})
	}
	return m
}

// ball has 4 n² triangles; squashed along z by the factor flat.
func ball(r float64, n int, flat float64) *geom.Mesh {
	m := &geom.Mesh{}
	rows, cols := n, 2*n
	for i := range rows + 1 {
		th := math.Pi * float64(i) / float64(rows)
		for j := range cols {
			ph := 2 * math.Pi * float64(j) / float64(cols)
			m.Verts = append(m.Verts, geom.Vec{X: r * math.Sin(th) * math.Cos(ph), Y: r * math.Sin(th) * math.Sin(ph), Z: flat * r * math.Cos(th)}.Point())
		}
	}
	at := func(i, j int) int32 {
		if i == 0 || i == rows { // one vertex at each pole
			j = 0
		}
		return int32(i*cols + j%cols)
	}
	for i := range rows {
		for j := range cols {
			if i > 0 {
				m.Tris = append(m.Tris, geom.Tri{at(i, j), at(i+1, j), at(i, j+1)})
			}
			if i < rows-1 {
				m.Tris = append(m.Tris, geom.Tri{at(i, j+1), at(i+1, j), at(i+1, j+1)})
			}
		}
	}
	return m
}

func turned(m *geom.Mesh) *geom.Mesh {
	rot := geom.Quaternion{W: 0.9, X: 0.3, Y: -0.5, Z: 0.2}.Rot()
	out := &geom.Mesh{Tris: m.Tris}
	for _, v := range m.Verts {
		out.Verts = append(out.Verts, rot.Apply(v.Vec()).Add(geom.Vec{X: 40, Y: 5, Z: -60}).Point())
	}
	return out
}

func file(t testing.TB, name string, m *geom.Mesh) step.File {
	t.Helper()
	var b bytes.Buffer
	if err := meshio.WritePLY(&b, m); err != nil {
		t.Fatal(err)
	}
	return steptest.File(name, b.Bytes(), "mm")
}

func bed(x, y, z float64) step.Values {
	return step.Values{"bed": step.Table{Names: []string{"x", "y", "z"}, Kinds: []step.ValueType{step.Length, step.Length, step.Length}, Values: []any{x, y, z}}, "edge": 0.0}
}

func run(t *testing.T, values step.Values, files ...step.File) *steptest.Result {
	t.Helper()
	return steptest.Run(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"pieces": files}, Values: values})
}

func near(t *testing.T, r *steptest.Result, name string, want, limit float64) {
	t.Helper()
	if got := r.Measures[name].(float64); !(math.Abs(got-want) <= limit) {
		t.Errorf("%s = %g, want %g within %g", name, got, want, limit)
	}
}

// TestBlock: closed forms of a block, however it comes: it stands on a side,
// its first layer is that side, nothing hangs over.
func TestBlock(t *testing.T) {
	for name, m := range map[string]*geom.Mesh{"square": box(60, 40, 20), "turned": turned(box(60, 40, 20))} {
		t.Run(name, func(t *testing.T) {
			r := run(t, bed(143, 89, 175), file(t, "block.ply", m))
			near(t, r, "volume", 48000, 0.5)
			near(t, r, "mass", 55.2, 0.01)
			near(t, r, "tallest", 20, 1e-3)
			near(t, r, "contact.least", 2400, 0.5)
			near(t, r, "overhang.most", 0, 1e-6)
			if r.Measures["fitting"] != int64(1) || len(r.Spots) != 0 || len(r.Notes) != 0 {
				t.Errorf("measures %v, spots %v, notes %q", r.Measures, r.Spots, r.Notes)
			}
		})
	}
}

// TestFits: what fits only standing up, only turned about the upright, or not.
func TestFits(t *testing.T) {
	tests := []struct {
		name   string
		m      *geom.Mesh
		values step.Values
		fits   bool
	}{
		{"only upright", box(150, 30, 30), bed(100, 100, 160), true},
		{"only across", box(120, 10, 10), bed(100, 100, 50), true}, // the bed's diagonal is 141 mm
		{"too long", box(160, 30, 30), bed(100, 100, 100), false},
		{"just", box(100, 100, 100), bed(100.01, 100.01, 100.01), true},
		{"just not", box(100, 100, 100), bed(99.9, 120, 120), false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := run(t, tt.values, file(t, "piece.ply", turned(tt.m)))
			if got := r.Measures["fitting"] == int64(1); got != tt.fits {
				t.Fatalf("fits %v, want %v", got, tt.fits)
			}
			if !tt.fits && (len(r.Spots) != 1 || !strings.Contains(r.Spots[0].Says, "Cut it here")) {
				t.Errorf("spots %v", r.Spots)
			}
		})
	}
}

// TestAdvice: an arm too long for the bed is cut in the recipe's words where the
// advice says, and both halves fit.
func TestAdvice(t *testing.T) {
	arm := steptest.Part(t, specimen.Options{Plain: true}, "left-arm")
	m, err := arm.Mesh(t.Context(), specimen.Sampling{Triangles: 20_000})
	if err != nil {
		t.Fatal(err)
	}
	m = turned(m)
	small := bed(120, 90, 110)
	whole := run(t, small, file(t, "arm.ply", m))
	if whole.Measures["fitting"] != int64(0) || len(whole.Spots) != 1 {
		t.Fatalf("an arm of 19 cm: %v, %v", whole.Measures, whole.Spots)
	}
	says := whole.Spots[0].Says
	var at, toward [3]float64
	if _, err := fmt.Sscanf(says[strings.Index(says, "{"):], "{ at = [%f, %f, %f], toward = [%f, %f, %f] }", &at[0], &at[1], &at[2], &toward[0], &toward[1], &toward[2]); err != nil {
		t.Fatalf("%v in %q", err, says)
	}
	one := step.Table{Names: []string{"at", "toward"}, Kinds: []step.ValueType{step.Point, step.Point}, Values: []any{at[:], toward[:]}}
	parts := steptest.Run(t, cut.Kind{}, steptest.Given{Inputs: map[string][]step.File{"surface": {file(t, "arm.ply", m)}},
		Values: step.Values{"cuts": step.Table{Names: []string{"half"}, Kinds: []step.ValueType{step.Tree}, Values: []any{one}}}})
	var halves []step.File
	for _, name := range parts.Order {
		if strings.HasPrefix(name, "pieces/") {
			halves = append(halves, steptest.File(name, parts.Files[name], "mm"))
		}
	}
	if r := run(t, small, halves...); r.Measures["fitting"] != int64(2) {
		t.Errorf("%q\n%v\n%v", says, r.Measures, r.Spots)
	}
}

// TestFirstLayerOfABall: the section of a ball of radius R at height h is
// pi (2 R h - h²). A lens stands on its flat side.
func TestFirstLayerOfABall(t *testing.T) {
	v := bed(143, 89, 175)
	v["layer"] = 1.0
	r := run(t, v, file(t, "ball.ply", ball(20, 110, 1)))
	near(t, r, "contact.least", math.Pi*(2*20*1-1), 0.5)
	near(t, r, "volume", 4*math.Pi*8000/3, 40)
	r = run(t, bed(143, 89, 175), file(t, "lens.ply", turned(ball(30, 60, 0.2))))
	near(t, r, "tallest", 12, 0.05)
}

// TestThinAndNarrow: a plate of 1.2 mm and two plates 0.7 mm apart.
func TestThinAndNarrow(t *testing.T) {
	r := run(t, bed(143, 89, 175), file(t, "plate.ply", box(30, 20, 1.2)))
	near(t, r, "thinnest", 1.2, 0.01)
	near(t, r, "narrowest", widest, 0)
	two := box(30, 20, 6)
	above := box(30, 20, 6).Moved(geom.Vec{Z: 6.7})
	for _, tri := range above.Tris {
		two.Tris = append(two.Tris, geom.Tri{tri[0] + 8, tri[1] + 8, tri[2] + 8})
	}
	two.Verts = append(two.Verts, above.Verts...)
	r = run(t, bed(143, 89, 175), file(t, "two.ply", two))
	near(t, r, "narrowest", 0.7, 0.01)
}

// TestWhatIsWritten: the 3MF holds every piece by name in millimetres, on the
// bed, and none in another.
func TestWhatIsWritten(t *testing.T) {
	a, b := file(t, "hand.ply", box(10, 20, 30)), file(t, "foot.ply", ball(10, 30, 1))
	a.Part = "left-arm"
	r := run(t, bed(143, 89, 175), a, b)
	var m go3mf.Model
	packed := r.Files["print/print.3mf"]
	if err := go3mf.NewDecoder(bytes.NewReader(packed), int64(len(packed))).Decode(&m); err != nil {
		t.Fatal(err)
	}
	if m.Units != go3mf.UnitMillimeter || len(m.Resources.Objects) != 2 || m.Resources.Objects[0].Name != "left-arm-hand" {
		t.Fatalf("units %v, objects %+v", m.Units, m.Resources.Objects)
	}
	right := float32(math.Inf(-1))
	for _, o := range m.Resources.Objects {
		box := o.Mesh.BoundingBox()
		if box.Min.Z() < -1e-4 || box.Min.Z() > 1e-4 || box.Min.X() < right {
			t.Errorf("%s stands at %v", o.Name, box)
		}
		right = box.Max.X()
	}
	if !strings.Contains(string(r.Files["table/pieces.csv"]), "left-arm-hand,true,") || len(r.Files["placed/left-arm-hand.stl"]) != 84+12*50 {
		t.Errorf("files %v", r.Order)
	}
}

func TestOpenAndFlat(t *testing.T) {
	open := box(20, 20, 20)
	open.Tris = open.Tris[2:]
	r := run(t, bed(143, 89, 175), file(t, "open.ply", open))
	if r.Measures["open"] != int64(1) || len(r.Notes) != 1 {
		t.Errorf("open %v, notes %q", r.Measures["open"], r.Notes)
	}
	flat := &geom.Mesh{Verts: []geom.Point{{0, 0, 0}, {1, 0, 0}, {0, 1, 0}}, Tris: []geom.Tri{{0, 1, 2}}}
	if _, err := steptest.Try(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"pieces": {file(t, "flat.ply", flat)}}, Values: bed(1, 1, 1)}); !errors.Is(err, geom.ErrFlat) {
		t.Errorf("a flat piece: %v", err)
	}
	if _, err := steptest.Try(t, Kind{}, steptest.Given{Values: bed(1, 1, 1)}); err == nil {
		t.Error("nothing to print, and no word of it")
	}
}

func TestBedIsChecked(t *testing.T) {
	for _, tt := range []struct {
		table step.Table
		want  string
	}{
		{bed(1, 2, 3).Table("bed"), ""},
		{step.Table{Names: []string{"x"}, Kinds: []step.ValueType{step.Length}, Values: []any{1.0}}, "has no y"},
		{step.Table{Names: []string{"x", "y", "z", "w"}, Kinds: []step.ValueType{step.Length, step.Length, step.Length, step.Length}, Values: []any{1.0, 1.0, -1.0, 2.0}}, "no length above zero"},
		{step.Table{Names: []string{"x", "y", "z"}, Kinds: []step.ValueType{step.Length, step.Length, step.Number}, Values: []any{1.0, 1.0, 1.0}}, "needs a unit"},
	} {
		var says []string
		for _, c := range (Kind{}).Check(step.Values{"bed": tt.table}) {
			says = append(says, c.Says)
		}
		if got := strings.Join(says, "\n"); (got == "") != (tt.want == "") || !strings.Contains(got, tt.want) {
			t.Errorf("%v: %q, want %q", tt.table, got, tt.want)
		}
	}
}

func TestCancel(t *testing.T) {
	ctx, cancel := context.WithCancelCause(t.Context())
	stop := errors.New("stop")
	cancel(stop)
	job := &step.Job{Workers: 2, Progress: step.NoProgress, Values: steptest.Values(t, Kind{}.Handbook(), bed(1, 1, 1)),
		Inputs: map[string][]step.File{"pieces": {file(t, "a.ply", ball(20, 100, 1))}}}
	if _, err := (Kind{}).Run(ctx, job); !errors.Is(err, stop) {
		t.Errorf("error %v, want the cause", err)
	}
}

func BenchmarkPrintBed(b *testing.B) {
	f := file(b, "ball.ply", ball(40, 700, 0.8)) // about two million triangles
	for b.Loop() {
		steptest.Run(b, Kind{}, steptest.Given{Inputs: map[string][]step.File{"pieces": {f}}, Values: bed(143, 89, 175)})
	}
	b.ReportMetric(4*700*700*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
}
