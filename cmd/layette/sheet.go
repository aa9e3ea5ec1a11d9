package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
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
	var quick bool
	cmd := &cobra.Command{
		Use:   "sheet",
		Short: "Write the inspection sheet: one page to read on a screen, a phone or paper",
		Long: `Write the model's inspection sheet as one HTML file that loads nothing from
outside: where every part stands, what was found and where, each gate with its
numbers, the sign-offs, and the trail for the auditor. Nothing is run for it.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return a.sheet(cmd.Context(), out, quick) },
	}
	cmd.Flags().StringVarP(&out, "out", "o", "", "the `file` to write (default out/sheet.html in the model)")
	cmd.Flags().BoolVar(&quick, "no-pictures", false, "leave out pictures and 3D views")
	return cmd
}

func (a *app) sheet(ctx context.Context, out string, quick bool) error {
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
	w := &sheetWriter{app: a, board: b, trail: t, pictures: !quick}
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
	board    *engine.Board
	trail    *trail.Trail
	pictures bool
	lacks    []string // why some picture is not there
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
		shown += len(w.shown(st))
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
		p.Given = append(p.Given, w.given(g.Sets, g.Part, g.Scan, g.Reason))
	}
	p.Cautions = w.cautions()
	p.Trail = w.trailView()
	return p, nil
}

// budget is how many triangles a 3D view may have, so that all of them
// together take about half of the page: ten bytes a triangle.
func budget(views int) int { return min(60_000, max(6_000, sheet.Most/2/10/max(views, 1))) }

// given says what the model sheet sets, and what the recipe has for it.
func (w *sheetWriter) given(sets, part, scan, reason string) sheet.Given {
	g := sheet.Given{Name: strings.TrimSpace(sets + " " + part + " " + scan), Reason: reason}
	if q := w.board.Recipe.Quantities[sets]; q != nil {
		g.Value = quantityText(q.Value, q.Type)
		if q.Was != nil {
			g.Was = quantityText(q.Was.Value, q.Was.Type)
		}
	}
	return g
}

func quantityText(v any, typ step.ValueType) string {
	if x, ok := v.(float64); ok {
		return engine.Quantity(x, typ, "")
	}
	return fmt.Sprint(v)
}

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
		p.Next = append(p.Next, fmt.Sprintf("%s: %s, %s", st.Node, st.State, st.Says))
	}
	if st.State == engine.Done {
		return
	}
	if last, ok := w.lastWord(st); ok && (st.Sign == nil || len(st.Sign.By) == 0) {
		says := "what was signed has changed"
		if len(st.Causes) > 0 {
			says = st.Causes[0].Says
		}
		p.Changed = append(p.Changed, sheet.Change{Stage: st.Node.String(), Says: says, Since: last.Time.UTC().Format(sheetClock) + ", " + last.ByPrinted})
	}
}

// lastWord returns the newest approval of a stage, whatever it was given for.
func (w *sheetWriter) lastWord(st *engine.Status) (last trail.Record, ok bool) {
	for _, r := range w.trail.Records() {
		if r.Stage == st.Node.String() && r.Verdict == trail.Approve && r.Void == "" {
			last, ok = r, true
		}
	}
	return last, ok
}

func (w *sheetWriter) stage(ctx context.Context, st *engine.Status, triangles int) (sheet.Stage, error) {
	s := sheet.Stage{ID: st.Node.String(), Name: st.Stage, Step: st.Step, For: st.For, State: string(st.State), Says: st.Says, Notes: append(st.Notes, st.Asides...)}
	if st.Scan != "" {
		s.Name += " " + st.Scan
	}
	for _, v := range st.Gates {
		s.Gates = append(s.Gates, sheetGate(v))
	}
	for _, m := range st.Measures {
		s.Measures = append(s.Measures, sheet.Measure{Name: m.Name, Value: m.Text(), Doc: m.Doc})
	}
	for _, f := range st.Files {
		s.Files = append(s.Files, sheet.File{Role: f.Role, Name: f.Name, Size: fmt.Sprintf("%d bytes", f.Size), SHA256: f.SHA256})
	}
	w.words(&s, st)
	s.Spots = sheetSpots(append(slices.Clone(st.Spots), w.pinned(st).spots()...))
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
	if last, ok := w.lastWord(st); ok && len(st.Sign.By) == 0 {
		s.Signed = append(s.Signed, sheet.Signature{Name: last.ByPrinted, Time: last.Time.UTC().Format(sheetClock), Meaning: last.Meaning, Verdict: "approved", Record: last.ID.Short(), Stale: true})
	}
}

func sheetSpots(spots []step.Spot) []sheet.Spot {
	var out []sheet.Spot
	for _, s := range spots {
		out = append(out, sheet.Spot{Number: s.Number, What: s.What, Value: gallery.Value(s), Says: s.Says, Fault: s.Fault, At: s.At, Radius: s.Radius})
	}
	return out
}

// surfaceOf returns the surface on which a stage's findings are best seen: one
// it gives, such as a map of values, or else the one its spots lie on; nil if
// it found nothing to see.
func surfaceOf(st *engine.Status) *engine.File {
	for i, f := range st.Files {
		if f.Kind == step.Surface && (f.Role == "map" || len(st.Spots) > 0 && st.Spots[0].Surface == f.Role) {
			return &st.Files[i]
		}
	}
	for i, f := range st.Inputs {
		if f.Kind == step.Surface && len(st.Spots) > 0 && st.Spots[0].Surface == f.Role {
			return &st.Inputs[i]
		}
	}
	return nil
}

// inMM is how many millimetres one unit of a surface is.
var inMM = map[string]float64{"um": 0.001, "mm": 1, "cm": 10, "m": 1000, "in": 25.4}

// picture adds pictures and the 3D view of what a stage found, and the
// pictures that it made itself. What cannot be shown is no reason to have no
// sheet: it is told.
func (w *sheetWriter) picture(ctx context.Context, s *sheet.Stage, st *engine.Status, triangles int) error {
	for _, f := range st.Files {
		if f.Kind != step.Picture {
			continue
		}
		data, err := readFile(f)
		if err != nil {
			w.lacks = append(w.lacks, fmt.Sprintf("%s: no picture %s: %v", st.Node, f.Name, err))
			continue
		}
		s.Pictures = append(s.Pictures, sheet.Picture{Title: f.Name, Data: data})
	}
	for _, show := range w.shown(st) {
		if err := w.exhibit(ctx, s, st, show, triangles); err != nil {
			return err
		}
	}
	return nil
}

// exhibit adds pictures and a 3D view of one surface with what is marked on it.
func (w *sheetWriter) exhibit(ctx context.Context, s *sheet.Stage, st *engine.Status, show shown, triangles int) error {
	data, err := readFile(*show.file)
	if err != nil {
		w.lacks = append(w.lacks, fmt.Sprintf("%s: no pictures: %v", st.Node, err))
		return nil
	}
	title := st.Stage
	if st.Part != "" {
		title = st.Part + " · " + st.Stage
	}
	if show.pins {
		title += ", notes on " + show.file.Name
	}
	e, err := gallery.Show(ctx, gallery.Piece{Title: title, Data: bytes.NewReader(data), Size: int64(len(data)), Scale: inMM[show.file.Units], Spots: show.spots, Limits: limitsOf(st)},
		gallery.Options{Triangles: triangles})
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	if err != nil {
		w.lacks = append(w.lacks, fmt.Sprintf("%s: no pictures of %s: %v", st.Node, show.file.Name, err))
		return nil
	}
	for _, p := range append(e.Pictures, e.Charts...) {
		s.Pictures = append(s.Pictures, sheet.Picture{Title: p.Title, Data: p.Data})
	}
	s.Solids = append(s.Solids, sheetSolid(title, e.Solid, sheetSpots(show.spots)))
	return nil
}

// limitsOf returns the lengths that a stage's gates hold its measures against,
// by the first word of the measure, which is the name of the column of values
// that goes with it: air.least >= tolerances.gap marks the gap on the scale
// of air.
func limitsOf(st *engine.Status) map[string][]float64 {
	limits := map[string][]float64{}
	for _, v := range st.Gates {
		var words []string
		var lengths []float64
		for _, s := range v.Saw {
			first, _, _ := strings.Cut(s.Name, ".")
			x, isNumber := s.Value.(float64)
			switch {
			case slices.ContainsFunc(st.Measures, func(m engine.Measure) bool { return m.Name == s.Name }):
				words = append(words, first)
			case s.Type == step.Length && isNumber:
				lengths = append(lengths, x)
			}
		}
		for _, w := range slices.Compact(words) {
			limits[w] = append(limits[w], lengths...)
		}
	}
	return limits
}

func readFile(f engine.File) ([]byte, error) {
	r, err := f.Open()
	if err != nil {
		return nil, err
	}
	defer r.Close()
	return io.ReadAll(r)
}

func sheetSolid(name string, s *gallery.Solid, spots []sheet.Spot) sheet.Solid {
	out := sheet.Solid{Name: name, Verts: s.Verts, Tris: s.Tris, Full: s.Full, Strays: s.Strays, Spots: spots}
	for _, l := range s.Layers {
		out.Layers = append(out.Layers, sheet.Layer{Name: l.Name, Unit: l.Unit, At: l.At, Low: l.Low, High: l.High, Limits: l.Limits, Colours: l.Colours})
	}
	return out
}

// trailView is the trail as an auditor reads it.
func (w *sheetWriter) trailView() sheet.Trail {
	t := w.trail
	seal := t.Sealing()
	v := sheet.Trail{Name: t.Name(), Limits: trail.NotProven}
	bad := t.Problems()
	says := fmt.Sprintf("%d records, every signature and link holds true", seal.Records)
	if len(bad) > 0 {
		says = fmt.Sprintf("%d problems", len(bad))
	}
	v.Checks = append(v.Checks, sheet.Check{Name: "records, signatures and links", OK: len(bad) == 0, Says: says})
	for _, p := range bad {
		v.Checks = append(v.Checks, sheet.Check{Name: p.Code, Says: p.String()})
	}
	open := t.OpenHolds()
	v.Checks = append(v.Checks, sheet.Check{Name: "nothing is held", OK: len(open) == 0, Says: fmt.Sprintf("%d holds and rejects are open", len(open))})
	lost := t.Lost()
	v.Checks = append(v.Checks, sheet.Check{Name: "nothing this workstation remembers is missing", OK: len(lost) == 0, Says: fmt.Sprintf("%d records are missing", len(lost))})
	sealed := "by everybody who signed anything"
	if len(seal.Waiting) > 0 {
		sealed = "not yet by " + strings.Join(seal.Waiting, ", ")
	}
	v.Checks = append(v.Checks, sheet.Check{Name: "sealed", OK: len(seal.Waiting) == 0 && seal.Records > 0, Says: sealed})
	for _, m := range t.People() {
		p := sheet.Person{Name: m.Printed, Roles: strings.Join(m.Roles, ", ")}
		if m.Owner {
			p.Roles = strings.TrimPrefix(p.Roles+", owner of the trail", ", ")
		}
		var keys []string
		for _, k := range m.Keys {
			if k.Retired != "" {
				keys = append(keys, k.Fingerprint+" (retired)")
			} else {
				keys = append(keys, k.Fingerprint)
			}
		}
		p.Keys = strings.Join(keys, ", ")
		v.People = append(v.People, p)
	}
	for _, r := range t.Records() {
		what := string(r.Kind)
		if r.Verdict != "" {
			what = string(r.Verdict)
		}
		v.Records = append(v.Records, sheet.Record{ID: r.ID.Short(), What: what, Stage: r.Stage, Name: r.ByPrinted, Time: r.Time.UTC().Format(sheetClock), Meaning: r.Meaning, Note: r.Words(), Void: r.Void})
	}
	return v
}
