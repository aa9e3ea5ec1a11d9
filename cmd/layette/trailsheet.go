package main

import (
	"fmt"
	"slices"
	"strings"

	"layette/engine/sheet"
	"layette/engine/trail"
)

// trailView is the trail as an auditor reads it.
func (w *sheetWriter) trailView() sheet.Trail {
	t := w.trail
	v := sheet.Trail{Name: t.Name(), Limits: trail.NotProven, Checks: w.trailChecks()}
	for _, m := range t.People() {
		v.People = append(v.People, sheetPerson(m))
	}
	for _, r := range t.Records() {
		what := string(r.Kind)
		if r.Verdict != "" {
			what = string(r.Verdict)
		}
		v.Records = append(v.Records, sheet.Record{ID: r.ID.Short(), What: what, Stage: r.Stage, Name: r.ByPrinted, Time: r.Time.UTC().Format(sheetClock), Meaning: r.Meaning, Note: r.Words(), Void: r.Void})
	}
	return v
}

func sheetPerson(m trail.Member) sheet.Person {
	p := sheet.Person{Name: m.Printed, Roles: strings.Join(m.Roles, ", ")}
	if m.Owner {
		p.Roles = strings.TrimPrefix(p.Roles+", owner of the trail", ", ")
	}
	var keys []string
	for _, k := range m.Keys {
		if k.Retired != "" {
			keys = append(keys, k.Fingerprint+" (retired)")
		} else {
			keys = append(keys, k.Fingerprint)
		}
	}
	p.Keys = strings.Join(keys, ", ")
	return p
}

// A trailTest is a check that reading a trail makes.
type trailTest struct {
	name   string
	codes  []string
	good   string // what was found if nothing speaks against it
	memory bool   // it takes this workstation's memory
}

// trailTests are the checks that reading a trail makes, by the codes of the
// problems that speak against each; a problem of another code speaks against
// the first.
var trailTests = []trailTest{
	{name: "every record is whole and its signature holds", good: "%d records"},
	{name: "no record is missing that another follows", codes: []string{"gone"}, good: "none is missing"},
	{name: "no record is missing that this workstation saw", codes: []string{"cut", "memory"}, good: "none is missing", memory: true},
	{name: "it is the trail that this workstation knows", codes: []string{"replaced", "owner"}, good: "its opening record is the same", memory: true},
	{name: "who signed was enrolled, in that role, with that key", codes: []string{"authority", "retired", "key-taken", "no-such-key", "not-owner"}, good: "all of them"},
	{name: "no record is dated before what it follows, or in the future", codes: []string{"clock"}, good: "none is"},
	{name: "answers and seals follow what they speak of", codes: []string{"answers", "count"}, good: "all of them"},
}

// trailChecks are all checks of the trail and how each came out.
func (w *sheetWriter) trailChecks() (checks []sheet.Check) {
	against := map[int][]string{}
	for _, p := range w.trail.Problems() {
		i := max(0, slices.IndexFunc(trailTests, func(c trailTest) bool { return slices.Contains(c.codes, p.Code) }))
		against[i] = append(against[i], p.String())
	}
	seal := w.trail.Sealing()
	for i, c := range trailTests {
		says := c.good
		if strings.Contains(says, "%d") {
			says = fmt.Sprintf(says, seal.Records)
		}
		if bad := against[i]; len(bad) > 0 {
			says = strings.Join(bad, "; ")
		}
		ok := len(against[i]) == 0
		if ok && c.memory && w.trailOptions().Private == "" {
			ok, says = false, "cannot be told: no memory of trails is kept here"
		}
		checks = append(checks, sheet.Check{Name: c.name, OK: ok, Says: says})
	}
	return append(checks, w.filesCheck(), w.holdsCheck(), w.sealCheck(seal))
}

// filesCheck holds the files of the newest word on each against what the model
// has now, as far as the board knows them: no file is read for it.
func (w *sheetWriter) filesCheck() sheet.Check {
	now := map[string]string{}
	for _, st := range w.board.Stages {
		for _, f := range append(slices.Clone(st.Inputs), st.Files...) {
			now[f.Path] = f.SHA256
		}
	}
	signed := map[string]trail.File{}
	for _, r := range w.trail.Records() {
		if r.Void == "" && r.Verdict != trail.Withdraw {
			for _, f := range r.Files {
				signed[f.Label] = f
			}
		}
	}
	var differ []string
	for label, f := range signed {
		if sum, ok := now[label]; ok && sum != f.SHA256 {
			differ = append(differ, label)
		}
	}
	slices.Sort(differ)
	c := sheet.Check{Name: "files are as they were signed last", OK: len(differ) == 0, Says: fmt.Sprintf("%d files", len(signed))}
	if !c.OK {
		c.Says = "changed since: " + strings.Join(differ, ", ")
	}
	return c
}

func (w *sheetWriter) holdsCheck() sheet.Check {
	open := w.trail.OpenHolds()
	c := sheet.Check{Name: "no person holds anything", OK: len(open) == 0, Says: "no hold or reject is open"}
	if !c.OK {
		var list []string
		for _, r := range open {
			list = append(list, fmt.Sprintf("%s of %s on %s", r.Verdict, r.ByPrinted, r.Stage))
		}
		c.Says = "open: " + strings.Join(list, ", ")
	}
	return c
}

func (w *sheetWriter) sealCheck(seal trail.Sealing) sheet.Check {
	c := sheet.Check{Name: "sealed", OK: len(seal.Waiting) == 0 && seal.Records > 0, Says: "by everybody who signed anything"}
	if !c.OK {
		c.Says = "not yet by " + strings.Join(seal.Waiting, ", ")
	}
	return c
}
