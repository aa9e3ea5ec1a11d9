package cut

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
	"layette/steps/internal/steptest"
)

// blocks is the closed surface of cells of side mm, filled where solid says.
func blocks(t testing.TB, nx, ny, nz int, side float64, solid func(x, y, z int) bool) *geom.Mesh {
	t.Helper()
	var loose []geom.Point
	in := func(x, y, z int) bool {
		return x >= 0 && y >= 0 && z >= 0 && x < nx && y < ny && z < nz && solid(x, y, z)
	}
	quad := func(x, y, z int, a, b, c, d [3]int) {
		p := func(o [3]int) geom.Point {
			return geom.Vec{X: float64(x+o[0]) * side, Y: float64(y+o[1]) * side, Z: float64(z+o[2]) * side}.Point()
		}
		loose = append(loose, p(a), p(b), p(c), p(a), p(c), p(d))
	}
	for x := range nx {
		for y := range ny {
			for z := range nz {
				if !in(x, y, z) {
					continue
				}
				if !in(x-1, y, z) {
					quad(x, y, z, [3]int{0, 0, 0}, [3]int{0, 0, 1}, [3]int{0, 1, 1}, [3]int{0, 1, 0})
				}
				if !in(x+1, y, z) {
					quad(x, y, z, [3]int{1, 0, 0}, [3]int{1, 1, 0}, [3]int{1, 1, 1}, [3]int{1, 0, 1})
				}
				if !in(x, y-1, z) {
					quad(x, y, z, [3]int{0, 0, 0}, [3]int{1, 0, 0}, [3]int{1, 0, 1}, [3]int{0, 0, 1})
				}
				if !in(x, y+1, z) {
					quad(x, y, z, [3]int{0, 1, 0}, [3]int{0, 1, 1}, [3]int{1, 1, 1}, [3]int{1, 1, 0})
				}
				if !in(x, y, z-1) {
					quad(x, y, z, [3]int{0, 0, 0}, [3]int{0, 1, 0}, [3]int{1, 1, 0}, [3]int{1, 0, 0})
				}
				if !in(x, y, z+1) {
					quad(x, y, z, [3]int{0, 0, 1}, [3]int{1, 0, 1}, [3]int{1, 1, 1}, [3]int{0, 1, 1})
				}
			}
		}
	}
	m, err := geom.Weld(t.Context(), loose, 2)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// mitten is a palm of 10 x 4 x 10 mm with three fingers of 2 x 4 x 10 mm,
// 2 mm apart: 640 mm³.
func mitten(t testing.TB) *geom.Mesh {
	return blocks(t, 10, 4, 20, 1, func(x, _, z int) bool { return z < 10 || x/2%2 == 0 })
}

func file(t testing.TB, m *geom.Mesh) map[string][]step.File {
	t.Helper()
	var b bytes.Buffer
	if err := meshio.WritePLY(&b, m); err != nil {
		t.Fatal(err)
	}
	return map[string][]step.File{"surface": {steptest.File("hand.ply", b.Bytes(), "mm")}}
}

func table(pairs ...any) step.Table {
	var t step.Table
	for i := 0; i < len(pairs); i += 2 {
		kind := map[string]step.ValueType{"within": step.Length, "lean": step.Angle}[pairs[i].(string)]
		t.Names, t.Kinds, t.Values = append(t.Names, pairs[i].(string)), append(t.Kinds, kind), append(t.Values, pairs[i+1])
	}
	return t
}

func at(x, y, z float64) []float64 { return []float64{x, y, z} }

func piece(t *testing.T, r *steptest.Result, name string) *geom.Mesh {
	t.Helper()
	b, ok := r.Files["pieces/hand-"+name+".ply"]
	if !ok {
		t.Fatalf("no piece %q among %v", name, r.Order)
	}
	m, _, err := meshio.Read(t.Context(), bytes.NewReader(b), int64(len(b)), meshio.Options{})
	if err != nil {
		t.Fatal(err)
	}
	e, err := m.Edges(t.Context(), 2)
	if err != nil {
		t.Fatal(err)
	}
	if !m.Closed(e) {
		t.Errorf("piece %q is not closed", name)
	}
	return m
}

// TestFingerAlone takes one finger off, by a plane between vertices, and leaves
// its neighbours on, which the plane meets too.
func TestFingerAlone(t *testing.T) {
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: file(t, mitten(t)), Values: step.Values{
		"cuts": table("thumb", table("at", at(1, 2, 14.25), "toward", at(0, 0, 2)), "middle", table("at", at(5, 2, 15.5), "toward", at(0, 0, 1))),
		"rest": "palm",
	}})
	for name, want := range map[string]float64{"thumb": 2 * 4 * 5.75, "middle": 2 * 4 * 4.5, "palm": 400 + 3*80 - 46 - 36} {
		if v := piece(t, r, name).Volume(); !(math.Abs(v-want) <= 1e-4) {
			t.Errorf("%s has volume %v, want %v", name, v, want)
		}
	}
	if g, a := r.Measures["cuts.girth"].([]float64), r.Measures["cuts.area"].([]float64); !(math.Abs(g[0]-12) <= 1e-5) || !(math.Abs(a[0]-8) <= 1e-5) {
		t.Errorf("girth %v, area %v; want 12 mm, 8 mm²", g[0], a[0])
	}
	if off := r.Measures["volume.off"].(float64); !(math.Abs(off) <= 1e-4) {
		t.Errorf("volumes are off by %v", off)
	}
	if len(r.Spots) != 2 || r.Spots[0].Fault || len(r.Spots[0].Ring) < 4 {
		t.Errorf("spots %+v", r.Spots)
	}
	if s := string(r.Files["table/hand-cuts.csv"]); !strings.Contains(s, "thumb,1.000,2.000,14.250,0.000000,0.000000,1.000000,12.000,8.000\n") {
		t.Errorf("table\n%s", s)
	}
}

// TestAllFingers cuts all three at once, along a plane through vertices.
func TestAllFingers(t *testing.T) {
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: file(t, mitten(t)), Values: step.Values{
		"cuts": table("fingers", table("at", at(1, 2, 15), "toward", at(0, 0, 1), "all", true)),
	}})
	if v := piece(t, r, "fingers").Volume(); !(math.Abs(v-120) <= 1e-6) {
		t.Errorf("three fingertips have volume %v, want 120", v)
	}
	if v := piece(t, r, "rest").Volume(); !(math.Abs(v-520) <= 1e-6) {
		t.Errorf("the rest has volume %v, want 520", v)
	}
	if a := r.Measures["cuts.area"].([]float64)[0]; !(math.Abs(a-24) <= 1e-6) {
		t.Errorf("area %v, want 24", a)
	}
}

// TestTurnedAndMoved: the same cut of a turned and moved solid, within rounding.
func TestTurnedAndMoved(t *testing.T) {
	q := geom.Quaternion{W: 0.8, X: 0.2, Y: -0.4, Z: 0.4}
	pose := geom.Pose{Rot: q.Rot(), Move: geom.Vec{X: 30, Y: -20, Z: 10}}
	m := mitten(t)
	w := &geom.Mesh{Tris: m.Tris}
	for _, v := range m.Verts {
		w.Verts = append(w.Verts, pose.Apply(v.Vec()).Point())
	}
	p, n := pose.Apply(geom.Vec{X: 1, Y: 2, Z: 14.25}), pose.Rot.Apply(geom.Vec{Z: 1})
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: file(t, w), Values: step.Values{
		"cuts": table("thumb", table("at", at(p.X, p.Y, p.Z), "toward", at(n.X, n.Y, n.Z))),
	}})
	if v := piece(t, r, "thumb").Volume(); !(math.Abs(v-46) <= 1e-3) {
		t.Errorf("volume %v, want 46", v)
	}
}

// waist is a rod of square section, 8 mm wide, 4 mm from z = 8 to 12.
func waist(t testing.TB) *geom.Mesh {
	return blocks(t, 8, 8, 20, 1, func(x, y, z int) bool {
		return z < 8 || z >= 12 || x >= 2 && x < 6 && y >= 2 && y < 6
	})
}

func TestNarrowestPlace(t *testing.T) {
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: file(t, waist(t)), Values: step.Values{
		"cuts": table("top", table("at", at(4, 4, 6), "toward", at(0, 0, 1), "within", 5.0, "lean", 15.0)),
	}})
	if g := r.Measures["cuts.girth"].([]float64)[0]; !(math.Abs(g-16) <= 0.01) {
		t.Errorf("girth %v, want 16", g)
	}
	if z := r.Spots[0].At[2]; z < 8 || z > 12 {
		t.Errorf("cut at z %v, want between 8 and 12", z)
	}
}

func TestRefusals(t *testing.T) {
	ring := blocks(t, 6, 2, 6, 1, func(x, _, z int) bool { return x < 2 || x > 3 || z < 2 || z > 3 })
	open := mitten(t)
	open = &geom.Mesh{Verts: open.Verts, Tris: open.Tris[1:]}
	tests := []struct {
		name string
		m    *geom.Mesh
		cut  step.Table
		want string
	}{
		{"open", open, table("at", at(1, 2, 14), "toward", at(0, 0, 1)), `hand.ply: cut "piece": the surface is not closed: 3 triangle edges`},
		{"beside", mitten(t), table("at", at(1, 2, 40), "toward", at(0, 0, 1)), "the plane does not meet the surface"},
		{"ring", ring, table("at", at(1, 1, 2.5), "toward", at(0, 0, 1)), "does not part the surface"},
		{"nothing near", mitten(t), table("at", at(1, 2, 400), "toward", at(0, 0, 1), "within", 10.0), "no section of the surface within 10 mm"},
	}
	for _, tt := range tests {
		_, err := steptest.Try(t, Kind{}, steptest.Given{Inputs: file(t, tt.m), Values: step.Values{"cuts": table("piece", tt.cut)}})
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: %v, want %q", tt.name, err, tt.want)
		}
	}
}

func TestCheckSaysWhatIsWrong(t *testing.T) {
	good := table("at", at(0, 0, 0), "toward", at(0, 0, 1))
	bare := table("at", at(0, 0, 0), "toward", at(0, 0, 1), "within", 5.0)
	bare.Kinds[2] = step.Number
	tests := []struct {
		cuts step.Table
		want string
	}{
		{step.Table{}, "there are no cuts"},
		{table("a", 3.0), "a cut is a table"},
		{table("a/b", good), "cannot name a piece"},
		{table("rest", good), "not the name of the rest"},
		{table("a", table("toward", at(0, 0, 1))), "at must be a point"},
		{table("a", table("at", at(0, 0, 0), "toward", at(0, 0, 0))), "toward must be a direction"},
		{table("a", table("at", at(0, 0, math.NaN()), "toward", at(0, 0, 1))), "at must be a point"},
		{table("a", bare), "within must be written with its unit"},
		{table("a", table("at", at(0, 0, 0), "toward", at(0, 0, 1), "within", -1.0)), "within must be a length above zero"},
		{table("a", table("at", at(0, 0, 0), "toward", at(0, 0, 1), "lean", 80.0)), "lean must be an angle"},
		{table("a", table("at", at(0, 0, 0), "toward", at(0, 0, 1), "all", "yes")), "all must be true or false"},
		{table("a", table("at", at(0, 0, 0), "toward", at(0, 0, 1), "depth", 2.0)), "depth is not known of a cut"},
	}
	for _, tt := range tests {
		got := Kind{}.Check(step.Values{"cuts": tt.cuts, "rest": "rest"})
		if len(got) == 0 || !strings.Contains(got[0].Says, tt.want) {
			t.Errorf("%v, want %q", got, tt.want)
		}
	}
	if got := (Kind{}).Check(step.Values{"cuts": table("a", good), "rest": "rest"}); len(got) != 0 {
		t.Errorf("nothing is wrong, yet %v", got)
	}
}

// TestTangent against the exact values of 45 and 60 degrees.
func TestTangent(t *testing.T) {
	for deg, want := range map[float64]float64{0: 0, 45: 1, 60: math.Sqrt(3), 30: 1 / math.Sqrt(3)} {
		if got := tangent(deg); !(math.Abs(got-want) <= 1e-14) {
			t.Errorf("tangent of %v is %v, want %v", deg, got, want)
		}
	}
}

func TestStops(t *testing.T) {
	stop := errors.New("stop")
	ctx, cancel := context.WithCancelCause(t.Context())
	cancel(stop)
	job := &step.Job{Inputs: file(t, mitten(t)), Progress: step.NoProgress,
		Values: step.Values{"cuts": table("a", table("at", at(1, 2, 14), "toward", at(0, 0, 1))), "rest": "rest"}}
	if _, err := (Kind{}).Run(ctx, job); !errors.Is(err, stop) {
		t.Errorf("%v, want %v", err, stop)
	}
}

// TestPinned fails when a piece's bytes change: then raise the step's Version.
func TestPinned(t *testing.T) {
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: file(t, waist(t)), Values: step.Values{
		"cuts": table("top", table("at", at(4, 4, 6), "toward", at(0.1, 0, 1), "within", 5.0, "lean", 15.0)),
	}})
	h := sha256.New()
	for _, name := range r.Order {
		h.Write(r.Files[name])
	}
	if got, want := hex.EncodeToString(h.Sum(nil)[:8]), "61e7abc319994fe2"; got != want {
		t.Errorf("pieces %s, pinned %s at version %d", got, want, Kind{}.Handbook().Version)
	}
}

// BenchmarkRun cuts a wrist-like waist, searched for, in a solid of about two
// million triangles.
func BenchmarkRun(b *testing.B) {
	m := blocks(b, 300, 300, 800, 0.1, func(x, y, z int) bool {
		r := 140.0
		if z > 350 && z < 450 {
			r = 90
		}
		dx, dy := float64(x)-150, float64(y)-150
		return dx*dx+dy*dy < r*r
	})
	in := file(b, m)
	for b.Loop() {
		steptest.Run(b, Kind{}, steptest.Given{Inputs: in, Values: step.Values{
			"cuts": table("hand", table("at", at(15, 15, 38), "toward", at(0, 0, 1), "within", 10.0, "lean", 15.0)),
		}})
	}
	b.ReportMetric(float64(len(m.Tris))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
	b.ReportMetric(float64(len(m.Tris))/1e6, "Mtri")
}
