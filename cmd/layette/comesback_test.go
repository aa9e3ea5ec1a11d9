package main

import (
	"bytes"
	"fmt"
	"hash/fnv"
	"math"
	"strings"
	"testing"

	"layette/engine"
	"layette/steps/specimen"
)

// deepenedRecipe is a hand on its way to the factory and back, by a process that
// the studio only guesses at, and a resin copy of it that has its own.
const deepenedRecipe = `format = 1
title = "Wren & Thistle, a hand"
[parts.left-hand]
[roles.sculptor]
[materials.vinyl]
origin  = "ask your factory"
process = { mould = { shrinks = "6 %", detail = "1 mm", origin = "common practice" } }
[materials.resin]
origin  = "ask your factory"
process = { resin = { shrinks = "1 %" } }
[tolerances]
near = "0.05 mm"
size = "0.2 %"
[stages.sculpt]
step = "handwork"
each = "part"
surface = { file = "sculpt/{part}.*", units = "mm" }
[stages.soundness]
step = "soundness"
each = "part"
surface = { from = "sculpt" }
[stages.resin-copy]
step = "shrinkage"
each = "part"
surface = { from = "soundness" }
values = { links = "materials.resin.process" }
[stages.deepen]
step = "deepen"
each = "part"
surface = { from = "soundness" }
[stages.deepen.values]
links = "materials.vinyl.process"
gap = "0 mm"
regions = { back-of-the-hand = { at = [0, 0, 30], radius = "60 mm" } }
[stages.deepen.sign]
role = "sculptor"
meaning = "I looked at the forecast"
[stages.master]
step = "shrinkage"
each = "part"
surface = { from = "deepen.master" }
values = { links = "materials.vinyl.process" }
[stages.samples]
step = "calibrate"
each = "part"
master = { from = "master.master" }
samples = { file = "samples/{part}/*", units = "mm" }
values = { links = "materials.vinyl.process", date = "2026-11-25", hours = "48 h" }
[stages.samples.gates.as-foretold]
rule = "not contradicts"
[stages.foretold]
step = "likeness"
each = "part"
surface = { from = "samples.laid" }
reference = { from = "deepen.forecast" }
[stages.foretold.gates.like-the-forecast]
rule = "rms <= tolerances.near and abs(drift.scale) <= tolerances.size"
`

// factoryRecipe is what the factory truly does: it softens to a detail of 2 mm
// and shrinks by 4.2 %, written as growing by what undoes it.
const factoryRecipe = `format = 1
title = "A factory"
[parts.left-hand]
[stages.received]
step = "handwork"
each = "part"
surface = { file = "{part}.stl", units = "mm" }
[stages.softened]
step = "deepen"
each = "part"
surface = { from = "received" }
values = { links = { truly = { detail = "2.08768 mm" } }, gain = 1, gap = "0 mm" }
[stages.shrunk]
step = "shrinkage"
each = "part"
surface = { from = "softened.forecast" }
values = { links = { truly = { grows = "4.384134 %" } } }
`

// moulded sends a master to the factory and brings back the scan of a sample,
// with noise of 0.01 mm.
func moulded(t *testing.T, master string) string {
	t.Helper()
	f := newWorkroom(t)
	f.write("model.toml", "format = 1\nrecipe = \"factory\"\n")
	f.write("recipes/factory.toml", factoryRecipe)
	f.write("left-hand.stl", master)
	f.run(exitDone, "run")
	return movedCorners(f.file("out/left-hand/shrunk/left-hand-forecast-master.stl"), noisy)
}

// noisy moves a point by what its own place says, so that all triangles that
// meet there move alike.
func noisy(p [3]float64) [3]float64 {
	h := fnv.New64a()
	fmt.Fprint(h, p)
	bits := h.Sum64()
	bits ^= bits >> 29
	for k := range p {
		sum := 0.0 // of four even numbers, near enough to normal
		for range 4 {
			bits = bits*6364136223846793005 + 1442695040888963407
			sum += float64(bits>>40)/(1<<24) - 0.5
		}
		p[k] += 0.01 * sum * math.Sqrt(3)
	}
	return p
}

// TestSampleComesBack: a hand is deepened and enlarged by what the studio
// guesses; the sample that comes back contradicts the guess; the table that
// calibrate wrote is pasted over it; then what uses that material is due, and
// nothing else; the sculptor's word no longer counts for the new forecast; the
// next sample is as was foretold; and the old table brings back the old results
// and the old word without any work.
func TestSampleComesBack(t *testing.T) {
	d := newWorkroom(t)
	d.write("model.toml", "format = 1\nrecipe = \"hand\"\n")
	d.write("recipes/hand.toml", deepenedRecipe)
	kit, err := specimen.NewKit(specimen.Options{Weeks: 26, Plain: true}) // small, for speed
	if err != nil {
		t.Fatal(err)
	}
	part, err := kit.Part("left-hand")
	if err != nil {
		t.Fatal(err)
	}
	m, err := part.Mesh(t.Context(), specimen.Sampling{Edge: 0.7})
	if err != nil {
		t.Fatal(err)
	}
	for i, p := range m.Verts { // waves of 4 and 6 mm from both sides
		fade := max(0, min(1, (p[2]-4)/6))
		m.Verts[i][1] += fade * float32(0.1*math.Cos(float64(p[0])*1.6)+0.15*math.Cos(float64(p[2])))
	}
	var hand bytes.Buffer
	if err := specimen.WritePLY(&hand, m); err != nil {
		t.Fatal(err)
	}
	d.write("sculpt/left-hand.ply", hand.String())
	d.run(exitDone, "people", "add", "anna", "--printed", "Anna Berg", "--role", "sculptor", "--key", d.key("anna"), "--yes")
	sign := func() { d.run(exitDone, "sign", "deepen", "left-hand", "--as", d.key("anna"), "--yes") }
	of := func(b *engine.Board, stage string) *engine.Status {
		return b.Find(engine.Node{Stage: stage, Part: "left-hand"})
	}

	d.board("run", exitWaits, "--json")
	sign()
	d.board("run", exitWaits, "--json")
	guessed := d.file("out/left-hand/master/left-hand-deepened-master.stl")
	d.write("samples/left-hand/first.stl", moulded(t, guessed))
	b := d.board("run", exitHeld, "--json")
	found := stood(t, b, "samples", "left-hand", engine.Held)
	t.Logf("the first sample: %v", found)
	if s := found["shrinks"].(float64); !(math.Abs(s-0.042) <= 0.0005) {
		t.Errorf("the first sample is told to have shrunk by %v, want 0.042", s)
	}
	if x := found["detail"].(float64); !(math.Abs(x-2) <= 0.1) {
		t.Errorf("the first sample is told to hold %v mm, want 2", x)
	}
	d.says(strings.Join(of(b, "samples").Notes, "\n"), "Contradiction: the recipe's chain")

	// Its table is pasted; what uses it is due, and nothing else.
	table := d.file("out/left-hand/samples/left-hand-deepened-master-calibrated.toml")
	d.says(table, "measured: calibrate, 2026-11-25, 1 sample, 48 h after demoulding")
	before, rest, _ := strings.Cut(deepenedRecipe, "[materials.vinyl]")
	_, rest, _ = strings.Cut(rest, "[materials.resin]")
	d.write("recipes/hand.toml", before+table+"\n[materials.resin]"+rest)
	b = d.board("due", exitWaits, "--json")
	for stage, want := range map[string]engine.State{
		"sculpt": engine.Done, "soundness": engine.Done, "resin-copy": engine.Done, "deepen": engine.Due, "master": engine.Waiting, "samples": engine.Waiting, "foretold": engine.Waiting,
	} {
		if st := of(b, stage); st.State != want {
			t.Errorf("with the new table %s is %s, want %s: %s", stage, st.State, want, st.Says)
		}
	}
	d.says(d.run(exitDone, "why", "deepen", "left-hand"), "value links (materials.vinyl.process)", "mould", "whole-chain")
	d.says(d.run(exitDone, "why", "resin-copy", "left-hand"), "not due")
	b = d.board("run", exitWaits, "--json")
	for _, st := range b.Stages {
		if st.Ran != (st.Stage == "deepen") {
			t.Errorf("%s ran: %v", st.Node, st.Ran)
		}
	}
	if st := of(b, "deepen"); st.State != engine.Unsigned || st.Sign.Needed != 1 {
		t.Errorf("the new forecast is %s: %s", st.State, st.Says)
	}
	d.says(strings.Join(of(b, "deepen").Notes, "\n"), "back-of-the-hand line: wanted", "will be")

	// The next sample is as was foretold.
	sign()
	d.board("run", exitHeld, "--json")
	d.write("samples/left-hand/first.stl", moulded(t, d.file("out/left-hand/master/left-hand-deepened-master.stl")))
	b = d.board("run", exitDone, "--json")
	t.Logf("the next sample: %v", stood(t, b, "samples", "left-hand", engine.Done))
	t.Logf("as foretold: %v", stood(t, b, "foretold", "left-hand", engine.Done))

	// The old table again: the old results, and the old word counts.
	d.write("recipes/hand.toml", deepenedRecipe)
	b = d.board("run", exitDone, "--json", "--only", "master")
	for _, st := range b.Stages {
		if st.Ran {
			t.Errorf("%s ran for the second time", st.Node)
		}
	}
	stood(t, b, "deepen", "left-hand", engine.Done)
	if d.file("out/left-hand/master/left-hand-deepened-master.stl") != guessed {
		t.Error("the old table gives another master than before")
	}
}
