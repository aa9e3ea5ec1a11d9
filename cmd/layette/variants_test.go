package main

import (
	"bytes"
	"fmt"
	"math"
	"testing"

	"layette/engine"
	"layette/steps/specimen"
)

// coarsely lets gaps look at fewer places: these tests ask whether a line hangs
// together, not what the narrowest gap is.
const coarsely = "[overrides.coarsely]\nset = \"stages.gaps.values.spacing\"\nvalue = \"2 mm\"\nreason = \"a test\"\n"

// lay makes a model of the line, with the parts of an invented child as what
// the sculptor made of them.
func (d *workroom) lay(line, sheet string, o specimen.Options, parts ...string) {
	d.t.Helper()
	o.Plain = true
	kit, err := specimen.NewKit(o)
	if err != nil {
		d.t.Fatal(err)
	}
	d.write("model.toml", fmt.Sprintf("format = 1\nrecipe = %q\n[folders.second]\npath = \"second\"\n[folders.third]\npath = \"third\"\n%s%s", line, coarsely, sheet))
	for _, name := range parts {
		d.sculpt(kit, name, 12000)
	}
}

// sculpt files a part of an invented child as what the sculptor made of it.
func (d *workroom) sculpt(kit *specimen.Kit, name string, triangles int) {
	d.t.Helper()
	part, err := kit.Part(name)
	if err != nil {
		d.t.Fatal(err)
	}
	m, err := part.Mesh(d.t.Context(), specimen.Sampling{Triangles: triangles})
	if err != nil {
		d.t.Fatal(err)
	}
	var b bytes.Buffer
	if err := specimen.WritePLY(&b, m); err != nil {
		d.t.Fatal(err)
	}
	d.write("sculpt/"+name+".ply", b.String())
}

// stood asks where a stage stands and gives its measures.
func stood(t *testing.T, b *engine.Board, stage, part string, want engine.State) map[string]any {
	t.Helper()
	st := b.Find(engine.Node{Stage: stage, Part: part})
	if st == nil {
		t.Fatalf("no stage %s/%s", stage, part)
	}
	if st.State != want {
		t.Errorf("%s/%s is %s, not %s: %s", stage, part, st.State, want, st.Says)
	}
	m := map[string]any{}
	for _, x := range st.Measures {
		m[x.Name] = x.Value
	}
	return m
}

// TestPretermLine: a kit of 32 weeks passes; one of 24 weeks filed as 32 is
// found by its head, and a forefoot cut from it by the small-parts gauge.
func TestPretermLine(t *testing.T) {
	all := []string{"head", "left-arm", "right-arm", "left-leg", "right-leg"}
	d := newWorkroom(t)
	d.lay("preterm-newborn", "", specimen.Options{Weeks: 32}, all...)
	b := d.board("run", exitWaits, "--json", "--only", "soundness,proportions,small-parts")
	for _, p := range all {
		stood(t, b, "soundness", p, engine.Done)
	}
	if m := stood(t, b, "small-parts", "", engine.Unsigned); m["fitting"] != 0.0 || m["pieces"] != 13.0 {
		t.Errorf("%v of %v pieces fit the gauge", m["fitting"], m["pieces"])
	}
	// Villar et al., Lancet 2016; 387: 844: girls' head girth at 32+0, cm.
	m := stood(t, b, "proportions", "", engine.Done)
	girth, _ := m["head.girth"].(float64)
	z, _ := m["head.z"].(float64)
	if want := (girth/10 - (0.7866522 + 0.887638*32)) / math.Sqrt(2.433481); !(math.Abs(z-want) <= 0.01) {
		t.Errorf("a girth of %g mm is %g standard deviations off; the published equation says %g", girth, z, want)
	}

	const place = `[overrides.wrist]
set = "stages.cut-hands.values.cuts"
value = { hand = { at = [0, 0, 58], toward = [0, 0, 1] } }
reason = "a smaller child"
[overrides.forefoot]
set = "stages.cut-feet.values.cuts"
value = { forefoot = { at = [0, 0, 98], toward = [0, 0, 1] } }
reason = "a test: what the gauge takes"
`
	d = newWorkroom(t)
	d.lay("preterm-newborn", place, specimen.Options{Weeks: 24}, all...)
	b = d.board("run", exitHeld, "--json", "--only", "proportions,small-parts")
	stood(t, b, "proportions", "", engine.Held)
	m = stood(t, b, "small-parts", "", engine.Held)
	if m["fitting"] != 2.0 {
		t.Errorf("of two forefeet the gauge takes %v", m["fitting.names"])
	}
}

// TestAwakeLine: sockets and mouth keep liquid that a sleeping head does not;
// a tape round the head does not feel them.
func TestAwakeLine(t *testing.T) {
	const coarse = "[overrides.coarse]\nset = \"stages.hollow.values.cube\"\nvalue = \"1 mm\"\nreason = \"a test\"\n"
	held, stretch := map[bool]float64{}, map[bool]float64{}
	for _, awake := range []bool{true, false} {
		d := newWorkroom(t)
		d.lay("awake-newborn", coarse, specimen.Options{Awake: awake}, "head")
		b := d.board("run", exitWaits, "--json", "--only", "hollow,gaps,stripping")
		stood(t, b, "soundness", "head", engine.Done)
		stood(t, b, "gaps", "head", engine.Unsigned)
		m := stood(t, b, "hollow", "head", engine.Done)
		held[awake], _ = m["held.volume"].(float64)
		stretch[awake], _ = stood(t, b, "stripping", "head", engine.Done)["stretch.greatest"].(float64)
	}
	if held[true] <= held[false] {
		t.Errorf("an awake head keeps %g mm3 of liquid, a sleeping one %g", held[true], held[false])
	}
	if !(math.Abs(stretch[true]-stretch[false]) <= 0.01) {
		t.Errorf("an awake head stretches by %g, a sleeping one by %g", stretch[true], stretch[false])
	}
	t.Logf("kept %v mm3, stretched %v", held, stretch)
}

// TestThreeQuarterLine: short limbs sit by their groove, and not without one.
func TestThreeQuarterLine(t *testing.T) {
	for _, noTie := range []bool{false, true} {
		d := newWorkroom(t)
		d.lay("three-quarter-limbs", "", specimen.Options{ThreeQuarter: true, NoTie: noTie}, "left-arm", "left-leg")
		exit, want := exitWaits, engine.Unsigned
		if noTie {
			exit, want = exitHeld, engine.Held
		}
		b := d.board("run", exit, "--json", "--only", "soundness,seat")
		for _, p := range []string{"left-arm", "left-leg"} {
			stood(t, b, "soundness", p, engine.Done)
			t.Logf("%s: %v", p, stood(t, b, "seat", p, want)["groove.depth"])
		}
	}
}

// TestHeadOnlyLine: a newborn's head passes, one of 32 weeks is neither of the size
// of the limbs that are there nor of the body's neck.
func TestHeadOnlyLine(t *testing.T) {
	for weeks, want := range map[float64]engine.State{40: engine.Done, 32: engine.Held} {
		d := newWorkroom(t)
		d.lay("head-only", "", specimen.Options{Weeks: weeks}, "head")
		exit, seat := exitWaits, engine.Unsigned
		if want == engine.Held {
			exit, seat = exitHeld, engine.Held
		}
		b := d.board("run", exit, "--json", "--only", "girth,seat,gaps")
		stood(t, b, "girth", "", want)
		stood(t, b, "gaps", "head", engine.Unsigned)
		stood(t, b, "seat", "head", seat)
	}
}
