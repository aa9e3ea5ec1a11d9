package trail

import (
	"fmt"
	"slices"
	"strings"
)

const clockForm = "2006-01-02 15:04:05 UTC"

// NotProven says what no trail can prove. It stands first in every report.
const NotProven = `What this report does not prove
  - that somebody looked: only that the holder of a key said so about these bytes;
  - who held the key: a key, its passphrase and an unlocked agent can be used by whoever has them;
  - the exact time: each time is the signer's own clock. It lies after what the record follows
    and before what follows it; between two neighbours or seals it is the signer's word;
  - that nothing was cut off at the end: newer records can be left out unseen by this file.
    Only a seal on paper, a colleague's machine or another copy can tell;
  - anything against somebody who holds the owner's key, every workstation and every printed seal.
`

// Report returns the trail for reading, in causal order, every signature with
// printed name, date and time, and meaning. changed are sentences about files
// that differ today (see Changed).
func (t *Trail) Report(changed []string) string {
	w := &report{}
	w.line("Sign-off trail %s", t.Name())
	w.line("")
	w.text(NotProven)
	if t.opening == nil {
		w.line("\nThe trail has no records.")
		return w.String()
	}
	w.summary(t)
	w.list("\nWhat is wrong", problemTexts(t.Problems()))
	w.people(t)
	w.list("\nHolds and rejects that are still open", holdTexts(t.OpenHolds()))
	w.list("\nFiles that differ today from what was signed", changed)
	w.line("\nRecords, each after all that it follows")
	for i, r := range t.list {
		w.record(i+1, r)
	}
	return w.String()
}

type report struct{ strings.Builder }

func (w *report) line(format string, args ...any) { fmt.Fprintf(w, format+"\n", args...) }
func (w *report) text(s string)                   { w.WriteString(s) }

func (w *report) list(title string, items []string) {
	w.line("%s", title)
	if len(items) == 0 {
		w.line("  none")
	}
	for _, s := range items {
		w.line("  - %s", s)
	}
}

func (w *report) summary(t *Trail) {
	s := t.Sealing()
	w.line("\nThe trail")
	w.line("  records        %d", s.Records)
	w.line("  first record   %s", t.opening.ID)
	for _, h := range s.Heads {
		w.line("  newest record  %s", h)
	}
	w.line("  owner          %s, key %s", t.opening.ByPrinted, t.opening.Key)
	if len(s.Waiting) == 0 {
		w.line("  sealed         by everybody who signed anything")
	} else {
		w.line("  sealed         not yet by %s", strings.Join(s.Waiting, ", "))
	}
}

func (w *report) people(t *Trail) {
	w.line("\nPeople")
	for _, m := range t.People() {
		roles := strings.Join(m.Roles, ", ")
		if m.Owner {
			roles = strings.TrimPrefix(roles+", owner of the trail", ", ")
		}
		w.line("  %s (%s): %s", m.Printed, m.Name, roles)
		for _, k := range m.Keys {
			if k.Retired == "" {
				w.line("    key %s", k.Fingerprint)
			} else {
				w.line("    key %s, retired: %s", k.Fingerprint, k.Retired)
			}
		}
	}
}

func problemTexts(list []Problem) (texts []string) {
	for _, p := range list {
		texts = append(texts, p.String())
	}
	return texts
}

func holdTexts(list []Record) (texts []string) {
	for _, r := range list {
		texts = append(texts, fmt.Sprintf("%s on %s by %s, %s: %s (%s)", r.Verdict, r.Stage, r.ByPrinted, r.Time.Format(clockForm), r.Words(), r.ID.Short()))
	}
	return texts
}

// says names what a record does in one word.
func (r *Record) says() string {
	if r.Kind == Signoff {
		return string(r.Verdict)
	}
	return string(r.Kind)
}

func (w *report) record(n int, r *Record) {
	w.line("\n%4d  %s  %s", n, r.ID.Short(), strings.TrimSpace(strings.ToUpper(r.says())+"  "+r.Stage))
	if r.Void != "" {
		w.line("      DOES NOT COUNT: %s", r.Void)
	}
	w.line("      name     %s (%s)", r.ByPrinted, r.By)
	w.line("      time     %s", r.Time.Format(clockForm))
	w.line("      meaning  %s", r.Meaning)
	w.line("      key      %s", r.Key)
	for _, f := range r.details() {
		name, value, _ := strings.Cut(f, " ")
		w.line("      %-8s %s", name, value)
	}
}

// details returns a record's own fields, those shown already left out.
func (r *Record) details() []string {
	shown := []string{"record", "trail", "time", "by", "key", "meaning", "verdict", "on"}
	return slices.DeleteFunc(r.fields(), func(f string) bool {
		name, _, _ := strings.Cut(f, " ")
		return slices.Contains(shown, name)
	})
}

// OpenHolds returns the holds and rejects of all stages that nobody has taken
// back or answered, in causal order. Whether one stops a given content is for
// Decide to say.
func (t *Trail) OpenHolds() []Record {
	var open []*Record
	for _, list := range t.byStage {
		c := &court{Trail: t, about: list[len(list)-1].content()}
		for _, r := range list {
			if r.Kind == Signoff && r.Verdict != Made {
				c.words = append(c.words, r)
			}
		}
		c.holds()
		for _, r := range c.d.Open {
			open = append(open, t.list[t.at[r.ID]])
		}
	}
	slices.SortFunc(open, func(a, b *Record) int { return t.at[a.ID] - t.at[b.ID] })
	return copies(open)
}
