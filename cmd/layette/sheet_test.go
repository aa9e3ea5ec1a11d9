package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"layette/engine/trail"
)

// wrote writes the sheet without pictures and returns its text.
func (d *workroom) wrote() string {
	d.t.Helper()
	d.run(exitDone, "sheet", "--no-pictures")
	data, err := os.ReadFile(filepath.Join(d.dir, "out", "sheet.html"))
	if err != nil {
		d.t.Fatal(err)
	}
	return string(data)
}

// TestWordsOnTheSheet: a word that counts, one that was withdrawn, and one for
// what has changed since, each said as it is; and every check of the trail.
func TestWordsOnTheSheet(t *testing.T) {
	d := newWorkroom(t)
	d.opened()
	d.run(exitWaits, "run")
	sign := func(more ...string) {
		d.run(exitDone, append([]string{"sign", "seams", "head", "--as", d.key("ben"), "--yes"}, more...)...)
	}
	says := func(when string, words, not []string) {
		t.Helper()
		text := d.wrote()
		for _, w := range words {
			if !strings.Contains(text, w) {
				t.Errorf("%s: it does not say %q", when, w)
			}
		}
		for _, w := range not {
			if strings.Contains(text, w) {
				t.Errorf("%s: it says %q", when, w)
			}
		}
	}
	const changed = "Changed since the last signature"
	sign("--tick", "all")
	says("signed", []string{`<p class="name">Ben Okafor</p>`, "I compared the seams with the scans", "<dd>approved</dd>", "every record is whole and its signature holds", "no record is missing that this workstation saw", "not yet by"}, []string{changed, "does not hold true"})
	sign("--verdict", "withdraw", "--note", "look again")
	says("withdrawn", []string{"approved, withdrawn 2"}, []string{changed, changedSince})
	sign("--tick", "all")
	d.write("hand/head.stl", "solid head, another\n")
	d.run(exitWaits, "run")
	says("changed", []string{"approved, " + changedSince, changed}, []string{"approved, withdrawn"})

	// A record altered by one sign: the check that it fails says so.
	at := filepath.Join(d.dir, trail.FileName)
	text, err := os.ReadFile(at)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(at, []byte(strings.Replace(string(text), "look again", "look anew ", 1)), 0o644); err != nil {
		t.Fatal(err)
	}
	says("altered", []string{"trail.txt:"}, nil)
	if n := strings.Count(d.wrote(), `<span class="state">does not</span>`); n < 2 {
		t.Errorf("%d checks fail, want the record's and the seal's", n)
	}
}
