package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"layette/engine"
	"layette/steps/specimen"
)

// loopRecipe is the way of a part through its test print to the factory.
const loopRecipe = `format = 1
title = "Wren & Thistle, two flasks"
[parts.left-arm]
[parts.right-arm]
[roles.sculptor]
[roles.second-pair]
[roles.release-authority]
[materials.vinyl]
wall = "2.5 mm"
shrinkage = { wax = "2 %", mould = "2 %", season = "2 %" }
[stages.sculpt]
step = "handwork"
each = "part"
surface = { file = "sculpt/{part}.stl", units = "mm" }
[stages.pieces]
step = "cut"
each = "part"
surface = { from = "sculpt" }
values = { cuts = { hand = { at = [0, 0, 12], toward = [0, 0, 1] } }, rest = "arm" }
[stages.pieces.gates.two]
rule = "pieces == 2"
concede = "release-authority"
[stages.test-print]
step = "print-bed"
each = "part"
pieces = { from = "pieces.pieces" }
values = { bed = { x = "60 mm", y = "60 mm", z = "60 mm" } }
[stages.test-print.gates.fits]
rule = "fitting == pieces"
[stages.test-print.sign]
role = "sculptor"
meaning = "I held the print in my hand"
questions = ["Does it show what the child shows?"]
[stages.master]
step = "shrinkage"
each = "part"
surface = { from = "sculpt" }
after = ["test-print"]
values = { links = "materials.vinyl.shrinkage" }
[stages.second-look]
step = "signoff"
each = "part"
about = { from = "master.master" }
[stages.second-look.sign]
role = "second-pair"
meaning = "I looked again"
not-maker = true
[stages.factory-sheet]
step = "factory-sheet"
masters = { from = "master.master" }
accounts = { from = ["pieces.account", "test-print.account", "master.account", "second-look.account"] }
after = ["second-look"]
values = { title = "Two flasks", wall = "materials.vinyl.wall", shrinkage = "materials.vinyl.shrinkage" }
[stages.release]
step = "signoff"
about = { from = ["master.master", "factory-sheet.sheet", "factory-sheet.print"] }
[stages.release.sign]
role = "release-authority"
meaning = "I release these to the factory"
sealed = true
[stages.kit]
step = "bag"
masters = { from = "master.master" }
factory-sheet = { from = ["factory-sheet.sheet", "factory-sheet.print"] }
accounts = { from = ["test-print.account", "release.account"] }
after = ["release"]
`

// flask is a surface whose narrowest place is its neck.
func flask(t *testing.T, neck float64) string {
	t.Helper()
	body := specimen.Bottle(10, neck, 12)
	m, err := specimen.Surface(t.Context(), body.Field, body.Cut, specimen.Sampling{Triangles: 2500})
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := specimen.WriteSTL(&b, m); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// TestTestPrintLoop: a part is cut, stood on the printer and looked at; a note
// pinned to the print stops it; the sculptor changes that part and only that
// part runs again; the note stands until an approval of the changed print names
// it; a second person looks; and what is released is masters and sheet as they
// are in the bag.
func TestTestPrintLoop(t *testing.T) {
	d := newWorkroom(t)
	d.write("model.toml", "format = 1\nrecipe = \"flasks\"\n")
	d.write("recipes/flasks.toml", loopRecipe)
	d.write("sculpt/left-arm.stl", flask(t, 5))
	d.write("sculpt/right-arm.stl", flask(t, 5.5))
	d.run(exitDone, "people", "add", "wren", "--printed", "Wren Hollis", "--role", "release-authority", "--key", d.key("wren"), "--yes")
	d.run(exitDone, "people", "add", "anna", "--printed", "Anna Berg", "--role", "sculptor", "--key", d.key("anna"), "--as", d.key("wren"), "--yes")
	d.run(exitDone, "people", "add", "ben", "--printed", "Ben Okafor", "--role", "second-pair", "--key", d.key("ben")+".pub", "--as", d.key("wren"), "--yes")
	sign := func(who string, args ...string) string {
		t.Helper()
		return d.run(exitDone, append(append([]string{"sign"}, args...), "--tick", "all", "--as", d.key(who), "--yes")...)
	}
	print := engine.Node{Stage: "test-print", Part: "left-arm"}

	// The note, pinned to a place on the print.
	if b := d.board("run", exitWaits, "--json"); b.Find(print).State != engine.Unsigned {
		t.Fatalf("the print is %s: %s", b.Find(print).State, b.Find(print).Says)
	}
	d.says(d.run(exitDone, "hold", "test-print", "left-arm", "--at", "0,0,18,2:the thumb webs here", "--as", d.key("ben"), "--yes"), "test-print/left-arm is held")
	d.run(exitHeld, "run")
	hold := d.record("hold")
	sheet := func() string {
		t.Helper()
		d.run(exitDone, "sheet", "-o", filepath.Join(d.dir, "s.html"))
		page, err := os.ReadFile(filepath.Join(d.dir, "s.html"))
		if err != nil {
			t.Fatal(err)
		}
		return string(page)
	}
	d.says(sheet(), "the thumb webs here", "Ben Okafor, hold")

	// The sculptor changes the arm: it alone runs again, and the note stands.
	d.write("sculpt/left-arm.stl", flask(t, 6))
	b := d.board("run", exitHeld, "--json")
	for _, st := range b.Stages {
		if st.Ran != (st.Part == "left-arm" && st.Stage != "master" && st.Stage != "second-look") {
			t.Errorf("%s ran: %v", st.Node, st.Ran)
		}
	}
	if st := b.Find(print); st.State != engine.Held || !strings.Contains(st.Says, "the thumb webs here") {
		t.Errorf("the changed print is %s: %s", st.State, st.Says)
	}
	d.says(sheet(), "the thumb webs here", "said on an earlier version")
	d.says(sign("anna", "test-print", "left-arm"), "is not answered", "test-print/left-arm is held")
	d.says(sign("anna", "test-print", "left-arm", "--answer", hold), "test-print/left-arm is done")
	sign("anna", "test-print", "right-arm")
	d.run(exitWaits, "run")

	// A second person looks, and not the maker.
	for _, arm := range []string{"left-arm", "right-arm"} {
		sign("ben", "second-look", arm)
	}
	d.run(exitWaits, "run")
	page := d.file("out/kit/factory-sheet/factory-sheet.html")
	d.says(page, "Ben Okafor", "I looked again", "1.062482")
	paper := d.file("out/kit/factory-sheet/factory-sheet.pdf")

	// A late hold stops the release, however far back it is.
	d.run(exitDone, "hold", "pieces", "right-arm", "--note", "cut nearer the wrist", "--as", d.key("ben"), "--yes")
	late := d.record("hold")
	d.run(exitHeld, "run")
	d.says(d.run(exitWaits, "sign", "release", "--tick", "all", "--as", d.key("wren"), "--yes"), "waiting")
	d.run(exitDone, "sign", "pieces", "right-arm", "--verdict", "withdraw", "--answer", late, "--note", "it is near enough", "--as", d.key("ben"), "--yes")
	d.says(sign("wren", "release"), "not yet sealed by")
	for _, name := range []string{"anna", "ben", "wren"} {
		d.run(exitDone, "seal", "--as", d.key(name), "--yes")
	}
	d.run(exitDone, "run")
	for name, want := range map[string]string{"factory-sheet.html": page, "factory-sheet.pdf": paper} {
		if d.file("out/kit/kit/for-the-factory/data/papers/"+name) != want {
			t.Errorf("%s in the bag is not the one that was released", name)
		}
	}
}

// file reads a file of the model.
func (d *workroom) file(name string) string {
	d.t.Helper()
	data, err := os.ReadFile(filepath.Join(d.dir, filepath.FromSlash(name)))
	if err != nil {
		d.t.Fatal(err)
	}
	return string(data)
}
