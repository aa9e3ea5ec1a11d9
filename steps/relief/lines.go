package relief

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/form"
	"layette/steps/internal/geom"
	"layette/steps/internal/region"
)

// line is a piece of a line with what moulding makes of it.
type line struct {
	form.Line
	after         float64 // mm below the skin beside it when it comes out of the mould
	gone, tooDeep bool
	region        string
}

// ratio returns depth over width; 0 where the width is not known.
func (f line) ratio() float64 {
	if f.Width == 0 {
		return 0
	}
	return f.Depth / f.Width
}

// pieces is how many cut-offs long a line may be before it is counted in pieces.
const pieces = 3

// find fills in the lines, and the places between two skins, where the filter
// is not trusted.
func (l *look) find(ctx context.Context) error {
	found, err := l.skin.Lines(ctx, l.split.Form(l.places), l.depth, l.beside, l.values.Float("least"), pieces*l.split.Cutoff)
	if err != nil {
		return err
	}
	for _, f := range found {
		if f.Between != nil {
			l.between = append(l.between, f)
			for _, v := range f.Between {
				l.beside[v] = true
			}
			continue
		}
		filled := float64(l.lost[f.At] * l.lostBy[f.At].Dot(l.split.Normal[f.At]))
		n := line{Line: f, after: min(max(0, f.Depth+filled), f.Depth), region: region.Name(l.regions, l.at(f.At))}
		seen := l.values.Float("seen")
		n.gone = f.Depth >= seen && n.after < seen
		n.tooDeep = n.ratio() > l.values.Float("slot")
		l.lines = append(l.lines, n)
	}
	return nil
}

// at returns where a vertex is in the coordinates of the file.
func (l *look) at(v int32) geom.Vec { return l.places[v].Add(l.mesh.Origin) }

// betweens shows the places between two skins, up to a number of spots in all.
func (l *look) betweens(shown []step.Spot, most int) []step.Spot {
	for _, f := range l.between[:min(len(l.between), max(0, most-len(shown)))] {
		s := l.spot(len(shown)+1, line{Line: f, after: f.Depth})
		s.What, s.Says = "between two skins", "two skins face one another here, as where fingers part or behind an ear: this is no line of one skin, and how deep it is is not told; see the step gaps."
		s.Value, s.Unit = 0, ""
		shown = append(shown, s)
	}
	return shown
}

// shown returns the lines to show: faults first, then the deepest.
func (l *look) shown(most int) []line {
	var list []line
	for _, fault := range []bool{true, false} {
		for _, f := range l.lines {
			if (f.gone || f.tooDeep) == fault && len(list) < most {
				list = append(list, f)
			}
		}
	}
	return list
}

func (l *look) spot(number int, f line) step.Spot {
	at := l.at(f.At)
	s := step.Spot{
		Number: number, What: "line", At: [3]float64{round(at.X, 0.001), round(at.Y, 0.001), round(at.Z, 0.001)}, Surface: "surface",
		Radius: round(max(f.Width, 0.5), 0.01), Value: round(f.Depth, 0.001), Unit: "mm", Fault: f.gone || f.tooDeep,
	}
	where := "this line"
	if f.region != "" {
		where = f.region + " line"
	}
	wide := "with no wall across it to tell its width"
	if f.Width > 0 {
		wide = fmt.Sprintf("and %.2f mm wide", f.Width)
	}
	s.Says = fmt.Sprintf("%s is %.2f mm deep %s; after moulding it will be %.2f mm (%.0f %%).", where, f.Depth, wide, f.after, 100*f.after/f.Depth)
	switch {
	case f.gone:
		s.What = "line that vanishes"
		s.Says += " It will not be seen: deepen or widen it."
	case f.tooDeep:
		s.What = "line too deep"
		s.Says += fmt.Sprintf(" It is %.1f times as deep as wide: open it, or metal plates thin in it and vinyl tears there when stripped.", f.ratio())
	}
	return s
}

func round(x, to float64) float64 { return math.Round(x/to) * to }

// rows writes every piece as a row of a table.
func (l *look) rows() string {
	var b strings.Builder
	b.WriteString("number,region,x_mm,y_mm,z_mm,depth_mm,width_mm,depth_to_width,after_mm,kept_share,gone,too_deep\n")
	for i, f := range l.lines {
		at := l.at(f.At)
		fmt.Fprintf(&b, "%d,%q,%.3f,%.3f,%.3f,%.3f,%.3f,%.2f,%.3f,%.3f,%t,%t\n", i+1, f.region, at.X, at.Y, at.Z, f.Depth, f.Width, f.ratio(), f.after, f.after/f.Depth, f.gone, f.tooDeep)
	}
	return b.String()
}

// counted returns a number with what it counts.
func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// notes says what people should know beside the spots.
func (l *look) notes() []string {
	notes := slices.Clone(l.odd)
	if l.open > 0 {
		notes = append(notes, fmt.Sprintf("the surface is open: %.1f mm of rim, or of edges that more than two triangles share; lines within %.1f mm of them are not counted", l.open, l.split.Cutoff))
	}
	if l.detail == 0 {
		notes = append(notes, "no link of the chain says which detail it holds, so nothing is softened in the prediction")
	}
	switch edge := l.skin.MeanEdge(); {
	case l.split.Cutoff < 3*edge:
		notes = append(notes, fmt.Sprintf("the triangles (%.2f mm) are too coarse to tell lines from form at a cut-off of %.1f mm: give finer ones, or a cut-off of %.0f mm or more", edge, l.split.Cutoff, math.Ceil(3*edge)))
	case l.detail > 0 && l.detail < 3*edge:
		notes = append(notes, fmt.Sprintf("the triangles (%.2f mm) are too coarse to show what a chain that holds %.2f mm does to the finest lines", edge, l.detail))
	}
	gone, deep := 0, 0
	for _, f := range l.lines {
		gone, deep = gone+int(count(f.gone)), deep+int(count(f.tooDeep))
	}
	if n := len(l.between); n > 0 {
		notes = append(notes, fmt.Sprintf("at %s two skins face one another within a cut-off, as where fingers part or behind an ear: how deep it is there is not told, and the picture of the moulded part is a guess; see the step gaps", counted(n, "place")))
	}
	if gone > 0 {
		notes = append(notes, fmt.Sprintf("%d of %d pieces of lines will not be seen on the finished part", gone, len(l.lines)))
	}
	if deep > 0 {
		notes = append(notes, fmt.Sprintf("too deep for its width: %s of lines", counted(deep, "piece")))
	}
	return notes
}
