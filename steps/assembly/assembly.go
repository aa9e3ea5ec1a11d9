// Package assembly is the step that puts the parts of a kit together at the
// seats of the cloth body, as they will be tied: where each part comes to lie,
// how the head leans, and pictures from three sides. The handbook says how.
package assembly

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"

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
		return step.Measure{Name: name, Type: step.Length, Resolution: 0.1, Doc: doc}
	}
	angle := func(name, doc string) step.Measure {
		return step.Measure{Name: name, Type: step.Angle, Resolution: 0.1, Doc: doc}
	}
	return step.Handbook{
		Name:    "assembly",
		Version: 2,
		Summary: "Puts the parts together at the seats of the cloth body: where each comes to lie, how the head leans, and pictures from three sides.",
		Method: `The kit stands in a frame of its own: x to its right, y to its front, z up. "seats" says for each part where the middle of its seat lies ("at"), which way it faces out of the body ("out") and where the part's front comes to look ("front"); "looks" is the part's front as its own file has it. To turn a part about its seat, let its front look elsewhere.

Each part is moved, never scaled: the middle of its opening to the middle of the seat, square to it, its front to the front of the seat. What is to be seen is then what will be tied, as far as cloth is flat and stiff. The head leans as the line from the middle of its opening to that of the section at "lean-at" of its height, against the kit's own upright. Pictures are drawn of surfaces with about 200,000 triangles a part; measures are of the whole ones. What gapes at an edge of a seat, and how filling pulls, is not computed.`,
		Sources:  []string{"the frame: right, front and up of a figure that stands, ISO 7250-1 (from memory); seats of cloth bodies: common practice, no source"},
		Cautions: []string{"A pose is proved on the sewn body.", "How a doll lies says nothing about how a child may be laid to sleep."},
		Inputs:   []step.Input{{Name: "parts", Kind: step.Surface, Many: true, Named: true, Doc: "all parts of the kit, each with its opening"}},
		Values: []step.Value{
			{Name: "seats", Type: step.Tree, Doc: `for each part { at = [x, y, z], out = [x, y, z], front = [x, y, z], looks = [x, y, z] }; looks may be left out for [0, 1, 0]`},
			{Name: "head", Type: step.String, Default: "head", Doc: "name of the part that is the head", Origin: practice},
			{Name: "lean-at", Type: step.Share, Default: "65 %", Min: "2 %", Max: "95 %", Doc: "how far up the head's lean is taken, of its height above its opening", Origin: practice},
		},
		Measures: []step.Measure{
			{Name: "placed", Type: step.Count, Doc: "parts put in their place"},
			{Name: "unplaced", Type: step.Count, Doc: "parts without a seat, or without an opening"},
			{Name: "empty", Type: step.Count, Doc: "seats without a part"},
			angle("head.front", "lean of the head to the front of the kit; back is negative"),
			angle("head.right", "lean of the head to the kit's right; left is negative"),
			angle("head.turn", "where the head's front looks, from the kit's front to its left"),
			length("kit.wide", "from side to side"), length("kit.deep", "from back to front"), length("kit.tall", "from the lowest place to the highest"),
			length("arms.uneven", "how far the end of one arm lies from the mirror image of the other's"),
			length("legs.uneven", "the same of the legs"),
		},
		Outputs: []step.Output{
			{Name: "pictures", Kind: step.Picture, Many: true, Doc: "the kit from the front, from its right and from above"},
			{Name: "places", Kind: step.Rows, Doc: "where each part comes to lie, in the kit's frame"},
		},
		Memory: 14,
	}
}

// Check refuses seats that are none.
func (Kind) Check(v step.Values) []step.Complaint {
	var out []step.Complaint
	if _, err := seatsOf(v); err != nil {
		out = append(out, step.Complaint{Value: "seats", Says: err.Error()})
	}
	return out
}

// seat is where a part goes.
type seat struct {
	part  string
	on    limb.Seat // of the body, in the kit's frame
	looks geom.Vec  // the part's front in its file
}

// seatsOf reads the seats.
func seatsOf(v step.Values) ([]seat, error) {
	table := v.Table("seats")
	var out []seat
	for i, name := range table.Names {
		t, ok := table.Values[i].(step.Table)
		if !ok {
			return nil, fmt.Errorf("seats: %s must be a table { at = [x, y, z], out = [x, y, z], front = [x, y, z] }", name)
		}
		s, err := seatOf(name, t)
		if err != nil {
			return nil, err
		}
		out = append(out, s)
	}
	if len(out) == 0 {
		return nil, errors.New("seats: no part has one")
	}
	return out, nil
}

func seatOf(name string, t step.Table) (s seat, err error) {
	at := map[string]geom.Vec{"looks": {Y: 1}}
	for i, key := range t.Names {
		p, ok := t.Values[i].([]float64)
		if !ok || len(p) != 3 || !(geom.Vec{X: p[0], Y: p[1], Z: p[2]}).Finite() {
			return s, fmt.Errorf("seats: %s of %s must be three numbers, such as [0, 1, 0]", key, name)
		}
		at[key] = geom.Vec{X: p[0], Y: p[1], Z: p[2]}
	}
	for key := range at {
		if key != "at" && key != "out" && key != "front" && key != "looks" {
			return s, fmt.Errorf("seats: %s has %q; there are at, out, front and looks", name, key)
		}
	}
	for _, key := range []string{"at", "out", "front"} {
		if _, ok := at[key]; !ok {
			return s, fmt.Errorf("seats: %s has no %q", name, key)
		}
	}
	s = seat{part: name, looks: at["looks"]}
	var ok bool
	if s.on, ok = limb.NewSeat(at["at"], at["out"], at["front"]); !ok {
		return s, fmt.Errorf("seats: front of %s points the way it faces out; name the side of the kit to which the part's front looks", name)
	}
	return s, nil
}

// Run puts the parts together and draws them.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	k, err := together(ctx, job)
	if err != nil {
		return nil, err
	}
	if err := k.draw(ctx); err != nil {
		return nil, err
	}
	return &step.Outcome{Measures: k.m, Notes: k.notes}, workpiece.WriteText(job, "places", "places.csv", k.rows.String())
}

// together puts the parts in their places and measures what comes of it.
func together(ctx context.Context, job *step.Job) (*kit, error) {
	seats, err := seatsOf(job.Values)
	if err != nil {
		return nil, err
	}
	k := &kit{job: job, seats: seats, m: map[string]any{}, tips: map[string]geom.Vec{}, whole: &geom.Mesh{}, box: geom.EmptyBox()}
	for _, x := range (Kind{}).Handbook().Measures {
		k.m[x.Name] = math.NaN()
	}
	k.rows.WriteString("part,what,x_mm,y_mm,z_mm\n")
	job.Progress.Start("put together", len(job.Inputs["parts"]))
	for _, f := range job.Inputs["parts"] {
		if err := k.add(ctx, f); err != nil {
			return nil, err
		}
		job.Progress.Add(1)
	}
	k.sum()
	return k, nil
}

// kit is the parts in their places.
type kit struct {
	job      *step.Job
	seats    []seat
	whole    *geom.Mesh // for the pictures
	box      geom.Box   // of all parts
	m        map[string]any
	tips     map[string]geom.Vec
	placed   int
	unplaced int
	rows     strings.Builder
	notes    []string
}

func (k *kit) note(format string, args ...any) {
	k.notes = append(k.notes, fmt.Sprintf(format, args...))
}
