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

	"layette/engine/step"
	"layette/steps/internal/draw"
	"layette/steps/internal/form"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
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
// noisy, with flash and holes, laid elsewhere: shrinkage to 0.05 points,
// transfer to 0.03 at 1 to 6 mm, and the recipe that says otherwise is told so.
func TestSamples(t *testing.T) {
	m := lump(165)
	one := usual
	one.seed = 1
	recipe := step.Table{Names: []string{"vinyl"}, Kinds: []step.ValueType{step.Share}, Values: []any{0.05}}
	r := steptest.Run(t, Kind{}, given(t, m, step.Values{"links": recipe, "hours": 48 * 3600.0, "date": "2026-03-04"}, moulded(t, m, one)))
	axes := r.Measures["shrinks.axes"].([]float64)
	for k, want := range usual.shrink {
		if math.Abs(axes[k]-want) > 0.0005 {
			t.Errorf("axis %d shrinks %.5f, want %.4f", k, axes[k], want)
		}
	}
	for k, got := range r.Measures["kept"].([]float64) {
		if want := form.Passed(usual.detail, cutoffAt(firstBand+k)); math.Abs(got-want) > 0.03 {
			t.Errorf("of %.2f mm %.3f survives, want %.3f", cutoffAt(firstBand+k), got, want)
		}
	}
	if d := r.Measures["detail"].(float64); math.Abs(d-1.5*(1-0.115/3)) > 0.06 {
		t.Errorf("detail %v", d)
	}
	if !r.Measures["uneven"].(bool) || !r.Measures["contradicts"].(bool) || !strings.HasPrefix(r.Notes[0], "Contradiction: along x the recipe says 5 %") {
		t.Errorf("%v %q", r.Measures, r.Notes)
	}
	table := string(r.Files["table/hand-calibrated.toml"])
	if !strings.Contains(table, "[materials.vinyl]") || !strings.Contains(table, "48 h after demoulding") || !strings.Contains(table, "2026-03-04, 1 samples") {
		t.Errorf("%s", table)
	}
}

// TestBoundsHoldTheTruth counts over many seeds how often the bounds hold the
// truth: 90 to 99 of 100 are asked for. It takes minutes: LAYETTE_SEEDS says
// how many seeds.
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
	held, worst, kept, keptAll, off := [3]int{}, 0.0, 0, 0, 0.0
	for seed := range seeds {
		w := usual
		w.seed = uint64(seed)
		w.shrink = [3]float64{0.01 + 0.05*float64(seed%7)/6, 0.01 + 0.05*float64(seed%5)/4, 0.01 + 0.05*float64(seed%3)/2}
		w.detail = 1 + float64(seed%4)/3
		f, err := c.study(t.Context(), "sample", moulded(t, m, w))
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		for k, b := range f.shrink {
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
	}
	t.Logf("of %d seeds the bounds hold x %d, y %d, z %d; worst %.3f points; of %d shares %d held, worst %.3f", seeds, held[0], held[1], held[2], 100*worst, keptAll, kept, off)
	for k, n := range held {
		if share := float64(n) / float64(seeds); share < 0.90 {
			t.Errorf("along axis %d the bounds hold the truth in %.0f %%", k, 100*share)
		}
	}
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
	m := lump(60)
	r := steptest.Run(t, Kind{}, given(t, m, step.Values{"temperature": 30.0, "expansion": 70.0}, m))
	if x := r.Measures["shrinks"].(float64); math.Abs(x-0.0007) > 2e-5 {
		t.Errorf("shrinks %v, want 0.0007", x)
	}
}

// TestTogether: equal samples keep their bounds, narrower by their number; two
// that differ widen them.
func TestTogether(t *testing.T) {
	same := together([]band{{1, 0.9, 1.1}, {1, 0.9, 1.1}, {1, 0.9, 1.1}, {1, 0.9, 1.1}})
	if math.Abs(same.to-1.05) > 1e-12 {
		t.Errorf("%+v", same)
	}
	apart := together([]band{{1, 0.99, 1.01}, {2, 1.99, 2.01}})
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
	sum := sha256.Sum256([]byte(string(r.Files["table/hand-calibrated.toml"]) + string(r.Files["rows/hand-calibrated.csv"])))
	if got, want := hex.EncodeToString(sum[:8]), "f3c82f925617f150"; got != want {
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
