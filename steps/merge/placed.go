package merge

import (
	"context"
	"errors"
	"fmt"
	"math"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/poses"
	"layette/steps/internal/shot"
	"layette/steps/internal/workpiece"
)

// placed is one scan in the part's frame.
type placed struct {
	name    string
	patches []patch
	noise   float64
	spacing float64
	picture *picture
	depth   []float32  // of each cell of the picture
	deepest []float32  // of each tile of the picture
	stood   bool       // the scanner stood at the picture's eye
	reached [][3]int32 // the blocks that its patches reach
}

// farthest a scan may lie from the part's middle of things, mm: beyond it a
// place is a slip of units, and the field's counting would end.
const farthest = 10_000

// read reads every placed scan, several at once. A scan that cannot be used is
// left out with a sentence.
func (m *merger) read(ctx context.Context) error {
	table, err := poses.Open(m.job, "poses")
	if err != nil {
		return err
	}
	files := m.job.Inputs["scans"]
	m.job.Progress.Start("reading scans", len(files))
	all, errs := make([]*placed, len(files)), make([]error, len(files))
	err = geom.Each(ctx, len(files), m.job.Workers, func(i int) {
		all[i], errs[i] = m.readOne(ctx, files[i], table)
		m.job.Progress.Add(1)
	})
	if err != nil {
		return err
	}
	for i, p := range all {
		if errs[i] != nil {
			m.left = append(m.left, errs[i].Error())
			continue
		}
		m.scans = append(m.scans, p)
	}
	if len(m.scans) == 0 {
		return fmt.Errorf("none of the %d scans can be joined: %w", len(files), errors.Join(errs...))
	}
	m.weighByNoise()
	return nil
}

func (m *merger) readOne(ctx context.Context, f step.File, table poses.Table) (*placed, error) {
	name := workpiece.Piece{File: f}.Base()
	place, ok := table.For(f)
	switch {
	case !ok:
		return nil, fmt.Errorf("%s: it is not in the table of places", name)
	case !place.Placed:
		return nil, fmt.Errorf("%s: not placed: %s", name, place.Why)
	}
	v, err := m.look(ctx, f)
	if err != nil {
		return nil, err
	}
	p, err := m.place(v, place.Pose())
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	p.name = name
	return p, nil
}

// place moves a scan into the part's frame.
func (m *merger) place(v *view, pose geom.Pose) (*placed, error) {
	if len(v.patches) == 0 {
		return nil, errors.New("no point of it has skin round it")
	}
	p := &placed{noise: v.noise, spacing: v.spacing, picture: v.picture.moved(v.origin, pose), stood: v.stood, patches: make([]patch, len(v.patches))}
	away := 0
	for i, q := range v.patches {
		to := pose.Apply(q.at.Vec().Add(v.origin))
		if max(math.Abs(to.X), math.Abs(to.Y), math.Abs(to.Z)) > farthest {
			away++
			continue // it stands at zero with no normal and no width, and says nothing
		}
		q.at, q.up = to.Point(), pose.Rot.Apply(q.up.Vec()).Point()
		q.wide = float32(max(float64(q.wide), 1.25*m.voxel))
		p.patches[i] = q
	}
	if away > len(v.patches)/100 { // fewer are strays, which intake takes out
		return nil, fmt.Errorf("it lies more than %d m from the middle of the part: look at its unit and its place", farthest/1000)
	}
	p.depths()
	return p, p.reach(m.voxel, m.reach())
}

// reach is how far across the skin a point speaks, both ways, mm.
func (m *merger) reach() float64 { return 2.5 * m.voxel }

// weighByNoise lets a scan count by one over its noise squared, against the
// others'.
func (m *merger) weighByNoise() {
	var all []float32
	for _, p := range m.scans {
		if p.noise > 0 {
			all = append(all, float32(p.noise))
		}
	}
	middle := shot.Middle(all)
	m.noise = middle
	for _, p := range m.scans {
		if !(p.noise > 0) || middle == 0 {
			continue
		}
		f := float32(min(max(float64(middle*middle)/float64(p.noise*p.noise), 0.02), 4))
		for i := range p.patches {
			p.patches[i].weight *= f
		}
	}
}
