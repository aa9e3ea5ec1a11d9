// Package gaps is the step that measures how close skins come: air between
// fingers, folds and crevices, lines, inside corners, and the solid between
// facing walls, all by touching balls. The handbook says how.
package gaps

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/workpiece"
)

// Kind is the step.
type Kind struct{}

// Run measures one surface.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	piece, err := workpiece.One(ctx, job, "surface")
	if err != nil {
		return nil, err
	}
	l, err := inspect(ctx, job, piece.Mesh, limitsOf(job.Values))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", piece.File.Name, err)
	}
	finds, err := l.finds(ctx, job.Workers)
	if err != nil {
		return nil, err
	}
	out := &step.Outcome{Measures: l.measures(finds), Notes: append(piece.Notes(), l.notes(finds)...)}
	for i, f := range finds[:min(len(finds), mostSpots)] {
		out.Spots = append(out.Spots, f.spot(i+1, piece.Mesh.Origin))
	}
	if err := workpiece.WriteText(job, "rows", piece.Base()+"-gaps.csv", rows(finds, piece.Mesh.Origin)); err != nil {
		return nil, err
	}
	shown := &geom.Mesh{Verts: piece.Mesh.Verts, Tris: piece.Mesh.Tris, Origin: piece.Mesh.Origin}
	return out, workpiece.Write(job, "map", piece.Base()+"-gaps.ply", shown, l.columns(len(shown.Verts))...)
}

// mostSpots is how many spots the sheet shows; the table holds them all.
const mostSpots = 200

func (f find) spot(number int, origin geom.Vec) step.Spot {
	at, to := f.pinch.at.Add(origin), f.pinch.to.Add(origin)
	return step.Spot{
		Number: number, What: f.what, Says: f.says, Fault: f.fault, Surface: "surface",
		At: rounded(at), To: rounded(to), Radius: round(f.reach, 0.01), Value: round(f.value, 0.001), Unit: f.unit,
	}
}

func round(x, to float64) float64 { return math.Round(x/to) * to }

func rounded(v geom.Vec) [3]float64 {
	return [3]float64{round(v.X, 0.001), round(v.Y, 0.001), round(v.Z, 0.001)}
}

// rows writes every find as a row of a table.
func rows(finds []find, origin geom.Vec) string {
	var b strings.Builder
	b.WriteString("number,what,fault,value,unit,x_mm,y_mm,z_mm,to_x_mm,to_y_mm,to_z_mm,reach_mm,area_mm2,width_mm,depth_mm,depth_to_width,angle_deg\n")
	for i, f := range finds {
		at, to := f.pinch.at.Add(origin), f.pinch.to.Add(origin)
		fmt.Fprintf(&b, "%d,%s,%t,%.3f,%s,%.3f,%.3f,%.3f,%.3f,%.3f,%.3f,%.2f,%.2f,%.3f,%.2f,%.2f,%.1f\n", i+1, f.what, f.fault, f.value, f.unit,
			at.X, at.Y, at.Z, to.X, to.Y, to.Z, f.reach, f.area, f.pinch.wide, f.depth, f.ratio, f.angle)
	}
	return b.String()
}

// columns are the numbers at each of the first n vertices: the narrowest ball
// of its places.
func (l *look) columns(n int) []meshio.Column {
	air, solid, corners := make([]float32, n), make([]float32, n), make([]float32, n)
	for v := range n {
		air[v], solid[v], corners[v] = float32(l.widest), float32(l.thickest()), float32(l.widest/2)
	}
	for i, v := range l.skin.Vert {
		if int(v) >= n {
			continue
		}
		if l.class[i] != free {
			air[v] = min(air[v], 2*l.air[i].Radius)
		}
		if l.class[i] == corner || l.class[i] == crevice {
			corners[v] = min(corners[v], float32(l.radius(int32(i))))
		}
		if l.inner[i] != free {
			solid[v] = min(solid[v], 2*l.solid[i].Radius)
		}
	}
	return []meshio.Column{{Name: "air", Values: air}, {Name: "solid", Values: solid}, {Name: "corner", Values: corners}}
}

// notes says what people should know beside the spots.
func (l *look) notes(finds []find) []string {
	notes := slices.Clone(l.odd)
	if l.open > 0 || l.twisted > 0 {
		if l.open > 0 {
			notes = append(notes, fmt.Sprintf("the surface is open: %.1f mm of rim; gaps and corners are still measured, the solid only where skin faces skin", l.open))
		}
		if l.twisted > 0 {
			notes = append(notes, fmt.Sprintf("%d edges join triangles that face against one another, or more than two: air and solid may be taken for each other there", l.twisted))
		}
	} else if l.inward < 0 {
		notes = append(notes, "the surface is inside out; it was measured as if turned the right way")
	}
	if l.untold > 0 {
		notes = append(notes, fmt.Sprintf("%d inside corners may be sharper than %.2g mm: triangles of %.2f mm cannot tell, and they are not judged; give finer ones", l.untold, l.corner, l.edge))
	}
	if n := len(finds); n > mostSpots {
		notes = append(notes, fmt.Sprintf("%d spots were found; the gravest %d are shown, the table holds all", n, mostSpots))
	}
	for _, f := range finds {
		if f.what == touching {
			notes = append(notes, "skins that touch or run into one another are neither gap nor wall; they are listed as touching")
			break
		}
	}
	return notes
}
