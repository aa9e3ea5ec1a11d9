package assembly

import (
	"fmt"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/steptest"
	"layette/steps/specimen"
)

// TestKept: a kit put together with what an earlier run kept is the same, to
// the bytes of its pictures, as one put together anew; a part that was edited
// or has another seat is laid again, and so is what was kept and is damaged.
func TestKept(t *testing.T) {
	files := kitOf(t, specimen.Options{}, coarse)
	run := func(files []step.File, v step.Values, kept steptest.Kept) string {
		r := steptest.Run(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"parts": files}, Values: v, Kept: kept})
		return fmt.Sprintf("%+v %s", *r.Outcome, r.Files)
	}
	kept := steptest.Kept{}
	again := func(files []step.File, v step.Values, kept steptest.Kept, anew int, when string) {
		t.Helper()
		had := len(kept)
		if run(files, v, kept) != run(files, v, nil) || len(kept) != had+anew {
			t.Errorf("%s: %d parts were laid anew, want %d, or the kit is another one", when, len(kept)-had, anew)
		}
	}
	again(files, body(), kept, 5, "at first")
	again(files, body(), kept.Damaged(), 0, "damaged")
	moved := body()
	moved["seats"].(step.Table).Values[1] = seatAt(point{-45, 0, -26}, point{-0.8, 0, -0.6}, point{0, 1, 0}, point{0, -1, 0})
	again(files, moved, kept, 1, "one seat moved")
	files[3] = steptest.Surface(t, "left-leg", child.Mesh(t, specimen.Options{Knee: 40}, "left-leg", coarse))
	again(files, body(), kept, 1, "one edited")
	for i := range files {
		files[i].Open = func() (step.Reader, error) {
			t.Error("a part that did not change is read")
			return nil, nil
		}
	}
	run(files, body(), kept)
}
