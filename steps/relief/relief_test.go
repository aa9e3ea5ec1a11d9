package relief

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/draw"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/steptest"
)

// bowl is a bent piece of skin of side mm, triangles of edge h, with lines of
// Gaussian section: depth exp(-(d/w)²).
func bowl(side, h float64, grooves ...groove) *geom.Mesh {
	n := int(side / h)
	m := &geom.Mesh{}
	for i := range n + 1 {
		for j := range n + 1 {
			x, y := float64(i)*side/float64(n), float64(j)*side/float64(n)
			z := 0.0
			for _, g := range grooves {
				z -= g.depth * math.Exp(-math.Pow((x-g.x)/g.w, 2))
			}
			// bent to a tube of 40 mm about the y axis
			a := (x - side/2) / 40
			m.Verts = append(m.Verts, geom.Vec{X: (40 + z) * math.Sin(a), Y: y, Z: (40 + z) * math.Cos(a)}.Point())
			if p := int32(i*(n+1) + j); i < n && j < n {
				m.Tris = append(m.Tris, geom.Tri{p, p + int32(n) + 1, p + int32(n) + 2}, geom.Tri{p, p + int32(n) + 2, p + 1})
			}
		}
	}
	return m
}

type groove struct{ x, depth, w float64 }

func file(t testing.TB, m *geom.Mesh) map[string][]step.File {
	t.Helper()
	var b bytes.Buffer
	if err := meshio.WritePLY(&b, m); err != nil {
		t.Fatal(err)
	}
	return map[string][]step.File{"surface": {steptest.File("hand.ply", b.Bytes(), "mm")}}
}

func links(detail float64) step.Table {
	link := step.Table{Names: []string{"shrinks", "detail"}, Kinds: []step.ValueType{step.Share, step.Length}, Values: []any{0.0, detail}}
	return step.Table{Names: []string{"vinyl"}, Kinds: []step.ValueType{step.Tree}, Values: []any{link}}
}

// TestLines: depth, width and what is left of Gaussian lines by closed form. A
// line exp(-(x/w)²) is 1.6651 w wide at half its depth, and a Gaussian filter
// of cut-off c leaves w / sqrt(w² + 2 (0.187391 c)²) of it. What is lost is
// right to the rounding; depths are to 2 % for lines up to a fifth of the cut-off
// wide and to 6 % for a third, widths to 8 %.
func TestLines(t *testing.T) {
	lines := []groove{{10, 0.5, 0.8}, {20, 0.3, 0.5}, {30, 0.12, 0.25}}
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: file(t, bowl(40, 0.125, lines...)), Values: step.Values{"links": links(1), "seen": 0.1}})
	for _, g := range lines {
		sigma := g.w / math.Sqrt2
		after := g.depth * sigma / math.Sqrt(sigma*sigma+0.187391*0.187391)
		at := 40 * math.Sin((g.x-20)/40) // of the line
		found := false
		for _, s := range r.Spots {
			if math.Abs(s.At[0]-at) > 0.3 {
				continue
			}
			found = true
			var depth, wide, left, share float64
			if _, err := fmt.Sscanf(s.Says, "this line is %f mm deep and %f mm wide; after moulding it will be %f mm (%f %%)", &depth, &wide, &left, &share); err != nil {
				t.Fatalf("%q: %v", s.Says, err)
			}
			within := 0.02 // of the depth; a line a third of the cut-off wide is taken for form in part
			if g.w > 0.6 {
				within = 0.06
			}
			if !(math.Abs(s.Value-g.depth) <= within*g.depth+0.001) || !(math.Abs(depth-left-(g.depth-after)) <= 0.011) || !(math.Abs(wide-1.6651*g.w) <= 0.08*wide+0.01) {
				t.Errorf("%+v: %s want %.2f mm after moulding", g, s.Says, after)
			}
			if s.Fault != (g.w == 0.25) {
				t.Errorf("%+v: %+v", g, s)
			}
		}
		if !found {
			t.Errorf("%+v was not found", g)
		}
	}
	if kept := r.Measures["kept.least"].(float64); !(math.Abs(kept-0.68) <= 0.03) {
		t.Errorf("the finest line keeps %v", kept)
	}
	if len(r.Notes) != 3 || !strings.Contains(r.Notes[0], "not flat") || !strings.Contains(r.Notes[1], "open") || !strings.Contains(r.Notes[2], "will not be seen") {
		t.Errorf("notes %q", r.Notes)
	}
}

// TestTooDeep: a line deeper than twice its width is said to be.
func TestTooDeep(t *testing.T) {
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: file(t, bowl(8, 0.04, groove{4, 0.7, 0.15})), Values: step.Values{"cutoff": 1.5}})
	if n := r.Measures["lines.too-deep"].(int64); n == 0 || !strings.Contains(r.Spots[0].Says, "open it") {
		t.Errorf("%v %+v", r.Measures, r.Spots)
	}
}

// TestSmoothSkin: a plain tube with noise of 5 um has no lines.
func TestSmoothSkin(t *testing.T) {
	m := bowl(30, 0.3)
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range m.Verts {
		m.Verts[i][2] += float32(0.005 * rng.NormFloat64())
	}
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: file(t, m)})
	if n := r.Measures["lines"].(int64); n != 0 || len(r.Spots) != 0 {
		t.Errorf("%d lines on a plain tube: %v", n, r.Spots)
	}
	if rms := r.Measures["relief.rms"].(float64); rms > 0.006 {
		t.Errorf("relief %v mm", rms)
	}
}

// TestCoarse: triangles too coarse for the cut-off are said to be.
func TestCoarse(t *testing.T) {
	for edge, coarse := range map[float64]bool{1: false, 1.4: true} { // diagonals make the mean edge 1.14 times that
		r := steptest.Run(t, Kind{}, steptest.Given{Inputs: file(t, bowl(30, edge))})
		if says := strings.Join(r.Notes, "; "); strings.Contains(says, "too coarse to tell lines from form at a cut-off of 4.0 mm") != coarse {
			t.Errorf("triangles of %g mm: %q", edge, says)
		}
	}
}

// TestRegionsAreNamed: a line in a named place says so.
func TestRegionsAreNamed(t *testing.T) {
	place := step.Table{Names: []string{"at", "radius"}, Kinds: []step.ValueType{step.Point, step.Length}, Values: []any{[]float64{0, 10, 40}, 30.0}}
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: file(t, bowl(20, 0.2, groove{10, 0.3, 0.5})), Values: step.Values{
		"regions": step.Table{Names: []string{"left nostril"}, Kinds: []step.ValueType{step.Tree}, Values: []any{place}}}})
	if len(r.Spots) == 0 || !strings.HasPrefix(r.Spots[0].Says, "left nostril line is 0.") {
		t.Errorf("%+v", r.Spots)
	}
}

func TestCheckSaysWhatIsWrong(t *testing.T) {
	bad := step.Table{Names: []string{"nose"}, Kinds: []step.ValueType{step.Length}, Values: []any{3.0}}
	got := Kind{}.Check(step.Values{"regions": bad, "links": bad})
	if len(got) != 2 || got[0].Value != "links" || !strings.Contains(got[1].Says, "a region is") {
		t.Errorf("%+v", got)
	}
}

func TestBadInput(t *testing.T) {
	for want, f := range map[string]step.File{
		"decimal comma":       steptest.File("hand.stl", []byte("solid x\nfacet normal 0,0 0 1\n"), "mm"),
		"unit must be stated": steptest.File("hand.stl", []byte("solid x\n"), ""),
	} {
		if _, err := steptest.Try(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"surface": {f}}}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
	// Skin of no area, a single triangle, and two sheets on one edge still run.
	flat := &geom.Mesh{Verts: []geom.Point{{}, {1}, {2}, {0, 1}, {0, 0, 1}}, Tris: []geom.Tri{{0, 1, 2}, {0, 1, 3}, {0, 1, 4}, {1, 1, 1}}}
	steptest.Run(t, Kind{}, steptest.Given{Inputs: file(t, flat), Values: step.Values{"links": links(1)}})
}

// TestPinned fails when the outcome changes: then raise the step's Version.
func TestPinned(t *testing.T) {
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: file(t, bowl(20, 0.25, groove{10, 0.4, 0.6})), Values: step.Values{"links": links(1)}})
	h := sha256.New()
	for _, name := range r.Order {
		if strings.HasSuffix(name, ".ply") || strings.HasSuffix(name, ".csv") {
			h.Write(r.Files[name])
		}
	}
	if got, want := hex.EncodeToString(h.Sum(nil)[:8]), "c1a0a752e82d3ecf"; got != want {
		t.Errorf("outcome %s, pinned %s at version %d", got, want, Kind{}.Handbook().Version)
	}
}

func TestStops(t *testing.T) {
	stop := errors.New("stop")
	ctx, cancel := context.WithCancelCause(t.Context())
	cancel(stop)
	job := &step.Job{Inputs: file(t, bowl(10, 1)), Values: steptest.Values(t, Kind{}.Handbook(), nil), Progress: step.NoProgress}
	if _, err := (Kind{}).Run(ctx, job); !errors.Is(err, stop) {
		t.Errorf("%v, want %v", err, stop)
	}
}

// BenchmarkRun looks at a part of two million triangles.
func BenchmarkRun(b *testing.B) {
	m := bowl(180, 0.18, groove{50, 0.4, 0.6}, groove{90, 0.3, 0.5}, groove{120, 0.6, 1})
	in := file(b, m)
	for b.Loop() {
		steptest.Run(b, Kind{}, steptest.Given{Inputs: in, Values: step.Values{"links": links(1)}})
	}
	b.ReportMetric(float64(len(m.Tris))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
}

func init() { size = draw.Size{Width: 240, Height: 180} }
