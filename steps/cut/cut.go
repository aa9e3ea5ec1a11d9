// Package cut is the step that cuts a surface into named pieces by flat cuts.
package cut

import (
	"context"
	"fmt"
	"math"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/workpiece"
)

// Kind is the step.
type Kind struct{}

// Handbook implements step.Kind.
func (Kind) Handbook() step.Handbook {
	return step.Handbook{
		Name:    "cut",
		Version: 1,
		Summary: "Cuts a closed surface into named, flat-capped pieces.",
		Method: "Each cut takes one named piece off what is left, in the recipe's order. Its plane passes through at, square to toward, which " +
			"points from the rest to the piece; with within, the plane of least girth is searched along toward up to that far to both sides, " +
			"and with lean also over planes that lean up to that angle: a grid of planes first, then ever finer steps from the best.\n\n" +
			"Only the section nearest at is cut, so that a finger comes off without its neighbours; all = true cuts whatever the plane meets. " +
			"A shell that the cut does not pass through stays with the rest.\n\n" +
			"A vertex on the plane counts as on the piece's side, so that planes along vertices, edges and faces cut cleanly. Cut vertices lie on " +
			"the edges they part, rounded to float32, and have the same bits in both pieces; a cap is filled from exactly these vertices, so " +
			"both pieces are closed and their volumes add up to the whole. A hollow within the section stays open in the cap.",
		Sources: []string{
			"G. H. Meisters, Polygons have ears, American Mathematical Monthly, 1975 (from memory): caps",
			"J. R. Shewchuk, Adaptive precision floating-point arithmetic and fast robust geometric predicates, 1997 (from memory): sides decided exactly",
			"Least girth as the place for a wrist or ankle cut: common practice",
		},
		Cautions: []string{"A piece that comes off may be a small part: see the step small-parts, and ask a qualified laboratory."},
		Inputs:   []step.Input{{Name: "surface", Kind: step.Surface, Doc: "closed, its triangles turned outward"}},
		Values: []step.Value{
			{Name: "cuts", Type: step.Tree, Doc: `name of the piece = { at = [x, y, z] in mm, toward = [x, y, z], within = "15 mm", lean = "20 deg", all = true }; the last three may be left out`},
			{Name: "rest", Type: step.String, Default: "rest", Doc: "name of what is left after all cuts"},
		},
		Measures: []step.Measure{
			{Name: "pieces", Type: step.Count, Doc: "how many pieces there are, the rest among them"},
			{Name: "pieces.name", Type: step.String, Many: true, Doc: "their names, the rest last"},
			{Name: "pieces.volume", Type: step.Number, Unit: "mm³", Many: true, Resolution: 0.01, Doc: "the volume of each"},
			{Name: "volume.whole", Type: step.Number, Unit: "mm³", Resolution: 0.01, Doc: "volume before"},
			{Name: "volume.off", Type: step.Number, Unit: "mm³", Resolution: 0.01, Doc: "by how much the pieces together are more than the whole; rounding alone"},
			{Name: "cuts.girth", Type: step.Length, Many: true, Resolution: 0.001, Doc: "length of the outline of each cut; of the longest, where all is cut"},
			{Name: "cuts.area", Type: step.Number, Unit: "mm²", Many: true, Resolution: 0.001, Doc: "area of the cap of each cut, hollows left out"},
		},
		Outputs: []step.Output{
			{Name: "pieces", Kind: step.Surface, Many: true, Doc: "one PLY for each piece: SURFACE-PIECE.ply"},
			{Name: "table", Kind: step.Rows, Doc: "one line a cut: where its plane is, girth and area (CSV)"},
		},
		Memory: 8,
	}
}

// Check implements step.Checker.
func (Kind) Check(values step.Values) []step.Complaint {
	_, wrong := plansOf(values)
	return wrong
}

// done is a cut that was made.
type done struct {
	plan
	plane       geom.Plane
	mid         geom.Vec
	girth, area float64
	ring        []geom.Vec
	piece       *geom.Mesh
}

// Run implements step.Kind.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	plans, wrong := plansOf(job.Values)
	if len(wrong) > 0 {
		return nil, fmt.Errorf("%s: %s", wrong[0].Value, wrong[0].Says)
	}
	p, err := workpiece.One(ctx, job, "surface")
	if err != nil {
		return nil, err
	}
	job.Progress.Start("cutting", len(plans))
	rest := p.Mesh
	var all []done
	for _, plan := range plans {
		d, left, err := plan.cut(ctx, rest, job.Workers)
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		if err != nil {
			return nil, fmt.Errorf("%s: cut %q: %w", p.File.Name, plan.name, err)
		}
		all, rest = append(all, d), left
		job.Progress.Add(1)
	}
	if err := write(ctx, job, p.Base(), all, rest); err != nil {
		return nil, err
	}
	out := outcome(all, rest, p.Mesh, job.Values.Text("rest"))
	out.Notes = p.Notes()
	return out, nil
}

// cut makes one cut and returns it and what is left.
func (p plan) cut(ctx context.Context, m *geom.Mesh, workers int) (done, *geom.Mesh, error) {
	edges, err := m.Edges(ctx, workers)
	if err != nil {
		return done{}, nil, err
	}
	c, err := geom.NewCutter(m, edges)
	if err != nil {
		return done{}, nil, err
	}
	d := done{plan: p}
	at := p.at.Sub(m.Origin)
	d.plane = geom.Plane{Normal: p.toward, Offset: p.toward.Dot(at)}
	if p.within > 0 {
		var near geom.Section
		if d.plane, near, err = c.Narrowest(ctx, at, p.toward, p.within, p.lean); err != nil {
			return done{}, nil, err
		}
		at = near.Mid
	}
	sections, err := c.Sections(d.plane, nil)
	if err != nil {
		return done{}, nil, err
	}
	near, err := geom.Nearest(d.plane, sections, at)
	if err != nil {
		return done{}, nil, err
	}
	if !p.all {
		sections = []geom.Section{near}
	}
	d.measure(sections, near)
	d.piece, m, err = c.Split(ctx, d.plane, sections, p.all)
	return d, m, err
}

func (d *done) measure(sections []geom.Section, near geom.Section) {
	d.mid = near.Mid
	d.ring = thin(near.Outline(), 256)
	for _, s := range sections {
		d.area += s.Area
		d.girth = max(d.girth, s.Girth)
	}
}

// thin returns at most about n points of ring, evenly taken.
func thin(ring []geom.Vec, n int) []geom.Vec {
	every := (len(ring) + n - 1) / n
	var few []geom.Vec
	for i := 0; i < len(ring); i += every {
		few = append(few, ring[i])
	}
	return few
}

func write(ctx context.Context, job *step.Job, base string, all []done, rest *geom.Mesh) error {
	var table strings.Builder
	table.WriteString("cut,mid_x_mm,mid_y_mm,mid_z_mm,toward_x,toward_y,toward_z,girth_mm,area_mm2\n")
	for _, d := range all {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		mid, n := d.mid.Add(d.piece.Origin), d.plane.Normal
		fmt.Fprintf(&table, "%s,%.3f,%.3f,%.3f,%.6f,%.6f,%.6f,%.3f,%.3f\n", d.name, mid.X, mid.Y, mid.Z, n.X, n.Y, n.Z, d.girth, d.area)
		if err := workpiece.Write(job, "pieces", base+"-"+d.name+".ply", d.piece); err != nil {
			return err
		}
	}
	if err := workpiece.Write(job, "pieces", base+"-"+job.Values.Text("rest")+".ply", rest); err != nil {
		return err
	}
	return workpiece.WriteText(job, "table", base+"-cuts.csv", table.String())
}

func outcome(all []done, rest, whole *geom.Mesh, restName string) *step.Outcome {
	var names []string
	var volumes, girths, areas []float64
	var sum geom.Sum
	add := func(name string, m *geom.Mesh) {
		names, volumes = append(names, name), append(volumes, m.Volume())
		sum.Add(volumes[len(volumes)-1])
	}
	out := &step.Outcome{}
	for i, d := range all {
		add(d.name, d.piece)
		girths, areas = append(girths, d.girth), append(areas, d.area)
		out.Spots = append(out.Spots, d.spot(i+1))
	}
	add(restName, rest)
	v := whole.Volume()
	out.Measures = map[string]any{
		"pieces": int64(len(names)), "pieces.name": names, "pieces.volume": volumes, "volume.whole": v,
		"volume.off": sum.Total() - v, "cuts.girth": girths, "cuts.area": areas,
	}
	return out
}

// spot marks where the cut is, as a remark.
func (d done) spot(number int) step.Spot {
	o := d.piece.Origin
	s := step.Spot{
		Number: number, What: "cut", At: point(d.mid.Add(o)), Radius: d.girth / (2 * math.Pi), Value: d.girth, Unit: "mm", Surface: "surface",
		Says: fmt.Sprintf("%s comes off here: girth %.2f mm, area %.1f mm²", d.name, d.girth, d.area),
	}
	for _, v := range d.ring {
		s.Ring = append(s.Ring, point(v.Add(o)))
	}
	return s
}

func point(v geom.Vec) [3]float64 { return [3]float64{v.X, v.Y, v.Z} }
