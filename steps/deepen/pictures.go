package deepen

import (
	"context"
	"fmt"

	"layette/engine/step"
	"layette/steps/internal/draw"
	"layette/steps/internal/geom"
	"layette/steps/internal/workpiece"
)

// size is that of the pictures; tests draw smaller ones.
var size = draw.Usual

// pictures draws wanted beside deepened and beside predicted, close by the
// gravest spot or of the whole part, the error that is left, and each named region
// as predicted.
func (w *work) pictures(ctx context.Context, job *step.Job, base string, spots []step.Spot) error {
	view := draw.View{Name: "front, from its right", Dir: geom.Vec{X: 0.6, Y: 1, Z: 0.25}}
	values := &draw.Values{At: w.skin.Carry(w.error), Name: "predicted - wanted", Unit: "mm", Low: -0.1, High: 0.1, Scale: draw.Apart}
	p, err := draw.Draw(ctx, draw.Scene{Title: "error left", Mesh: w.mesh, Values: values, Workers: job.Workers}, view, size)
	if err != nil {
		return err
	}
	if err := workpiece.WritePicture(job, "pictures", base+"-error.png", p); err != nil {
		return err
	}
	if len(spots) > 0 {
		at := spots[0].At
		near := draw.Spot{At: geom.Vec{X: at[0], Y: at[1], Z: at[2]}.Sub(w.mesh.Origin), Radius: spots[0].Radius}
		view = draw.Near(draw.View{Name: "the gravest place", Dir: w.facing(near.At, near.Radius)}, near)
	}
	if err := w.pair(ctx, job, base+"-deepened.png", "deepened", w.master(), view); err != nil {
		return err
	}
	if err := w.pair(ctx, job, base+"-forecast.png", "predicted finished part", w.after, view); err != nil {
		return err
	}
	for i, r := range w.regions[:min(len(w.regions), regionsDrawn)] {
		near := draw.Spot{At: r.At.Sub(w.mesh.Origin), Radius: r.Radius / 4}
		view = draw.Near(draw.View{Name: r.Name, Dir: w.facing(near.At, r.Radius)}, near)
		if err := w.pair(ctx, job, fmt.Sprintf("%s-forecast-%d.png", base, i+1), "predicted finished part", w.after, view); err != nil {
			return err
		}
	}
	return nil
}

// regionsDrawn is how many named regions are drawn at most.
const regionsDrawn = 8

// pair draws the wanted part beside another that its skin may be.
func (w *work) pair(ctx context.Context, job *step.Job, name, title string, places []geom.Vec, view draw.View) error {
	other := draw.Scene{Title: title, Mesh: w.skin.CarryMesh(w.mesh, places), Workers: job.Workers}
	p, err := draw.Pair(ctx, draw.Scene{Title: "wanted", Mesh: w.mesh, Workers: job.Workers}, other, view, size)
	if err != nil {
		return err
	}
	return workpiece.WritePicture(job, "pictures", name, p)
}

// facing returns the direction of the skin about p, lines apart: the mean of what
// lies within radius mm, or within a few.
func (w *work) facing(p geom.Vec, radius float64) geom.Vec {
	radius = max(radius, w.relief.Cutoff)
	n := geom.Vec{}
	for i, a := range w.skin.Areas(w.wanted) {
		if w.wanted[i].Sub(p).Len2() <= float64(radius*radius) {
			n = n.Add(w.skinUp[i].Mul(a))
		}
	}
	if n = n.Unit(); n == (geom.Vec{}) {
		return geom.Vec{Y: 1}
	}
	return n
}
