package main

import (
	"bytes"
	"context"
	"encoding/gob"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strings"

	"layette/engine"
	"layette/engine/sheet"
	"layette/engine/step"
	"layette/steps/gallery"
)

// inMM is how many millimetres one unit of a surface is.
var inMM = map[string]float64{"um": 0.001, "mm": 1, "cm": 10, "m": 1000, "in": 25.4}

// picture adds pictures and the 3D view of what a stage found, the pictures
// that it made itself, and photographs. What cannot be shown is no reason to
// have no sheet: it is told.
func (w *sheetWriter) picture(ctx context.Context, s *sheet.Stage, st *engine.Status, triangles int) error {
	if !w.anonymous {
		if err := w.photos(ctx, s, st); err != nil {
			return err
		}
	}
	for _, f := range st.Files {
		if f.Kind != step.Picture {
			continue
		}
		data, err := readFile(f)
		if err != nil {
			w.lack("%s: no picture %s: %v", st.Node, f.Name, err)
			continue
		}
		s.Pictures = append(s.Pictures, sheet.Picture{Title: f.Name, Data: data})
	}
	for _, show := range shownOf(st, w.trail) {
		if err := w.exhibit(ctx, s, st, show, triangles); err != nil {
			return err
		}
	}
	return nil
}

func (w *sheetWriter) lack(format string, args ...any) {
	w.lacks = append(w.lacks, fmt.Sprintf(format, args...))
}

// exhibit adds pictures and a 3D view of one surface with what is marked on it.
func (w *sheetWriter) exhibit(ctx context.Context, s *sheet.Stage, st *engine.Status, show shown, triangles int) error {
	o := gallery.Options{Triangles: triangles}
	if !show.pins {
		o.Columns = judged(st)
	}
	e, err := exhibits{w.model}.show(ctx, show, show.title(st), limitsOf(st), o)
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	if err != nil {
		w.lack("%s: no pictures of %s: %v", st.Node, show.file.Name, err)
		return nil
	}
	left := e.Pictures
	if !show.pins {
		left = hang(s, st, e.Pictures)
	}
	for _, p := range append(left, e.Charts...) {
		s.Pictures = append(s.Pictures, sheet.Picture{Title: p.Title, Data: p.Data})
	}
	if e.Solid != nil {
		s.Solids = append(s.Solids, sheetSolid(show.title(st), e.Solid, sheetSpots(show.spots)))
	}
	return nil
}

// hang gives every gate the picture that shows what it judges: the skin in the
// colours of its measure, or for one that does not pass the picture with the
// gravest spot. It returns the pictures that are left.
func hang(s *sheet.Stage, st *engine.Status, pictures []gallery.Picture) []gallery.Picture {
	for i := range s.Gates {
		g := &s.Gates[i]
		at := slices.IndexFunc(pictures, func(p gallery.Picture) bool {
			return p.Column != "" && slices.Contains(judgedBy(st, st.Gates[i]), p.Column)
		})
		if at < 0 && g.State != "passes" && len(pictures) > 0 {
			at = 0
		}
		if at >= 0 {
			g.Picture = &sheet.Picture{Title: pictures[at].Title, Data: pictures[at].Data}
			pictures = slices.Delete(slices.Clone(pictures), at, at+1)
		}
	}
	return pictures
}

// judged returns the columns of values that a stage's gates judge, each once.
func judged(st *engine.Status) (columns []string) {
	for _, v := range st.Gates {
		for _, c := range judgedBy(st, v) {
			if !slices.Contains(columns, c) {
				columns = append(columns, c)
			}
		}
	}
	return columns
}

// judgedBy returns the first words of the measures that a gate saw, which are
// the names of the columns of values that go with them: air.least is the
// column air.
func judgedBy(st *engine.Status, v engine.Verdict) (columns []string) {
	for _, s := range v.Saw {
		if slices.ContainsFunc(st.Measures, func(m engine.Measure) bool { return m.Name == s.Name }) {
			first, _, _ := strings.Cut(s.Name, ".")
			columns = append(columns, first)
		}
	}
	return slices.Compact(columns)
}

// limitsOf returns the lengths that a stage's gates hold its measures against,
// by the column of values that goes with them: air.least >= tolerances.gap
// marks the gap on the scale of air.
func limitsOf(st *engine.Status) map[string][]float64 {
	limits := map[string][]float64{}
	for _, v := range st.Gates {
		var lengths []float64
		for _, s := range v.Saw {
			x, isNumber := s.Value.(float64)
			own := slices.ContainsFunc(st.Measures, func(m engine.Measure) bool { return m.Name == s.Name })
			if s.Type == step.Length && isNumber && !own {
				lengths = append(lengths, x)
			}
		}
		for _, c := range judgedBy(st, v) {
			limits[c] = append(limits[c], lengths...)
		}
	}
	return limits
}

// photos adds the photographs that the recipe gives for a stage, each beside a
// render of its surface from the same side.
func (w *sheetWriter) photos(ctx context.Context, s *sheet.Stage, st *engine.Status) error {
	list, err := w.model.Photos(w.board.Recipe, st.Node)
	if err != nil || len(list) == 0 {
		return err
	}
	f := anySurface(st)
	if f == nil {
		w.lack("%s: no photographs: the stage has no surface to show beside them", st.Node)
		return nil
	}
	var o gallery.Options
	for _, p := range list {
		o.Views = append(o.Views, p.View)
	}
	e, err := exhibits{w.model}.show(ctx, shown{file: f}, shown{file: f}.title(st), nil, o)
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	if err != nil {
		w.lack("%s: no render of %s beside photographs: %v", st.Node, f.Name, err)
		return nil
	}
	for i, p := range list {
		pic := sheet.Picture{Title: e.Pictures[i].Title + ", and the photograph " + p.Name, Data: e.Pictures[i].Data, Lacks: p.Lacks}
		if p.File != nil {
			if pic.Photo, err = photograph(*p.File); err != nil {
				pic.Lacks = p.File.Path + " cannot be shown: " + err.Error()
			}
		}
		if pic.Lacks != "" {
			w.lack("%s: no photograph %s: %s", st.Node, p.Name, pic.Lacks)
		}
		s.Pictures = append(s.Pictures, pic)
	}
	return nil
}

func photograph(f engine.File) ([]byte, error) {
	r, err := f.Open()
	if err != nil {
		return nil, err
	}
	defer r.Close()
	return sheet.Photograph(r)
}

// exhibits draws surfaces, and keeps what it drew in the model's store for the
// next time the same is asked for.
type exhibits struct{ model *engine.Model }

func (x exhibits) show(ctx context.Context, s shown, title string, limits map[string][]float64, o gallery.Options) (*gallery.Exhibit, error) {
	key := exhibitKey(s, title, limits, o)
	if data, ok := x.model.Kept(key); ok {
		var e gallery.Exhibit
		if err := gob.NewDecoder(bytes.NewReader(data)).Decode(&e); err == nil {
			return &e, nil
		}
	}
	data, err := readFile(*s.file)
	if err != nil {
		return nil, err
	}
	e, err := gallery.Show(ctx, gallery.Piece{Title: title, Data: bytes.NewReader(data), Size: int64(len(data)), Scale: inMM[s.file.Units], Spots: s.spots, Limits: limits}, o)
	if err != nil {
		return nil, err
	}
	for i, p := range e.Pictures { // as the page wants them: less to keep, and nothing to do at the next call
		if e.Pictures[i].Data, err = sheet.Photograph(bytes.NewReader(p.Data)); err != nil {
			return nil, err
		}
	}
	var b bytes.Buffer
	if gob.NewEncoder(&b).Encode(e) == nil {
		x.model.Keep(key, b.Bytes())
	}
	return e, nil
}

// exhibitKey names all that an exhibit depends on, the program among them.
func exhibitKey(s shown, title string, limits map[string][]float64, o gallery.Options) string {
	var b strings.Builder
	fmt.Fprintf(&b, "exhibit of %s\n%s %s\n%q\n%+v\n%+v\n", build(), s.file.SHA256, s.file.Units, title, o, s.spots)
	for _, c := range slices.Sorted(maps.Keys(limits)) {
		fmt.Fprintf(&b, "%s %v\n", c, limits[c])
	}
	return b.String()
}

// build tells this program from any other build of it.
func build() string {
	name := version()
	if path, err := os.Executable(); err == nil {
		if info, err := os.Stat(path); err == nil {
			return fmt.Sprintf("%s, %d bytes, %d", name, info.Size(), info.ModTime().UnixNano())
		}
	}
	return name
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
