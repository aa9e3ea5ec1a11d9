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
)

// What a verdict vouches for, unless the recipe or --meaning says.
var meanings = map[trail.Verdict]string{
	trail.Made:     "I made these files by hand from the files named",
	trail.Approve:  "I looked at exactly this and approve it",
	trail.Hold:     "this must not go on before it is answered",
	trail.Reject:   "this must be made anew",
	trail.Withdraw: "I take back what I said about this",
}

// A word is what a person says of a stage, as the flags give it.
type word struct {
	verdict trail.Verdict
	as      string   // --as
	meaning string   // --meaning
	notes   []string // --note
	at      []string // --at
	ticks   []string // --tick
	answers []string // --answer
	yes     bool
}

func (w *word) flags(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&w.as, "as", "", "sign with this key `file`")
	f.StringArrayVar(&w.notes, "note", nil, "a `sentence` to go with it; may be given often")
	f.StringArrayVar(&w.at, "at", nil, "a place, `x,y,z[,r]:words` in mm, or spot:N[:words]; may be given often")
	f.BoolVar(&w.yes, "yes", false, "do not ask before signing (for scripts)")
}

func newSignCmd(a *app) *cobra.Command {
	w := &word{}
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

// say shows a subject, asks, looks again and signs.
func (a *app) say(ctx context.Context, w *word, args []string) error {
	m, err := a.openModel(ctx, nil)
	if err != nil {
		return err
	}
	defer m.Close()
	seen, st, err := a.subject(ctx, m, args)
	if err != nil {
		return err
	}
	t, err := m.OpenTrail()
	if err != nil {
		return err
	}
	key, who, done, err := a.person(t, w.as)
	if err != nil {
		return err
	}
	defer done()
	d, err := a.draft(t, w, seen, st)
	if err != nil {
		return err
	}
	a.showDraft(d, who, seen)
	a.showUnanswered(d, st)
	if err := a.tick(w, seen, &d); err != nil {
		return err
	}
	if !w.yes {
		if err := a.agree(fmt.Sprintf("\nSign this as %s?", who.Printed)); err != nil {
			return err
		}
	}
	if err := a.unchanged(ctx, m, seen); err != nil {
		return err
	}
	return a.append(ctx, m, t, d, key)
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
	if t.Empty() {
		return nil, trail.Member{}, nil, failed(exitWaits, errors.New("nobody is enrolled yet"), "the owner opens the trail: layette people add NAME --printed \"FULL NAME\" --key FILE")
	}
	if t.Damaged() {
		return nil, trail.Member{}, nil, failed(exitHeld, errors.New("the trail is damaged and nothing can be added before it is mended"), "layette trail --check says what is wrong")
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
func (a *app) draft(t *trail.Trail, w *word, s *engine.Subject, st *engine.Status) (trail.Draft, error) {
	about := s.Trail()
	d := trail.Draft{Kind: trail.Signoff, Verdict: w.verdict, Stage: about.Stage, Files: about.Files, State: about.State,
		Saw: s.Saw, Notes: w.notes, Tool: "layette " + version()}
	if d.Verdict == "" {
		d.Verdict = trail.Approve
		if len(s.From) > 0 && (st.Sign == nil || st.Sign.Made == nil || st.State == engine.Handwork) {
			d.Verdict = trail.Made
		}
	}
	if d.Verdict == trail.Made {
		d.From = s.TrailFrom()
	}
	if d.Verdict == trail.Approve && len(s.Gates) > 0 {
		return d, failed(exitHeld, fmt.Errorf("%s cannot be approved: %s does not hold", s.Node, strings.Join(s.Gates, ", ")),
			"cure it, or have it conceded: layette concede "+strings.Join(parts(s.Node), " ")+" "+s.Gates[0]+" --reason WHY")
	}
	d.Meaning = meanings[d.Verdict]
	if w.meaning != "" {
		d.Meaning = w.meaning
	}
	if d.Verdict == trail.Approve && s.Sign != nil {
		d.Meaning = s.Sign.Meaning
	}
	var err error
	if d.Pins, err = pins(w.at, st, s.Files); err != nil {
		return d, err
	}
	d.Answers, err = answers(t, w.answers)
	return d, err
}

func parts(n engine.Node) []string {
	return slices.DeleteFunc([]string{n.Stage, n.Part, n.Scan}, func(s string) bool { return s == "" })
}

// pins reads places: "x,y,z[,r]:words" on the first file, or "spot:N[:words]".
func pins(texts []string, st *engine.Status, files []engine.File) (list []trail.Pin, err error) {
	for _, text := range texts {
		place, words, _ := strings.Cut(text, ":")
		p := trail.Pin{File: 1, Words: words}
		if place == "spot" {
			err = spotPin(&p, words, st, files)
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

// spotPin takes a place from a spot that the stage found.
func spotPin(p *trail.Pin, text string, st *engine.Status, files []engine.File) error {
	number, words, _ := strings.Cut(text, ":")
	n, err := strconv.Atoi(number)
	if err != nil {
		return err
	}
	for _, s := range st.Spots {
		if s.Number != n {
			continue
		}
		p.At, p.Radius, p.Words = s.At, s.Radius, words
		if words == "" {
			p.Words = s.Says
		}
		if i := slices.IndexFunc(files, func(f engine.File) bool { return f.Role == s.Surface }); i >= 0 {
			p.File = i + 1
		}
		return nil
	}
	return fmt.Errorf("there is no spot %d", n)
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
func (a *app) tick(w *word, s *engine.Subject, d *trail.Draft) error {
	if d.Verdict != trail.Approve || s.Sign == nil {
		return nil
	}
	for i, q := range s.Sign.Questions {
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
	if d.Verdict == trail.Approve && s.Sign != nil && s.Sign.Role != "" && !slices.Contains(who.Roles, s.Sign.Role) {
		fmt.Fprintf(out, "  mind     the recipe asks for a %s; %s is enrolled as %s, so this will not count\n", s.Sign.Role, who.Printed, strings.Join(who.Roles, ", "))
	}
}

// showUnanswered reminds an approver of what stands against it.
func (a *app) showUnanswered(d trail.Draft, st *engine.Status) {
	if d.Verdict != trail.Approve || st.Sign == nil {
		return
	}
	for _, r := range st.Sign.Open {
		if !slices.Contains(d.Answers, r.ID) {
			fmt.Fprintf(a.stdout, "  mind     the %s of %s stands and is not answered: %s (--answer %s)\n", r.Verdict, r.ByPrinted, strings.Join(r.Notes, "; "), r.ID.Short())
		}
	}
}

func (a *app) showLines(name string, lines []string) {
	for _, l := range lines {
		fmt.Fprintf(a.stdout, "  %-8s %s\n", name, l)
	}
}

// unchanged looks once more: what is signed is what was looked at.
func (a *app) unchanged(ctx context.Context, m *engine.Model, seen *engine.Subject) error {
	now, _, err := m.Subject(ctx, seen.Node)
	if err != nil {
		return failed(exitHeld, fmt.Errorf("it changed since it was looked at: %w", err), "nothing was signed")
	}
	if !sameFiles(seen.Trail().Files, now.Trail().Files) || !sameFiles(seen.TrailFrom(), now.TrailFrom()) || seen.State != now.State {
		return failed(exitHeld, fmt.Errorf("%s changed since it was looked at", seen.Node), "nothing was signed: look again, then sign")
	}
	return nil
}

func sameFiles(a, b []trail.File) bool { return slices.Equal(a, b) }

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
