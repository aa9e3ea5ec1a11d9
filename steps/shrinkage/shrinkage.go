// Package shrinkage is the step that makes the master larger than the part is
// to be, by what every copy on the way will lose.
package shrinkage

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/process"
	"layette/steps/internal/workpiece"
)

// Kind is the step.
type Kind struct{}

// Handbook implements step.Kind.
func (Kind) Handbook() step.Handbook {
	return step.Handbook{
		Name:    "shrinkage",
		Version: 3,
		Summary: "Scales the master up by what the chain of copies will lose.",
		Method: "Each link of the chain is one copy made of another. Its share S is a share of the larger piece, the mould: " +
			"S = (mould - part) / mould, so the part is (1 - S) of the mould and the mould part / (1 - S). Links multiply: three of " +
			"2 % lose 5.8808 %, and the master is 1.062482 times the part. Adding shares, or multiplying by 1 + S, makes it too small.\n\n" +
			"A link that grows, such as gypsum setting, is written { grows = \"0.3 %\" }, a share of what it was made from; a share of " +
			"volume { volume = \"7.28 %\" } is turned into 1 - (1 - V)^(1/3) of length. A link that differs by direction is written " +
			"{ x =, y =, z =, frame = \"mould\" } in the axes of a frame named under frames.\n\n" +
			"A surface that was itself scanned from a copy, such as a cast hand, names its source: the links of that source are made " +
			"good as well. The surface is scaled about the origin of its coordinates, in double arithmetic, and each coordinate is " +
			"rounded once to the float32 of a binary STL: by 0.000008 mm at most within 250 mm of the origin.",
		Sources: []string{
			"ISO 294-4:2018, moulding shrinkage S_M = 100 (l_C - l_1) / l_C (scope seen, formula from memory)",
			"ISO 1:2016: lengths are stated at 20 °C; expansion is length × coefficient × difference in temperature",
			"Soft-vinyl maker's note, figure-oem.com, 2021-12-27: slush-cast vinyl is about 4-6 % smaller than the sculpted original: original to wax, wax to metal mould, and season about 2 % each",
		},
		Cautions: []string{
			"Ask your factory for its own figures: published shares are averages, and a real part that a mould holds back shrinks less than a free one.",
			"Measure the first sample and calibrate before cutting further moulds.",
		},
		Inputs: []step.Input{{Name: "surface", Kind: step.Surface, Doc: "the part at its finished size"}},
		Values: []step.Value{
			{Name: "links", Type: step.Tree, Doc: "the chain from master to finished part, in order: name = share", Origin: "ask your factory"},
			{Name: "source", Type: step.String, Optional: true, Doc: "what this surface was scanned from, one of sources; left out: from life or from the sculptor's hand"},
			{Name: "sources", Type: step.Tree, Optional: true, Doc: "for each source the links from the child to what was scanned: cast = { alginate = \"1.5 %\", gypsum = { grows = \"0.3 %\" } }"},
			{Name: "frames", Type: step.Tree, Optional: true, Doc: "named frames in the surface's coordinates: mould = { x = [1, 0, 0], y = [0, 1, 0] }"},
			{Name: "temperature", Type: step.Temperature, Default: "20 degC", Doc: "of the room in which the master will be measured"},
			{Name: "expansion", Type: step.Number, Default: "0", Min: "0", Max: "500", Doc: "thermal expansion of the master's material, millionths a kelvin; cured resin about 70 (from memory)", Origin: "ask your supplier"},
			{Name: "reference", Type: step.Length, Optional: true, Doc: "a length of the finished part to follow through the chain, such as the girth of the head"},
			{Name: "usual-least", Type: step.Share, Default: "4 %", Doc: "a total below this is remarked on", Origin: "published: soft-vinyl maker's note, 4-6 %"},
			{Name: "usual-most", Type: step.Share, Default: "6 %", Doc: "a total above this is remarked on", Origin: "published: soft-vinyl maker's note, 4-6 %"},
		},
		Measures: []step.Measure{
			{Name: "scale.x", Type: step.Number, Resolution: 1e-9, Doc: "how many times longer the master is along x"},
			{Name: "scale.y", Type: step.Number, Resolution: 1e-9, Doc: "along y"},
			{Name: "scale.z", Type: step.Number, Resolution: 1e-9, Doc: "along z"},
			{Name: "scale.total", Type: step.Number, Resolution: 1e-9, Doc: "cube root of the master's volume over the part's"},
			{Name: "loss.total", Type: step.Share, Resolution: 1e-9, Doc: "what the whole chain loses, as a share of the master: 1 - 1/scale.total"},
			{Name: "loss.links", Type: step.Share, Resolution: 1e-9, Doc: "the same without the links of the source; published figures are about this one"},
			{Name: "size.before", Type: step.Length, Many: true, Resolution: 0.001, Doc: "x, y, z of the box round the surface"},
			{Name: "size.after", Type: step.Length, Many: true, Resolution: 0.001, Doc: "x, y, z of the box round the master"},
			{Name: "volume.before", Type: step.Number, Unit: "mm³", Resolution: 0.01, Doc: "volume of the surface, if it is closed"},
			{Name: "volume.after", Type: step.Number, Unit: "mm³", Resolution: 0.01, Doc: "volume of the master, if it is closed"},
			{Name: "warm", Type: step.Length, Resolution: 0.001, Doc: "how much more the longest side of the master reads at that temperature than at 20 °C"},
			{Name: "reference.master", Type: step.Length, Resolution: 0.0001, Doc: "the reference length on the master; unknown without one"},
		},
		Outputs: []step.Output{
			{Name: "master", Kind: step.Surface, Doc: "the scaled surface, binary STL in mm"},
			{Name: "table", Kind: step.Rows, Doc: "one line a link: share, factor, running size, and where the share comes from (CSV)"},
		},
		Memory: 4,
	}
}

// Check implements step.Checker.
func (Kind) Check(values step.Values) []step.Complaint {
	_, complaints := read(values)
	return complaints
}

// chain is the links of a stage: those from the child to what was scanned, and
// those from master to part.
type chain struct{ source, links []process.Link }

// read reads the stage's values and says all that is wrong with them.
func read(values step.Values) (chain, []step.Complaint) {
	var c chain
	var all []step.Complaint
	complain := func(value string, says ...string) {
		for _, s := range says {
			all = append(all, step.Complaint{Value: value, Says: s})
		}
	}
	var frames map[string]geom.Mat
	if values.Has("frames") {
		var wrong []string
		frames, wrong = process.Frames(values.Table("frames"))
		complain("frames", wrong...)
	}
	if values.Has("links") {
		var wrong []string
		c.links, wrong = process.Read(values.Table("links"), frames)
		complain("links", wrong...)
		if len(values.Table("links").Names) == 0 {
			complain("links", "the chain has no links; write mould = \"0 %\" if nothing shrinks")
		}
	}
	sources := map[string][]process.Link{}
	var names []string
	if values.Has("sources") {
		t := values.Table("sources")
		for i, name := range t.Names {
			inner, ok := t.Values[i].(step.Table)
			if !ok {
				complain("sources", name+": a source is a table of links")
				continue
			}
			links, wrong := process.Read(inner, frames)
			complain("sources", wrong...)
			sources[name] = links
			names = append(names, name)
		}
	}
	if values.Has("source") {
		links, ok := sources[values.Text("source")]
		if !ok {
			all = append(all, step.Complaint{Value: "source", Says: fmt.Sprintf("there is no %q among sources", values.Text("source")), Hint: "known: " + strings.Join(names, ", ")})
		}
		c.source = links
	}
	return c, all
}

// master returns the map from the scanned surface to the master: first back to
// the child, then on to what the links will bring down to the child's size.
func (c chain) master() geom.Mat { return process.Scale(c.links).Mul(process.Scale(c.source)) }

// Run implements step.Kind.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	c, complaints := read(job.Values)
	if len(complaints) > 0 {
		return nil, fmt.Errorf("%s: %s", complaints[0].Value, complaints[0].Says)
	}
	p, err := workpiece.One(ctx, job, "surface")
	if err != nil {
		return nil, err
	}
	job.Progress.Start("scaling", len(p.Mesh.Verts))
	m := c.master()
	master := scaled(p.Mesh, m)
	for _, v := range master.Verts {
		if !v.Vec().Finite() {
			return nil, errors.New("the master is too large for float32")
		}
	}
	title := fmt.Sprintf("master, millimetres, scale %.9g", total(m))
	if err := workpiece.WriteSTL(job, "master", p.Base()+"-master.stl", master, title); err != nil {
		return nil, err
	}
	if err := workpiece.WriteText(job, "table", p.Base()+"-shrinkage.csv", c.table(job.Values, p.Mesh)); err != nil {
		return nil, err
	}
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	return c.outcome(ctx, job, p, master, m)
}

// scaled returns a copy of m with every place at s of it; what an STL cannot
// hold is left behind.
func scaled(m *geom.Mesh, s geom.Mat) *geom.Mesh {
	w := &geom.Mesh{Tris: m.Tris, Verts: make([]geom.Point, len(m.Verts)), Origin: s.Apply(m.Origin)}
	for i, v := range m.Verts {
		w.Verts[i] = s.Apply(v.Vec()).Point()
	}
	return w
}

// total returns the cube root of the volume factor of m. A uniform m is itself
// the answer, with no rounding of a root.
func total(m geom.Mat) float64 {
	if m[0][0] == m[1][1] && m[1][1] == m[2][2] && m[0][1] == 0 && m[0][2] == 0 && m[1][2] == 0 {
		return m[0][0]
	}
	x, y, z := geom.Vec{X: m[0][0], Y: m[0][1], Z: m[0][2]}, geom.Vec{X: m[1][0], Y: m[1][1], Z: m[1][2]}, geom.Vec{X: m[2][0], Y: m[2][1], Z: m[2][2]}
	return process.CubeRoot(x.Dot(y.Cross(z)))
}

func (c chain) outcome(ctx context.Context, job *step.Job, p workpiece.Piece, master *geom.Mesh, m geom.Mat) (*step.Outcome, error) {
	edges, err := p.Mesh.Edges(ctx, job.Workers)
	if err != nil {
		return nil, err
	}
	before, after := math.NaN(), math.NaN()
	if p.Mesh.Closed(edges) {
		before, after = p.Mesh.Volume(), master.Volume()
	}
	t, links := total(m), total(process.Scale(c.links))
	out := &step.Outcome{Notes: p.Notes(), Measures: map[string]any{
		"scale.x": m.Apply(geom.Vec{X: 1}).Len(), "scale.y": m.Apply(geom.Vec{Y: 1}).Len(), "scale.z": m.Apply(geom.Vec{Z: 1}).Len(),
		"scale.total": t, "loss.total": 1 - 1/t, "loss.links": 1 - 1/links,
		"size.before": sides(p.Mesh), "size.after": sides(master),
		"volume.before": before, "volume.after": after, "reference.master": math.NaN(),
		"warm": warmer(master, job.Values),
	}}
	if job.Values.Has("reference") {
		out.Measures["reference.master"] = float64(job.Values.Float("reference") * links)
	}
	out.Notes = append(out.Notes, thermal(master, job.Values))
	loss := 1 - 1/links
	if lo, hi := job.Values.Float("usual-least"), job.Values.Float("usual-most"); loss < lo || loss > hi {
		out.Notes = append(out.Notes, fmt.Sprintf("the chain loses %s; published for soft vinyl is %s to %s: make sure of your factory's own figures", process.Percent(loss), process.Percent(lo), process.Percent(hi)))
	}
	if math.IsNaN(before) {
		out.Notes = append(out.Notes, "the surface is not closed, so its volume is not known")
	}
	return out, nil
}

// warmer returns how much longer the longest side of the master is in the room
// than at 20 °C, mm.
func warmer(master *geom.Mesh, values step.Values) float64 {
	return float64(longest(master) * float64(values.Float("expansion")*1e-6*(values.Float("temperature")-20)))
}

// thermal says at which temperature the sizes hold.
func thermal(master *geom.Mesh, values step.Values) string {
	warm := values.Float("temperature")
	switch {
	case warm == 20:
		return "all sizes are at 20 °C (ISO 1)"
	case values.Float("expansion") == 0:
		return fmt.Sprintf("all sizes are at 20 °C (ISO 1); what they read at %.4g °C is not known without the expansion of the master's material", warm)
	}
	return fmt.Sprintf("all sizes are at 20 °C (ISO 1); at %.4g °C the longest side of the master, %.2f mm, reads %+.3f mm", warm, longest(master), warmer(master, values))
}

func longest(m *geom.Mesh) float64 {
	s := m.Bounds().Size()
	return max(s.X, s.Y, s.Z)
}

func sides(m *geom.Mesh) []float64 {
	s := m.Bounds().Size()
	return []float64{s.X, s.Y, s.Z}
}
