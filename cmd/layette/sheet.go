package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"layette/engine"
	"layette/engine/gate"
	"layette/engine/sheet"
	"layette/engine/step"
	"layette/engine/trail"
	"layette/steps/gallery"
)

func newSheetCmd(a *app) *cobra.Command {
	var out string
	var quick, anonymous bool
	cmd := &cobra.Command{
		Use:   "sheet",
		Short: "Write the inspection sheet: one page to read on a screen, a phone or paper",
		Long: `Write the model's inspection sheet as one HTML file that loads nothing from
outside: where every part stands, what was found and where, each gate with its
numbers, the sign-offs, and the trail for the auditor. Nothing is run for it.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return a.sheet(cmd.Context(), out, quick, anonymous) },
	}
	cmd.Flags().StringVarP(&out, "out", "o", "", "the `file` to write (default out/sheet.html in the model)")
	cmd.Flags().BoolVar(&quick, "no-pictures", false, "leave out pictures and 3D views")
	cmd.Flags().BoolVar(&anonymous, "no-photographs", false, "leave out photographs of the child, for a sheet that goes to others")
	return cmd
}

func (a *app) sheet(ctx context.Context, out string, quick, anonymous bool) error {
	m, err := a.openModel(ctx, nil)
	if err != nil {
		return err
	}
	defer m.Close()
	b, err := m.Look(ctx)
	if err != nil {
		return a.modelError(err)
	}
	t, err := m.OpenTrail()
	if err != nil {
		return err
	}
	w := &sheetWriter{app: a, model: m, board: b, trail: t, pictures: !quick, anonymous: anonymous}
	page, err := w.page(ctx)
	if err != nil {
		return err
	}
	var text bytes.Buffer
	size, err := sheet.Write(&text, page)
	if err != nil {
		return err
	}
	if out == "" {
		dir, err := a.findModel()
		if err != nil {
			return err
		}
		out = filepath.Join(dir, "out", "sheet.html")
	} else if !filepath.IsAbs(out) {
		out = filepath.Join(a.dir, out)
	}
	if err := writeWhole(out, text.Bytes()); err != nil {
		return err
	}
	fmt.Fprintf(a.stdout, "%s: %.1f MB\n", out, float64(size)/1e6)
	for _, s := range w.lacks {
		fmt.Fprintf(a.stderr, "layette: %s\n", s)
	}
	return nil
}

// writeWhole writes a file that appears whole or not at all.
func writeWhole(name string, data []byte) error {
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(name), ".sheet-*")
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	err = errors.Join(err, f.Chmod(0o644), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), name)
	}
	if err != nil {
		os.Remove(f.Name())
	}
	return err
}

// A sheetWriter turns a board and a trail into the words of a sheet.
type sheetWriter struct {
	*app
	model    *engine.Model
	board    *engine.Board
	trail    *trail.Trail
	pictures bool
	// anonymous leaves out photographs of the child.
	anonymous bool
	lacks     []string // why some picture is not there
}

const sheetClock = "2006-01-02 15:04 UTC"

func (w *sheetWriter) page(ctx context.Context) (sheet.Page, error) {
	b := w.board
	p := sheet.Page{Model: b.Model.Name, Title: b.Title, Made: w.now().UTC().Format(sheetClock), By: "layette " + version()}
	if b.Model.Title != "" {
		p.Model = b.Model.Title
	}
	shown := 0
	for _, st := range b.Stages {
		shown += len(shownOf(st, w.trail))
	}
	at := map[string]int{}
	for _, st := range b.Stages {
		stage, err := w.stage(ctx, st, budget(shown))
		if err != nil {
			return p, err
		}
		i, ok := at[st.Part]
		if !ok {
			i = len(p.Parts)
			at[st.Part] = i
			p.Parts = append(p.Parts, sheet.Part{Name: st.Part})
		}
		p.Parts[i].Stages = append(p.Parts[i].Stages, stage)
		w.sayNext(&p, st)
	}
	for _, g := range b.Recipe.Given {
		p.Given = append(p.Given, given(b.Recipe, g))
	}
	p.Cautions = w.cautions()
	p.Trail = w.trailView()
	return p, nil
}

// budget is how many triangles a 3D view may have, so that all of them
// together take about half of the page: ten bytes a triangle.
func budget(views int) int { return min(60_000, max(6_000, sheet.Most/2/10/max(views, 1))) }

// cautions are those of all steps that the recipe uses, each once.
func (w *sheetWriter) cautions() (out []string) {
	used := map[string]bool{}
	for _, st := range w.board.Stages {
		used[st.Step] = true
	}
	said := map[string]bool{}
	for _, k := range w.kinds {
		h := k.Handbook()
		for _, c := range h.Cautions {
			if used[h.Name] && !said[c] {
				said[c] = true
				out = append(out, c)
			}
		}
	}
	return out
}

// sayNext adds what a person is to do about a stage, and what has changed
// under a signature.
func (w *sheetWriter) sayNext(p *sheet.Page, st *engine.Status) {
	switch st.State {
	case engine.Held, engine.Failed, engine.Unsigned, engine.Handwork:
		says := strings.TrimPrefix(st.Says, string(st.State)+": ") // who holds it says so by itself
		p.Next = append(p.Next, fmt.Sprintf("%s: %s, %s", st.Node, st.State, says))
	}
	if st.State == engine.Done {
		return
	}
	if last, lapsed := w.lapsed(st); lapsed == changedSince {
		says := "what was signed has changed"
		if len(st.Causes) > 0 {
			says = st.Causes[0].Says
		}
		p.Changed = append(p.Changed, sheet.Change{Stage: st.Node.String(), Says: says, Since: last.Time.UTC().Format(sheetClock) + ", " + last.ByPrinted})
	}
}

func (w *sheetWriter) stage(ctx context.Context, st *engine.Status, triangles int) (sheet.Stage, error) {
	s := sheet.Stage{ID: st.Node.String(), Name: st.Stage, Step: st.Step, For: st.For, State: string(st.State), Says: st.Says, Notes: append(st.Notes, st.Asides...)}
	if st.Scan != "" {
		s.Name, s.Shot = s.Name+" "+st.Scan, st.Scan
	}
	w.table(&s, st)
	for _, v := range st.Gates {
		s.Gates = append(s.Gates, sheetGate(v))
	}
	for _, m := range st.Measures {
		value := m.Text()
		if value == "[]" {
			value = "none"
		}
		s.Measures = append(s.Measures, sheet.Measure{Name: m.Name, Value: value, Doc: m.Doc})
	}
	for _, f := range st.Files {
		s.Files = append(s.Files, sheet.File{Role: f.Role, Name: f.Name, Size: fmt.Sprintf("%d bytes", f.Size), SHA256: f.SHA256})
	}
	w.words(&s, st)
	s.Spots = sheetSpots(append(slices.Clone(st.Spots), pinned(st, w.trail).spots()...))
	if !w.pictures {
		return s, nil
	}
	return s, w.picture(ctx, &s, st, triangles)
}

func sheetGate(v engine.Verdict) sheet.Gate {
	g := sheet.Gate{Name: v.Gate, Why: v.Why, Rule: v.Rule, Numbers: v.Numbers, State: string(v.State)}
	switch {
	case v.Says != "":
		g.Margin = v.Says
	case v.Spare != "" && v.State == gate.Passes:
		g.Margin = v.Spare + " to spare"
	case v.Spare != "":
		g.Margin = "short by " + strings.TrimPrefix(v.Spare, "-")
	}
	if c := v.Conceded; c != nil {
		g.Conceded = fmt.Sprintf("by %s, %s: %s", c.ByPrinted, c.Time.UTC().Format(sheetClock), c.Reason)
	}
	return g
}

func sheetSpots(spots []step.Spot) []sheet.Spot {
	var out []sheet.Spot
	for _, s := range spots {
		out = append(out, sheet.Spot{Number: s.Number, What: s.What, Value: gallery.Value(s), Says: s.Says, Fault: s.Fault, At: s.At, Radius: s.Radius})
	}
	return out
}
