package main

import (
	"bytes"
	"fmt"
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

// TestSleepingLine: two fingers too close are held where they are, and by
// nothing else; the rest of the line does not wait for that arm.
func TestSleepingLine(t *testing.T) {
	d := newWorkroom(t)
	d.lay("sleeping-newborn", "", specimen.Options{Faults: []specimen.Fault{{What: specimen.FingerGap, Part: "left-arm", Size: 1.1, Seed: 1}}}, "left-arm")
	d.lay("sleeping-newborn", "", specimen.Options{}, "left-leg")
	b := d.board("run", exitHeld, "--json", "--only", "gaps,seat")
	for _, stage := range []string{"soundness", "seat"} {
		for _, p := range []string{"left-arm", "left-leg"} {
			stood(t, b, stage, p, engine.Done)
		}
	}
	for part, gate := range map[string]string{"left-leg": "", "left-arm": "no-webs"} {
		if held := heldBy(b.Find(engine.Node{Stage: "gaps", Part: part})); held != gate {
			t.Errorf("gaps/%s is held by %q, want %q", part, held, gate)
		}
	}
}

// TestDeepenedLine: what the sculptor made is deepened, looked at, and only
// then judged and scaled as the part that is to be.
func TestDeepenedLine(t *testing.T) {
	d := newWorkroom(t)
	d.lay("sleeping-newborn-deepened", "", specimen.Options{}, "left-leg")
	d.run(exitDone, "people", "add", "anna", "--printed", "Anna Berg", "--role", "sculptor", "--key", d.key("anna"), "--yes")
	b := d.board("run", exitWaits, "--json", "--only", "seat,bends")
	stood(t, b, "as-sculpted", "left-leg", engine.Done)
	m := stood(t, b, "deepen", "left-leg", engine.Unsigned)
	stood(t, b, "soundness", "left-leg", engine.Waiting)
	t.Logf("deepened: %v", m)
	d.run(exitDone, "sign", "deepen", "left-leg", "--tick", "all", "--as", d.key("anna"), "--yes")
	b = d.board("run", exitWaits, "--json", "--only", "seat,bends")
	stood(t, b, "soundness", "left-leg", engine.Done)
	stood(t, b, "seat", "left-leg", engine.Done)
	stood(t, b, "bends", "left-leg", engine.Done)
}

// TestThisChild: the child's own numbers stand in the model sheet and castings
// in their folder; a girth that is not the child's and a hand that was rescaled
// since it was cast are held by their gate, the others are not.
func TestThisChild(t *testing.T) {
	const sheet = `[overrides.head]
set    = "stages.proportions.values.child-head-girth"
value  = "%s mm"
reason = "tape round the head, by the midwife"
[overrides.sex]
set    = "stages.proportions.values.sex"
value  = "girl"
reason = "for the published tables"
[overrides.age]
set    = "stages.proportions.values.age"
value  = "0 h"
reason = "for the published tables"
`
	kit, err := specimen.NewKit(specimen.Options{Plain: true})
	if err != nil {
		t.Fatal(err)
	}
	cast, err := kit.Casting(t.Context(), "left-hand", specimen.Sampling{Triangles: 30_000})
	if err != nil {
		t.Fatal(err)
	}
	casting := func(scale float64) string {
		var b bytes.Buffer
		if err := specimen.WriteSTL(&b, cast.Scaled(scale)); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	for _, tt := range []struct {
		girth string
		scale float64
		held  string
	}{{"345", 1, ""}, {"370", 1, "this-child"}, {"345", 0.96, "this-child"}} {
		d := newWorkroom(t)
		d.lay("sleeping-newborn-seated", fmt.Sprintf(sheet, tt.girth), specimen.Options{}, "head")
		d.sculpt(kit, "left-arm", 60_000)
		d.write("castings/left-arm.stl", casting(tt.scale))
		exit, state := exitDone, engine.Done
		if tt.held != "" {
			exit, state = exitHeld, engine.Held
		}
		for _, p := range []string{"right-arm", "left-leg", "right-leg"} {
			d.sculpt(kit, p, 6_000)
		}
		b := d.board("run", exit, "--json", "--only", "proportions")
		m := stood(t, b, "proportions", "", state)
		if held := heldBy(b.Find(engine.Node{Stage: "proportions"})); held != tt.held || m["references.compared"] != 1.0 || m["head.reference"] == "no reference" {
			t.Errorf("%s mm, cast at %g: held by %q, want %q; %v castings compared, factor %v, by %v", tt.girth, tt.scale, held, tt.held, m["references.compared"], m["references.most"], m["head.reference"])
		}
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

// TestPrintedLine walks the line with test prints on an invented child, from
// the sculptor's surfaces to the release: nothing is cut before gaps, bends and
// stripping let it; hands, feet and face are cut off and stand on the printer;
// a note pinned to a print asks for a change, the sculptor edits, that part
// alone runs again, and the note must be answered before anything is released.
func TestPrintedLine(t *testing.T) {
	d := newWorkroom(t)
	d.lay("sleeping-newborn-printed", "", specimen.Options{}, kitParts...)
	for _, who := range [][3]string{{"wren", "Wren Hollis", "release-authority"}, {"anna", "Anna Berg", "sculptor"}, {"ben", "Ben Okafor", "second-pair"}} {
		args := []string{"people", "add", who[0], "--printed", who[1], "--role", who[2], "--key", d.key(who[0]), "--yes"}
		if who[0] != "wren" {
			args = append(args, "--as", d.key("wren"))
		}
		d.run(exitDone, args...)
	}
	sign := func(who string, args ...string) string {
		t.Helper()
		return d.run(exitDone, append(append([]string{"sign"}, args...), "--tick", "all", "--as", d.key(who), "--yes")...)
	}
	prints := map[string][]string{"print-hands": {"left-arm", "right-arm"}, "print-feet": {"left-leg", "right-leg"}, "print-face": {"head"}}

	b := d.board("run", exitWaits, "--json", "--only", "gaps,bends,stripping,print-hands,print-feet,print-face")
	for _, p := range kitParts {
		stood(t, b, "gaps", p, engine.Unsigned)
		stood(t, b, "bends", p, engine.Done)
		stood(t, b, "stripping", p, engine.Done)
	}
	stood(t, b, "cut-hands", "left-arm", engine.Waiting)
	for _, p := range kitParts {
		sign("anna", "gaps", p)
	}
	b = d.board("run", exitWaits, "--json", "--only", "print-hands,print-feet,print-face,seat")
	for stage, parts := range prints {
		for _, p := range parts {
			if m := stood(t, b, stage, p, engine.Unsigned); m["pieces"] != 2.0 || m["fitting"] != 2.0 {
				t.Errorf("%s/%s: %v pieces, %v fit the printer", stage, p, m["pieces"], m["fitting"])
			}
		}
	}

	d.says(d.run(exitDone, "hold", "print-hands", "left-arm", "--at", "0,-41,127,4:the wrist is too thin", "--as", d.key("ben"), "--yes"), "print-hands/left-arm is held")
	hold := d.record("hold")
	d.lay("sleeping-newborn-printed", "", specimen.Options{Curl: [5]float64{2: 4}}, "left-arm")
	b = d.board("run", exitWaits, "--json", "--only", "gaps,bends,stripping,print-hands,print-feet,print-face,seat")
	for _, st := range b.Stages {
		if st.Ran && st.Part != "left-arm" {
			t.Errorf("%s ran, and only the left arm was changed", st.Node)
		}
	}
	sign("anna", "gaps", "left-arm")
	b = d.board("run", exitHeld, "--json", "--only", "print-hands")
	if st := b.Find(engine.Node{Stage: "print-hands", Part: "left-arm"}); st.State != engine.Held || !strings.Contains(st.Says, "the wrist is too thin") {
		t.Errorf("the changed print is %s: %s", st.State, st.Says)
	}
	d.says(sign("anna", "print-hands", "left-arm"), "is not answered")
	for stage, parts := range prints {
		for _, p := range parts {
			if stage+p != "print-handsleft-arm" {
				sign("anna", stage, p)
			}
		}
	}
	d.run(exitHeld, "run", "--only", "release")
	for _, p := range kitParts {
		sign("ben", "second-look", p)
	}
	d.run(exitHeld, "run", "--only", "release")
	d.says(d.run(exitWaits, "sign", "release", "--tick", "all", "--as", d.key("wren"), "--yes"), "waiting")
	d.says(sign("anna", "print-hands", "left-arm", "--answer", hold), "print-hands/left-arm is done")
	d.run(exitWaits, "run", "--only", "release")
	for _, name := range []string{"anna", "ben", "wren"} {
		d.run(exitDone, "seal", "--as", d.key(name), "--yes")
	}
	d.says(sign("wren", "release"), "release is done")
	d.says(d.file("out/kit/factory-sheet/factory-sheet.html"), "Anna Berg", "I held the print against the casting and the photographs")
}
