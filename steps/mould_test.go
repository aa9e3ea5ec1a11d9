package steps_test

import (
	"bytes"
	"fmt"
	"os"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/bends"
	"layette/steps/gaps"
	"layette/steps/hollow"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/steptest"
	"layette/steps/relief"
	"layette/steps/stripping"
)

func ply(t testing.TB, m *geom.Mesh) step.File {
	t.Helper()
	var b bytes.Buffer
	if err := meshio.WritePLY(&b, m); err != nil {
		t.Fatal(err)
	}
	return steptest.File("part.ply", b.Bytes(), "mm")
}

// five are the steps that ask whether a part moulds, with what their stages
// are given: digits fill solid, and the chain softens lines.
var five = []struct {
	name   string
	kind   step.Kind
	values step.Values
}{
	{"gaps", gaps.Kind{}, step.Values{"fills-solid": true, "corner": 0.6}},
	{"bends", bends.Kind{}, nil},
	{"stripping", stripping.Kind{}, nil},
	{"hollow", hollow.Kind{}, step.Values{"fills-solid": true, "reason": "the factory casts digits solid"}},
	{"relief", relief.Kind{}, step.Values{"links": chain, "seen": 0.1}},
}

var chain = step.Table{Names: []string{"vinyl"}, Kinds: []step.ValueType{step.Tree}, Values: []any{
	step.Table{Names: []string{"shrinks", "detail"}, Kinds: []step.ValueType{step.Share, step.Length}, Values: []any{0.0, 2.0}}}}

// shapeOf is what a recipe says of a part: what kind of limb it is.
func shapeOf(part string) string {
	for _, shape := range []string{"arm", "leg", "head"} {
		if strings.HasSuffix(part, shape) {
			return shape
		}
	}
	return "other"
}

// TestMould looks for faults planted at random in invented children of all ages
// and poses. LAYETTE_SEEDS says which, as in 0-200; LAYETTE_STEPS, as in
// gaps,bends, which steps look.
func TestMould(t *testing.T) {
	from, to := uint64(0), uint64(2)
	if s := os.Getenv("LAYETTE_SEEDS"); s != "" {
		if _, err := fmt.Sscanf(s, "%d-%d", &from, &to); err != nil {
			t.Fatalf("LAYETTE_SEEDS is %q, want a range as in 0-200", s)
		}
	}
	tallies := map[string]*tally{}
	for seed := from; seed < to; seed++ {
		c := born(t, seed)
		f := ply(t, c.mesh)
		for _, s := range five {
			if only := os.Getenv("LAYETTE_STEPS"); only != "" && !strings.Contains(only, s.name) {
				continue
			}
			values := s.values
			if s.name == "bends" || s.name == "stripping" {
				values = step.Values{"shape": shapeOf(c.part.Name)} // as every recipe says it
			}
			r := steptest.Run(t, s.kind, steptest.Given{Inputs: map[string][]step.File{"surface": {f}}, Values: values})
			if tallies[s.name] == nil {
				tallies[s.name] = &tally{}
			}
			tallies[s.name].judge(t, s.name, c, r)
		}
	}
	for _, s := range five {
		n := tallies[s.name]
		if n == nil {
			continue
		}
		if n.hit < n.planted || n.invented*100 > n.parts {
			t.Errorf("%s: want all found, and at most one in a hundred parts with something invented", s.name)
		}
		t.Logf("%s: %d parts, %d sound; %d planted, %d found, %d of a wrong size, %d missed, %d invented", s.name, n.parts, n.sound, n.planted, n.hit, n.wrong, n.planted-n.hit-n.wrong, n.invented)
	}
}
