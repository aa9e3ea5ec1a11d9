// Package gallery makes what people look at of a stage's surface and spots:
// pictures in which every spot is seen, a reduced surface for a 3D view, and
// files for other programs. It runs no step and knows no page: it gives bytes
// and plain numbers.
package gallery

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/draw"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
)

// Piece is a surface with what a stage found on it.
type Piece struct {
	Title string // of the pictures, such as "head · gaps"
	Data  io.ReaderAt
	Size  int64
	Scale float64 // mm for each unit of the file; 0 means 1
	Spots []step.Spot
	// Limits mark values on the legends, by the name of the column.
	Limits map[string][]float64
}

// Options say how much is wanted.
type Options struct {
	Pictures  int // at most; 0 means six, None leaves them out
	Triangles int // of the reduced surface; 0 leaves it out
	Workers   int
	// Columns are the values that are judged: the whole is drawn in the colours
	// of each, as far as the file has them.
	Columns []string
	// Views, if there are any, are the sides from which the plain part is drawn,
	// and nothing else is: to be held against photographs. Sides lists their
	// names.
	Views []string
}

// None asks for no pictures.
const None = -1

// Exhibit is what can be shown of a piece.
type Exhibit struct {
	Pictures []Picture
	Charts   []Picture // SVG: for each column of values, how many vertices have which
	Solid    *Solid
}

// Picture is a PNG picture, or an SVG drawing.
type Picture struct {
	Title  string
	Data   []byte
	Spots  []int  // numbers of the spots that it is for
	Column string // of values that colours the skin; empty for none
}

// Solid is a reduced surface.
type Solid struct {
	Verts  [][3]float32 // mm, about nothing: the frame of the spots
	Tris   [][3]int32
	Full   int     // triangles of the full surface
	Strays float64 // mm, at most
	Layers []Layer
}

// Layer is a set of values on a solid, one a vertex.
type Layer struct {
	Name, Unit string
	At         []float32 // NaN where nothing is known
	Low, High  float64
	Limits     []float64
	Colours    [][3]uint8 // from low to high
}

// Show reads a piece and draws it: one view of the whole for each set of
// spots seen together, the gravest first, on the skin coloured by the first
// column of values the file has. The surface may have millions of triangles;
// two million take about ten seconds on two processors, most of it to reduce
// them.
func Show(ctx context.Context, p Piece, o Options) (*Exhibit, error) {
	m, values, err := read(ctx, p, o.Workers)
	if err != nil {
		return nil, err
	}
	if len(o.Views) > 0 {
		plain, err := plainly(ctx, p, m, o)
		return &Exhibit{Pictures: plain}, err
	}
	// a column without two different values has nothing to show
	values = slices.DeleteFunc(values, func(v *draw.Values) bool { return !(v.High > v.Low) })
	slices.SortStableFunc(values, func(a, b *draw.Values) int { return rank(a) - rank(b) })
	var e Exhibit
	if o.Pictures != None {
		if e.Pictures, err = pictures(ctx, p, m, values, o); err != nil {
			return nil, err
		}
	}
	for _, v := range values {
		if !isHelper(v) {
			e.Charts = append(e.Charts, chart(p.Title, v))
		}
	}
	if o.Triangles > 0 {
		e.Solid, err = solid(ctx, m, values, o)
	}
	return &e, err
}

// read returns the surface and the values that its file holds.
func read(ctx context.Context, p Piece, workers int) (*geom.Mesh, []*draw.Values, error) {
	names := columns(io.NewSectionReader(p.Data, 0, p.Size))
	m, info, err := meshio.Read(ctx, p.Data, p.Size, meshio.Options{Scale: p.Scale, Workers: workers, Columns: names})
	if err != nil {
		return nil, nil, err
	}
	if len(m.Tris) == 0 {
		return nil, nil, fmt.Errorf("this %s holds %d points and no triangles", info.Format, len(m.Verts))
	}
	var values []*draw.Values
	for _, c := range info.Columns {
		if len(c.Values) == len(m.Verts) {
			values = append(values, scaled(c.Name, c.Values, p.Limits[c.Name]))
		}
	}
	return m, values, nil
}

// plain are the properties of a PLY vertex that are no values to show.
var plain = []string{"x", "y", "z", "nx", "ny", "nz", "red", "green", "blue", "alpha", "seen", "s", "t", "u", "v"}

// columns returns the further numbers that a PLY file says its vertices have.
func columns(r io.Reader) []string {
	s := bufio.NewScanner(io.LimitReader(r, 1<<16))
	var names []string
	vertex := false
	for line := 0; s.Scan(); line++ {
		words := strings.Fields(s.Text())
		switch {
		case line == 0 && (len(words) != 1 || words[0] != "ply") || len(words) > 0 && words[0] == "end_header":
			return names
		case len(words) > 1 && words[0] == "element":
			vertex = words[1] == "vertex"
		case vertex && len(words) == 3 && words[0] == "property" && !slices.Contains(plain, words[2]):
			names = append(names, words[2])
		}
	}
	return nil // not a whole head
}

// less are columns in which less is worse.
var less = []string{"air", "solid", "wall", "corner", "gap", "thickness"}

// units are those of the columns that are not in mm.
var units = map[string]string{"ring": "number", "scans": "number", "stretch": "share", "trust": "share", "turn": "deg per radius", "undercut": "share"}

// helpers are columns that say where on the part one is, not what was found:
// they come last and have no histogram.
var helpers = []string{"distance", "ring"}

func isHelper(v *draw.Values) bool { return slices.Contains(helpers, v.Name) }

func rank(v *draw.Values) int {
	if isHelper(v) {
		return 1
	}
	return 0
}

func unitOf(column string) string {
	if u, ok := units[column]; ok {
		return u
	}
	return "mm"
}

// scaled returns a column with the ends of its scale: what ninety-six of a
// hundred vertices have, so that a few far values do not wash out the rest. The
// ends of a column without two different values are the same.
func scaled(name string, at []float32, limits []float64) *draw.Values {
	var all []float64
	for i := 0; i < len(at); i += 1 + len(at)/200_000 {
		if x := float64(at[i]); x-x == 0 {
			all = append(all, x)
		}
	}
	if len(all) == 0 {
		return &draw.Values{At: at, Name: name}
	}
	slices.Sort(all)
	at, all = found(at, all)
	v := &draw.Values{At: at, Name: name, Unit: unitOf(name), Low: all[len(all)*2/100], High: all[len(all)*98/100], Limits: limits}
	for _, l := range limits {
		v.Low, v.High = min(v.Low, l), max(v.High, l)
	}
	switch {
	case slices.Contains(less, name):
		v.Scale, v.Low = draw.Falling, min(v.Low, all[0])
	case v.Low < 0 && v.High > 0:
		v.Scale = draw.Apart
		far := max(-v.Low, v.High)
		v.Low, v.High = -far, far
	default: // where nearly all is alike, grain is not to look like findings
		v.High = max(v.High, v.Low+(all[len(all)-1]-v.Low)/5)
	}
	return v
}

// found returns a column without its greatest value, where a third of the
// vertices or more have just that: a step looks so far and no farther, and
// what lies beyond is not something found.
func found(at []float32, sorted []float64) ([]float32, []float64) {
	most := sorted[len(sorted)-1]
	end := slices.Index(sorted, most)
	if end == 0 || 3*(len(sorted)-end) < len(sorted) {
		return at, sorted
	}
	out := slices.Clone(at)
	for i, x := range out {
		if float64(x) == most {
			out[i] = float32(math.NaN())
		}
	}
	return out, sorted[:end]
}

// letters make what is written on a picture readable on a phone, and on paper
// with two pictures in a row.
const letters = 1.5

// pictures draws the views in which the spots are seen.
func pictures(ctx context.Context, p Piece, m *geom.Mesh, values []*draw.Values, o Options) ([]Picture, error) {
	spots := drawn(p.Spots)
	most := o.Pictures
	if most <= 0 {
		most = 6
	}
	choices, err := draw.Choose(ctx, m, spots[:min(len(spots), mostMarked)], o.Workers)
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(choices, func(a, b draw.Choice) int { return first(a) - first(b) })
	s := draw.Scene{Title: p.Title, Mesh: m, Letters: letters, Workers: o.Workers}
	column := ""
	if len(values) > 0 {
		s.Values, column = values[0], values[0].Name
	}
	var out []Picture
	for _, c := range choices[:min(len(choices), most)] {
		s.Spots, s.Cut = nil, c.Cut
		pic := Picture{Title: p.Title + ", " + c.View.Name, Column: column}
		for _, i := range c.Spots {
			s.Spots = append(s.Spots, spots[i])
			pic.Spots = append(pic.Spots, spots[i].Number)
		}
		if pic.Data, err = draw.PNG(ctx, s, c.View, draw.Usual); err != nil {
			return nil, err
		}
		out = append(out, pic)
	}
	s.Spots, s.Cut = nil, nil
	for _, v := range values {
		if v.Name == column || !slices.Contains(o.Columns, v.Name) {
			continue
		}
		s.Values = v
		pic := Picture{Title: p.Title + ", " + v.Name, Column: v.Name}
		if pic.Data, err = draw.PNG(ctx, s, overview(choices), draw.Usual); err != nil {
			return nil, err
		}
		out = append(out, pic)
	}
	return out, nil
}

// overview is the first view of the whole among choices, or a usual one.
func overview(choices []draw.Choice) draw.View {
	for _, c := range choices {
		if c.View.Reach == 0 && c.Cut == nil {
			return c.View
		}
	}
	return sides["front-right"]
}

// sides are the views that a photograph may be taken from, by the names that
// recipes have for them.
var sides = map[string]draw.View{
	"front": draw.Front, "back": draw.Back, "left": draw.Left, "right": draw.Right, "above": draw.Above, "below": draw.Below,
	"front-left":  {Name: "front, from its left", Dir: geom.Vec{X: -0.6, Y: 1, Z: 0.25}},
	"front-right": {Name: "front, from its right", Dir: geom.Vec{X: 0.6, Y: 1, Z: 0.25}},
	"back-left":   {Name: "back, from its left", Dir: geom.Vec{X: -0.6, Y: -1, Z: 0.25}},
	"back-right":  {Name: "back, from its right", Dir: geom.Vec{X: 0.6, Y: -1, Z: 0.25}},
}

// Sides returns the names that Options.Views may have, in order.
func Sides() []string { return slices.Sorted(maps.Keys(sides)) }

// plainly draws the part from the sides that are asked for, in its own colours
// where it has any.
func plainly(ctx context.Context, p Piece, m *geom.Mesh, o Options) (out []Picture, err error) {
	s := draw.Scene{Title: p.Title, Mesh: m, Skin: true, Letters: letters, Workers: o.Workers}
	for _, name := range o.Views {
		v, ok := sides[name]
		if !ok {
			return nil, fmt.Errorf("there is no view %q", name)
		}
		pic := Picture{Title: p.Title + ", " + v.Name}
		if pic.Data, err = draw.PNG(ctx, s, v, draw.Usual); err != nil {
			return nil, err
		}
		out = append(out, pic)
	}
	return out, nil
}

// chart is the histogram of a column over the vertices where it is known.
func chart(title string, v *draw.Values) Picture {
	all := make([]float64, len(v.At))
	for i, x := range v.At {
		all[i] = float64(x)
	}
	bars := draw.Count(all, v.Low, v.High, 40)
	bars.Title, bars.Name, bars.Limits = v.Name+": vertices by value", v.Name+", "+v.Unit, v.Limits
	return Picture{Title: title + ", " + v.Name + " by number of vertices", Data: []byte(bars.SVG())}
}

// mostMarked is how many spots pictures are chosen for.
const mostMarked = 40

// first returns the gravest spot that a picture is for.
func first(c draw.Choice) int {
	if len(c.Spots) == 0 {
		return math.MaxInt32
	}
	return slices.Min(c.Spots)
}

// drawn returns spots as the pictures want them.
func drawn(spots []step.Spot) []draw.Spot {
	vec := func(p [3]float64) geom.Vec { return geom.Vec{X: p[0], Y: p[1], Z: p[2]} }
	var out []draw.Spot
	for _, s := range spots {
		d := draw.Spot{Number: s.Number, At: vec(s.At), To: vec(s.To), Radius: s.Radius, Fault: s.Fault, Text: Value(s)}
		for _, p := range s.Ring {
			d.Ring = append(d.Ring, vec(p))
		}
		out = append(out, d)
	}
	return out
}

// Value returns a spot's value with its unit.
func Value(s step.Spot) string {
	if s.Unit == "" && s.Value == 0 {
		return ""
	}
	return strings.TrimSpace(fmt.Sprintf("%.4g %s", s.Value, s.Unit))
}

// solid reduces the surface.
func solid(ctx context.Context, m *geom.Mesh, values []*draw.Values, o Options) (*Solid, error) {
	r, err := geom.Reduce(ctx, m, o.Triangles, o.Workers)
	if err != nil {
		return nil, err
	}
	s := &Solid{Full: len(m.Tris), Strays: math.Ceil(r.Worst*1000) / 1000}
	for _, p := range r.Mesh.Verts {
		v := p.Vec().Add(m.Origin).Point()
		s.Verts = append(s.Verts, v)
	}
	for _, t := range r.Mesh.Tris {
		s.Tris = append(s.Tris, t)
	}
	for _, v := range values {
		l := Layer{Name: v.Name, Unit: v.Unit, At: r.Carry(v.At), Low: v.Low, High: v.High, Limits: v.Limits}
		for i := range 9 {
			l.Colours = append(l.Colours, v.Scale.At(float64(i)/8))
		}
		s.Layers = append(s.Layers, l)
	}
	return s, nil
}

// GLB returns the piece as a binary glTF file, coloured by a column of its
// values, or by its own colours if column is empty; PLY does the same as PLY,
// in mm.
func GLB(ctx context.Context, p Piece, column string, workers int) ([]byte, error) {
	return coloured(ctx, p, column, workers, func(w io.Writer, m *geom.Mesh) error { return meshio.WriteGLB(w, m, p.Title) })
}

// PLY returns the piece as a coloured PLY file.
func PLY(ctx context.Context, p Piece, column string, workers int) ([]byte, error) {
	return coloured(ctx, p, column, workers, func(w io.Writer, m *geom.Mesh) error { return meshio.WritePLY(w, m) })
}

func coloured(ctx context.Context, p Piece, column string, workers int, write func(io.Writer, *geom.Mesh) error) ([]byte, error) {
	m, values, err := read(ctx, p, workers)
	if err != nil {
		return nil, err
	}
	if column != "" {
		i := slices.IndexFunc(values, func(v *draw.Values) bool { return v.Name == column })
		if i < 0 {
			var names []string
			for _, v := range values {
				names = append(names, v.Name)
			}
			return nil, fmt.Errorf("the surface has no values called %q; it has: %s", column, strings.Join(names, ", "))
		}
		m = draw.Coloured(m, values[i])
	}
	var b bytes.Buffer
	if err := write(&b, m); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// Points returns spots as a PLY file of points in mm, with their numbers,
// values and radii, for programs that want to show them over a surface.
func Points(spots []step.Spot) ([]byte, error) {
	m := &geom.Mesh{}
	number, value, radius := []float32{}, []float32{}, []float32{}
	for _, s := range spots {
		m.Verts = append(m.Verts, geom.Vec{X: s.At[0], Y: s.At[1], Z: s.At[2]}.Point())
		number, value, radius = append(number, float32(s.Number)), append(value, float32(s.Value)), append(radius, float32(s.Radius))
	}
	var b bytes.Buffer
	err := meshio.WritePLY(&b, m, meshio.Column{Name: "number", Values: number}, meshio.Column{Name: "value", Values: value}, meshio.Column{Name: "radius", Values: radius})
	return b.Bytes(), err
}

// Columns returns the names of the values that a piece's file holds.
func Columns(p Piece) []string { return columns(io.NewSectionReader(p.Data, 0, p.Size)) }
