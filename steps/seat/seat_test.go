package seat

import (
	"bytes"
	"context"
	"errors"
	"math"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/meshio"
	"layette/steps/internal/steptest"
	"layette/steps/specimen"
)

func file(t testing.TB, o specimen.Options, name string) step.File {
	t.Helper()
	o.Plain = true
	kit, err := specimen.NewKit(o)
	if err != nil {
		t.Fatal(err)
	}
	p, err := kit.Part(name)
	if err != nil {
		t.Fatal(err)
	}
	m, err := p.Mesh(t.Context(), specimen.Sampling{Triangles: 20_000})
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := meshio.WritePLY(&b, m); err != nil {
		t.Fatal(err)
	}
	return steptest.File(name+".ply", b.Bytes(), "mm")
}

func sit(t testing.TB, o specimen.Options, name string) map[string]any {
	t.Helper()
	return steptest.Run(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"surface": {file(t, o, name)}}}).Measures
}

// TestOval: an opening planted 2 mm out of round is found, a sound one is
// round; both have the tie's groove 9 mm
// up; cut 2.5 mm deep with rounded shoulders, the tape sees half of it or more.
func TestOval(t *testing.T) {
	for _, tt := range []struct{ planted, least, most float64 }{{0, 0, 0.6}, {2, 1.4, 2.6}} {
		o := specimen.Options{}
		if tt.planted > 0 {
			o.Faults = []specimen.Fault{{What: specimen.Oval, Part: "left-leg", Size: tt.planted}}
		}
		m := sit(t, o, "left-leg")
		if x := m["opening.oval"].(float64); x < tt.least || x > tt.most {
			t.Errorf("planted %g mm: found %.3f", tt.planted, x)
		}
		if d, at := m["groove.depth"].(float64), m["groove.at"].(float64); d < 1 || d > 2.6 || math.Abs(at-9) > 1 {
			t.Errorf("groove %.2f mm deep at %.1f mm", d, at)
		}
	}
}

// TestTilted: a head planted 6 degrees back leans so, a sound one does not.
func TestTilted(t *testing.T) {
	for _, deg := range []float64{0, 6} {
		o := specimen.Options{}
		if deg > 0 {
			o.Faults = []specimen.Fault{{What: specimen.Tilted, Part: "head", Size: deg}}
		}
		m := sit(t, o, "head")
		if x := m["lean"].(float64); math.Abs(x-deg) > 0.6 {
			t.Errorf("planted %g degrees: found %.2f", deg, x)
		}
	}
}

func TestCancel(t *testing.T) {
	ctx, cancel := context.WithCancelCause(t.Context())
	stop := errors.New("stop")
	cancel(stop)
	job := &step.Job{Workers: 2, Progress: step.NoProgress, Values: steptest.Values(t, Kind{}.Handbook(), nil),
		Inputs: map[string][]step.File{"surface": {file(t, specimen.Options{}, "left-leg")}}}
	if _, err := (Kind{}).Run(ctx, job); !errors.Is(err, stop) {
		t.Errorf("error %v, want the cause", err)
	}
}
