package align

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"slices"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/workpiece"
)

// scan is one shot made ready for registration.
type scan struct {
	file        step.File
	name        string    // as the tables and pictures call it
	area        float64   // mm² of skin
	points      float64   // in its file
	view        geom.View // thinned to spacing
	fine        *geom.Cloud
	features    *geom.Features
	middle      geom.Vec
	size        float64  // half the diagonal of its box, mm
	fixed       bool     // the casting
	copy        bool     // another file again
	why         string   // why it cannot be placed, once that is known
	last        *place   // the best place found for it so far
	turn, shift geom.Vec // the motion its neighbours hold least
	grown       float64  // by which share its neighbours would have it larger, and the deviation of that
	grownBy     float64
}

// session is all that is placed together.
type session struct {
	job     *step.Job
	scans   []*scan
	spacing float64
	ratio   float64 // how widely scans that lie right spread, as a multiple of their noise
	hints   [][]hint
	kept    []*shelf       // for each scan, what earlier runs found of its pairs
	pinned  map[int]pinned // scans that a person placed on others
	notes   []string
}

// about is what is learnt of a scan before it is thinned.
type about struct {
	Area   float64 // mm² of skin
	Points float64 // on it
}

// steps of the series from which the spacing is taken, so that one scan more or
// less does not change it and with it every result kept.
const series = math.Sqrt2

// wanted is how many spacings squared a usual scan has; a spacing holds at
// least two of the scan's own points side by side.
const wanted = 2500

// fewPoints is how many thinned points a scan must have: with fewer, what is
// within reach of a feature is the rim of the scan more than its shape.
const fewPoints = 400

// look reads every scan once to learn its size.
func (s *session) look(ctx context.Context) error {
	s.job.Progress.Start("look at scans", len(s.scans))
	notes := make([][]string, len(s.scans))
	err := s.each(ctx, len(s.scans), func(i int) error {
		defer s.job.Progress.Add(1)
		c := s.scans[i]
		var a about
		key := "about " + c.file.SHA256 + c.file.Units
		if data, ok := workpiece.Kept(s.job, key); !ok || binary.Read(bytes.NewReader(data), binary.LittleEndian, &a) != nil {
			p, err := workpiece.OpenScan(ctx, s.alone(), c.file)
			if ctx.Err() != nil {
				return context.Cause(ctx)
			}
			if err != nil {
				c.why = "cannot be read: " + err.Error()
				return nil
			}
			notes[i] = p.Notes()
			a = measure(p.Mesh)
			data, _ := binary.Append(nil, binary.LittleEndian, a)
			if err := workpiece.Keep(s.job, key, data); err != nil {
				return err
			}
		}
		c.area, c.points = a.Area, a.Points
		return nil
	})
	s.notes = append(s.notes, slices.Concat(notes...)...)
	return err
}

// alone is the job for one of several workers that each have a scan of their own.
func (s *session) alone() *step.Job {
	job := *s.job
	job.Workers = 1
	return &job
}

// measure returns the area of a scan, strays and stretched triangles left out.
func measure(m *geom.Mesh) about {
	if len(m.Tris) == 0 {
		return about{spread(m.Verts), float64(len(m.Verts))}
	}
	areas := make([]float64, len(m.Tris))
	for t := range m.Tris {
		a, b, c := m.Corners(t)
		areas[t] = b.Sub(a).Cross(c.Sub(a)).Len() / 2
	}
	slices.Sort(areas)
	most := 20 * areas[len(areas)/2]
	var sum geom.Sum
	for _, a := range areas {
		if a <= most {
			sum.Add(a)
		}
	}
	return about{sum.Total(), float64(len(m.Verts))}
}

// spread estimates the skin that points without triangles stand for: the area
// of the two middle axes of the box that holds 96 of 100 of them.
func spread(pts []geom.Point) float64 {
	var side [3]float64
	for k := range 3 {
		x := make([]float32, len(pts))
		for i, p := range pts {
			x[i] = p[k]
		}
		slices.Sort(x)
		side[k] = float64(x[len(x)*49/50]) - float64(x[len(x)/50])
	}
	slices.Sort(side[:])
	return float64(side[1] * side[2])
}

// choose takes the spacing from the usual size of the scans, unless the recipe
// states it.
func (s *session) choose() {
	if s.job.Values.Has("spacing") {
		s.spacing = s.job.Values.Float("spacing")
		return
	}
	var areas, pitches []float64
	for _, c := range s.scans {
		if c.why == "" && !c.fixed && c.area > 0 {
			areas = append(areas, c.area)
			pitches = append(pitches, math.Sqrt(c.area/c.points))
		}
	}
	if len(areas) == 0 {
		s.spacing = 1
		return
	}
	slices.Sort(areas)
	slices.Sort(pitches)
	// The finer quarter tells the pitch: files that do not belong are mostly
	// coarser, and must not coarsen the rest.
	side := max(math.Sqrt(areas[len(areas)/2]/wanted), 2.5*pitches[len(pitches)/4])
	s.spacing = 1
	for s.spacing > side {
		s.spacing /= series
	}
	for s.spacing*series <= side {
		s.spacing *= series
	}
}

// ready thins and describes every scan.
func (s *session) ready(ctx context.Context) error {
	s.job.Progress.Start("thin and describe scans", len(s.scans))
	return s.each(ctx, len(s.scans), func(i int) error {
		defer s.job.Progress.Add(1)
		if s.scans[i].why != "" {
			return nil
		}
		return s.thin(ctx, s.scans[i])
	})
}

func (s *session) thin(ctx context.Context, c *scan) error {
	key := fmt.Sprintf("thin %d %s %s %x %v", Kind{}.Handbook().Version, c.file.SHA256, c.file.Units, s.spacing, c.fixed)
	if data, ok := workpiece.Kept(s.job, key); ok && c.decode(ctx, data, s.spacing) == nil {
		return nil
	}
	p, err := workpiece.OpenScan(ctx, s.alone(), c.file)
	if err != nil {
		return err
	}
	m := p.Mesh
	if c.fixed || m.Origin != (geom.Vec{}) { // poses are about the file's own zero
		m = m.Moved(geom.Vec{})
	}
	if c.view.Cloud, err = geom.Thinned(ctx, m, s.spacing, 1); err != nil {
		return err
	}
	if c.fine, err = geom.Thinned(ctx, m, s.spacing/2, 1); err != nil {
		return err
	}
	c.fine.Tris = nil // only the coarse ones are drawn
	if c.features, err = geom.NewFeatures(ctx, c.view.Cloud, 2.5*s.spacing, 5*s.spacing, 10*s.spacing, 1); err != nil {
		return err
	}
	c.finish()
	return workpiece.Keep(s.job, key, c.encode())
}

// finish works out what follows from the thinned scan.
func (c *scan) finish() {
	if len(c.view.Points) == 0 {
		c.why = "holds hardly a point that lies with others"
		return
	}
	if !c.fixed {
		c.view.Sight = geom.NewSight(c.view.Cloud)
	}
	c.middle, c.size = c.view.Middle(), c.view.Size()
	if n := len(c.view.Points); !c.fixed && n < fewPoints {
		c.why = fmt.Sprintf("shows too little skin to be known again: %.0f mm², %d places %.2g mm apart; %d are needed", c.area, n, c.view.Spacing, fewPoints)
	}
}
