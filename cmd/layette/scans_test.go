package main

import (
	"bytes"
	"strings"
	"testing"

	"layette/engine"
	"layette/steps/specimen"
)

// scansRecipe is a hand from its shots to one surface, in the stages of the
// recipe that comes along.
const scansRecipe = `format = 1
title = "A hand from scans"
[roles.sculptor]
[roles.release-authority]
[parts.right-hand]
scans = "scans/right-hand/*"
[tolerances]
voxel = "1 mm"
unseen = "70 %"

[stages.intake]
step = "intake"
each = "scan"
scan = { file = "{scan}", units = "mm" }

[stages.session]
step = "session"
rows = { from = "intake.row" }
all = { file = "scans/**" }
[stages.session.gates.filed]
rule = "in-no-part == 0 and in-two-parts == 0"
why = "every shot belongs to one part"

[stages.align]
step = "align"
each = "part"
scans = { from = "intake.scan" }

[stages.merge]
step = "merge"
each = "part"
scans = { from = "intake.scan" }
poses = { from = "align.poses" }
values = { voxel = "tolerances.voxel" }

[stages.coverage]
step = "coverage"
each = "part"
surface = { from = "merge" }
scans = { from = "intake.scan" }
poses = { from = "align.poses" }
values = { openings = 0 }
[stages.coverage.gates.seen]
rule = "unseen.share <= tolerances.unseen"
why = "more shots are cheaper than sculpting"
`

// TestFromScans takes a session of a hand from its shots to one surface and its
// unseen places: a bad shot and an unreadable one are dropped and harm nothing,
// a shot in no part holds the session, a person's word brings a shot back, and
// one changed shot runs its own intake alone.
func TestFromScans(t *testing.T) {
	d := newWorkroom(t)
	d.write("recipes/scans.toml", scansRecipe)
	const sheet = "format = 1\nrecipe = \"scans\"\n"
	d.write("model.toml", sheet)
	kit, err := specimen.NewKit(specimen.Options{})
	if err != nil {
		t.Fatal(err)
	}
	part, err := kit.Part("right-hand")
	if err != nil {
		t.Fatal(err)
	}
	s := specimen.Session{Scanner: specimen.Scanner{Pitch: 0.7, Wide: 75, High: 75}, Shots: 10, Seed: 2}
	var first string
	err = s.Run(t.Context(), part, func(c specimen.Scan) error {
		var b bytes.Buffer
		if err := specimen.WritePLY(&b, c.Mesh); err != nil {
			return err
		}
		if first == "" {
			first = b.String()
		}
		d.write("scans/right-hand/"+c.Name+".ply", b.String())
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	d.write("scans/right-hand/torn.ply", first[:len(first)/2])
	d.write("scans/lost.ply", first)

	b := d.board("run", exitHeld, "--json")
	state := func(stage, part string) *engine.Status {
		t.Helper()
		st := b.Find(engine.Node{Stage: stage, Part: part})
		if st == nil {
			t.Fatalf("no stage %s/%s", stage, part)
		}
		return st
	}
	measure := func(st *engine.Status, name string) any {
		for _, m := range st.Measures {
			if m.Name == name {
				return m.Value
			}
		}
		return nil
	}
	session := state("session", "")
	if session.State != engine.Held || !strings.Contains(strings.Join(session.Notes, "\n"), "scans/lost.ply: in no part") {
		t.Errorf("session is %s: %q", session.State, session.Notes)
	}
	torn := b.Find(engine.Node{Stage: "intake", Part: "right-hand", Scan: "scans/right-hand/torn.ply"})
	if torn == nil || torn.State != engine.Done || measure(torn, "verdict") != "drop" {
		t.Errorf("the torn file: %+v", torn)
	}
	merge := state("merge", "right-hand")
	if merge.State != engine.Done {
		t.Fatalf("merge is %s: %s", merge.State, merge.Says)
	}
	joined, _ := measure(merge, "scans.joined").(float64)
	t.Logf("align %v, merge %v, coverage %v", state("align", "right-hand").Measures, merge.Measures, state("coverage", "right-hand").Measures)
	if joined < 5 {
		t.Errorf("%v of 10 shots are in the surface", joined)
	}
	if cov := state("coverage", "right-hand"); cov.State != engine.Done || len(cov.Spots) == 0 {
		t.Errorf("coverage is %s with %d spots: %s", cov.State, len(cov.Spots), cov.Says)
	}

	// A person drops a shot: that shot's intake runs again, no other's.
	d.write("model.toml", sheet+`[overrides.blinked]
set = "stages.intake.values.verdict"
scan = "scans/right-hand/right-hand-003.ply"
value = "drop"
reason = "the hand opened"
`)
	b = d.board("run", exitHeld, "--json")
	ran := 0
	for _, st := range b.Stages {
		if st.Stage == "intake" && st.Ran {
			ran++
		}
	}
	if ran != 1 {
		t.Errorf("%d intakes ran for one shot's word", ran)
	}
	if v := measure(state("session", ""), "overruled"); v != float64(1) {
		t.Errorf("overruled: %v", v)
	}
}
