package steps_test

import (
	"math"
	"os"
	"testing"

	"layette/engine/step"
	"layette/steps/gaps"
	"layette/steps/hollow"
	"layette/steps/internal/steptest"
	"layette/steps/relief"
	"layette/steps/specimen"
)

// TestFiner: as triangles shrink, values come to what was planted: a gap between
// two fingers, the void within a ball on a stalk, a line's depth. With
// LAYETTE_SEEDS a hand of 15,000 to two million triangles, else the first two.
func TestFiner(t *testing.T) {
	kit, err := specimen.NewKit(specimen.Options{Plain: true, Faults: []specimen.Fault{
		{What: specimen.FingerGap, Part: "right-hand", Size: 1.1, Seed: 3},
		{What: specimen.Knob, Part: "right-hand", Size: 4, Seed: 1},
		{What: specimen.Furrow, Part: "right-hand", Size: 0.5, Seed: 40},
	}})
	if err != nil {
		t.Fatal(err)
	}
	part, err := kit.Part("right-hand")
	if err != nil {
		t.Fatal(err)
	}
	gap, knob, line := part.Planted[0], part.Planted[1], part.Planted[2]
	edges := []float64{0.95, 0.47, 0.23, 0.118, 0.083}
	if os.Getenv("LAYETTE_SEEDS") == "" {
		edges = edges[:2]
	}
	for _, edge := range edges {
		m, err := part.Mesh(t.Context(), specimen.Sampling{Edge: edge})
		if err != nil {
			t.Fatal(err)
		}
		in := map[string][]step.File{"surface": {ply(t, m)}}
		air := steptest.Run(t, gaps.Kind{}, steptest.Given{Inputs: in}).Measures["air.least"].(float64)
		void := valueAt(steptest.Run(t, hollow.Kind{}, steptest.Given{Inputs: in}), "trapped chamber", knob)
		deep := valueAt(steptest.Run(t, relief.Kind{}, steptest.Given{Inputs: in, Values: step.Values{"spots": int64(1000)}}), "line", line)
		want := knobVoid(knob.Value/2, knob.Depth)
		t.Logf("edge %.3f, %7d triangles: gap %.4f of %.4f mm, void %.2f of %.2f mm³, line %.4f of %.4f mm", edge, len(m.Tris), air, gap.Value, void, want, deep, line.Value)
		off := func(got, want float64) float64 { return math.Abs(got/want - 1) }
		if edge < 0.5 && (off(air, gap.Value) > 0.02 || off(void, want) > 0.02) || edge < 0.3 && off(deep, line.Value) > 0.1 {
			t.Errorf("edge %.3f: a value is off", edge)
		}
	}
}

// valueAt returns the greatest value of a kind of spot at a planted fault.
func valueAt(r *steptest.Result, what string, q specimen.Planted) float64 {
	best := 0.0
	for _, s := range r.Spots {
		if s.What == what && place(s).Sub(q.At).Len() < q.Radius+2 {
			best = max(best, s.Value)
		}
	}
	return best
}
