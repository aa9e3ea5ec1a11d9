package main

import (
	"strings"
	"testing"

	"layette/engine"
	"layette/steps/specimen"
)

var kitParts = []string{"head", "left-arm", "right-arm", "left-leg", "right-leg"}

// TestSeatedLine: a sound kit sits, belongs together, curls as it was meant and
// is drawn from three sides for the sculptor; a head that was bent back and
// openings out of round are held, each by its own gate and nothing else.
func TestSeatedLine(t *testing.T) {
	d := newWorkroom(t)
	d.lay("sleeping-newborn-seated", "", specimen.Options{}, kitParts...)
	const only = "seat,bends,proportions,assembly"
	b := d.board("run", exitWaits, "--json", "--only", only)
	for _, p := range kitParts {
		stood(t, b, "seat", p, engine.Done)
		stood(t, b, "bends", p, engine.Done)
	}
	stood(t, b, "proportions", "", engine.Done)
	stood(t, b, "assembly", "", engine.Unsigned)
	for _, side := range []string{"front", "right", "above"} {
		if picture := d.file("out/kit/assembly/kit-" + side + ".png"); !strings.HasPrefix(picture, "\x89PNG") {
			t.Errorf("no picture from %s", side)
		}
	}

	slip := specimen.Options{Faults: []specimen.Fault{
		{What: specimen.Tilted, Part: "head", Size: 6},
		{What: specimen.Oval, Part: "left-arm", Size: 2},
		{What: specimen.Oval, Part: "right-leg", Size: 2},
	}}
	d.lay("sleeping-newborn-seated", "", slip, "head", "left-arm", "right-leg")
	b = d.board("run", exitHeld, "--json", "--only", only)
	for part, gate := range map[string]string{"head": "lean", "left-arm": "shape", "right-leg": "shape", "right-arm": "", "left-leg": ""} {
		st := b.Find(engine.Node{Stage: "seat", Part: part})
		if held := heldBy(st); held != gate {
			t.Errorf("seat/%s is held by %q, want %q", part, held, gate)
		}
	}
	if held := heldBy(b.Find(engine.Node{Stage: "assembly"})); held != "" {
		t.Errorf("assembly does not wait for seats: held by %q", held)
	}
}

// heldBy names the gates that hold a stage.
func heldBy(st *engine.Status) string {
	var held []string
	for _, g := range st.Gates {
		if !g.GoesOn() {
			held = append(held, g.Gate)
		}
	}
	return strings.Join(held, " ")
}
