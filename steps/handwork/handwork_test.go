package handwork

import (
	"testing"

	"layette/engine/step"
	"layette/steps/internal/steptest"
)

func TestGivesTheFileOnUntouched(t *testing.T) {
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"surface": {steptest.File("head.stl", []byte("not even a surface"), "mm")}}})
	if got := string(r.Files["surface/head.stl"]); got != "not even a surface" {
		t.Errorf("gave %q", got)
	}
	if _, err := steptest.Try(t, Kind{}, steptest.Given{}); err == nil {
		t.Error("ran without a person's file")
	}
}
