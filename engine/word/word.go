// Package word turns what a person says of a stage into what is signed: the
// same for the commands and the desk.
//
// It asks nothing, prints nothing and signs nothing. Whoever uses it shows the
// draft to the person, has her agree, looks at everything once more (Unchanged)
// and then appends the draft to the trail.
package word

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"layette/engine"
	"layette/engine/trail"
)

// Meanings is what each verdict vouches for, unless the recipe or the person
// says.
var Meanings = map[trail.Verdict]string{
	trail.Made:     "I made these files by hand from the files named",
	trail.Approve:  "I looked at exactly this and approve it",
	trail.Hold:     "this must not go on before it is answered",
	trail.Reject:   "this must be made anew",
	trail.Withdraw: "I take back what I said about this",
}

// A Refusal says why something cannot be signed, and the way out.
type Refusal struct {
	Says  string
	Hint  string // may be empty
	Wrong bool   // what was asked is wrong in itself; else something stands against it
}

func (r *Refusal) Error() string { return r.Says }

// Word is what a person says of a stage.
type Word struct {
	Verdict trail.Verdict // empty: made for handwork that nobody signed yet, else approve
	Meaning string        // what she vouches for, where the recipe does not say
	Notes   []string
	Pins    []trail.Pin
	Ticks   []string // the recipe's questions, answered yes
	Answers []trail.ID
}

// Draft writes down what is to be signed of a subject. Ticks are taken as they
// are: Unticked tells what is still to be asked.
func (w Word) Draft(s *engine.Subject, st *engine.Status, tool string) (trail.Draft, error) {
	d := about(s, tool)
	d.Kind, d.Verdict, d.Notes, d.Pins, d.Answers = trail.Signoff, w.Verdict, w.Notes, w.Pins, w.Answers
	if d.Verdict == "" {
		d.Verdict = usual(s, st)
	}
	if d.Verdict == trail.Made {
		d.From = s.TrailFrom()
	}
	if d.Verdict == trail.Approve && len(s.Gates) > 0 {
		return d, &Refusal{Says: fmt.Sprintf("%s cannot be approved: %s does not hold", s.Node, strings.Join(s.Gates, ", ")),
			Hint: "cure it, or have it conceded: layette concede " + strings.Join(named(s.Node), " ") + " " + s.Gates[0] + " --reason WHY"}
	}
	d.Meaning = Meanings[d.Verdict]
	if w.Meaning != "" {
		d.Meaning = w.Meaning
	}
	if d.Verdict == trail.Approve && s.Sign != nil {
		d.Meaning, d.Ticks = s.Sign.Meaning, w.Ticks
	}
	return d, nil
}

func about(s *engine.Subject, tool string) trail.Draft {
	t := s.Trail()
	return trail.Draft{Stage: t.Stage, Files: t.Files, State: t.State, Saw: s.Saw, Tool: tool}
}

// usual is what a person most likely has to say.
func usual(s *engine.Subject, st *engine.Status) trail.Verdict {
	if len(s.From) > 0 && (st.Sign == nil || st.Sign.Made == nil || st.State == engine.Handwork) {
		return trail.Made
	}
	return trail.Approve
}

func named(n engine.Node) []string {
	return slices.DeleteFunc([]string{n.Stage, n.Part, n.Scan}, func(s string) bool { return s == "" })
}

// Questions returns what an approval of the subject must answer yes to.
func Questions(d trail.Draft, s *engine.Subject) []string {
	if d.Verdict != trail.Approve || s.Sign == nil {
		return nil
	}
	return s.Sign.Questions
}

// Unticked returns the questions of a draft that are not answered yes.
func Unticked(d trail.Draft, s *engine.Subject) []string {
	return slices.DeleteFunc(slices.Clone(Questions(d, s)), func(q string) bool { return slices.Contains(d.Ticks, q) })
}

// Unanswered returns the holds and rejects that stand against an approval and
// that it does not answer.
func Unanswered(d trail.Draft, st *engine.Status) []trail.Record {
	if d.Verdict != trail.Approve || st.Sign == nil {
		return nil
	}
	return slices.DeleteFunc(slices.Clone(st.Sign.Open), func(r trail.Record) bool { return slices.Contains(d.Answers, r.ID) })
}

// Mind says why an approval by who will not count, "" if nothing is against it.
func Mind(d trail.Draft, s *engine.Subject, who trail.Member) string {
	if d.Verdict != trail.Approve || s.Sign == nil || s.Sign.Role == "" || slices.Contains(who.Roles, s.Sign.Role) {
		return ""
	}
	return fmt.Sprintf("the recipe asks for a %s; %s is enrolled as %s, so this will not count", s.Sign.Role, who.Printed, strings.Join(who.Roles, ", "))
}

// SpotPin takes a place from a spot that the stage found; words may be empty
// for what the step says of it.
func SpotPin(number int, words string, st *engine.Status, files []engine.File) (trail.Pin, error) {
	for _, s := range st.Spots {
		if s.Number != number {
			continue
		}
		p := trail.Pin{File: 1, At: s.At, Radius: s.Radius, Words: words}
		if words == "" {
			p.Words = s.Says
		}
		if i := slices.IndexFunc(files, func(f engine.File) bool { return f.Role == s.Surface }); i >= 0 {
			p.File = i + 1
		}
		return p, nil
	}
	return trail.Pin{}, fmt.Errorf("there is no spot %d", number)
}

// May refuses a trail to which nothing can be added.
func May(t *trail.Trail) error {
	switch {
	case t.Empty():
		return &Refusal{Says: "nobody is enrolled yet", Hint: "the owner opens the trail: layette people add NAME --printed \"FULL NAME\" --key FILE"}
	case t.Damaged():
		return &Refusal{Says: "the trail is damaged and nothing can be added before it is mended", Hint: "layette trail --check says what is wrong"}
	}
	return nil
}

// Unchanged looks once more, at every file afresh: what is signed is what was
// looked at.
func Unchanged(ctx context.Context, m *engine.Model, seen *engine.Subject) error {
	now, _, err := m.Subject(ctx, seen.Node)
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	if err != nil {
		return &Refusal{Says: "it changed since it was looked at: " + err.Error(), Hint: "nothing was signed"}
	}
	if !Same(seen, now) {
		return Changed(seen.Node)
	}
	return nil
}

// Changed is the refusal for content that is not what was looked at.
func Changed(n engine.Node) error {
	return &Refusal{Says: n.String() + " changed since it was looked at", Hint: "nothing was signed: look again, then sign"}
}

// Same reports whether two looks at a stage saw the same.
func Same(a, b *engine.Subject) bool {
	return a.Node == b.Node && a.State == b.State && slices.Equal(a.Trail().Files, b.Trail().Files) && slices.Equal(a.TrailFrom(), b.TrailFrom())
}
