package gaps

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/steptest"
)

// fromData runs the step on a file of the test data.
func fromData(t *testing.T, name string, values step.Values) *steptest.Result {
	t.Helper()
	dir := os.Getenv("LAYETTE_DATA")
	if dir == "" {
		t.Skip("LAYETTE_DATA is not set: the shapes of own-analytic-a were not measured")
	}
	data, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	return steptest.Run(t, Kind{}, steptest.Given{
		Inputs: map[string][]step.File{"surface": {steptest.File(filepath.Base(name), data, "mm")}}, Values: values,
	})
}

type analytic struct {
	file    string
	measure string
	want    any
	within  float64
}

// TestAnalytic measures the shapes of own-analytic-a; the exact values are those
// of its expected.json and, for thickness, follow from its sizes. LAYETTE_HANDS
// makes it all of them.
func TestAnalytic(t *testing.T) {
	tests := []analytic{
		{"fingers_gap_020", "air.least", 0.2, 0.001},
		{"fingers_gap_020", "air.fingers", int64(1), 0},
		{"fingers_gap_020", "solid.least", 8.0, 0.16},
		{"fingers_gap_050", "air.least", 0.5, 0.001},
		{"fingers_gap_050", "air.fingers", int64(1), 0},
		{"fingers_gap_050", "solid.least", 8.0, 0.16},
		{"fingers_gap_100", "air.least", 1.0, 0.001},
		{"fingers_gap_100", "air.fingers", int64(1), 0},
		{"fingers_crossing", "air.spots", int64(0), 0},
		{"fingers_crossing", "air.touching", int64(1), 0},
		{"fingers_crossing", "solid.least", 8.0, 0.16},
		{"groove_w060_d030", "air.spots", int64(0), 0},
		{"groove_w060_d030", "slot.folds", int64(0), 0},
		{"groove_w060_d030", "line.count", int64(1), 0},
		{"groove_w060_d030", "line.width", 0.6, 0.012},
		{"groove_w060_d030", "line.depth", 0.3, 0.006},
		{"groove_w060_d030", "crevice.least", 90.0, 0.5},
		{"groove_w060_d030", "corner.least", 0.0, 0.001},
		{"groove_w060_d030", "solid.least", 4.7, 0.01},
		{"groove_w120_d080", "air.spots", int64(0), 0},
		{"groove_w120_d080", "line.count", int64(1), 0},
		{"groove_w120_d080", "line.width", 1.2, 0.024},
		{"groove_w120_d080", "line.depth", 0.8, 0.016},
		{"groove_w120_d080", "crevice.least", 73.74, 0.5},
		{"groove_w120_d080", "solid.least", 4.2, 0.01},
		{"hollow_ball_wall_120", "air.spots", int64(0), 0},
		{"hollow_ball_wall_120", "solid.least", 1.2, 0.02},
		{"hollow_ball_wall_200", "solid.least", 2.0, 0.02},
	}
	if !fully() { // one of each kind
		tests = slices.DeleteFunc(tests, func(tt analytic) bool {
			return !slices.Contains([]string{"fingers_gap_050", "fingers_crossing", "groove_w060_d030", "hollow_ball_wall_200"}, tt.file)
		})
	}
	done := map[string]*steptest.Result{}
	for _, tt := range tests {
		t.Run(tt.file+"/"+tt.measure, func(t *testing.T) {
			if done[tt.file] == nil {
				done[tt.file] = fromData(t, "own-analytic-a/"+tt.file+".ply", nil)
			}
			got := done[tt.file].Measures[tt.measure]
			if x, ok := got.(float64); ok && math.Abs(x-tt.want.(float64)) <= tt.within {
				return
			}
			if got != tt.want {
				t.Errorf("%v, want %v within %v", got, tt.want, tt.within)
			}
		})
	}
}

// TestRealHead: a scanned face, open all round, is measured and said to be open;
// faults come before remarks.
func TestRealHead(t *testing.T) {
	r := fromData(t, realHead, step.Values{"fills-solid": true, "spacing": 0.8})
	if notes := strings.Join(r.Notes, " "); !strings.Contains(notes, "open") {
		t.Errorf("notes %q do not say that the head is open", notes)
	}
	if got := r.Measures["air.least"].(float64); got <= 0 || got > 3 {
		t.Errorf("least gap %v, want one up to the widest looked for", got)
	}
	for i, s := range r.Spots {
		if s.Fault && i > 0 && !r.Spots[i-1].Fault {
			t.Errorf("spot %d is a fault and comes after a remark", s.Number)
		}
	}
}

const realHead = "rvcg-humface/humface.ply"
