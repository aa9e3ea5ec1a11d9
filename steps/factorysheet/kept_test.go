package factorysheet

import (
	"fmt"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/steptest"
)

// TestKept: a sheet made with what an earlier run kept is the same, byte for
// byte, as one made anew; a master that was changed is measured and drawn
// again, and so is one of which what was kept is damaged.
func TestKept(t *testing.T) {
	run := func(in map[string][]step.File, kept steptest.Kept) string {
		r := steptest.Run(t, Kind{}, steptest.Given{Inputs: in, Values: values(), Kept: kept})
		return fmt.Sprintf("%+v %s", *r.Outcome, r.Files)
	}
	kept := steptest.Kept{}
	again := func(in map[string][]step.File, kept steptest.Kept, anew int, when string) {
		t.Helper()
		had := len(kept)
		if run(in, kept) != run(in, nil) || len(kept) != had+anew {
			t.Errorf("%s: %d things were kept anew, want %d, or the sheet is another one", when, len(kept)-had, anew)
		}
	}
	both := little(t)
	again(both, kept, 10, "at first") // two masters with four pictures each
	again(both, kept.Damaged(), 0, "damaged")
	edited := little(t)
	edited["masters"] = []step.File{edited["masters"][0], surface(t, "ball", domeAndBall[1].Scaled(1.1))}
	again(edited, kept, 5, "one edited")
	unread := little(t)
	for i := range unread["masters"] {
		unread["masters"][i].Open = func() (step.Reader, error) {
			t.Error("a master that did not change is read")
			return nil, nil
		}
	}
	run(unread, kept)
}
