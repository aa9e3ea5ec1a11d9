package main

import (
	"fmt"
	"io"
	"strings"

	"layette/engine"
	"layette/engine/step"
)

// writeSummary says in a few lines what is done, what is held and where, whose
// word is awaited, and what to type next.
func writeSummary(w io.Writer, b *engine.Board) {
	n := b.Count()
	fmt.Fprintf(w, "%s: %d of %d stages done", title(b), n[engine.Done], len(b.Stages))
	if b.Ran > 0 {
		fmt.Fprintf(w, ", %d ran in %s", b.Ran, seconds(b.Took))
	}
	fmt.Fprintln(w)
	for _, note := range b.Notes {
		fmt.Fprintf(w, "  %s\n", note)
	}
	for _, st := range b.Stages {
		for _, aside := range st.Asides {
			fmt.Fprintf(w, "  %s\n", aside)
		}
	}
	for _, state := range []engine.State{engine.Failed, engine.Held, engine.Unsigned, engine.Handwork} {
		writeState(w, b, state)
	}
	if n[engine.Waiting] > 0 {
		fmt.Fprintf(w, "\n%d %s for what is named above\n", n[engine.Waiting], plural(n[engine.Waiting], "stage waits", "stages wait"))
	}
	if b.Trail.Damaged {
		fmt.Fprintln(w, "\nthe trail is damaged: nobody's word counts until it is mended. Look with: layette trail --check")
	}
	writeNext(w, b)
}

func title(b *engine.Board) string {
	if b.Model.Title != "" {
		return b.Model.Title
	}
	return b.Model.Name
}

// Of each state at most so many stages, and of each stage so many spots, are shown.
const (
	shownStages = 12
	shownSpots  = 3
)

func writeState(w io.Writer, b *engine.Board, state engine.State) {
	var list []*engine.Status
	for _, st := range b.Stages {
		if st.State == state {
			list = append(list, st)
		}
	}
	if len(list) == 0 {
		return
	}
	fmt.Fprintf(w, "\n%s\n", state)
	for _, st := range list[:min(len(list), shownStages)] {
		fmt.Fprintf(w, "  %s: %s\n", st.Node, indent(st.Says))
		if state == engine.Held {
			writeSpots(w, st.Spots)
		}
	}
	if len(list) > shownStages {
		fmt.Fprintf(w, "  … and %d more: layette due shows all\n", len(list)-shownStages)
	}
}

func indent(says string) string { return strings.ReplaceAll(says, "\n", "\n    ") }

// writeSpots prints the gravest faults.
func writeSpots(w io.Writer, spots []step.Spot) {
	n := 0
	for _, s := range spots {
		if !s.Fault {
			continue
		}
		if n++; n > shownSpots {
			continue
		}
		fmt.Fprintf(w, "    spot %d at (%.1f, %.1f, %.1f) mm: %s\n", s.Number, s.At[0], s.At[1], s.At[2], s.Says)
	}
	if n > shownSpots {
		fmt.Fprintf(w, "    … and %d more\n", n-shownSpots)
	}
}

// writeNext prints what to type next: one line for each sort of thing awaited.
func writeNext(w io.Writer, b *engine.Board) {
	var lines []string
	add := func(state engine.State, line func(st *engine.Status) string) {
		for _, st := range b.Stages {
			if st.State == state {
				lines = append(lines, line(st))
				return
			}
		}
	}
	add(engine.Failed, func(st *engine.Status) string { return "layette show " + args(st.Node) })
	add(engine.Held, func(st *engine.Status) string { return "layette show " + args(st.Node) })
	add(engine.Unsigned, func(st *engine.Status) string { return "layette sign " + args(st.Node) })
	add(engine.Handwork, func(st *engine.Status) string {
		if st.Sign != nil { // the file is there, and made from something else
			return "layette sign " + args(st.Node) + " --verdict made"
		}
		return "when the file is there: layette run"
	})
	add(engine.Due, func(*engine.Status) string { return "layette run" })
	if len(lines) == 0 {
		return
	}
	fmt.Fprintln(w, "\nnext")
	for _, l := range lines {
		fmt.Fprintf(w, "  %s\n", l)
	}
}

// args is a node as it is typed after a command.
func args(n engine.Node) string {
	return strings.Join(strings.Fields(strings.Join([]string{n.Stage, n.Part, n.Scan}, " ")), " ")
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}
