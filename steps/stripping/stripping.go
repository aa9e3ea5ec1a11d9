// Package stripping is the step that asks whether a moulding can be pulled out
// of its one-piece mould through its opening. The handbook says how.
package stripping

import (
	"context"
	"fmt"
	"math"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/limb"
	"layette/steps/internal/meshio"
	"layette/steps/internal/workpiece"
)

// Kind is the step.
type Kind struct{}

// limits are the values of a stage.
type limits struct {
	shape      limb.Shape
	warn, fail float64 // stretch
	wall       float64 // mm
	catch      float64 // degrees
	hook       float64 // mm
	bend       float64 // degrees
	draft      float64 // sine of the angle under which skin is no undercut
}

// Check tells what is wrong with the values before anything runs.
func (Kind) Check(v step.Values) []step.Complaint {
	list := limb.Check(v)
	if v.Float("easy") > v.Float("most") {
		list = append(list, step.Complaint{Value: "easy", Says: "the stretch that is easy is more than the most that is allowed", Hint: "easy must not be over most"})
	}
	return list
}

// Run looks at one part.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	piece, err := workpiece.One(ctx, job, "surface")
	if err != nil {
		return nil, err
	}
	want, err := limb.WantOf(job.Values, job.Workers)
	if err != nil {
		return nil, err
	}
	want.Upright = want.Shape == limb.Head
	job.Progress.Start("rings", 2)
	l, err := limb.New(ctx, piece.Mesh, want)
	if err != nil {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		return nil, fmt.Errorf("%s: %w", piece.File.Name, err)
	}
	job.Progress.Add(1)
	v := job.Values
	p := &pull{Limb: l, limits: limits{
		shape: want.Shape, warn: v.Float("easy"), fail: v.Float("most"), wall: v.Float("wall"),
		catch: v.Float("catch"), hook: v.Float("hook"), bend: v.Float("bend"), draft: math.Sin(v.Float("draft") * math.Pi / 180),
	}}
	p.stretches()
	p.undercuts()
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	out := &step.Outcome{Measures: p.measures(), Spots: p.spots(), Notes: append(piece.Notes(), append(l.Notes, p.notes()...)...)}
	if err := workpiece.WriteText(job, "rows", piece.Base()+"-rings.csv", p.rows()); err != nil {
		return nil, err
	}
	job.Progress.Add(1)
	return out, workpiece.Write(job, "map", piece.Base()+"-stripping.ply", l.Mesh, p.columns()...)
}

// columns are the numbers at each vertex.
func (p *pull) columns() []meshio.Column {
	n := len(p.Mesh.Verts)
	dist, ring, stretch, under := make([]float32, n), make([]float32, n), make([]float32, n), make([]float32, n)
	for v := range n {
		dist[v], ring[v] = -1, -1
		if k := p.ringOf[v]; k >= 0 {
			dist[v], ring[v], under[v] = p.Rings.Dist[v], float32(k+1), p.under[v]
			if p.passes != nil {
				stretch[v] = float32(p.passes[k].stretch)
				if p.Rings.Rings[k].Across.Found && p.size(k) == (size{}) {
					stretch[v] = float32(math.NaN()) // its section lacks a piece: not known
				}
			}
		}
	}
	return []meshio.Column{{Name: "distance", Values: dist}, {Name: "ring", Values: ring}, {Name: "stretch", Values: stretch}, {Name: "undercut", Values: under}}
}

// rows writes every ring as a row of a table.
func (p *pull) rows() string {
	var b strings.Builder
	b.WriteString("ring,branch,region,distance_mm,x_mm,y_mm,z_mm,girth_mm,tape_mm,area_mm2,by_girth,by_area,stretch,must_pass_ring\n")
	for i := range p.Rings.Rings {
		g := &p.Rings.Rings[i]
		if g.Branch < 0 {
			continue
		}
		at := g.Across.Mid.Add(p.Mesh.Origin)
		fmt.Fprintf(&b, "%d,%d,%s,%.3f,%.3f,%.3f,%.3f,%.3f,%.3f,%.3f", i+1, g.Branch, p.Region(p.shape, int32(i)), g.Level, at.X, at.Y, at.Z, g.Across.Girth, g.Across.Tape, g.Across.Area)
		if p.passes == nil {
			b.WriteString(",,,,\n")
			continue
		}
		q := p.passes[i]
		fmt.Fprintf(&b, ",%.4f,%.4f,%.4f,%d\n", q.byGirth, q.byArea, q.stretch, q.limit+1) // 0 is the opening
	}
	return b.String()
}
