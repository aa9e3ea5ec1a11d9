package relief

import (
	"context"

	"layette/engine/step"
	"layette/steps/internal/draw"
	"layette/steps/internal/geom"
	"layette/steps/internal/workpiece"
)

// size is that of the pictures; tests draw smaller ones.
var size = draw.Usual

// pictures draws the relief, and before and after moulding: the whole part and
// the gravest spot close by.
func (l *look) pictures(ctx context.Context, job *step.Job, base string, spots []step.Spot) error {
	after := l.skin.CarryMesh(l.mesh, l.after)
	view := draw.View{Name: "front, from its right", Dir: geom.Vec{X: 0.6, Y: 1, Z: 0.25}}
	values := &draw.Values{At: l.skin.Carry(l.split.Relief), Name: "relief", Unit: "mm", Low: -0.4, High: 0.4, Scale: draw.Apart}
	p, err := draw.Draw(ctx, draw.Scene{Title: "relief", Mesh: l.mesh, Values: values, Workers: job.Workers}, view, size)
	if err != nil {
		return err
	}
	if err := workpiece.WritePicture(job, "pictures", base+"-relief.png", p); err != nil {
		return err
	}
	views := []draw.View{view}
	if len(spots) > 0 {
		at := spots[0].At
		near := draw.Spot{At: geom.Vec{X: at[0], Y: at[1], Z: at[2]}, Radius: spots[0].Radius}
		views = append(views, draw.Near(draw.View{Name: "the gravest place", Dir: l.facing(near.At.Sub(l.mesh.Origin))}, near))
	}
	for i, v := range views {
		p, err := draw.Pair(ctx, draw.Scene{Title: "as it is", Mesh: l.mesh, Workers: job.Workers}, draw.Scene{Title: "as it will come out of the mould", Mesh: after, Workers: job.Workers}, v, size)
		if err != nil {
			return err
		}
		if err := workpiece.WritePicture(job, "pictures", base+[2]string{"-moulded.png", "-moulded-near.png"}[i], p); err != nil {
			return err
		}
	}
	return nil
}

// facing returns the direction of the form at the vertex nearest to p.
func (l *look) facing(p geom.Vec) geom.Vec {
	best, n := -1.0, geom.Vec{Y: 1}
	for i, q := range l.places {
		if d := q.Sub(p).Len2(); best < 0 || d < best {
			best, n = d, l.split.Normal[i]
		}
	}
	return n
}
