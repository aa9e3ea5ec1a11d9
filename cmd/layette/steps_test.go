package main

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"layette/steps"
)

func TestSteps(t *testing.T) {
	var out bytes.Buffer
	for _, k := range steps.All() {
		out.Reset()
		name := k.Handbook().Name
		if err := writeStep(&out, name, steps.All()); err != nil || !strings.HasPrefix(out.String(), name+" (version ") {
			t.Errorf("%s: %v\n%s", name, err, out.String())
		}
	}
	if err := writeStep(&out, "shrinkge", steps.All()); err == nil || !strings.Contains(err.Error(), "shrinkge") {
		t.Errorf("a step there is none of: %v", err)
	}
	for _, of := range []string{"recipe", "sheet"} {
		out.Reset()
		if err := writeSchema(&out, of, steps.All()); err != nil || !json.Valid(out.Bytes()) {
			t.Errorf("schema of a %s: %v", of, err)
		}
	}
	if writeSchema(&out, "model", nil) == nil {
		t.Error("a schema of nothing")
	}
}
