// Package deepen is the step that cuts lines deeper by what moulding will take
// from them, and shows the finished part that comes of it.
package deepen

import (
	"context"
	"errors"
	"fmt"

	"layette/engine/step"
	"layette/steps/internal/form"
	"layette/steps/internal/geom"
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
	w, err := newWork(ctx, job, p.Mesh)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", p.File.Name, err)
	}
	job.Progress.Start("deepening", rounds+2)
	if err := w.deepen(ctx, job.Progress); err != nil {
		return nil, err
	}
	if err := w.unfold(ctx); err != nil {
		return nil, err
	}
	if err := w.find(ctx); err != nil {
		return nil, err
	}
	out := &step.Outcome{Measures: w.measures(), Notes: append(p.Notes(), w.notes()...), Spots: w.spots()}
	if err := w.write(job, p.Base()); err != nil {
		return nil, err
	}
	return out, w.pictures(ctx, job, p.Base(), out.Spots)
}

// work is one surface being deepened. Everything is one a vertex of the skin.
type work struct {
	values   step.Values
	workers  int
	mesh     *geom.Mesh // as given, welded
	skin     *form.Skin
	wanted   []geom.Vec
	detail   float64   // the wavelength of which half survives the chain, mm
	loss     form.Loss // of the chain
	regions  []region.Ball
	strength []float64      // how strongly to deepen, 0 to 1 or as a region says
	metric   *form.Operator // of the wanted form at detail
	lost     *form.Split    // what moulding takes from the wanted surface
	relief   *form.Split    // the wanted surface at the wavelength of lines
	depth    []float64      // of its lines
	beside   []bool
	skinUp   []geom.Vec // directions of the skin beside its lines
	edge     float64    // of its triangles, mean, mm
	near     []int32    // vertices whose skin has skin facing it near by
	reach    float64    // how far off that was looked for, mm; 0 before it was

	short  []float64 // mm that the greatest gain, and triangles too coarse, leave undone
	moved  []float64 // along lost.Normal, mm; inward is negative
	limit  []limit
	after  []geom.Vec // the predicted finished part
	error  []float64  // along lost.Normal: predicted - wanted
	before []float64  // the same without deepening
	lines  []line
}

func newWork(ctx context.Context, job *step.Job, m *geom.Mesh) (*work, error) {
	w := &work{values: job.Values, workers: job.Workers}
	links, _ := process.Chain(job.Values)
	if w.detail = process.Detail(links); w.detail == 0 {
		return nil, errors.New("no link of the chain says which detail it holds, so there is nothing to make good: write detail = \"0.5 mm\" with the link that softens")
	}
	w.loss = form.Loss{Half: w.detail, At: process.DetailAt(links)}
	if job.Values.Has("regions") {
		w.regions, _ = region.Read(job.Values.Table("regions"))
	}
	var err error
	if w.mesh, _, err = m.Welded(ctx, job.Workers); err != nil {
		return nil, err
	}
	if job.Values.Flag("painted") && w.mesh.Colours == nil {
		return nil, errors.New("painted = true, but the surface has no colours; save it as a PLY with a colour at each vertex")
	}
	if w.skin, err = form.NewSkin(ctx, w.mesh, job.Workers); err != nil {
		return nil, err
	}
	if w.skin.Rims() == 0 && w.mesh.Volume() < 0 {
		return nil, errors.New("the surface is inside out: its lines would be taken for ridges; run soundness first")
	}
	w.wanted = w.skin.Places()
	if w.metric, err = w.skin.Metric(ctx, w.wanted, w.detail); err != nil {
		return nil, err
	}
	if w.lost, err = w.skin.Soften(ctx, w.metric, w.wanted, w.loss); err != nil {
		return nil, err
	}
	cutoff := max(job.Values.Float("cutoff"), 2*w.detail)
	if w.relief, err = w.skin.SplitAt(ctx, w.wanted, cutoff); err != nil {
		return nil, err
	}
	if w.depth, err = w.skin.Depth(ctx, w.relief, job.Values.Float("least")); err != nil {
		return nil, err
	}
	level, err := w.metric.GaussPlaces(ctx, w.filled(), cutoff)
	if err != nil {
		return nil, err
	}
	w.skinUp, w.edge = w.skin.Normals(level), w.skin.MeanEdge()
	w.beside = w.skin.Beside(w.detail)
	return w, w.weigh(ctx)
}

// shortLeast is how much the greatest gain must leave undone before it counts
// as a limit that held, mm: common practice, no source.
const shortLeast = 0.002

// rounds is how often what is still missing after a prediction is put on.
const rounds = 2

// deepen finds how far to move each vertex.
func (w *work) deepen(ctx context.Context, progress step.Progress) error {
	gain := w.values.Float("gain")
	want, err := w.undo(ctx, w.lost.Relief, gain)
	if err != nil {
		return err
	}
	kept, err := w.metric.Kept(ctx, want, w.loss)
	if err != nil {
		return err
	}
	w.short = make([]float64, len(kept))
	for i, k := range kept {
		w.short[i] = w.lost.Relief[i] - k
	}
	if err := w.bound(ctx, want); err != nil {
		return err
	}
	progress.Add(1)
	for range rounds {
		p, err := w.skin.SoftenAt(ctx, w.master(), w.loss)
		if err != nil {
			return err
		}
		missing := w.missing(p)
		more, err := w.undo(ctx, missing, gain)
		if err != nil {
			return err
		}
		for i, d := range more {
			want[i] += d
		}
		if err := w.bound(ctx, want); err != nil {
			return err
		}
		progress.Add(1)
	}
	return nil
}

// filled returns where the skin would be with its lines filled.
func (w *work) filled() []geom.Vec {
	level := make([]geom.Vec, len(w.wanted))
	for i, p := range w.wanted {
		level[i] = p.Add(w.relief.Normal[i].Mul(w.depth[i]))
	}
	return level
}

// undo returns how far to move each vertex to make good what is missing; what
// the triangles are too coarse to tell is let be.
func (w *work) undo(ctx context.Context, missing []float64, gain float64) ([]float64, error) {
	by, err := w.metric.Undo(ctx, missing, w.loss, gain)
	if err != nil {
		return nil, err
	}
	return w.skin.WithoutFacets(ctx, by)
}

// missing returns how far the outcome p of the master lies below what is
// wanted, where no limit keeps it there.
func (w *work) missing(p *form.Split) []float64 {
	missing := make([]float64, len(w.moved))
	for i, f := range p.Form(w.master()) {
		if w.limit[i] == free || w.limit[i] == byGain {
			missing[i] = w.wanted[i].Sub(f).Dot(w.lost.Normal[i]) - w.short[i]
		}
	}
	return missing
}

// master returns where the skin is after deepening.
func (w *work) master() []geom.Vec {
	m := make([]geom.Vec, len(w.wanted))
	geom.Chunks(len(m), w.workers, func(lo, hi int) {
		for i := lo; i < hi; i++ {
			m[i] = w.wanted[i].Add(w.lost.Normal[i].Mul(w.moved[i]))
		}
	})
	return m
}

// forecast predicts the finished part, in the deepened skin's own metric.
func (w *work) forecast(ctx context.Context) error {
	master := w.master()
	p, err := w.skin.SoftenAt(ctx, master, w.loss)
	if err != nil {
		return err
	}
	w.after = p.Form(master)
	w.error, w.before = make([]float64, len(master)), make([]float64, len(master))
	for i, a := range w.after {
		w.error[i] = a.Sub(w.wanted[i]).Dot(w.lost.Normal[i])
		w.before[i] = -w.lost.Relief[i]
	}
	return nil
}
