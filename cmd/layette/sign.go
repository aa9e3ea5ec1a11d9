package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/crypto/ssh"

	"layette/engine"
	"layette/engine/trail"
	"layette/engine/word"
)

// said is what a person says of a stage, as the flags give it.
type said struct {
	verdict trail.Verdict
	as      string   // --as
	meaning string   // --meaning
	notes   []string // --note
	at      []string // --at
	ticks   []string // --tick
	answers []string // --answer
	yes     bool
}

func (w *said) flags(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&w.as, "as", "", "sign with this key `file`")
	f.StringArrayVar(&w.notes, "note", nil, "a `sentence` to go with it; may be given often")
	f.StringArrayVar(&w.at, "at", nil, "a place, `x,y,z[,r]:words` in mm, or spot:N[:words]; may be given often")
	f.BoolVar(&w.yes, "yes", false, "do not ask before signing (for scripts)")
}

func newSignCmd(a *app) *cobra.Command {
	w := &said{}
	var verdict string
	cmd := &cobra.Command{
		Use:   "sign STAGE [PART] [SCAN]",
		Short: "Show what a stage's sign-off is bound to, ask, and sign it",
		Long: `Show what a stage's sign-off is bound to, ask, and sign it. Every file is
read afresh, when it is shown and again when it is signed; if it changed in
between nothing is signed.

` + keyHelp,
		Args: cobra.RangeArgs(1, 3),
		RunE: func(cmd *cobra.Command, args []string) error {
			w.verdict = trail.Verdict(verdict)
			if !slices.Contains([]trail.Verdict{"", trail.Made, trail.Approve, trail.Withdraw}, w.verdict) {
				return usage(fmt.Errorf("--verdict %s", verdict), "made, approve or withdraw; to stop something: layette hold")
			}
			return a.say(cmd.Context(), w, args)
		},
	}
	w.flags(cmd)
	cmd.Flags().StringVar(&verdict, "verdict", "", "`made`, approve or withdraw (default: made for handwork that nobody signed yet, else approve)")
	cmd.Flags().StringVar(&w.meaning, "meaning", "", "what you vouch for, where the recipe does not say")
	cmd.Flags().StringArrayVar(&w.ticks, "tick", nil, "answer yes to the recipe's question of this `number`, or to all; may be given often")
	cmd.Flags().StringArrayVar(&w.answers, "answer", nil, "the `hold` or reject that this settles, by its first digits; may be given often")
	return cmd
}

// speech is what a person is about to say of one stage.
type speech struct {
	trail *trail.Trail
	seen  *engine.Subject
	st    *engine.Status
	who   trail.Member
}

// speak finds the one stage that args name and the person, shows what draft
// makes of it, asks, looks again and signs. more, which may be nil, shows and
// asks what belongs to the draft.
func (a *app) speak(ctx context.Context, as string, yes bool, args []string, draft func(speech) (trail.Draft, error), more func(speech, *trail.Draft) error) error {
	m, err := a.openModel(ctx, nil)
	if err != nil {
		return err
	}
	defer m.Close()
	var s speech
	if s.seen, s.st, err = a.subject(ctx, m, args); err != nil {
		return err
	}
	if s.trail, err = m.OpenTrail(); err != nil {
		return err
	}
	key, who, done, err := a.person(s.trail, as)
	if err != nil {
		return err
	}
	defer done()
	s.who = who
	d, err := draft(s)
	if err != nil {
		return err
	}
	a.showDraft(d, who, s.seen)
	if more != nil {
		if err := more(s, &d); err != nil {
			return err
		}
	}
	if !yes {
		if err := a.agree(fmt.Sprintf("\nSign this as %s?", who.Printed)); err != nil {
			return err
		}
	}
	if err := a.unchanged(ctx, m, s.seen); err != nil {
		return err
	}
	return a.append(ctx, m, s.trail, d, key)
}

// say signs what a person says of a stage.
func (a *app) say(ctx context.Context, w *said, args []string) error {
	draft := func(s speech) (trail.Draft, error) { return a.draft(s.trail, w, s.seen, s.st) }
	return a.speak(ctx, w.as, w.yes, args, draft, func(s speech, d *trail.Draft) error {
		a.showUnanswered(*d, s.st)
		return a.tick(w, s.seen, d)
	})
}

// subject finds the one stage that is named and what a word about it is bound to.
func (a *app) subject(ctx context.Context, m *engine.Model, args []string) (*engine.Subject, *engine.Status, error) {
	b, err := m.Look(ctx)
	if err != nil {
		return nil, nil, a.modelError(err)
	}
	list, err := named(b, args)
	if err != nil {
		return nil, nil, err
	}
	if len(list) > 1 {
		var names []string
		for _, st := range list {
			names = append(names, st.Node.String())
		}
		return nil, nil, usage(errors.New("one at a time: each word is about what was looked at"), "name one of "+strings.Join(names, ", "))
	}
	s, st, err := m.Subject(ctx, list[0].Node)
	if err != nil {
		return nil, nil, failed(exitWaits, err, "layette run does what is due; layette due tells what is missing")
	}
	return s, st, nil
}

// person finds the key and its person.
func (a *app) person(t *trail.Trail, as string) (ssh.Signer, trail.Member, func(), error) {
	if err := word.May(t); err != nil {
		e := refused(err)
		if t.Empty() {
			e.code = exitWaits
		}
		return nil, trail.Member{}, nil, e
	}
	key, done, err := a.signer(t, as)
	if err != nil {
		return nil, trail.Member{}, nil, err
	}
	who, ok := t.Who(trail.Fingerprint(key.PublicKey()))
	if !ok {
		done()
		return nil, who, nil, failed(exitHeld, fmt.Errorf("the key %s is not enrolled in this trail", trail.Fingerprint(key.PublicKey())), "its owner enrols people: layette people add")
	}
	return key, who, done, nil
}

// draft writes down what is to be signed.
func (a *app) draft(t *trail.Trail, w *said, s *engine.Subject, st *engine.Status) (trail.Draft, error) {
	says := word.Word{Verdict: w.verdict, Meaning: w.meaning, Notes: w.notes}
	var err error
	if says.Pins, err = pins(w.at, st, s.Files); err != nil {
		return trail.Draft{}, err
	}
	if says.Answers, err = answers(t, w.answers); err != nil {
		return trail.Draft{}, err
	}
	d, err := says.Draft(s, st, tool())
	if err != nil {
		return d, refused(err)
	}
	return d, nil
}

// refused ends a command for the reason that the trail or the rules give.
func refused(err error) *exitError {
	r, ok := errors.AsType[*word.Refusal](err)
	switch {
	case !ok:
		return &exitError{code: exitFailed, err: err}
	case r.Wrong:
		return &exitError{code: exitUsage, err: err, hint: r.Hint}
	}
	return &exitError{code: exitHeld, err: err, hint: r.Hint}
}

// tool is what wrote a record.
func tool() string { return "layette " + version() }

// pins reads places: "x,y,z[,r]:words" on the first file, or "spot:N[:words]".
func pins(texts []string, st *engine.Status, files []engine.File) (list []trail.Pin, err error) {
	for _, text := range texts {
		place, words, _ := strings.Cut(text, ":")
		p := trail.Pin{File: 1, Words: words}
		if place == "spot" {
			p, err = spotPin(words, st, files)
		} else if p.At, p.Radius, err = coordinates(place); err == nil && words == "" {
			err = errors.New("say what is there")
		}
		if err != nil {
			return nil, usage(fmt.Errorf("--at %s: %w", text, err), `such as --at "12.4,-3.1,88,2:thumb web" (mm), or --at spot:1`)
		}
		list = append(list, p)
	}
	return list, nil
}

// spotPin takes a place from a spot, "N" or "N:words".
func spotPin(text string, st *engine.Status, files []engine.File) (trail.Pin, error) {
	number, words, _ := strings.Cut(text, ":")
	n, err := strconv.Atoi(number)
	if err != nil {
		return trail.Pin{}, err
	}
	return word.SpotPin(n, words, st, files)
}

func coordinates(text string) (at [3]float64, radius float64, err error) {
	words := strings.Split(text, ",")
	if len(words) < 3 || len(words) > 4 {
		return at, 0, errors.New("want three coordinates in mm and perhaps a radius")
	}
	to := []*float64{&at[0], &at[1], &at[2], &radius}
	for i, w := range words {
		if *to[i], err = strconv.ParseFloat(strings.TrimSpace(w), 64); err != nil {
			return at, 0, fmt.Errorf("%q is not a number", w)
		}
	}
	return at, radius, nil
}

// answers finds records by the first digits of their ids.
func answers(t *trail.Trail, texts []string) (list []trail.ID, err error) {
	records := t.Records()
	for _, text := range texts {
		var found []trail.Record
		for _, r := range records {
			if len(text) >= 4 && strings.HasPrefix(r.ID.String(), strings.ToLower(text)) {
				found = append(found, r)
			}
		}
		if len(found) != 1 {
			return nil, usage(fmt.Errorf("--answer %s: %d records begin with that", text, len(found)), "layette trail shows each record's first digits; give at least four")
		}
		list = append(list, found[0].ID)
	}
	return list, nil
}

// tick has the recipe's questions answered, one by one.
func (a *app) tick(w *said, s *engine.Subject, d *trail.Draft) error {
	for i, q := range word.Questions(*d, s) {
		yes := slices.Contains(w.ticks, strconv.Itoa(i+1)) || slices.Contains(w.ticks, "all") || slices.Contains(w.ticks, q)
		if yes {
			a.showLines("yes to", []string{q})
		} else if !w.yes {
			said, err := a.ask(fmt.Sprintf("%d. %s (yes/no)", i+1, q))
			if err != nil {
				return err
			}
			yes = said == "yes"
		}
		if !yes {
			return failed(exitWaits, fmt.Errorf("question %d is not answered yes: %s", i+1, q), "nothing was signed; to stop the stage: layette hold")
		}
		d.Ticks = append(d.Ticks, q)
	}
	return nil
}

// showDraft prints all that the signature will be bound to.
func (a *app) showDraft(d trail.Draft, who trail.Member, s *engine.Subject) {
	out := a.stdout
	says := string(d.Verdict)
	if d.Kind == trail.Concession {
		says = "concession on " + strings.Join(d.Gates, ", ")
	}
	fmt.Fprintf(out, "%s: %s\n", d.Stage, says)
	for i, f := range d.Files {
		fmt.Fprintf(out, "  file %d   %s\n           %d bytes, sha256 %s\n", i+1, f.Label, f.Size, f.SHA256)
	}
	for _, f := range d.From {
		fmt.Fprintf(out, "  from     %s\n           %d bytes, sha256 %s\n", f.Label, f.Size, f.SHA256)
	}
	a.showLines("shown", d.Saw)
	for _, p := range d.Pins {
		fmt.Fprintf(out, "  at       %g, %g, %g mm, r %g: %s\n", p.At[0], p.At[1], p.At[2], p.Radius, p.Words)
	}
	for _, id := range d.Answers {
		fmt.Fprintf(out, "  answers  %s\n", id.Short())
	}
	if d.Kind == trail.Concession {
		a.showLines("fault", []string{d.Fault})
		a.showLines("action", []string{d.Action})
		a.showLines("reason", []string{d.Reason})
		a.showLines("as", []string{d.Authority})
	}
	a.showLines("note", d.Notes)
	fmt.Fprintf(out, "  name     %s (%s)\n  time     %s\n  meaning  %s\n", who.Printed, who.Name, a.now().UTC().Format("2006-01-02 15:04 UTC"), d.Meaning)
	if mind := word.Mind(d, s, who); mind != "" {
		fmt.Fprintf(out, "  mind     %s\n", mind)
	}
}

// showUnanswered reminds an approver of what stands against it.
func (a *app) showUnanswered(d trail.Draft, st *engine.Status) {
	for _, r := range word.Unanswered(d, st) {
		fmt.Fprintf(a.stdout, "  mind     the %s of %s stands and is not answered: %s (--answer %s)\n", r.Verdict, r.ByPrinted, r.Words(), r.ID.Short())
	}
}

func (a *app) showLines(name string, lines []string) {
	for _, l := range lines {
		fmt.Fprintf(a.stdout, "  %-8s %s\n", name, l)
	}
}

// unchanged looks once more: what is signed is what was looked at.
func (a *app) unchanged(ctx context.Context, m *engine.Model, seen *engine.Subject) error {
	if err := word.Unchanged(ctx, m, seen); err != nil {
		return refused(err)
	}
	return nil
}

// unsigned says why the trail took no record.
func unsigned(err error) error {
	hint := "nothing was signed"
	if _, ok := errors.AsType[*trail.ClockError](err); ok {
		hint = "if your clock is right and theirs was wrong: LAYETTE_CLOCK_IS_RIGHT=1 layette …; their record then does not count"
	}
	return failed(exitHeld, err, hint)
}

// append signs and says where the stage stands now.
func (a *app) append(ctx context.Context, m *engine.Model, t *trail.Trail, d trail.Draft, key ssh.Signer) error {
	r, err := t.Append(ctx, d, key)
	if err != nil {
		return unsigned(err)
	}
	fmt.Fprintf(a.stdout, "\nsigned   %s, %s, record %s in %s\n", r.ByPrinted, r.Time.Format(time.DateTime+" UTC"), r.ID.Short(), filepath.Base(t.Path()))
	b, err := m.Look(ctx)
	if err != nil {
		return err
	}
	for _, st := range b.Stages {
		if st.Node.String() == d.Stage {
			fmt.Fprintf(a.stdout, "now      %s is %s", st.Node, st.State)
			if st.Says != "" {
				fmt.Fprintf(a.stdout, ": %s", st.Says)
			}
			fmt.Fprintln(a.stdout)
		}
	}
	return nil
}
