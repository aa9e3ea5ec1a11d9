package rows

import (
	"encoding/json"
	"strings"
	"testing"

	"layette/steps/internal/steptest"
)

func TestOpen(t *testing.T) {
	want := Row{SHA256: "aa", Sum: "bb", Verdict: "trim", Found: "drop", Reason: "noise", Points: 7, Kept: 0.5, Spacing: 0.25, Noise: 0.08, Turn: 1, Area: 900}
	data, err := json.Marshal(want)
	if err != nil {
		t.Fatal(err)
	}
	if got, err := Open(steptest.File("row.json", data, "")); err != nil || got != want {
		t.Errorf("%+v, %v", got, err)
	}
	for n := range data {
		if _, err := Open(steptest.File("row.json", data[:n], "")); err == nil || !strings.Contains(err.Error(), "row.json: not a row of intake") {
			t.Fatalf("cut at byte %d: %v", n, err)
		}
	}
}

func FuzzOpen(f *testing.F) {
	f.Add([]byte(`{"sha256":"aa","noise":0.1}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		got, err := Open(steptest.File("row.json", data, ""))
		if err != nil {
			return
		}
		again, err := json.Marshal(got)
		if err != nil {
			t.Fatal(err)
		}
		if second, err := Open(steptest.File("row.json", again, "")); err != nil || second != got {
			t.Fatalf("second reading: %+v, %v; want %+v", second, err, got)
		}
	})
}
