// Package seat is the step that measures the end of a head or limb that sits on
// a cloth body: the flatness, girth and roundness of its opening, the groove
// for the tie, and how the part leans from it. The handbook says how.
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

// Handbook says what the step needs and what it finds.
func (Kind) Handbook() step.Handbook {
	return step.Handbook{
		Name:    "seat",
		Version: 1,
		Summary: "Measures the opening that sits on a cloth body: how flat, wide and round it is, its groove for the tie, and how the part leans from it.",
		Method: `The opening is found, or taken where a person named it. Its extents are the greatest across its rim and that square to it; their difference is how far it is out of round. A tape is pulled round sections level with the opening up to "reach": where it dips below a straight line between two others there is a groove, as deep as the radius it loses: its rounded shoulders count, so it comes out shallower than it was cut. On a head the fold where the neck meets the chin reads as a groove too if it lies within "reach".

The part leans by the angle from square to its opening to the line from the opening's middle to that of the section farthest up that is asked for, "lean-at".`,
		Sources:  []string{"ways of tying limbs to cloth bodies: common practice, no source"},
		Cautions: []string{"A seat is proved on the sewn body: patterns and cloth differ."},
		Inputs:   []step.Input{{Name: "surface", Kind: step.Surface, Doc: "one part, closed"}},
		Values: []step.Value{
			{Name: "opening", Type: step.Point, Optional: true, Doc: "a place on the opening, where a part has several flat ends"},
			{Name: "reach", Type: step.Length, Default: "18 mm", Min: "2 mm", Max: "100 mm", Doc: "how far up a groove is looked for", Origin: "common practice"},
			{Name: "lean-at", Type: step.Length, Default: "60 mm", Min: "1 mm", Max: "300 mm", Doc: "how far up the lean is taken", Origin: "common practice"},
		},
		Measures: []step.Measure{
			{Name: "opening.flat", Type: step.Length, Resolution: 0.001, Doc: "how far it strays from a plane"},
			{Name: "opening.girth", Type: step.Length, Resolution: 0.01, Doc: "length of its rim"},
			{Name: "opening.long", Type: step.Length, Resolution: 0.01, Doc: "greatest extent"},
			{Name: "opening.broad", Type: step.Length, Resolution: 0.01, Doc: "extent square to it"},
			{Name: "opening.oval", Type: step.Length, Resolution: 0.01, Doc: "how far it is out of round"},
			{Name: "groove.depth", Type: step.Length, Resolution: 0.01, Doc: "of the groove for the tie; 0 if there is none"},
			{Name: "groove.at", Type: step.Length, Resolution: 0.1, Doc: "its height above the opening"},
			{Name: "lean", Type: step.Angle, Resolution: 0.1, Doc: "of the part from square to its opening"},
		},
		Outputs: []step.Output{{Name: "rows", Kind: step.Rows, Doc: "the tape at each height"}},
		Memory:  12,
	}
}

// Run measures one part.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	piece, err := workpiece.One(ctx, job, "surface")
	if err != nil {
		return nil, err
	}
	want := limb.Want{Shape: limb.Other, Spacing: 2, Strays: 0.3, Workers: job.Workers}
	if job.Values.Has("opening") {
		p := job.Values.Point("opening")
		want.Opening = &geom.Vec{X: p[0], Y: p[1], Z: p[2]}
	}
	l, err := limb.New(ctx, piece.Mesh, want)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", piece.File.Name, err)
	}
	if len(l.Openings) == 0 {
		return nil, fmt.Errorf("%s: no opening was found: cut it flat, or name a place on it", piece.File.Name)
	}
	cutter, err := geom.NewCutter(l.Mesh, l.Edges)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", piece.File.Name, errors.Join(errors.New("run soundness first"), err))
	}
	out := &step.Outcome{Notes: append(piece.Notes(), l.Notes...)}
	rows := ""
	out.Measures, rows, err = measure(ctx, l, cutter, job.Values)
	if err != nil {
		return nil, err
	}
	return out, workpiece.WriteText(job, "rows", piece.Base()+"-seat.csv", rows)
}

func measure(ctx context.Context, l *limb.Limb, cutter *geom.Cutter, v step.Values) (map[string]any, string, error) {
	o := l.Openings[0]
	up := o.Plane.Normal.Mul(-1)
	var rim []geom.Vec
	for _, i := range o.Rim {
		rim = append(rim, l.Mesh.Verts[i].Vec())
	}
	long, broad := extents(rim, up)
	m := map[string]any{"opening.flat": o.Flat, "opening.girth": o.Girth, "opening.long": long, "opening.broad": broad, "opening.oval": long - broad}
	rows, tapes := "height_mm,tape_mm\n", []float64(nil)
	for h := 0.5; h <= v.Float("reach"); h += 0.5 {
		if ctx.Err() != nil {
			return nil, "", context.Cause(ctx)
		}
		girth, _, ok := level(cutter, up, o.Centre.Add(up.Mul(h)))
		if !ok {
			break
		}
		tapes = append(tapes, girth)
		rows += fmt.Sprintf("%.1f,%.3f\n", h, girth)
	}
	m["groove.depth"], m["groove.at"] = groove(tapes)
	m["lean"] = math.NaN()
	if _, mid, ok := level(cutter, up, o.Centre.Add(up.Mul(v.Float("lean-at")))); ok {
		d := mid.Sub(o.Centre)
		m["lean"] = math.Atan2(d.Cross(up).Len(), d.Dot(up)) * 180 / math.Pi
	}
	return m, rows, nil
}

// level pulls a tape round the widest section square to up at a place.
func level(c *geom.Cutter, up, at geom.Vec) (girth float64, mid geom.Vec, ok bool) {
	sections, err := c.Sections(geom.Plane{Normal: up, Offset: up.Dot(at)}, nil)
	if err != nil {
		return 0, mid, false
	}
	for i := range sections {
		if g := geom.Tape(sections[i].Outline(), up); g > girth {
			girth, mid, ok = g, sections[i].Mid, true
		}
	}
	return girth, mid, ok
}

// widest is how wide a groove for a tie may be, mm: what dips over a longer way
// is the shape of the neck or limb. Common practice, no source.
const widest = 9

// groove returns how far girths half a millimetre apart dip below a straight
// line between two on both sides, no farther apart than a groove is wide, as radius, at most, and at what height.
func groove(tapes []float64) (depth, at float64) {
	for i := range tapes {
		for k := range i {
			for j := i + 1; j < min(len(tapes), k+2*widest+1); j++ {
				chord := tapes[k] + float64((tapes[j]-tapes[k])*float64(i-k)/float64(j-k))
				if d := (chord - tapes[i]) / (2 * math.Pi); d > depth {
					depth, at = d, 0.5*float64(i+1)
				}
			}
		}
	}
	return depth, at
}

// extents returns the greatest extent of a level outline, and that square to it.
func extents(ring []geom.Vec, n geom.Vec) (long, broad float64) {
	u := geom.Vec{X: 1}
	if math.Abs(n.X) > 0.7 {
		u = geom.Vec{Y: 1}
	}
	u = n.Cross(u).Unit()
	w := n.Cross(u)
	extent := func(d geom.Vec) float64 {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, p := range ring {
			lo, hi = min(lo, p.Dot(d)), max(hi, p.Dot(d))
		}
		return hi - lo
	}
	turn := geom.SmallTurn(n.Mul(math.Pi / 180))
	for range 180 {
		if e := extent(u); e > long {
			long, broad = e, extent(w)
		}
		u, w = turn.Apply(u), turn.Apply(w)
	}
	return long, broad
}
