package signoff

import (
	"slices"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/steptest"
)

func TestGivesOnWhatTheWordIsAbout(t *testing.T) {
	a := steptest.File("out/head/shrinkage/master.stl", []byte("a"), "mm")
	a.Part, a.Stage = "head", "shrinkage"
	b := steptest.File("out/left-arm/shrinkage/master.stl", []byte("b"), "mm")
	b.Part, b.Stage = "left-arm", "shrinkage"
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"about": {a, b}}})
	if want := []string{"about/out/head/shrinkage/master.stl", "about/out/left-arm/shrinkage/master.stl"}; !slices.Equal(r.Order, want) {
		t.Errorf("gave %v, want %v", r.Order, want)
	}
	if r.Measures["files"] != int64(2) {
		t.Errorf("files = %v, want 2", r.Measures["files"])
	}
}
