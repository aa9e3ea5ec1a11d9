package engine

import (
	"context"
	"fmt"
)

// Reasons tells why stages are due, or why they last ran.
type Reasons struct {
	Board *Board
	w     *walk
	nodes map[Node]*node
}

// Why looks at the model and answers with reasons.
func (m *Model) Why(ctx context.Context) (*Reasons, error) {
	w, nodes, err := m.lookWalk(ctx, nil)
	if err != nil {
		return nil, err
	}
	r := &Reasons{Board: w.board(nodes), w: w, nodes: map[Node]*node{}}
	for _, n := range nodes {
		r.nodes[n.Node] = n
	}
	return r, nil
}

// Fingerprint returns the text of all that a stage's result depends on; empty
// while its inputs are not there.
func (r *Reasons) Fingerprint(st *Status) string { return st.fingerprint }

// Of returns the reasons of one status, a sentence each: why it is due or
// waits; else why it last ran, and what changed meanwhile without waking it.
func (r *Reasons) Of(st *Status) []string {
	switch {
	case st.State == Waiting && st.Behind != nil:
		return r.behind(*st.Behind)
	case len(st.Causes) > 0:
		return sentences(st.Causes)
	case st.fingerprint == "":
		return nil
	}
	lines := r.lastRan(st)
	for _, change := range r.w.changedQuantities() {
		lines = append(lines, change+", but this stage does not use it")
	}
	return lines
}

func sentences(causes []Cause) []string {
	var lines []string
	for _, c := range causes {
		lines = append(lines, c.Says)
	}
	return lines
}

// behind tells what a waiting stage waits for, and why that is so.
func (r *Reasons) behind(n Node) []string {
	st := r.Board.Find(n)
	if st == nil {
		return nil
	}
	lines := []string{fmt.Sprintf("%s is %s: %s", n, st.State, st.Says)}
	if len(st.Causes) > 1 {
		lines = append(lines, sentences(st.Causes[1:])...)
	}
	return lines
}

// lastRan tells what made a stage run that is not due now.
func (r *Reasons) lastRan(st *Status) []string {
	n := r.nodes[st.Node]
	t, err := r.w.m.store.Trace(st.Key)
	if n == nil || err != nil {
		return nil
	}
	when := t.By.When.Local().Format("2 Jan 15:04")
	was, _ := r.w.m.lastText(r.w.history, st.Node, st.Key)
	if was == nil {
		return []string{fmt.Sprintf("not due; it ran once, on %s", when)}
	}
	lines := []string{fmt.Sprintf("not due; its result is of %s, and what it was made of differs from the run before by", when)}
	return append(lines, sentences(r.w.differences(n, was, st, 0))...)
}
