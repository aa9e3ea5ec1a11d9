package main

import (
	"bytes"
	"encoding/binary"
	"math"
	"testing"

	"layette/engine"
	"layette/steps/specimen"
)

// measuredBase is the line that the studio begins with: 2 % is somebody else's
// figure. measuredLine is its own, under which the table is pasted.
const (
	measuredBase = `format = 1
title = "Wren & Thistle, base"
[parts.left-arm]
[roles.release-authority]
[materials.vinyl]
origin = "ask your factory"
wall = "2.5 mm"
[materials.vinyl.process]
wax = "1 %"
mould = "1 %"
[stages.sculpt]
step = "handwork"
each = "part"
surface = { file = "sculpt/{part}.stl", units = "mm" }
[stages.whole]
step = "soundness"
each = "part"
surface = { from = "sculpt" }
[stages.master]
step = "shrinkage"
each = "part"
surface = { from = "sculpt" }
values = { links = "materials.vinyl.process" }
[stages.samples]
step = "calibrate"
each = "part"
master = { from = "master.master" }
samples = { file = "samples/{part}/*", units = "mm" }
values = { links = "materials.vinyl.process", hours = "48 h", date = "2026-03-04" }
[stages.samples.gates.as-foretold]
rule = "not contradicts"
concede = "release-authority"
`
	measuredLine = "format = 1\ntitle = \"Wren & Thistle, flasks\"\nextends = \"base\"\n"
)

// TestTableIsPasted: a sample that shrank otherwise than the recipe says holds
// the line; the table that comes with it, pasted as it is under the studio's own
// line, replaces the links of the line below; the stages that use the material
// fall due by themselves, and no others; the master is made anew by what was
// measured; and what was measured of a sample of it is contradicted no more.
func TestTableIsPasted(t *testing.T) {
	for name, shrinks := range map[string][3]float64{"even": {0.05, 0.05, 0.05}, "by axis": {0.03, 0.04, 0.05}} {
		t.Run(name, func(t *testing.T) { pasted(t, shrinks) })
	}
}

func pasted(t *testing.T, shrinks [3]float64) {
	d := newWorkroom(t)
	d.write("model.toml", "format = 1\nrecipe = \"flasks\"\n")
	d.write("recipes/base.toml", measuredBase)
	d.write("recipes/flasks.toml", measuredLine)
	d.write("sculpt/left-arm.stl", egg(t))
	d.run(exitWaits, "run")
	master := func() string { return d.file("out/left-arm/master/left-arm-master.stl") }
	d.write("samples/left-arm/sample.stl", sampleOf(master(), shrinks))
	d.run(exitHeld, "run")
	samples, made, whole := engine.Node{Stage: "samples", Part: "left-arm"}, engine.Node{Stage: "master", Part: "left-arm"}, engine.Node{Stage: "whole", Part: "left-arm"}
	before := master()

	// The table, as it is.
	table := d.file("out/left-arm/samples/left-arm-master-calibrated.toml")
	d.says(table, "48 h after demoulding", "[materials.vinyl]")
	d.write("recipes/flasks.toml", measuredLine+table)
	b := d.board("due", exitWaits, "--json")
	for node, want := range map[engine.Node]engine.State{made: engine.Due, whole: engine.Done} {
		if st := b.Find(node); st.State != want {
			t.Errorf("%s is %s: %s", node, st.State, st.Says)
		}
	}
	d.run(exitHeld, "run") // the old sample is not of the new master
	if master() == before {
		t.Error("the master is the old one")
	}

	// A sample of the new master comes out as the child was wanted, and as told.
	d.write("samples/left-arm/sample.stl", sampleOf(master(), shrinks))
	b = d.board("run", exitDone, "--json")
	if st := b.Find(samples); st.State != engine.Done {
		t.Errorf("%s is %s: %s", samples, st.State, st.Says)
	}
}

// egg is a body of three unequal widths with waves of 6 mm, without symmetry.
func egg(t *testing.T) string {
	t.Helper()
	body := specimen.Ellipsoid(14, 11, 17)
	m, err := specimen.Surface(t.Context(), body.Field, body.Cut, specimen.Sampling{Triangles: 8000})
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := specimen.WriteSTL(&b, m); err != nil {
		t.Fatal(err)
	}
	return movedCorners(b.String(), func(p [3]float64) [3]float64 {
		far := (p[0]-8)*(p[0]-8) + (p[1]-5)*(p[1]-5) + (p[2]-9)*(p[2]-9)
		s := 1 + 0.2/(1+far/20) + 0.01*math.Sin(p[0]+0.3*p[1])
		return [3]float64{p[0] * s, p[1] * s, p[2] * s}
	})
}

// sampleOf is what a master becomes, stood on its side somewhere else.
func sampleOf(master string, shrinks [3]float64) string {
	return movedCorners(master, func(p [3]float64) [3]float64 {
		return [3]float64{30 + p[2]*(1-shrinks[2]), 4 + p[0]*(1-shrinks[0]), -8 + p[1]*(1-shrinks[1])}
	})
}

// movedCorners moves the corners of a binary STL file.
func movedCorners(stl string, to func([3]float64) [3]float64) string {
	data := []byte(stl)
	for at := 84; at < len(data); at += 50 {
		for corner := at + 12; corner < at+48; corner += 12 {
			var p [3]float64
			for k := range p {
				p[k] = float64(math.Float32frombits(binary.LittleEndian.Uint32(data[corner+4*k:])))
			}
			for k, x := range to(p) {
				binary.LittleEndian.PutUint32(data[corner+4*k:], math.Float32bits(float32(x)))
			}
		}
	}
	return string(data)
}
