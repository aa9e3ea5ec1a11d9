// Package relief is the step that tells fine lines from form and predicts what
// is left of them after moulding.
package relief

import (
	"context"
	"fmt"
	"math"

	"layette/engine/step"
	"layette/steps/internal/form"
	"layette/steps/internal/geom"
	"layette/steps/internal/limb"
	"layette/steps/internal/meshio"
	"layette/steps/internal/process"
	"layette/steps/internal/region"
	"layette/steps/internal/workpiece"
)

// Kind is the step.
type Kind struct{}

// Check implements step.Checker.
func (Kind) Check(values step.Values) []step.Complaint {
	_, complaints := process.Chain(values)
	if values.Has("regions") {
		_, wrong := region.Read(values.Table("regions"))
		for _, says := range wrong {
			complaints = append(complaints, step.Complaint{Value: "regions", Says: says})
		}
	}
	return complaints
}

// Run implements step.Kind.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	if wrong := (Kind{}).Check(job.Values); len(wrong) > 0 {
		return nil, fmt.Errorf("%s: %s", wrong[0].Value, wrong[0].Says)
	}
	p, err := workpiece.One(ctx, job, "surface")
	if err != nil {
		return nil, err
	}
	l, err := newLook(ctx, job, p.Mesh)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", p.File.Name, err)
	}
	if err := l.find(ctx); err != nil {
		return nil, err
	}
	out := &step.Outcome{Measures: l.measures(), Notes: append(p.Notes(), l.notes()...)}
	for i, f := range l.shown(job.Values.Int("spots")) {
		out.Spots = append(out.Spots, l.spot(i+1, f))
	}
	out.Spots = l.betweens(out.Spots, job.Values.Int("spots"))
	if err := l.write(job, p.Base()); err != nil {
		return nil, err
	}
	return out, l.pictures(ctx, job, p.Base(), out.Spots)
}

// look is what is known of one surface.
type look struct {
	values  step.Values
	mesh    *geom.Mesh // as given, welded
	skin    *form.Skin
	places  []geom.Vec
	split   *form.Split
	depth   []float64 // mm below the skin beside the lines
	detail  float64
	loss    form.Loss // of the chain
	lost    []float64 // along lostBy, mm: what moulding fills in is negative
	lostBy  []geom.Vec
	after   []geom.Vec // where the skin is when it comes out of the mould
	beside  []bool
	regions []region.Ball
	lines   []line
	between []form.Line // places between two skins
	open    float64     // length of rims, mm
	odd     []string    // what is to be said of openings, shells and sides
}

func newLook(ctx context.Context, job *step.Job, m *geom.Mesh) (*look, error) {
	l := &look{values: job.Values}
	links, _ := process.Chain(job.Values)
	l.detail = process.Detail(links)
	l.loss = form.Loss{Half: l.detail, At: process.DetailAt(links)}
	if job.Values.Has("regions") {
		l.regions, _ = region.Read(job.Values.Table("regions"))
	}
	var err error
	if l.mesh, _, err = m.Welded(ctx, job.Workers); err != nil {
		return nil, err
	}
	if err := l.ends(ctx, job.Workers); err != nil {
		return nil, err
	}
	if l.skin, err = form.NewSkin(ctx, l.mesh, job.Workers); err != nil {
		return nil, err
	}
	l.open = l.skin.Rims()
	l.places = l.skin.Places()
	job.Progress.Start("telling relief from form", 2)
	cutoff := job.Values.Float("cutoff")
	if l.split, err = l.skin.SplitAt(ctx, l.places, cutoff); err != nil {
		return nil, err
	}
	if l.depth, err = l.skin.Depth(ctx, l.split, job.Values.Float("least")); err != nil {
		return nil, err
	}
	l.beside = l.skin.Beside(cutoff)
	job.Progress.Add(1)
	l.lost, l.lostBy = make([]float64, len(l.places)), l.split.Normal
	if l.detail > 0 {
		moulded, err := l.skin.SoftenAt(ctx, l.places, l.loss)
		if err != nil {
			return nil, err
		}
		l.lost, l.lostBy = moulded.Relief, moulded.Normal
	}
	if err := l.mould(ctx); err != nil {
		return nil, err
	}
	job.Progress.Add(1)
	return l, nil
}

// ends looks at openings and shells, and turns a closed surface that is inside
// out.
func (l *look) ends(ctx context.Context, workers int) error {
	edges, err := l.mesh.Edges(ctx, workers)
	if err != nil {
		return err
	}
	if l.odd, err = limb.Ends(ctx, l.mesh, edges, "lines are measured wherever they are", workers); err != nil {
		return err
	}
	if l.mesh.Closed(edges) && l.mesh.Volume() < 0 {
		turned := *l.mesh
		turned.Tris, turned.Normals = limb.TurnedOver(l.mesh).Tris, nil
		l.mesh = &turned
		l.odd = append(l.odd, "the surface is inside out; it was looked at, and is written, as if turned the right way")
	}
	return nil
}

// mould tells where the skin is when it comes out of the mould.
func (l *look) mould(ctx context.Context) (err error) {
	l.after = make([]geom.Vec, len(l.places))
	for i, p := range l.places {
		l.after[i] = p.Sub(l.lostBy[i].Mul(l.lost[i]))
	}
	if l.detail > 0 {
		l.after, err = l.skin.Unfolded(ctx, l.places, l.after, float64(1.5*l.detail))
	}
	return err
}

func (l *look) write(job *step.Job, base string) error {
	trust := make([]float64, len(l.places))
	for i, b := range l.beside {
		if !b {
			trust[i] = 1
		}
	}
	columns := []meshio.Column{{Name: "relief", Values: l.skin.Carry(l.split.Relief)}, {Name: "loss", Values: l.skin.Carry(l.lost)}, {Name: "trust", Values: l.skin.Carry(trust)}}
	if err := workpiece.Write(job, "form", base+"-form.ply", l.skin.CarryMesh(l.mesh, l.split.Form(l.places))); err != nil {
		return err
	}
	plain := &geom.Mesh{Verts: l.mesh.Verts, Tris: l.mesh.Tris, Origin: l.mesh.Origin}
	if err := workpiece.Write(job, "map", base+"-relief.ply", plain, columns...); err != nil {
		return err
	}
	if err := workpiece.Write(job, "moulded", base+"-moulded.ply", l.skin.CarryMesh(l.mesh, l.after)); err != nil {
		return err
	}
	return workpiece.WriteText(job, "rows", base+"-relief.csv", l.rows())
}

// measures sums up, weighted by the skin each vertex stands for.
func (l *look) measures() map[string]any {
	skin := l.skin.Areas(l.places)
	var all, near, relief, lost geom.Sum
	for i, a := range skin {
		all.Add(a)
		if l.beside[i] {
			near.Add(a)
			continue
		}
		relief.Add(float64(a * float64(l.split.Relief[i]*l.split.Relief[i])))
		lost.Add(float64(a * float64(l.lost[i]*l.lost[i])))
	}
	trusted := all.Total() - near.Total()
	m := map[string]any{
		"relief.rms": math.Sqrt(relief.Total() / trusted), "lost.rms": math.Sqrt(lost.Total() / trusted),
		"beside.share": near.Total() / all.Total(), "detail": l.detail, "edge": l.skin.MeanEdge(),
		"lines": int64(len(l.lines)), "lines.unknown": int64(len(l.between)), "kept.mean": math.NaN(), "kept.least": math.NaN(),
	}
	gone, deep, most, ratio := int64(0), int64(0), 0.0, 0.0
	var before, after geom.Sum
	for i, f := range l.lines {
		gone += count(f.gone)
		deep += count(f.tooDeep)
		most, ratio = max(most, f.Depth), max(ratio, f.ratio())
		before.Add(f.Depth)
		after.Add(f.after)
		kept := f.after / f.Depth
		if least := m["kept.least"].(float64); i == 0 || kept < least {
			m["kept.least"] = kept
		}
	}
	if len(l.lines) > 0 {
		m["kept.mean"] = after.Total() / before.Total()
	}
	m["lines.gone"], m["lines.too-deep"], m["depth.most"], m["depth-to-width.most"] = gone, deep, most, ratio
	return m
}

func count(b bool) int64 {
	if b {
		return 1
	}
	return 0
}
