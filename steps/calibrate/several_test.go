package calibrate

import (
	"encoding/csv"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"

	"layette/engine/step"
	"layette/steps/internal/form"
	"layette/steps/internal/geom"
	"layette/steps/internal/process"
	"layette/steps/internal/steptest"
)

// TestSeveralSamples: three samples of one material, each with its own noise and
// holes, tell together more narrowly than alone what is true of all, in the rows
// and in the table to paste. Of nine figures one may be wider: where samples
// happen to differ by more than their bounds explain, that widens them.
func TestSeveralSamples(t *testing.T) {
	w := truth{shrink: [3]float64{0.03, 0.03, 0.03}, detail: 1.8, noise: 0.05, flash: true, holes: true}
	soft, samples := softFine(t, 48, 2, w.detail), []*geom.Mesh(nil)
	for seed := range 3 {
		w.seed = uint64(2000 + seed)
		samples = append(samples, scanned(soft, w))
	}
	r := steptest.Run(t, Kind{}, given(t, lump(44, geom.Vec{}), nil, samples...))
	rows, err := csv.NewReader(strings.NewReader(string(r.Files["rows/hand-calibrated.csv"]))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	number := func(s string) float64 {
		x, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
	want := map[string]float64{"detail_mm ": w.detail * 0.97}
	for _, axis := range []string{"x", "y", "z"} {
		want["shrinks "+axis] = 0.03
	}
	for k := 1; k < bands; k++ {
		at := cutoffAt(firstBand + k)
		want["kept "+strconv.FormatFloat(at, 'f', 2, 64)+" mm"] = form.Passed(w.detail, at)
	}
	alone, told, narrower := map[string]float64{}, 0, 0
	for _, row := range rows[1:] {
		what := row[1] + " " + row[2]
		truth, ok := want[what]
		if !ok {
			continue
		}
		half := (number(row[5]) - number(row[4])) / 2
		if row[0] != "all" {
			alone[what] += half / 3
			continue
		}
		told++
		t.Logf("%s: off %+.5f, bounds %.5f, alone %.5f", what, number(row[3])-truth, half, alone[what])
		if !(number(row[4]) <= truth && truth <= number(row[5])) {
			t.Errorf("%s of three samples: %v, want %.5f", what, row[3:], truth)
		}
		if half < 0.7*alone[what] {
			narrower++
		}
	}
	if told != len(want) || narrower < told-1 {
		t.Errorf("of %d figures %d are told and %d are narrower", len(want), told, narrower)
	}
	l := pasted(t, string(r.Files["table/hand-calibrated.toml"]))
	if !(l.ShareFrom <= 0.03 && 0.03 <= l.ShareTo) || !(math.Abs(l.Share[0]-0.03) <= 0.0005) ||
		!(l.DetailFrom <= w.detail*0.97 && w.detail*0.97 <= l.DetailTo) {
		t.Errorf("the table says %+v", l)
	}
	if origin := string(r.Files["table/hand-calibrated.toml"]); !strings.Contains(origin, "3 samples") {
		t.Errorf("%s", origin)
	}
}

// pasted returns the link that a recipe's reader finds in a table.
func pasted(t *testing.T, text string) process.Link {
	t.Helper()
	var read struct {
		Materials map[string]struct {
			Process map[string]map[string]any
		}
	}
	if _, err := toml.Decode(text, &read); err != nil {
		t.Fatalf("%v in\n%s", err, text)
	}
	link := step.Table(quantities(t, read.Materials["vinyl"].Process["whole-chain"]))
	l, err := process.One("whole-chain", link, nil)
	if err != nil {
		t.Fatalf("%v in\n%s", err, text)
	}
	return l
}
