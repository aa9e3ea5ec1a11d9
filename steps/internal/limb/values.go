package limb

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/geom"
)

// Values are the handbook values that say what to look for.
func Values() []step.Value {
	return []step.Value{
		{Name: "shape", Type: step.OneWord, Default: "other", OneOf: []string{"arm", "leg", "head", "other"}, Doc: "what the part is: decides which joints have names; a hand or foot alone is other", Origin: "common practice"},
		{Name: "opening", Type: step.Point, Optional: true, Doc: "a point on the flat end through which the part leaves its mould; found if not given"},
		{Name: "points", Type: step.Tree, Optional: true, Doc: "joints that a person placed: elbow = [x, y, z] in mm, and so on"},
		{Name: "spacing", Type: step.Length, Default: "0.5 mm", Min: "0.05 mm", Max: "10 mm", Doc: "between rings along the skin", Origin: "common practice"},
		{Name: "flat", Type: step.Length, Default: "0.3 mm", Min: "0.001 mm", Max: "5 mm", Doc: "how far the opening may stray from a plane", Origin: "common practice"},
	}
}

// Inputs is the one input of the steps that look at a limb.
func Inputs() []step.Input {
	return []step.Input{{Name: "surface", Kind: step.Surface, Doc: "the part to be moulded, closed and right way round, with one flat opening; what is not is said, and looked at as far as it can be"}}
}

// Sources are where the method of rings and branches comes from.
func Sources() []string {
	return []string{
		"R. Kimmel, J. A. Sethian, \"Computing geodesic paths on manifolds\", PNAS 95, 1998 (from memory)",
		"X. Ni, M. Garland, J. C. Hart, \"Fair Morse functions for extracting the topological structure of a surface mesh\", SIGGRAPH 2004 (from memory)",
		"F. Lazarus, A. Verroust, \"Level set diagrams of polyhedral objects\", 1999 (from memory)",
	}
}

// WantOf reads them.
func WantOf(v step.Values, workers int) (Want, error) {
	w := Want{Shape: Shape(v.Text("shape")), Spacing: v.Float("spacing"), Strays: v.Float("flat"), Workers: workers}
	if v.Has("opening") {
		p := v.Point("opening")
		w.Opening = &geom.Vec{X: p[0], Y: p[1], Z: p[2]}
	}
	var err error
	w.Pins, err = Points(v)
	return w, err
}

// Points reads the places that a person named, if any. Where names are known,
// any other is an error.
func Points(v step.Values, known ...string) (map[string]geom.Vec, error) {
	out := map[string]geom.Vec{}
	if !v.Has("points") {
		return out, nil
	}
	table := v.Table("points")
	for i, name := range table.Names {
		at, ok := table.Values[i].([]float64)
		if !ok || len(at) != 3 || !(geom.Vec{X: at[0], Y: at[1], Z: at[2]}).Finite() {
			return out, fmt.Errorf("points: %s must be three numbers in mm, such as [1, 2, 3]", name)
		}
		if len(known) > 0 && !slices.Contains(known, name) {
			return out, fmt.Errorf("points: there is no %q; there are %s", name, strings.Join(known, ", "))
		}
		out[name] = geom.Vec{X: at[0], Y: at[1], Z: at[2]}
	}
	return out, nil
}

// OfFace are the places that a person may name on a head: the corners of its
// eyes, its chin and its crown.
var OfFace = []string{"inner-left", "inner-right", "outer-left", "outer-right", "chin", "crown"}

// Check tells before anything runs which pinned joints the shape does not have.
func Check(v step.Values) []step.Complaint {
	w, err := WantOf(v, 1)
	if err != nil {
		return []step.Complaint{{Value: "points", Says: err.Error()}}
	}
	var out []step.Complaint
	for _, name := range sorted(w.Pins) {
		if !slices.Contains(names[w.Shape], name) {
			out = append(out, step.Complaint{Value: "points", Says: fmt.Sprintf("a part of shape %q has no joint %q", w.Shape, name), Hint: fmt.Sprintf("it has %v", names[w.Shape])})
		}
	}
	return out
}

func sorted(pins map[string]geom.Vec) []string {
	var list []string
	for name := range pins {
		list = append(list, name)
	}
	sort.Strings(list)
	return list
}

// RingOf returns for each vertex the ring of its branch nearest in distance,
// -1 where the skin does not lead.
func (l *Limb) RingOf() []int32 {
	r := l.Rings
	levels := make([][]float64, len(r.Branches))
	for b := range r.Branches {
		for _, k := range r.Branches[b].Rings {
			levels[b] = append(levels[b], r.Rings[k].Level)
		}
	}
	of := make([]int32, len(r.Of))
	for v, b := range r.Of {
		of[v] = -1
		if b < 0 || len(levels[b]) == 0 {
			continue
		}
		d := float64(r.Dist[v])
		i, _ := slices.BinarySearch(levels[b], d)
		if i == len(levels[b]) || i > 0 && d-levels[b][i-1] < levels[b][i]-d {
			i--
		}
		of[v] = r.Branches[b].Rings[i]
	}
	return of
}

// Region names the stretch of the limb that ring k lies on: between joints,
// or the digit.
func (l *Limb) Region(shape Shape, k int32) string {
	if shape == Head {
		return "head"
	}
	b := l.Rings.Rings[k].Branch
	for i, d := range l.Digits {
		if d == b {
			return l.DigitName(shape, i)
		}
	}
	before := func(joint string) bool {
		j, ok := l.Joint(joint)
		return ok && l.Rings.Rings[k].Level < l.Rings.Rings[j.Ring].Level
	}
	switch {
	case shape == Arm && before("elbow"):
		return "upper arm"
	case shape == Arm && before("wrist"):
		return "forearm"
	case shape == Arm:
		return "hand"
	case shape == Leg && before("knee"):
		return "thigh"
	case shape == Leg && before("ankle"):
		return "lower leg"
	case shape == Leg:
		return "foot"
	}
	return "trunk"
}

// Where names the place of ring k in a sentence: the joint it lies at, or the
// region.
func (l *Limb) Where(shape Shape, k int32) string {
	g := &l.Rings.Rings[k]
	for _, j := range l.Joints {
		h := &l.Rings.Rings[j.Ring]
		if h.Branch != g.Branch || math.Abs(h.Level-g.Level) > 1.2*math.Sqrt(g.Across.Area/math.Pi) {
			continue
		}
		if finger, ok := strings.CutPrefix(j.Name, "knuckle."); ok {
			return "knuckle of the " + spoken(finger)
		}
		return j.Name
	}
	return spoken(l.Region(shape, k))
}

// spoken is the name of a digit in a sentence: a ring is no finger there.
func spoken(name string) string {
	if slices.Contains(fingers[1:], name) {
		return name + " finger"
	}
	return name
}

// Outline returns up to 48 points of a ring's section, for a spot.
func (l *Limb) Outline(k int32) [][3]float64 {
	at := l.Rings.Rings[k].Across.At
	stride := max(1, (len(at)+47)/48)
	var out [][3]float64
	for i := 0; i < len(at); i += stride {
		p := at[i].Add(l.Mesh.Origin)
		out = append(out, [3]float64{Round(p.X, 0.001), Round(p.Y, 0.001), Round(p.Z, 0.001)})
	}
	return out
}

// Round rounds x to a multiple of to.
func Round(x, to float64) float64 { return math.Round(x*(1/to)) / (1 / to) }

// At returns a point as in the file, rounded, for a spot.
func (l *Limb) At(v geom.Vec) [3]float64 {
	v = v.Add(l.Mesh.Origin)
	return [3]float64{Round(v.X, 0.001), Round(v.Y, 0.001), Round(v.Z, 0.001)}
}
