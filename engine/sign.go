package engine

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"layette/engine/gate"
	"layette/engine/trail"
)

// decide asks the trail about a node that was computed, and says where it stands.
func (w *walk) decide(n *node, st *Status) {
	s := w.subject(n, st)
	subject := s.Trail()
	for i := range st.Gates {
		if v := &st.Gates[i]; v.State != gate.Passes {
			w.concede(v, subject)
		}
	}
	d := w.trail.Decide(subject, Policy(n.stage.Sign))
	st.Sign = signOff(n, d)
	st.State, st.Says = Done, ""
	if n.book.Hand && len(s.From) > 0 && w.unmade(st, s) {
		return
	}
	switch {
	case !goOn(st):
	case d.State == trail.Doubtful:
		st.State, st.Says = Held, "the trail is damaged, so nobody's word can be told from it: see layette trail --check"
	case d.State == trail.Held:
		st.State, st.Says = Held, "held: "+strings.Join(openWords(d.Open), "; ")
	case n.asks() && d.State != trail.Approved:
		st.State, st.Says = Unsigned, awaits(n, d)
	}
	if !n.asks() && len(d.Open) == 0 {
		st.Sign = nil
	}
}

// asks reports whether a node needs somebody's word.
func (n *node) asks() bool { return n.stage.Sign != nil || n.book.Word }

// concede looks for the concession of a gate by somebody who may give it.
func (w *walk) concede(v *Verdict, subject trail.Subject) {
	record, ok, doubts := w.trail.Conceded(subject, v.Gate, v.Concede)
	v.Doubts = doubts
	switch {
	case ok && v.Concede == "":
		v.Doubts = []string{fmt.Sprintf("the recipe names nobody who may concede gate %s", v.Gate)}
	case ok:
		v.Conceded = &record
	}
}

// Concedes returns the role that may concede one of the stage's gates, "" if
// nobody may.
func (st *Status) Concedes(gate string) string {
	for _, v := range st.Gates {
		if v.Gate == gate {
			return v.Concede
		}
	}
	return ""
}

// goOn reports whether every gate lets work go on, and says which does not.
func goOn(st *Status) bool {
	for _, v := range st.Gates {
		if v.GoesOn() {
			continue
		}
		st.State = Held
		st.Says = fmt.Sprintf("gate %s holds it: %s, but the rule is %s", v.Gate, v.Numbers, v.Rule)
		if v.State == gate.Unknown {
			st.Says = fmt.Sprintf("gate %s cannot tell: %s", v.Gate, v.Verdict.Says)
		}
		return false
	}
	return true
}

func signOff(n *node, d trail.Decision) *SignOff {
	s := &SignOff{Asked: n.asks(), State: d.State, By: d.By, Needed: d.StillNeeded, Open: d.Open, Reasons: d.Reasons}
	if n.stage.Sign != nil {
		s.Role, s.Meaning, s.Questions = n.stage.Sign.Role, n.stage.Sign.Meaning, n.stage.Sign.Questions
	}
	return s
}

func openWords(open []trail.Record) []string {
	var words []string
	for _, r := range open {
		says := cmp.Or(r.Words(), r.Meaning)
		words = append(words, fmt.Sprintf("%s (%s, %s): %s", r.ByPrinted, r.Verdict, r.ID.Short(), says))
	}
	return words
}

func awaits(n *node, d trail.Decision) string {
	who := "somebody"
	if n.stage.Sign != nil && n.stage.Sign.Role != "" {
		who = "the " + n.stage.Sign.Role
	}
	says := fmt.Sprintf("awaits the word of %s", who)
	if d.StillNeeded > 1 {
		says = fmt.Sprintf("awaits the word of %d people (%s)", d.StillNeeded, who)
	}
	if len(d.Reasons) > 0 {
		says += ": " + strings.Join(d.Reasons, "; ")
	}
	return says
}

// unmade reports whether nobody has said that the person's file was made from
// what stands before it now. The file is never touched; its maker is asked.
func (w *walk) unmade(st *Status, s *Subject) bool {
	var records []trail.Record
	for _, f := range s.Files {
		for _, r := range w.trail.MadeBy(f.SHA256) {
			if r.Stage == s.Node.String() {
				records = append(records, r)
			}
		}
	}
	for _, r := range slices.Backward(records) {
		if sameDigests(r.From, s.From) {
			st.Sign.Made = &r
			return false
		}
	}
	if len(records) == 0 {
		st.State = Unsigned
		st.Says = fmt.Sprintf("nobody has said yet that %s was made from %s", names(s.Files), origins(s.From))
		return true
	}
	st.Sign.Made = &records[len(records)-1]
	st.State = Handwork
	st.Says = fmt.Sprintf("%s was made from %s; now there is %s: look whether it is still right, change it if not, and say so", names(s.Files), wasFrom(st.Sign.Made.From), origins(s.From))
	return true
}

func sameDigests(was []trail.File, is []File) bool {
	var a, b []string
	for _, f := range was {
		a = append(a, f.SHA256)
	}
	for _, f := range is {
		b = append(b, f.SHA256)
	}
	slices.Sort(a)
	slices.Sort(b)
	return slices.Equal(slices.Compact(a), slices.Compact(b))
}

func origins(from []File) string {
	var words []string
	for _, f := range from {
		words = append(words, fmt.Sprintf("%s %s", f.From, short(f.SHA256)))
	}
	return strings.Join(words, ", ")
}

func wasFrom(from []trail.File) string {
	var words []string
	for _, f := range from {
		words = append(words, fmt.Sprintf("%s %s", f.Label, short(f.SHA256)))
	}
	return strings.Join(words, ", ")
}
