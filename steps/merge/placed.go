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

// placed is one scan in the part's frame with a weight for each point: 32
// bytes a point.
type placed struct {
	name    string
	points  []geom.Point
	normals []geom.Point
	weight  []float32
	radius  []float32 // mm along the skin that the point speaks for
	noise   float64
	spacing float64
	blocks  []int32 // of the field that it reaches
	window  *window // nil if it is not known where the scanner stood
}

// spread is how many spacings along the skin a point speaks for: the least at
// which every place between points that fell on a slanted square grid is
// reached by three.
const spread = 1.6

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
	piece, err := workpiece.Open(ctx, m.job, f)
	if err != nil {
		return nil, err
	}
	look, err := shot.Look(ctx, piece.Mesh, m.fade, 1)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	if look.View.Away {
		return nil, fmt.Errorf("%s: its skin faces away from the scanner: the file is mirrored or its triangles are turned over", name)
	}
	return m.place(name, look, place.Pose())
}

// place moves a scan into the part's frame and weighs its points.
func (m *merger) place(name string, s *shot.Shot, pose geom.Pose) (*placed, error) {
	p := &placed{name: name, noise: s.Noise, spacing: s.Spacing, window: newWindow(s, pose)}
	most, away := 3*s.Spacing, 0
	for v, at := range s.Mesh.Verts {
		local := float64(s.Local[v])
		w := m.weigh(s, v)
		if local == 0 || w == 0 {
			continue
		}
		to := pose.Apply(at.Vec().Add(s.Mesh.Origin))
		if max(math.Abs(to.X), math.Abs(to.Y), math.Abs(to.Z)) > farthest {
			away++
			continue
		}
		p.points = append(p.points, to.Point())
		p.normals = append(p.normals, pose.Rot.Apply(s.Normals[v]).Point())
		p.weight = append(p.weight, float32(w))
		p.radius = append(p.radius, float32(max(spread*min(max(local, s.Spacing), most), 1.25*m.voxel)))
	}
	if away > len(s.Mesh.Verts)/100 { // fewer are strays, which intake takes out
		return nil, fmt.Errorf("%s: it lies more than %d m from the middle of the part: look at its unit and its place", name, farthest/1000)
	}
	if len(p.points) == 0 {
		return nil, fmt.Errorf("%s: no point of it has skin round it", name)
	}
	return p, nil
}

// least is the weight of the worst point against the best: where nothing else
// sees the skin it must still count.
const least = 1e-3

// weigh returns the weight of a point: the square of the cosine of the viewing
// angle, less from 60 degrees on, and fading to nearly nothing at the border of
// the patch, so that a surface made of many has no step where one begins.
func (m *merger) weigh(s *shot.Shot, v int) float64 {
	cos := float64(s.Cos[v])
	if s.Normals[v] == (geom.Vec{}) || cos <= 0 {
		return 0
	}
	w := float64(cos * cos)
	if cos < 0.5 {
		w *= 2 * cos
	}
	t := min(float64(s.Border[v])/m.fade, 1)
	return max(float64(w*smooth(t)), least)
}

// smooth rises from 0 to 1 without a corner.
func smooth(t float64) float64 { return float64(t*t) * (3 - 2*t) }

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
		for i := range p.weight {
			p.weight[i] *= f
		}
	}
}
