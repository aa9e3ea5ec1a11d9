package main

import (
	"encoding/json"
	"os"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"layette/engine"
	"layette/steps/specimen"
)

// BenchmarkKit takes a whole kit through its line at full size: from the
// sculptor's files to the factory's bag, then again after one hand was edited,
// then with nothing to do. LAYETTE_KIT is the number of triangles a part has,
// LAYETTE_LINE another line than the sleeping newborn's. The people's signing
// is not counted; what runs between is.
func BenchmarkKit(b *testing.B) {
	triangles, err := strconv.Atoi(os.Getenv("LAYETTE_KIT"))
	if err != nil {
		b.Skip("SKIPPED: set LAYETTE_KIT to the triangles of a part, such as 2000000")
	}
	line := os.Getenv("LAYETTE_LINE")
	if line == "" {
		line = "sleeping-newborn"
	}
	d := newWorkroom(b)
	d.write("model.toml", "format = 1\nrecipe = \""+line+"\"\n[folders.second]\npath = \"second\"\n[folders.third]\npath = \"third\"\n")
	for _, copies := range []string{"", "second/", "third/"} {
		d.write(copies+"scans/head/1.ply", "a shot\n")
	}
	for i, name := range []string{"wren", "anna", "ben"} {
		args := []string{"people", "add", name, "--printed", name, "--key", d.key(name), "--yes"}
		for _, role := range []string{"sculptor", "second-pair", "release-authority"} {
			args = append(args, "--role", role)
		}
		if i > 0 {
			args = append(args, "--as", d.key("wren"))
		}
		d.run(exitDone, args...)
	}
	kit, err := specimen.NewKit(specimen.Options{})
	if err != nil {
		b.Fatal(err)
	}
	for _, name := range specimen.Parts {
		d.sculpt(kit, name, triangles)
	}
	clean := d.through(b)
	other, err := specimen.NewKit(specimen.Options{Elbow: 38.5})
	if err != nil {
		b.Fatal(err)
	}
	d.sculpt(other, "left-arm", triangles)
	edited := d.through(b)
	for b.Loop() {
		d.do("run")
	}
	b.ReportMetric(clean.Seconds(), "s-clean")
	b.ReportMetric(edited.Seconds(), "s-edited")
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	b.ReportMetric(float64(m.Sys)/1e6, "MB-taken")
}

// through runs what is due and gives every word that is asked for, until
// nothing moves any more. It returns the time that the runs took.
func (d *workroom) through(b *testing.B) (took time.Duration) {
	for round := range 8 {
		start := time.Now()
		_, said := d.do("run", "--json")
		took += time.Since(start)
		var board engine.Board
		if err := json.NewDecoder(strings.NewReader(said[strings.Index(said, "{"):])).Decode(&board); err != nil {
			b.Fatalf("%v in:\n%s", err, said)
		}
		ran, words := 0, 0
		for _, st := range board.Stages {
			if st.Ran {
				ran++
			}
			words += d.word(b, st)
		}
		b.Logf("round %d: %d stages ran, %.1f s so far, %d words given", round+1, ran, took.Seconds(), words)
		if words == 0 {
			for _, st := range board.Stages {
				if st.State != engine.Done {
					b.Logf("%s is %s: %s", st.Node, st.State, st.Says)
				}
			}
			return took
		}
	}
	return took
}

// word signs or concedes for a stage that waits for it, and says how often.
func (d *workroom) word(b *testing.B, st *engine.Status) int {
	where := []string{st.Node.Stage}
	if st.Node.Part != "" {
		where = append(where, st.Node.Part)
	}
	given := 0
	switch st.State {
	case engine.Unsigned:
		for _, name := range []string{"anna", "ben", "wren"} {
			d.do("seal", "--as", d.key(name), "--yes")
		}
		for _, name := range []string{"anna", "ben", "wren"} {
			if code, _ := d.do(append(append([]string{"sign"}, where...), "--tick", "all", "--as", d.key(name), "--yes")...); code == exitDone {
				given++
				break
			}
		}
	case engine.Held:
		for _, g := range st.Gates {
			b.Logf("%s: %s is conceded: %s", st.Node, g.Gate, st.Says)
			if code, _ := d.do(append(append([]string{"concede"}, where...), g.Gate, "--reason", "a trial at full size", "--as", d.key("wren"), "--yes")...); code == exitDone {
				given++
			}
		}
	}
	return given
}
