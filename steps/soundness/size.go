package soundness

import (
	"fmt"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/geom"
)

// size is how large a surface is and how large it should be, mm.
type size struct {
	box         geom.Box
	longest     float64
	least, most float64
	asked       bool
	unit        string // of the file
}

// units are the units a file may be in, mm each.
var units = []struct {
	name string
	mm   float64
}{{"um", 0.001}, {"mm", 1}, {"cm", 10}, {"in", 25.4}, {"m", 1000}}

func sizeUp(m *geom.Mesh, values step.Values, unit string) size {
	s := size{box: m.Bounds(), least: 0, most: 1e300, unit: unit}
	s.box.Min, s.box.Max = s.box.Min.Add(m.Origin), s.box.Max.Add(m.Origin)
	d := s.box.Size()
	s.longest = max(d.X, d.Y, d.Z)
	if values.Has("least") {
		s.least, s.asked = values.Float("least"), true
	}
	if values.Has("most") {
		s.most, s.asked = values.Float("most"), true
	}
	return s
}

func (s size) plausible() bool { return s.longest >= s.least && s.longest <= s.most }

// tell adds the measures of size to out.
func (s size) tell(out *step.Outcome) {
	d := s.box.Size()
	out.Measures["size.x"], out.Measures["size.y"], out.Measures["size.z"] = d.X, d.Y, d.Z
	out.Measures["longest"] = s.longest
	out.Measures["plausible"] = s.plausible()
	if !s.plausible() {
		out.Notes = append(out.Notes, s.says())
	}
}

// says tells what is wrong with the size and which unit would cure it.
func (s size) says() string {
	what := fmt.Sprintf("the surface is %s long, read as %s; %s was expected", millimetres(s.longest), s.unit, s.expected())
	var fit []string
	for _, u := range units {
		if longest := s.longest / unitSize(s.unit) * u.mm; u.name != s.unit && longest >= s.least && longest <= s.most {
			fit = append(fit, fmt.Sprintf("%s (%s)", u.name, millimetres(longest)))
		}
	}
	if len(fit) == 0 {
		return what + ": no other unit would fit; look at the scale it was exported with"
	}
	return what + ": it would fit if the file were in " + strings.Join(fit, " or ") + "; correct units in the recipe or export again in mm"
}

func (s size) expected() string {
	switch {
	case s.most == 1e300:
		return "at least " + millimetres(s.least)
	case s.least == 0:
		return "at most " + millimetres(s.most)
	}
	return millimetres(s.least) + " to " + millimetres(s.most)
}

func unitSize(name string) float64 {
	for _, u := range units {
		if u.name == name {
			return u.mm
		}
	}
	return 1
}

// millimetres writes a length with three figures that count.
func millimetres(x float64) string {
	if x >= 1000 {
		return fmt.Sprintf("%.0f mm", x)
	}
	return fmt.Sprintf("%.3g mm", x)
}

// spots marks a wrong size in the middle of the surface.
func (s size) spots() []ranked {
	if s.plausible() {
		return nil
	}
	return []ranked{{rank: rankSize, weight: s.longest, Spot: step.Spot{
		What: "size", At: point(s.box.Centre()), Radius: s.longest / 2, Value: s.longest, Unit: "mm", Says: s.says(), Fault: true,
	}}}
}
