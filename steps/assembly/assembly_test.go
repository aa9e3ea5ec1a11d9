package assembly

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"image/png"
	"math"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/steptest"
	"layette/steps/specimen"
)

var child = steptest.Child{}

func kitOf(t testing.TB, o specimen.Options, triangles int) (files []step.File) {
	for _, name := range specimen.Parts {
		files = append(files, steptest.Surface(t, name, child.Mesh(t, o, name, triangles)))
	}
	return files
}

// table writes a table of a recipe: a name, then its value.
func table(pairs ...any) step.Table {
	var t step.Table
	for i := 0; i < len(pairs); i += 2 {
		kind := step.Point
		if _, is := pairs[i+1].(step.Table); is {
			kind = step.Tree
		}
		t.Names, t.Values, t.Kinds = append(t.Names, pairs[i].(string)), append(t.Values, pairs[i+1]), append(t.Kinds, kind)
	}
	return t
}

type point = []float64

func seatAt(at, out, front, looks point) step.Table {
	return table("at", at, "out", out, "front", front, "looks", looks)
}

// body is the body of an invented child that lies on its back: arms out to the
// sides and curled to the front, thighs to the sides and down.
func body() step.Values {
	return step.Values{"seats": table(
		"head", seatAt(point{0, 0, 0}, point{0, 0, 1}, point{0, 1, 0}, point{0, 1, 0}),
		"left-arm", seatAt(point{-45, 0, -25}, point{-0.8, 0, -0.6}, point{0, 1, 0}, point{0, -1, 0}),
		"right-arm", seatAt(point{45, 0, -25}, point{0.8, 0, -0.6}, point{0, 1, 0}, point{0, -1, 0}),
		"left-leg", seatAt(point{-32, 5, -165}, point{-0.5, 0.5, -0.7}, point{0, -1, 0}, point{0, -1, 0}),
		"right-leg", seatAt(point{32, 5, -165}, point{0.5, 0.5, -0.7}, point{0, -1, 0}, point{0, -1, 0}),
	)}
}

func assemble(t testing.TB, files []step.File, v step.Values) *steptest.Result {
	t.Helper()
	return steptest.Run(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"parts": files}, Values: v})
}

// placed is assemble without pictures.
func placed(t testing.TB, files []step.File, v step.Values) *kit {
	t.Helper()
	k, err := together(t.Context(), &step.Job{Workers: 2, Progress: step.NoProgress, Values: steptest.Values(t, Kind{}.Handbook(), v), Inputs: map[string][]step.File{"parts": files}})
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func near(t *testing.T, m map[string]any, name string, want, within float64) {
	t.Helper()
	if got, ok := m[name].(float64); !ok || !(math.Abs(got-want) <= within) {
		t.Errorf("%s = %v, want %.2f within %g", name, m[name], want, within)
	}
}

const coarse = 8000

// TestKit: every part lies where its seat is, left mirrors right, the head is
// upright, and three pictures show the same kit in three shapes.
func TestKit(t *testing.T) {
	r := assemble(t, kitOf(t, specimen.Options{}, coarse), body())
	if r.Measures["placed"] != int64(5) || r.Measures["unplaced"] != int64(0) || r.Measures["empty"] != int64(0) {
		t.Errorf("%v", r.Measures)
	}
	near(t, r.Measures, "head.front", 0, 2)
	near(t, r.Measures, "head.right", 0, 0.2)
	near(t, r.Measures, "head.turn", 0, 1e-9)
	near(t, r.Measures, "arms.uneven", 0, 0.01)
	near(t, r.Measures, "legs.uneven", 0, 0.01)
	places := string(r.Files["places/places.csv"])
	for _, row := range []string{"head,seat,0.000,0.000,0.000", "head,front,0.000,1.000,0.000", "right-arm,seat,45.000,0.000,-25.000", "right-arm,up,0.800,0.000,-0.600"} {
		if !strings.Contains(places, row+"\n") {
			t.Errorf("no row %q in\n%s", row, places)
		}
	}
	shapes := map[string]bool{}
	for _, name := range []string{"front", "right", "above"} {
		im, err := png.Decode(bytes.NewReader(r.Files["pictures/kit-"+name+".png"]))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		inked := 0
		b := im.Bounds()
		corner := im.At(b.Max.X-2, b.Max.Y/2)
		for y := b.Min.Y; y < b.Max.Y; y += 3 {
			for x := b.Min.X; x < b.Max.X; x += 3 {
				if im.At(x, y) != corner {
					inked++
				}
			}
		}
		if share := float64(inked) * 9 / float64(b.Dx()*b.Dy()); share < 0.05 || share > 0.8 {
			t.Errorf("%s: %.0f %% of the picture is drawn on", name, 100*share)
		}
		shapes[fmt.Sprint(inked)] = true
	}
	if len(shapes) != 3 {
		t.Error("two of the pictures are the same")
	}
}

// TestPose: a head bent back by 6 degrees reads 6 less; a seat that leans to
// the front or to the side takes the head with it by just that; a seat that
// looks to the left turns it.
func TestPose(t *testing.T) {
	head := func(o specimen.Options, out, front point) map[string]any {
		return placed(t, []step.File{steptest.Surface(t, "head", child.Mesh(t, o, "head", coarse))}, step.Values{"seats": table("head", seatAt(point{1, 2, 3}, out, front, point{0, 1, 0}))}).m
	}
	sound := head(specimen.Options{}, point{0, 0, 1}, point{0, 1, 0})
	front := sound["head.front"].(float64)
	back := head(specimen.Options{Faults: []specimen.Fault{{What: specimen.Tilted, Part: "head", Size: 6}}}, point{0, 0, 1}, point{0, 1, 0})
	near(t, back, "head.front", front-6, 0.7)
	s, c := math.Sincos(12 * math.Pi / 180)
	near(t, head(specimen.Options{}, point{0, s, c}, point{0, 1, 0}), "head.front", front+12, 0.05)
	near(t, head(specimen.Options{}, point{s, 0, c}, point{0, 1, 0}), "head.right", 12, 0.1)
	near(t, head(specimen.Options{}, point{0, 0, 1}, point{-s, c, 0}), "head.turn", 12, 0.05)
}

// TestMoved: where a part's file has it changes nothing but its front's name.
func TestMoved(t *testing.T) {
	m := child.Mesh(t, specimen.Options{}, "right-arm", coarse)
	turn := geom.Quaternion{W: 0.3, X: 0.5, Y: -0.7, Z: 0.2}.Rot()
	out := &geom.Mesh{Tris: m.Tris}
	for _, p := range m.Verts {
		out.Verts = append(out.Verts, turn.Apply(p.Vec()).Add(geom.Vec{X: 400, Z: -90}).Point())
	}
	f := turn.Apply(geom.Vec{Y: -1})
	at := func(m *geom.Mesh, looks point) string {
		return placed(t, []step.File{steptest.Surface(t, "right-arm", m)}, step.Values{"seats": table("right-arm", seatAt(point{45, 0, -25}, point{0.8, 0, -0.6}, point{0, 1, 0}, looks))}).rows.String()
	}
	var a, b [3]float64
	for i, text := range []string{at(m, point{0, -1, 0}), at(out, point{f.X, f.Y, f.Z})} {
		row := text[strings.Index(text, "right-arm,tip,"):]
		p := [2]*[3]float64{&a, &b}[i]
		if _, err := fmt.Sscanf(row, "right-arm,tip,%f,%f,%f", &p[0], &p[1], &p[2]); err != nil {
			t.Fatal(err)
		}
	}
	for i := range a {
		if !(math.Abs(a[i]-b[i]) <= 0.02) {
			t.Errorf("the tip lies at %v, and moved at %v", a, b)
		}
	}
}

// TestBad: seats that are none are refused before anything runs; a part
// without a seat, a seat without a part and a part without an opening are said.
func TestBad(t *testing.T) {
	for _, tt := range []struct {
		seats step.Table
		says  string
	}{
		{table(), "no part"},
		{table("head", point{1, 2, 3}), "must be a table"},
		{table("head", table("at", point{1, 2}, "out", point{0, 0, 1}, "front", point{0, 1, 0})), "three numbers"},
		{table("head", table("at", point{1, 2, 3}, "out", point{0, 0, 1})), `no "front"`},
		{table("head", table("at", point{1, 2, 3}, "out", point{0, 0, 1}, "front", point{0, 0, 2})), "points the way"},
		{table("head", table("at", point{1, 2, 3}, "out", point{0, 0, 0}, "front", point{0, 1, 0})), "points the way"},
		{table("head", table("at", point{1, 2, math.NaN()}, "out", point{0, 0, 1}, "front", point{0, 1, 0})), "three numbers"},
		{table("head", table("at", point{1, 2, 3}, "up", point{0, 0, 1}, "front", point{0, 1, 0})), `"up"`},
	} {
		c := (Kind{}).Check(step.Values{"seats": tt.seats})
		if len(c) != 1 || !strings.Contains(c[0].Says, tt.says) {
			t.Errorf("%v: %v, want %q", tt.seats, c, tt.says)
		}
	}
	if c := (Kind{}).Check(body()); len(c) != 0 {
		t.Error(c)
	}
	ball, err := specimen.Ellipsoid(20, 20, 45).Mesh(t.Context(), specimen.Sampling{Triangles: 3000})
	if err != nil {
		t.Fatal(err)
	}
	r := placed(t, []step.File{steptest.Surface(t, "head", ball), steptest.Surface(t, "hat", ball)}, body())
	notes := strings.Join(r.notes, "\n")
	if r.m["unplaced"] != int64(2) || r.m["empty"] != int64(5) || !strings.Contains(notes, "hat has no seat") || !strings.Contains(notes, "head is left out") {
		t.Errorf("%v\n%s", r.m, notes)
	}
	leg := child.Mesh(t, specimen.Options{}, "left-leg", coarse)
	if _, err := steptest.Try(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"parts": {steptest.Surface(t, "left-leg", leg), steptest.Surface(t, "left-leg", leg)}}, Values: body()}); err == nil {
		t.Error("two left legs pass")
	}
}

// TestPinned: raise Version when this changes.
func TestPinned(t *testing.T) {
	r := placed(t, kitOf(t, specimen.Options{}, coarse), body())
	var b strings.Builder
	for _, x := range (Kind{}).Handbook().Measures {
		if v, ok := r.m[x.Name].(float64); ok {
			fmt.Fprintf(&b, "%s %.1f\n", x.Name, v+0)
		} else {
			fmt.Fprintln(&b, x.Name, r.m[x.Name])
		}
	}
	b.WriteString(r.rows.String())
	h := sha256.Sum256([]byte(b.String()))
	const want = "39a7d05fb227a28f"
	if got := hex.EncodeToString(h[:])[:16]; got != want {
		t.Errorf("the outcome is %s, was %s: raise Version\n%s", got, want, b.String())
	}
}

// TestCancel: whenever it is cancelled, the step stops with the cause.
func TestCancel(t *testing.T) {
	steptest.Stops(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"parts": kitOf(t, specimen.Options{}, coarse)[:2]}, Values: body()}, 20)
}

// BenchmarkAssembly puts together five parts of two million triangles.
func BenchmarkAssembly(b *testing.B) {
	files := kitOf(b, specimen.Options{}, 2_000_000)
	n := 0
	for _, m := range child {
		n += len(m.Tris)
	}
	clear(child)
	for b.Loop() {
		assemble(b, files, body())
	}
	b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
}
