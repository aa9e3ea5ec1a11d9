// Package calibrate is the step that learns from a sample that came back what
// moulding truly did to its master.
package calibrate

import (
	"context"
	"errors"
	"fmt"
	"math"

	"layette/engine/step"
	"layette/steps/internal/draw"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/process"
	"layette/steps/internal/region"
	"layette/steps/internal/workpiece"
)

// Kind is the step.
type Kind struct{}

// calibration is one master with what samples are compared by.
type calibration struct {
	mesh    *geom.Mesh // the master, welded
	thin    *thinned   // what samples are laid on
	middle  geom.Vec   // of its skin
	size    float64    // half the longest way through its box, mm
	relief  *relieved
	regions []region.Ball
	reach   float64
	scatter float64 // of points along the skin, a share of their noise across it
	workers int
}

// Check implements step.Checker.
func (Kind) Check(values step.Values) []step.Complaint {
	_, complaints := process.Chain(values)
	if values.Has("regions") {
		_, wrong := region.Read(values.Table("regions"))
		for _, says := range wrong {
			complaints = append(complaints, step.Complaint{Value: "regions", Says: says})
		}
	}
	for _, name := range []string{"material", "link"} {
		if values.Has(name) && !bare(values.Text(name)) {
			complaints = append(complaints, step.Complaint{Value: name, Says: "a name for a table is of small letters, digits and hyphens"})
		}
	}
	return complaints
}

// bare reports whether a name may stand in a TOML table without quotes.
func bare(s string) bool {
	for _, r := range s {
		if (r < 'a' || r > 'z') && (r < '0' || r > '9') && r != '-' {
			return false
		}
	}
	return s != ""
}

// Run implements step.Kind.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	if wrong := (Kind{}).Check(job.Values); len(wrong) > 0 {
		return nil, fmt.Errorf("%s: %s", wrong[0].Value, wrong[0].Says)
	}
	if len(job.Inputs["samples"]) == 0 {
		return nil, errors.New("there are no samples to calibrate with")
	}
	p, err := workpiece.One(ctx, job, "master")
	if err != nil {
		return nil, err
	}
	job.Progress.Start("comparing samples", len(job.Inputs["samples"])+1)
	c, err := newCalibration(ctx, job, p.Mesh)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", p.File.Name, err)
	}
	job.Progress.Add(1)
	notes := p.Notes()
	var all []*found
	for _, f := range job.Inputs["samples"] {
		s, err := workpiece.Open(ctx, job, f)
		if err != nil {
			return nil, err
		}
		between := s.Mesh.Origin.Sub(c.mesh.Origin)
		sample := s.Mesh.Moved(between)
		one, err := c.study(ctx, f.Name, sample)
		if err != nil {
			return nil, err
		}
		if len(all) == 0 {
			if err := c.layDown(job, p.Base(), one, sample); err != nil {
				return nil, fmt.Errorf("%s: %w", f.Name, err)
			}
		}
		all, notes = append(all, one), append(notes, s.Notes()...)
		job.Progress.Add(1)
	}
	r := newResult(job.Values, all)
	out := &step.Outcome{Measures: r.measures(), Notes: append(r.notes(), notes...)}
	return out, c.write(ctx, job, p.Base(), r)
}

func newCalibration(ctx context.Context, job *step.Job, m *geom.Mesh) (*calibration, error) {
	c := &calibration{reach: job.Values.Float("reach"), scatter: job.Values.Float("scatter"), workers: job.Workers}
	if job.Values.Has("regions") {
		c.regions, _ = region.Read(job.Values.Table("regions"))
	}
	return c, c.prepare(ctx, m)
}

// prepare makes the master ready for samples to be compared with.
func (c *calibration) prepare(ctx context.Context, m *geom.Mesh) (err error) {
	if c.mesh, _, err = m.Welded(ctx, c.workers); err != nil {
		return err
	}
	if c.thin, err = thin(ctx, c.mesh, c.workers); err != nil {
		return err
	}
	if c.relief, err = newRelieved(ctx, c.thin.mesh, c.workers); err != nil {
		return err
	}
	c.size = c.mesh.Bounds().Size().Len() / 2
	c.middle = c.relief.middle()
	return nil
}

// size is that of the pictures; tests draw smaller ones.
var size = draw.Usual

func (c *calibration) write(ctx context.Context, job *step.Job, base string, r *result) error {
	if err := workpiece.WriteText(job, "table", base+"-calibrated.toml", r.toml()); err != nil {
		return err
	}
	if err := workpiece.WriteText(job, "rows", base+"-calibrated.csv", r.rows()); err != nil {
		return err
	}
	left := c.thin.carry(c.relief.skin.Carry(r.samples[0].left))
	m := c.mesh
	plain := &geom.Mesh{Verts: m.Verts, Tris: m.Tris, Origin: m.Origin}
	if err := workpiece.Write(job, "map", base+"-difference.ply", plain, meshio.Column{Name: "difference", Values: left}); err != nil {
		return err
	}
	if err := workpiece.WriteText(job, "pictures", base+"-transfer.svg", r.chart()); err != nil {
		return err
	}
	values := &draw.Values{At: left, Name: "sample - master", Unit: "mm", Low: -0.2, High: 0.2, Scale: draw.Apart}
	view := draw.View{Name: "front, from its right", Dir: geom.Vec{X: 0.6, Y: 1, Z: 0.25}}
	p, err := draw.Draw(ctx, draw.Scene{Title: "difference", Note: r.samples[0].name, Mesh: plain, Values: values, Workers: job.Workers}, view, size)
	if err != nil {
		return err
	}
	return workpiece.WritePicture(job, "pictures", base+"-difference.png", p)
}

// result is what all samples say together.
type result struct {
	values     step.Values
	samples    []*found
	shrink     [3]band
	mean       band
	detail     band
	share      [bands]band
	contradict []string
}

func newResult(values step.Values, samples []*found) *result {
	r := &result{values: values, samples: samples}
	// A sample that is warm is longer than at 20 °C (ISO 1).
	warm := 1 + float64(values.Float("expansion")*1e-6*(values.Float("temperature")-20))
	cool := func(b band) band {
		at := func(x float64) float64 { return 1 - (1-x)/warm }
		return band{at(b.at), at(b.from), at(b.to)}
	}
	gather := func(of func(*found) band) band {
		var all []band
		for _, s := range samples {
			all = append(all, of(s))
		}
		return together(all)
	}
	for k := range 3 {
		r.shrink[k] = cool(gather(func(f *found) band { return f.shrink[k] }))
	}
	r.mean = cool(gather(func(f *found) band { return f.mean }))
	r.detail = gather(func(f *found) band { return f.detail })
	for k := range bands {
		r.share[k] = gather(func(f *found) band { return f.share[k] })
	}
	r.compare()
	return r
}

// compare holds the recipe's figures against the bounds; bounds that the recipe's
// own figures have, since they were measured, are added as squares add.
func (r *result) compare() {
	links, _ := process.Chain(r.values)
	if len(links) == 0 {
		return
	}
	back := process.Scale(links)
	for k, axis := range [3]string{"x", "y", "z"} {
		known, says := 0.0, 1-1/back[k][k]
		for _, l := range links {
			known = hypot(known, shareKnown(&l, k))
		}
		if b := r.shrink[k].wider(known); says < b.from || says > b.to {
			r.contradict = append(r.contradict, fmt.Sprintf("along %s the recipe says %s, the samples say %s (%s to %s)", axis, process.Percent(says), process.Percent(b.at), process.Percent(b.from), process.Percent(b.to)))
		}
	}
	known := 0.0
	for _, l := range links {
		known = hypot(known, (l.DetailTo-l.DetailFrom)/2)
	}
	b := r.detail.wider(known)
	if d := process.Detail(links); d > 0 && (d < b.from || d > b.to) && math.Abs(float64(d*d)-float64(b.at*b.at)) > noticed {
		r.contradict = append(r.contradict, fmt.Sprintf("the recipe's chain holds %.2f mm, the samples %.2f mm (%.2f to %.2f mm)", d, b.at, b.from, b.to))
	}
}

// noticed is how far squared details differ, mm², that part with a hundredth of a
// wave of 1 mm: ln 2 times it.
const noticed = 0.0145

// shareKnown returns half the width of the bounds of a link's share along axis k.
func shareKnown(l *process.Link, k int) float64 {
	return max(l.ShareTo-l.ShareFrom, l.AxisTo[k]-l.AxisFrom[k]) / 2
}

// uneven reports whether two axes differ by more than their bounds.
func (r *result) uneven() bool {
	for i, a := range r.shrink {
		for _, b := range r.shrink[:i] {
			if a.from > b.to || b.from > a.to {
				return true
			}
		}
	}
	return false
}
