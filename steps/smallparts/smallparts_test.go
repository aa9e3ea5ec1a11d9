package smallparts

import (
	"bytes"
	"context"
	"errors"
	"slices"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/steptest"
)

func shares(pairs ...any) step.Table {
	var t step.Table
	for i := 0; i < len(pairs); i += 2 {
		t.Names = append(t.Names, pairs[i].(string))
		t.Values = append(t.Values, pairs[i+1].(float64)/100)
		t.Kinds = append(t.Kinds, step.Share)
	}
	return t
}

// TestPhthalates is the truth table at the limits: exactly 0.1 % of DEHP passes
// "more than 0.1 % of each" (16 CFR 1307.3) and reaches "equal to or greater
// than 0.1 % in any combination" (Regulation (EU) 2018/2005); three of 0.04 %
// do the same; 0.09 % of each EU group stays below both (ECHA Q&A 672); a
// substance that only the US list names has no share in entry 51.
func TestPhthalates(t *testing.T) {
	tests := []struct {
		table             step.Table
		over              int64
		reached51, over52 bool
	}{
		{shares("DEHP", 0.10), 0, true, false},
		{shares("DEHP", 0.04, "DBP", 0.04, "BBP", 0.04), 0, true, false},
		{shares("DEHP", 0.09, "DINP", 0.09), 0, false, false},
		{shares("DPENP", 0.11), 1, false, false},
		{shares("DINP", 0.10), 0, false, false},
		{shares("DINP", 0.06, "DIDP", 0.05), 0, false, true},
		{shares("DEHP", 0.0999), 0, false, false},
	}
	for _, tt := range tests {
		out := &step.Outcome{Measures: map[string]any{}}
		declare(step.Values{"phthalates": tt.table}, out)
		m := out.Measures
		if m["phthalates.us.over"] != tt.over || m["phthalates.eu51.reached"] != tt.reached51 || m["phthalates.eu52.over"] != tt.over52 {
			t.Errorf("%v %v: %v", tt.table.Names, tt.table.Values, m)
		}
	}
}

func TestCheck(t *testing.T) {
	tests := []struct {
		values step.Values
		want   string
	}{
		{step.Values{"meant-for": underThree}, ""},
		{step.Values{"meant-for": collectors}, "reason on file"},
		{step.Values{"meant-for": collectors, "age-reason": "sold at art fairs"}, ""},
		{step.Values{"meant-for": children, "phthalates": shares("DEHPP", 0.1)}, "names \"DEHPP\""},
		{step.Values{"meant-for": children, "phthalates": step.Table{Names: []string{"DEHP"}, Kinds: []step.ValueType{step.Number}, Values: []any{0.1}}}, "needs a share"},
		{step.Values{"meant-for": children, "phthalates": shares("DEHP", 140.0)}, "outside"},
	}
	for _, tt := range tests {
		var says []string
		for _, c := range (Kind{}).Check(tt.values) {
			says = append(says, c.Says)
		}
		got := strings.Join(says, "\n")
		if (tt.want == "") != (got == "") || !strings.Contains(got, tt.want) {
			t.Errorf("%v: %q, want %q", tt.values, got, tt.want)
		}
	}
}

// solid is the hull of pts as a surface file.
func solid(t testing.TB, name string, pts []geom.Vec) step.File {
	t.Helper()
	h := hull(t, pts)
	m := &geom.Mesh{Tris: h.Facets}
	for _, p := range h.Points {
		m.Verts = append(m.Verts, p.Point())
	}
	var b bytes.Buffer
	if err := meshio.WritePLY(&b, m); err != nil {
		t.Fatal(err)
	}
	return steptest.File(name, b.Bytes(), "mm")
}

func TestStep(t *testing.T) {
	in := map[string][]step.File{"pieces": {solid(t, "head.ply", ball(100)), solid(t, "nail.ply", box(6, 4, 1)), solid(t, "hand.ply", box(64, 30, 22))}}
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: in, Values: step.Values{"meant-for": underThree}})
	if r.Measures["pieces"] != int64(3) || r.Measures["fitting"] != int64(1) || !slices.Equal(r.Measures["fitting.names"].([]string), []string{"nail"}) {
		t.Errorf("measures %v", r.Measures)
	}
	if len(r.Spots) != 1 || !strings.Contains(r.Spots[0].Says, "nail: goes wholly into") {
		t.Errorf("spots %v", r.Spots)
	}
	if table := string(r.Files["table/gauge.csv"]); !strings.Contains(table, "nail,6.00,4.00,1.00,24,fits,fits") || !strings.Contains(table, "does not fit,does not fit") {
		t.Errorf("table:\n%s", table)
	}
	for _, s := range append(r.Notes, Kind{}.Handbook().Cautions...) {
		if strings.Contains(s, "compliant") || strings.Contains(s, " safe") {
			t.Errorf("says %q", s)
		}
	}
}

func TestCancelled(t *testing.T) {
	ctx, cancel := context.WithCancelCause(t.Context())
	stop := errors.New("stop")
	cancel(stop)
	if _, err := Metric.Fits(ctx, hull(t, rod(31.7, 25.5))); !errors.Is(err, stop) {
		t.Errorf("error %v, want the cause", err)
	}
}
