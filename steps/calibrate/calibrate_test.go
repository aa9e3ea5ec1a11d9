package calibrate

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"

	"layette/engine/step"
	"layette/steps/internal/draw"
	"layette/steps/internal/form"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/process"
	"layette/steps/internal/steptest"
)

func init() { size = draw.Size{Width: 240, Height: 180} }

func file(t testing.TB, name string, m *geom.Mesh) step.File {
	t.Helper()
	var b bytes.Buffer
	if err := meshio.WritePLY(&b, m); err != nil {
		t.Fatal(err)
	}
	return steptest.File(name, b.Bytes(), "mm")
}

func given(t testing.TB, m *geom.Mesh, values step.Values, samples ...*geom.Mesh) steptest.Given {
	in := map[string][]step.File{"master": {file(t, "hand.ply", m)}}
	for i, s := range samples {
		in["samples"] = append(in["samples"], file(t, fmt.Sprintf("sample-%d.ply", i+1), s))
	}
	return steptest.Given{Inputs: in, Values: values}
}

var usual = truth{shrink: [3]float64{0.02, 0.035, 0.06}, detail: 1.5, noise: 0.05, bend: 1.0 / 1000}

// TestSamples: a sample shrunk by 2, 3.5 and 6 %, softened at 1.5 mm, bent,
// noisy, with flash and holes, laid elsewhere: the bounds hold every figure, and
// the recipe that says otherwise is told so. With points 0.4 mm apart shrinkage
// is found to 0.08 points and transfer to 0.05; with LAYETTE_SEEDS set the points
// are 0.25 mm apart, and 0.05 points and 0.03 are asked for.
func TestSamples(t *testing.T) {
	n, near, nearKept := 100, 0.0008, 0.05
	if os.Getenv("LAYETTE_SEEDS") != "" {
		n, near, nearKept = 165, 0.0005, 0.03
	}
	m := lump(n)
	one := usual
	one.seed = 1
	recipe := step.Table{Names: []string{"vinyl"}, Kinds: []step.ValueType{step.Share}, Values: []any{0.05}}
	r := steptest.Run(t, Kind{}, given(t, m, step.Values{"links": recipe, "hours": 48 * 3600.0, "date": "2026-03-04"}, moulded(t, m, one)))
	row := func(name string, k int) band {
		of := func(s string) float64 { return r.Measures[name+s].([]float64)[k] }
		return band{of(""), of(".from"), of(".to")}
	}
	for k, want := range usual.shrink {
		if b := row("shrinks.axes", k); math.Abs(b.at-want) > near || want < b.from || want > b.to {
			t.Errorf("axis %d shrinks %.5f, want %.4f", k, b, want)
		}
	}
	for k := range bands {
		want := form.Passed(usual.detail, cutoffAt(firstBand+k))
		if b := row("kept", k); math.Abs(b.at-want) > nearKept || want < b.from || want > b.to {
			t.Errorf("of %.2f mm %.3f survives, want %.3f", cutoffAt(firstBand+k), b, want)
		}
	}
	if d, want := r.Measures["detail"].(float64), 1.5*(1-0.115/3); math.Abs(d-want) > 2*nearKept*want || want < r.Measures["detail.from"].(float64) || want > r.Measures["detail.to"].(float64) {
		t.Errorf("detail %v", d)
	}
	if !r.Measures["uneven"].(bool) || !r.Measures["contradicts"].(bool) || !strings.HasPrefix(r.Notes[0], "Contradiction: along x the recipe says 5 %") {
		t.Errorf("%v %q", r.Measures, r.Notes)
	}
	table := string(r.Files["table/hand-calibrated.toml"])
	if !strings.Contains(table, "[materials.vinyl]") || !strings.Contains(table, "48 h after demoulding") || !strings.Contains(table, "2026-03-04, 1 sample,") {
		t.Errorf("%s", table)
	}
}

// TestBoundsHoldTheTruth counts over many seeds how often the bounds hold the
// truth, and how many samples cannot tell. 90 to 99 of 100 are asked for; that
// the bounds are wider than that is no fault here. It takes minutes:
// LAYETTE_SEEDS says how many seeds.
func TestBoundsHoldTheTruth(t *testing.T) {
	seeds, _ := strconv.Atoi(os.Getenv("LAYETTE_SEEDS"))
	if seeds == 0 {
		t.Skip("set LAYETTE_SEEDS=100 to count how often the bounds hold the truth")
	}
	m := lump(100)
	ma, err := newMaster(t.Context(), m, 2)
	if err != nil {
		t.Fatal(err)
	}
	re, err := newRelieved(t.Context(), m, 2)
	if err != nil {
		t.Fatal(err)
	}
	c := &calibration{master: ma, relief: re, reach: 2, workers: 2}
	if err := c.takeForm(t.Context()); err != nil {
		t.Fatal(err)
	}
	held, worst, kept, keptAll, off, mute, half := [3]int{}, 0.0, 0, 0, 0.0, 0, 0.0
	for seed := range seeds {
		w := usual
		w.seed = uint64(seed)
		w.shrink = [3]float64{0.01 + 0.05*float64(seed%7)/6, 0.01 + 0.05*float64(seed%5)/4, 0.01 + 0.05*float64(seed%3)/2}
		w.detail = 1 + float64(seed%4)/3
		f, err := c.study(t.Context(), "sample", moulded(t, m, w))
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		if !f.tells() {
			mute++
			continue
		}
		for k, b := range f.shrink {
			half = max(half, (b.to-b.from)/2)
			if worst = max(worst, math.Abs(b.at-w.shrink[k])); b.from <= w.shrink[k] && w.shrink[k] <= b.to {
				held[k]++
			}
		}
		for k, b := range f.share {
			want := form.Passed(w.detail, cutoffAt(firstBand+k))
			off = max(off, math.Abs(b.at-want))
			if keptAll++; b.from <= want && want <= b.to {
				kept++
			}
		}
		t.Logf("after seed %d: %d cannot tell; axes held %v, worst %.3f points, bounds to %.3f; shares %d of %d, worst %.3f", seed, mute, held, 100*worst, 100*half, kept, keptAll, off)
	}
	told := seeds - mute
	t.Logf("%d of %d seeds tell, bounds at most %.3f points", told, seeds, 100*half)
	if told < seeds/2 {
		t.Errorf("%d of %d samples cannot tell", mute, seeds)
	}
	t.Logf("of %d seeds the bounds hold x %d, y %d, z %d; worst %.3f points; of %d shares %d held, worst %.3f", told, held[0], held[1], held[2], 100*worst, keptAll, kept, off)
	for k, n := range held {
		if share := float64(n) / float64(told); share < 0.90 {
			t.Errorf("along axis %d the bounds hold the truth in %.0f %%", k, 100*share)
		}
	}
}

// TestCannotTell: a sample in which lines caught their neighbours, so that the
// fit leaves far more than noise explains, is off by more than a point; it must
// say that it cannot tell, and leave nothing to paste.
func TestCannotTell(t *testing.T) {
	m := lump(90)
	r := steptest.Run(t, Kind{}, given(t, m, step.Values{"links": step.Table{Names: []string{"vinyl"}, Kinds: []step.ValueType{step.Share}, Values: []any{0.05}}}, moulded(t, m, usual)))
	for _, name := range []string{"shrinks", "shrinks.from", "shrinks.to", "detail"} {
		if x := r.Measures[name].(float64); x == x {
			t.Errorf("%s is %v, want unknown", name, x)
		}
	}
	if r.Measures["samples.mute"] != int64(1) || r.Measures["contradicts"].(bool) || r.Measures["uneven"].(bool) || !strings.Contains(strings.Join(r.Notes, "\n"), "sample-1.ply cannot tell") {
		t.Errorf("%v %q", r.Measures, r.Notes)
	}
	var table map[string]any
	if _, err := toml.Decode(string(r.Files["table/hand-calibrated.toml"]), &table); err != nil || len(table) != 0 {
		t.Errorf("%v %v", table, err)
	}
}

// TestOff: a tenth of the bending, twice what is left beyond noise, and never
// less than 0.05 points, as squares add: sigma 0.05 with noise 0.03 leaves
// sqrt(0.0025 - 0.001089) = 0.03756 mm; over 50 mm that is 0.1503 points.
func TestOff(t *testing.T) {
	f := &fitted{warp: warp{size: 50}, sigma: 0.03, noise: 0.03}
	if got := f.off(0); math.Abs(got-0.0005) > 1e-12 {
		t.Errorf("%v", got)
	}
	if got := f.off(0.5); math.Abs(got-math.Hypot(0.0005, 0.001)) > 1e-12 {
		t.Errorf("%v", got)
	}
	f.sigma = 0.05
	if got := f.off(0); math.Abs(got-math.Hypot(0.0005, 0.0015026)) > 1e-7 {
		t.Errorf("%v", got)
	}
	if w := (band{1, 0.97, 1.03}).wider(0.04); math.Abs(w.to-1.05) > 1e-12 || math.Abs(w.from-0.95) > 1e-12 {
		t.Errorf("%+v", w)
	}
	one := together([]band{unknown, {1, 0.9, 1.1}, unknown}, 0)
	if one.at != 1 || math.Abs(one.to-1.1) > 1e-12 || together([]band{unknown}, 0).known() {
		t.Errorf("%+v", one)
	}
	if b := together([]band{{1, 0.9, 1.1}, {1, 0.9, 1.1}, {1, 0.9, 1.1}, {1, 0.9, 1.1}}, 0.08); math.Abs(b.to-1.08) > 1e-12 {
		t.Errorf("%+v", b)
	}
}

// TestTableReads: the written table is TOML (read by BurntSushi/toml, which is
// not ours) and the step shrinkage's reader of links finds in it what was
// measured.
func TestTableReads(t *testing.T) {
	values := steptest.Values(t, Kind{}.Handbook(), step.Values{"hours": 172800.0, "date": "a \"day\"\n[x]"})
	even := found{name: "one\n.ply", mean: band{0.05, 0.049, 0.051}, detail: band{0.8, 0.7, 0.9}}
	uneven := even
	for k := range 3 {
		x := 0.02 + 0.01*float64(k)
		even.shrink[k], uneven.shrink[k] = band{0.05, 0.049, 0.051}, band{x, x - 0.001, x + 0.001}
	}
	for _, f := range []found{even, uneven} {
		text := newResult(values, []*found{&f}).toml()
		var read struct {
			Materials map[string]struct {
				Origin  string
				Process map[string]map[string]any
				Frames  map[string]map[string][]float64
			}
		}
		if _, err := toml.Decode(text, &read); err != nil {
			t.Fatalf("%v in\n%s", err, text)
		}
		vinyl := read.Materials["vinyl"]
		if !strings.HasSuffix(vinyl.Origin, "1 sample, 48 h after demoulding") {
			t.Errorf("origin %q", vinyl.Origin)
		}
		var frames step.Table
		for name, axes := range vinyl.Frames {
			frames.Names, frames.Values = append(frames.Names, name), append(frames.Values, step.Table{Names: []string{"x", "y"}, Values: []any{axes["x"], axes["y"]}})
		}
		known, wrong := process.Frames(frames)
		l, err := process.One("whole-chain", quantities(t, vinyl.Process["whole-chain"]), known)
		if err != nil || len(wrong) > 0 {
			t.Fatalf("%v %q in\n%s", err, wrong, text)
		}
		for k, b := range f.shrink {
			if math.Abs(l.Share[k]-b.at) > 1e-5 {
				t.Errorf("axis %d: %v, want %v", k, l.Share[k], b.at)
			}
		}
		if l.Detail != 0.8 || l.DetailFrom != 0.7 || l.DetailTo != 0.9 || l.Even() && (math.Abs(l.ShareFrom-0.049) > 1e-9 || math.Abs(l.ShareTo-0.051) > 1e-9) {
			t.Errorf("%+v", l)
		}
	}
}

// quantities turns a link's texts into the numbers that a recipe's reader gives.
func quantities(t *testing.T, link map[string]any) step.Table {
	t.Helper()
	var out step.Table
	for name, value := range link {
		text := value.(string)
		if number, unit, ok := strings.Cut(text, " "); ok && (unit == "%" || unit == "mm") {
			x, err := strconv.ParseFloat(number, 64)
			if err != nil {
				t.Fatal(err)
			}
			kind := step.Length
			if unit == "%" {
				x, kind = x/100, step.Share
			}
			out.Names, out.Values, out.Kinds = append(out.Names, name), append(out.Values, x), append(out.Kinds, kind)
			continue
		}
		out.Names, out.Values, out.Kinds = append(out.Names, name), append(out.Values, text), append(out.Kinds, step.String)
	}
	return out
}

// TestSameSurface: a master scanned against itself shrinks by nothing and keeps
// all, and the recipe that says so is not contradicted.
func TestSameSurface(t *testing.T) {
	m := lump(50)
	r := steptest.Run(t, Kind{}, given(t, m, nil, m))
	for _, x := range r.Measures["shrinks.axes"].([]float64) {
		if math.Abs(x) > 1e-5 {
			t.Errorf("shrinks %v", x)
		}
	}
	if d := r.Measures["detail"].(float64); d > 0.2 || r.Measures["contradicts"].(bool) || r.Measures["uneven"].(bool) {
		t.Errorf("%v", r.Measures)
	}
}

// TestWarmSample: 10 K above 20 °C at 70 millionths a kelvin is 0.07 points
// (ISO 1; 120 mm, 10 K, 70e-6: 0.084 mm).
func TestWarmSample(t *testing.T) {
	m := lump(40)
	r := steptest.Run(t, Kind{}, given(t, m, step.Values{"temperature": 30.0, "expansion": 70.0}, m))
	if x := r.Measures["shrinks"].(float64); math.Abs(x-0.0007) > 2e-5 {
		t.Errorf("shrinks %v, want 0.0007", x)
	}
}

// TestTogether: equal samples keep their bounds, narrower by their number; two
// that differ widen them.
func TestTogether(t *testing.T) {
	same := together([]band{{1, 0.9, 1.1}, {1, 0.9, 1.1}, {1, 0.9, 1.1}, {1, 0.9, 1.1}}, 0)
	if math.Abs(same.to-1.05) > 1e-12 {
		t.Errorf("%+v", same)
	}
	apart := together([]band{{1, 0.99, 1.01}, {2, 1.99, 2.01}}, 0)
	if math.Abs(apart.to-1.5-12.706*0.5) > 1e-9 {
		t.Errorf("%+v", apart)
	}
}

func TestBadInput(t *testing.T) {
	m := lump(60)
	few := &geom.Mesh{Verts: m.Verts[:3], Tris: []geom.Tri{{0, 1, 2}}}
	other := m.Scaled(25.4)
	for want, g := range map[string]steptest.Given{
		"no samples":            given(t, m, nil),
		"fewer than 200 points": given(t, m, nil, few),
		"sample-1.ply: the sample cannot be laid on the master": given(t, m, nil, other),
	} {
		if _, err := steptest.Try(t, Kind{}, g); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
	bad := Kind{}.Check(step.Values{"material": "a b", "link": "", "links": step.Table{Names: []string{"wax"}, Values: []any{"x"}}})
	if len(bad) != 3 {
		t.Errorf("%+v", bad)
	}
}

func TestStops(t *testing.T) {
	stop := errors.New("stop")
	ctx, cancel := context.WithCancelCause(t.Context())
	cancel(stop)
	m := lump(60)
	g := given(t, m, nil, m)
	job := &step.Job{Inputs: g.Inputs, Values: steptest.Values(t, Kind{}.Handbook(), nil), Progress: step.NoProgress}
	if _, err := (Kind{}).Run(ctx, job); !errors.Is(err, stop) {
		t.Errorf("%v, want %v", err, stop)
	}
}

// TestPinned fails when the outcome changes: then raise the step's Version.
func TestPinned(t *testing.T) {
	m := lump(60)
	s := m.Scaled(0.96)
	for i := range s.Verts {
		s.Verts[i][0] += float32(i%7) * 0.01
	}
	r := steptest.Run(t, Kind{}, given(t, m, nil, s))
	if r.Measures["samples.mute"] != int64(0) {
		t.Errorf("the sample cannot tell: %q", r.Notes)
	}
	sum := sha256.Sum256([]byte(string(r.Files["table/hand-calibrated.toml"]) + string(r.Files["rows/hand-calibrated.csv"])))
	if got, want := hex.EncodeToString(sum[:8]), "e84c676859d87dcf"; got != want {
		t.Errorf("outcome %s, pinned %s at version %d", got, want, Kind{}.Handbook().Version)
	}
}

// BenchmarkRun calibrates with one sample of two million triangles.
func BenchmarkRun(b *testing.B) {
	m := lump(710)
	g := given(b, m, nil, m.Scaled(0.96))
	for b.Loop() {
		steptest.Run(b, Kind{}, g)
	}
	b.ReportMetric(float64(len(m.Tris))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
}
