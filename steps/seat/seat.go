// Package seat is the step that measures the end of a head or limb that sits on
// a cloth body: the flatness, girth and shape of its opening, the groove or
// flange for the tie, how the part leans and rolls. The handbook says how.
package seat

import (
	"context"
	"errors"
	"fmt"
	"math"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/limb"
	"layette/steps/internal/workpiece"
)

// Kind is the step.
type Kind struct{}

const practice = "common practice, no source"

// Handbook says what the step needs and what it finds.
func (Kind) Handbook() step.Handbook {
	length := func(name, doc string) step.Measure {
		return step.Measure{Name: name, Type: step.Length, Resolution: 0.01, Doc: doc}
	}
	angle := func(name, doc string) step.Measure {
		return step.Measure{Name: name, Type: step.Angle, Resolution: 0.1, Doc: doc}
	}
	return step.Handbook{
		Name:    "seat",
		Version: 3,
		Summary: "Measures the opening that sits on a cloth body: how flat, wide and round it is, its groove or flange for the tie, and how the part leans and rolls from it.",
		Method: `The opening is found, or taken where a person named it. "front" is the side of the part, in its file, that belongs to the front of its seat: a head's face, the side to which a limb is curled. Up is square to the opening, into the part; right is the part's own right. The opening's greatest extent and that square to it tell how far it is out of round; its extents from side to side and from front to back are those to hold against the pattern of the body.

A tape is pulled round sections level with the opening, a quarter of a millimetre apart, up to "reach". Where it dips below a straight line between two others and rises again within 3 mm there is a groove, as deep as the radius it loses: its rounded shoulders count, so it comes out shallower than it was cut, and on triangles with edges of e mm by some 0.06 e² mm more. A dip without a lip below that stands out by "tie-least", as the fold of neck and chin, is none. Its width is taken at half its depth. Where there is none, a rim that falls to what lies above it within 3 mm, by more than the part tapers over the next 3 mm, is a flange. The lip is what keeps the tie from slipping off: how high it is and how far it stands proud of what the tie lies on.

The part leans as the line from the opening's middle to the middle, by area, of the section "lean-at" of its height up (on a head take it above eyes and ears: a face is no level thing): to the front and to the right, each seen square to it. A limb rolls as its skin beyond that section lies to one side of the line; one that hardly curls has none to tell. On a head on which the corners of the eyes were named, the roll is that of the face, and with a named chin the face's own lean is told: eyes behind the chin read as a lean to the back, so a sound face does not read nought.`,
		Sources: []string{
			"ways of tying limbs to cloth bodies, and a tape pulled tight over hollows: common practice, no source",
		},
		Cautions: []string{"A seat is proved on the sewn body: patterns and cloth differ.", "Ties, cords and clips are small parts too."},
		Inputs:   []step.Input{{Name: "surface", Kind: step.Surface, Doc: "one part, closed"}},
		Values: []step.Value{
			{Name: "opening", Type: step.Point, Optional: true, Doc: "a place on the opening, where a part has several flat ends"},
			{Name: "front", Type: step.Point, Optional: true, Doc: "direction, in the file, of the side that belongs to the front of the seat; without it nothing is told of front, side and roll"},
			{Name: "points", Type: step.Tree, Optional: true, Doc: "places on a head: inner-left, inner-right, outer-left, outer-right (corners of the eyes), chin, crown, each [x, y, z] in mm"},
			{Name: "reach", Type: step.Length, Default: "18 mm", Min: "2 mm", Max: "100 mm", Doc: "how far up a groove is looked for", Origin: practice},
			{Name: "lean-at", Type: step.Share, Default: "33 %", Min: "2 %", Max: "95 %", Doc: "how far up the lean is taken, of the part's height above its opening", Origin: practice},
			{Name: "tie-least", Type: step.Length, Default: "0.3 mm", Min: "0.05 mm", Max: "20 mm", Doc: "grooves and flanges that are shallower are none", Origin: practice},
		},
		Measures: []step.Measure{
			{Name: "opening.count", Type: step.Count, Doc: "openings found: one is right"},
			{Name: "opening.flat", Type: step.Length, Resolution: 0.001, Doc: "how far it strays from a plane"},
			length("opening.girth", "length of its rim"),
			length("opening.long", "greatest extent"),
			length("opening.broad", "extent square to it"),
			length("opening.oval", "how far it is out of round: long less broad"),
			length("opening.wide", "extent from side to side"),
			length("opening.deep", "extent from front to back"),
			{Name: "tie", Type: step.String, Doc: "what holds it: groove, flange or none"},
			length("groove.depth", "of the groove; 0 if there is none"),
			length("groove.width", "at half its depth; 0 if there is none"),
			{Name: "groove.at", Type: step.Length, Resolution: 0.1, Doc: "height of its middle above the opening; 0 if there is none"},
			length("lip.high", "from the opening to the groove, or to where a flange falls off"),
			length("lip.proud", "how far the lip stands out over what the tie lies on"),
			angle("lean", "of the part from square to its opening"),
			angle("lean.front", "the same to the front; to the back is negative"),
			angle("lean.right", "the same to its right; to its left is negative"),
			{Name: "curls", Type: step.Flag, Doc: "the part curls, or its face was named: its roll can be told"},
			angle("roll", "0 if that cannot be told; from the front, about up, to where the limb curls or the face looks; to the part's left is positive"),
			angle("face.front", "lean of the line from chin to eyes, to the front"),
			angle("face.right", "lean of the face to its right: that eye lies lower"),
		},
		Outputs: []step.Output{{Name: "rows", Kind: step.Rows, Doc: "the tape at each height"}},
		Memory:  12,
	}
}

// Check refuses points that are none.
func (Kind) Check(v step.Values) []step.Complaint {
	if _, err := limb.Points(v, limb.OfFace...); err != nil {
		return []step.Complaint{{Value: "points", Says: err.Error()}}
	}
	return nil
}

// Run measures one part.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	piece, err := workpiece.One(ctx, job, "surface")
	if err != nil {
		return nil, err
	}
	p, err := open(ctx, piece.Mesh, job)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", piece.File.Name, err)
	}
	p.notes = append(append(piece.Notes(), p.limb.Notes...), p.notes...)
	p.opening()
	if err := p.tie(ctx); err != nil {
		return nil, err
	}
	if err := p.lean(ctx); err != nil {
		return nil, err
	}
	return &step.Outcome{Measures: p.m, Spots: p.spots, Notes: p.notes}, workpiece.WriteText(job, "rows", piece.Base()+"-seat.csv", p.rows())
}

// part is one part and what was found of its seat.
type part struct {
	values step.Values
	points map[string]geom.Vec
	limb   *limb.Limb
	cutter *geom.Cutter
	seat   limb.Seat
	sided  bool    // front and right are known
	tall   float64 // height above the opening, mm
	tapes  []geom.Section
	m      map[string]any
	spots  []step.Spot
	notes  []string
}

// open finds the opening and makes the part ready for cutting.
func open(ctx context.Context, m *geom.Mesh, job *step.Job) (*part, error) {
	p := &part{values: job.Values, m: map[string]any{}}
	for _, x := range (Kind{}).Handbook().Measures {
		p.m[x.Name] = math.NaN()
	}
	p.m["curls"] = false
	want := limb.Want{Strays: 0.3, Workers: job.Workers}
	if job.Values.Has("opening") {
		at := vec(job.Values.Point("opening"))
		want.Opening = &at
	}
	var err error
	if p.points, err = limb.Points(job.Values, limb.OfFace...); err != nil {
		return nil, err
	}
	if p.limb, err = limb.Open(ctx, m, want); err != nil {
		return nil, err
	}
	if len(p.limb.Openings) == 0 {
		return nil, errors.New("no opening was found: cut it flat, or name a place on it")
	}
	if p.cutter, err = geom.NewCutter(p.limb.Mesh, p.limb.Edges); err != nil {
		return nil, fmt.Errorf("run soundness first: %w", err)
	}
	looks := geom.Vec{X: 0.36, Y: 0.48, Z: 0.8} // any direction
	if job.Values.Has("front") {
		looks = vec(job.Values.Point("front"))
	}
	p.seat, p.sided = p.limb.Seat(looks)
	switch {
	case !job.Values.Has("front"):
		p.sided = false
		p.note("the recipe does not say where the part's front is: nothing is told of front, side and roll")
	case !p.sided:
		p.note("the front that the recipe states, %v, is square to the opening: nothing is told of front, side and roll", job.Values.Point("front"))
	}
	p.tall = p.limb.Tall(p.seat)
	return p, nil
}

func (p *part) note(format string, args ...any) {
	p.notes = append(p.notes, fmt.Sprintf(format, args...))
}

func vec(p [3]float64) geom.Vec { return geom.Vec{X: p[0], Y: p[1], Z: p[2]} }

// spot adds a place to look at.
func (p *part) spot(what string, at, to geom.Vec, value float64, unit, says string, ring []geom.Vec) {
	s := step.Spot{Number: len(p.spots) + 1, What: what, At: p.limb.At(at), Radius: 3, Value: limb.Round(value, 0.01), Unit: unit, Says: says, Surface: "surface"}
	if to != at {
		s.To = p.limb.At(to)
	}
	for i := 0; i < len(ring); i += max(1, (len(ring)+47)/48) {
		s.Ring = append(s.Ring, p.limb.At(ring[i]))
	}
	p.spots = append(p.spots, s)
}
