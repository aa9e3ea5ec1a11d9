package deepen

import (
	"context"
	"fmt"
	"math"

	"layette/engine/step"
	"layette/steps/internal/draw"
	"layette/steps/internal/geom"
	"layette/steps/internal/region"
	"layette/steps/internal/workpiece"
)

// size is that of the pictures; tests draw smaller ones.
var size = draw.Usual

// pictures draws wanted beside deepened and beside predicted, close by the
// gravest spot or of the whole part, the error that is left, and each named region
// as predicted.
func (w *work) pictures(ctx context.Context, job *step.Job, base string, spots []step.Spot) error {
	whole := draw.Choice{View: draw.View{Name: "front, from its right", Dir: geom.Vec{X: 0.6, Y: 1, Z: 0.25}}}
	values := &draw.Values{At: w.skin.Carry(w.error), Name: "predicted - wanted", Unit: "mm", Low: -0.1, High: 0.1, Scale: draw.Apart}
	p, err := draw.Draw(ctx, draw.Scene{Title: "error left", Mesh: w.mesh, Values: values, Workers: job.Workers}, whole.View, size)
	if err != nil {
		return err
	}
	if err := workpiece.WritePicture(job, "pictures", base+"-error.png", p); err != nil {
		return err
	}
	regions := w.regions[:min(len(w.regions), regionsDrawn)]
	looks, err := w.looks(ctx, spots, regions)
	if err != nil {
		return err
	}
	gravest := whole
	if len(looks) > len(regions) {
		gravest = looks[len(regions)]
	}
	if err := w.pair(ctx, job, base+"-deepened.png", "deepened", w.master(), gravest); err != nil {
		return err
	}
	if err := w.pair(ctx, job, base+"-forecast.png", "predicted finished part", w.after, gravest); err != nil {
		return err
	}
	for i := range regions {
		if err := w.pair(ctx, job, fmt.Sprintf("%s-forecast-%d.png", base, i+1), "predicted finished part", w.after, looks[i]); err != nil {
			return err
		}
	}
	return nil
}

// regionsDrawn is how many named regions are drawn at most.
const regionsDrawn = 8

// looks returns how to look at each region, and then at the gravest spot if there
// is any, each from close by and from where it is seen, or cut through where
// nothing shows it.
func (w *work) looks(ctx context.Context, spots []step.Spot, regions []region.Ball) ([]draw.Choice, error) {
	var places []draw.Spot
	var names []string
	for _, r := range regions {
		places, names = append(places, draw.Spot{At: w.at(w.nearest(r.At)), Radius: r.Radius / 4}), append(names, r.Name)
	}
	if len(spots) > 0 {
		at := spots[0].At
		places, names = append(places, draw.Spot{At: geom.Vec{X: at[0], Y: at[1], Z: at[2]}, Radius: spots[0].Radius}), append(names, "the gravest place")
	}
	if len(places) == 0 {
		return nil, nil
	}
	choices, err := draw.Choose(ctx, w.mesh, places, w.workers)
	if err != nil {
		return nil, err
	}
	looks := make([]draw.Choice, len(places))
	for _, c := range choices {
		for _, i := range c.Spots {
			looks[i] = c
			looks[i].View = draw.Near(c.View, places[i])
			looks[i].View.Name = names[i] + ": " + c.View.Name
		}
	}
	return looks, nil
}

// nearest returns the vertex nearest to a place in the coordinates of the file.
func (w *work) nearest(at geom.Vec) int32 {
	best, far := int32(0), math.Inf(1)
	for i := range w.wanted {
		if d := w.at(int32(i)).Sub(at).Len2(); d < far {
			best, far = int32(i), d
		}
	}
	return best
}

// pair draws the wanted part beside another that its skin may be.
func (w *work) pair(ctx context.Context, job *step.Job, name, title string, places []geom.Vec, look draw.Choice) error {
	wanted := draw.Scene{Title: "wanted", Mesh: w.mesh, Cut: look.Cut, Workers: job.Workers}
	other := draw.Scene{Title: title, Mesh: w.skin.CarryMesh(w.mesh, places), Cut: look.Cut, Workers: job.Workers}
	p, err := draw.Pair(ctx, wanted, other, look.View, size)
	if err != nil {
		return err
	}
	return workpiece.WritePicture(job, "pictures", name, p)
}
