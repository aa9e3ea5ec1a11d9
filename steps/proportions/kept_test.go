package proportions

import (
	"fmt"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/steptest"
	"layette/steps/specimen"
)

// TestKept: what was kept of the parts and of their fits gives the very outcome
// that measuring anew gives, on sound parts and on one that was edited; what
// was cut short is made anew.
func TestKept(t *testing.T) {
	run := func(in map[string][]step.File, kept steptest.Kept) string {
		r := steptest.Run(t, Kind{}, steptest.Given{Inputs: in, Values: step.Values{"child-foot": 72.3}, Kept: kept})
		return fmt.Sprintf("%+v %s", *r.Outcome, r.Files)
	}
	given := func(o specimen.Options) map[string][]step.File {
		left, right := steptest.Surface(t, "left-leg", child.Mesh(t, specimen.Options{}, "left-leg", coarse)), steptest.Surface(t, "right-leg", child.Mesh(t, o, "right-leg", coarse))
		arm, cast := steptest.Surface(t, "left-arm", child.Mesh(t, specimen.Options{}, "left-arm", 4*coarse)), steptest.Surface(t, "left-arm", child.Mesh(t, specimen.Options{}, "left-hand", 3*coarse))
		return map[string][]step.File{"parts": {arm, left, right}, "references": {cast}}
	}
	sound, edited := given(specimen.Options{}), given(specimen.Options{Faults: []specimen.Fault{slips[1].fault}})
	kept, of := steptest.Kept{}, map[bool]string{true: run(sound, nil), false: run(edited, nil)}
	again := func(in map[string][]step.File, kept steptest.Kept, want string, anew int, when string) {
		t.Helper()
		had := len(kept)
		if got := run(in, kept); got != want || len(kept) != had+anew {
			t.Errorf("%s: %d things were kept anew, want %d, or the outcome is another one:\n%s\n%s", when, len(kept)-had, anew, got, want)
		}
	}
	again(sound, kept, of[true], 6, "at first") // four surfaces, two legs on one another, an arm on its casting
	again(sound, kept, of[true], 0, "unchanged")
	again(sound, kept.Damaged(), of[true], 0, "damaged")
	again(edited, kept, of[false], 2, "one edited")
}
