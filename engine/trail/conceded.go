package trail

import (
	"fmt"
	"slices"
)

// Conceded returns the standing concession for a gate on exactly this content
// by somebody of the role, and whether there is one; reasons say why a
// concession that is there does not count. An empty role takes any authority.
func (t *Trail) Conceded(s Subject, gate, role string) (r Record, ok bool, reasons []string) {
	if t.damaged {
		return Record{}, false, []string{"the trail is damaged: nothing can be told from it before it is mended"}
	}
	for _, c := range slices.Backward(t.byStage[s.Stage]) {
		if c.Kind != Concession || !slices.Contains(c.Gates, gate) {
			continue
		}
		switch {
		case c.content() != s.content():
			reasons = append(reasons, fmt.Sprintf("the concession of %s (%s) is about other content", c.ByPrinted, c.ID.Short()))
		case role != "" && c.Authority != role:
			reasons = append(reasons, fmt.Sprintf("the concession of %s (%s) was given as %s; it takes a %s", c.ByPrinted, c.ID.Short(), c.Authority, role))
		case t.takenBack(c):
			reasons = append(reasons, fmt.Sprintf("the concession of %s (%s) was taken back", c.ByPrinted, c.ID.Short()))
		default:
			return *c, true, nil
		}
	}
	return Record{}, false, reasons
}

// takenBack reports whether a withdrawal names r: by its author or, for a
// concession, by anybody of the same authority.
func (t *Trail) takenBack(r *Record) bool {
	return slices.ContainsFunc(t.byStage[r.Stage], func(w *Record) bool {
		if w.Verdict != Withdraw || !t.follows(w, r) {
			return false
		}
		named := slices.Contains(w.Answers, r.ID)
		same := r.Kind == Signoff && w.content() == r.content()
		return w.By == r.By && (named || same) || named && r.Kind == Concession && slices.Contains(t.roles(w), r.Authority)
	})
}

// MadeBy returns the standing records in which people say they made the file
// with this digest, newest last: its From says what it was made from.
func (t *Trail) MadeBy(sha256 string) []Record { return copies(t.madeBy(sha256)) }

func (t *Trail) madeBy(sha256 string) []*Record {
	var list []*Record
	for _, r := range t.makers[sha256] {
		if !t.takenBack(r) {
			list = append(list, r)
		}
	}
	return list
}

// Made returns the standing records of verdict Made about a stage, whatever
// the content, newest last.
func (t *Trail) Made(stage string) []Record {
	var list []*Record
	for _, r := range t.byStage[stage] {
		if r.Verdict == Made && !t.takenBack(r) {
			list = append(list, r)
		}
	}
	return copies(list)
}

func copies(list []*Record) []Record {
	out := make([]Record, len(list))
	for i, r := range list {
		out[i] = *r
	}
	return out
}
