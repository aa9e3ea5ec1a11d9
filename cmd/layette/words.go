package main

import (
	"fmt"
	"slices"
	"strings"

	"layette/engine"
	"layette/engine/sheet"
	"layette/engine/trail"
)

// words adds whose word a stage awaits and has.
func (w *sheetWriter) words(s *sheet.Stage, st *engine.Status) {
	if st.Sign == nil {
		return
	}
	if st.Sign.Asked && st.Sign.Needed > 0 {
		s.Asked = fmt.Sprintf("Awaits the word of %d in the role of %s: %s", st.Sign.Needed, st.Sign.Role, st.Sign.Meaning)
	}
	for _, by := range st.Sign.By {
		s.Signed = append(s.Signed, sheet.Signature{Name: by.Printed, Time: by.Time.UTC().Format(sheetClock), Meaning: by.Meaning, Verdict: "approved", Record: by.Record.Short()})
	}
	for _, r := range st.Sign.Open {
		s.Signed = append(s.Signed, sheet.Signature{Name: r.ByPrinted, Time: r.Time.UTC().Format(sheetClock), Meaning: r.Meaning, Verdict: string(r.Verdict), Note: r.Words(), Record: r.ID.Short()})
	}
	if last, why := w.lapsed(st); why != "" {
		s.Signed = append(s.Signed, sheet.Signature{Name: last.ByPrinted, Time: last.Time.UTC().Format(sheetClock), Meaning: last.Meaning, Verdict: "approved", Record: last.ID.Short(), Lapsed: why})
	}
}

const changedSince = "for content that has changed since"

// lapsed returns the newest approval of a stage that none counts for today, and
// why it does not; nothing if an approval counts, or none was ever given.
func (w *sheetWriter) lapsed(st *engine.Status) (last trail.Record, why string) {
	if st.Sign != nil && len(st.Sign.By) > 0 {
		return last, ""
	}
	for _, r := range w.trail.Records() {
		switch {
		case r.Stage != st.Node.String() || r.Void != "":
		case r.Verdict == trail.Approve:
			last, why = r, w.notCounted(st, r)
		case r.Verdict == trail.Withdraw && why != "" && r.By == last.By && (slices.Contains(r.Answers, last.ID) || sameFiles(r.Files, last.Files)):
			why = "withdrawn " + r.Time.UTC().Format(sheetClock)
		}
	}
	return last, why
}

// notCounted says why an approval that nobody withdrew does not count today.
func (w *sheetWriter) notCounted(st *engine.Status, r trail.Record) string {
	now := map[string]bool{}
	for _, f := range append(slices.Clone(st.Inputs), st.Files...) {
		now[f.SHA256] = true
	}
	if slices.ContainsFunc(r.Files, func(f trail.File) bool { return !now[f.SHA256] }) {
		return changedSince
	}
	if st.Sign != nil {
		for _, reason := range st.Sign.Reasons {
			if strings.Contains(reason, "the approval of "+r.ByPrinted+" does not count") {
				return reason
			}
		}
	}
	return "for measures, gates or words of the recipe that have changed since"
}

func sameFiles(a, b []trail.File) bool {
	same := func(x, y trail.File) bool { return x.SHA256 == y.SHA256 }
	return slices.EqualFunc(a, b, same)
}
