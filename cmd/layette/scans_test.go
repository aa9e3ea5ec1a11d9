package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"layette/engine"
	"layette/steps/specimen"
)

// TestScannedLine takes a session of a hand, filed as an arm, through the line
// that begins with scans, to one surface and its unseen places: no shot is
// looked at before two who were in the room have signed; an unreadable shot is
// dropped and harms nothing; a shot in no part holds the session, and nothing is
// placed before that; shots that do not all hang together want a concession; a
// person's word drops a shot, and one changed shot runs its own intake alone.
func TestScannedLine(t *testing.T) {
	d := newWorkroom(t)
	sheet := "format = 1\nrecipe = \"sleeping-newborn-scanned\"\n[folders.second]\npath = \"second\"\n[folders.third]\npath = \"third\"\n"
	for set, value := range map[string]string{"tolerances.voxel": `"1 mm"`, "tolerances.unseen": `"70 %"`, "stages.coverage.values.openings": "0"} {
		sheet += fmt.Sprintf("[overrides.%s]\nset = %q\nvalue = %s\nreason = \"a test: ten coarse shots of a hand alone\"\n", strings.ReplaceAll(set, ".", "-"), set, value)
	}
	d.write("model.toml", sheet)
	d.write("papers/session.txt", "release 7; Wren Hollis, Anna Berg\n")
	d.run(exitDone, "people", "add", "wren", "--printed", "Wren Hollis", "--role", "attendant", "--role", "release-authority", "--key", d.key("wren"), "--yes")
	d.run(exitDone, "people", "add", "anna", "--printed", "Anna Berg", "--role", "attendant", "--key", d.key("anna"), "--as", d.key("wren"), "--yes")
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
		d.write("scans/right-arm/"+c.Name+".ply", b.String())
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	d.write("scans/right-arm/torn.ply", first[:len(first)/2])
	d.write("scans/lost.ply", first)

	const only = "session,merge,coverage"
	b := d.board("run", exitWaits, "--json", "--only", only)
	for _, st := range b.Stages {
		if st.Stage == "intake" && st.State != engine.Waiting {
			t.Errorf("%s is %s before anybody signed for the session", st.Node, st.State)
		}
	}
	for _, who := range []string{"wren", "anna"} {
		d.run(exitDone, "sign", "session-ready", "--tick", "all", "--as", d.key(who), "--yes")
	}
	b = d.board("run", exitHeld, "--json", "--only", only)
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
	torn := b.Find(engine.Node{Stage: "intake", Part: "right-arm", Scan: "scans/right-arm/torn.ply"})
	if torn == nil || torn.State != engine.Done || measure(torn, "verdict") != "drop" {
		t.Errorf("the torn file: %+v", torn)
	}
	if st := state("align", "right-arm"); st.State != engine.Waiting {
		t.Errorf("align is %s while the session is held", st.State)
	}
	if err := os.Remove(filepath.Join(d.dir, "scans", "lost.ply")); err != nil {
		t.Fatal(err)
	}
	d.board("run", exitHeld, "--json", "--only", only)
	d.run(exitDone, "concede", "align", "right-arm", "one-group", "--reason", "ten coarse shots", "--as", d.key("wren"), "--yes")
	b = d.board("run", exitWaits, "--json", "--only", only)
	if st := state("align", "head"); st.State != engine.Handwork || st.Says != "no shot scans/head/* yet" {
		t.Errorf("align of a head without shots is %s: %s", st.State, st.Says)
	}
	merge := state("merge", "right-arm")
	if merge.State != engine.Done {
		t.Fatalf("merge is %s: %s", merge.State, merge.Says)
	}
	joined, _ := measure(merge, "scans.joined").(float64)
	t.Logf("align %v, merge %v, coverage %v", state("align", "right-arm").Measures, merge.Measures, state("coverage", "right-arm").Measures)
	if joined < 5 {
		t.Errorf("%v of 10 shots are in the surface", joined)
	}
	if cov := state("coverage", "right-arm"); cov.State != engine.Unsigned || len(cov.Spots) == 0 {
		t.Errorf("coverage is %s with %d spots: %s", cov.State, len(cov.Spots), cov.Says)
	}

	// A person drops a shot: that shot's intake runs again, no other's.
	d.write("model.toml", sheet+`[overrides.blinked]
set = "stages.intake.values.verdict"
scan = "scans/right-arm/right-hand-003.ply"
value = "drop"
reason = "the hand opened"
`)
	b = d.board("run", exitDone, "--json", "--only", "session")
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
