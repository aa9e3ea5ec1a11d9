// Package bends is the step that looks at how sharply limbs and fingers bend,
// and whether their skin touches or nearly touches itself where they do. The
// handbook says how.
package bends

import (
	"context"
	"fmt"
	"math"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/limb"
	"layette/steps/internal/meshio"
	"layette/steps/internal/workpiece"
)

// Kind is the step.
type Kind struct{}

// limits are the values of a stage; angles in degrees.
type limits struct {
	shape  limb.Shape
	named  float64 // a bend under this is not worth naming
	most   float64 // a bend over this is too sharp
	inside float64 // least inside radius, mm,
	judged float64 // of bends over this angle
	least  float64 // air between facing skins, mm
	touch  float64 // mm
	apart  float64 // mm along the skin: nearer skins are one fold
}

// Check tells what is wrong with the values before anything runs.
func (Kind) Check(v step.Values) []step.Complaint {
	list := limb.Check(v)
	if v.Float("touch") >= v.Float("least") {
		list = append(list, step.Complaint{Value: "touch", Says: "skins that touch are farther apart than the least air", Hint: "touch must be under least"})
	}
	return list
}

// look is all that is known of a part.
type look struct {
	*limb.Limb
	limits
	leaps int // point of the trunk's axis beyond which limb and itself have grown together; 0 if they have not
	bends []geom.Bend
	nears []near
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
	job.Progress.Start("rings", 3)
	l, err := limb.New(ctx, piece.Mesh, want)
	if err != nil {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		return nil, fmt.Errorf("%s: %w", piece.File.Name, err)
	}
	v := job.Values
	k := &look{Limb: l, limits: limits{
		shape: want.Shape, named: v.Float("named"), most: v.Float("most"), inside: v.Float("inside"), judged: v.Float("judged"),
		least: v.Float("least"), touch: v.Float("touch"), apart: v.Float("apart"),
	}}
	job.Progress.Add(1)
	k.findBends()
	k.leaps = k.findLeap()
	k.foldedLimb()
	if err := k.findNears(ctx, job.Workers); err != nil {
		return nil, err
	}
	job.Progress.Add(1)
	finds := k.finds()
	out := &step.Outcome{Measures: k.measures(finds), Notes: append(piece.Notes(), append(l.Notes, k.notes()...)...)}
	for i, f := range finds[:min(len(finds), mostSpots)] {
		f.spot.Number = i + 1
		out.Spots = append(out.Spots, f.spot)
	}
	if err := workpiece.WriteText(job, "rows", piece.Base()+"-bends.csv", k.rows(finds)); err != nil {
		return nil, err
	}
	job.Progress.Add(1)
	return out, workpiece.Write(job, "map", piece.Base()+"-bends.ply", l.Mesh, k.columns()...)
}

// mostSpots is how many spots the sheet shows; the table holds them all.
const mostSpots = 100

// findBends gathers the bends of every branch that is a limb: longer than it is
// thick, or with a tip. The trunk of a head is none.
func (k *look) findBends() {
	for i, b := range k.Rings.Branches {
		axis := k.Rings.Axis(int32(i))
		if len(axis) < 4 || k.shape == limb.Head && i == 0 {
			continue
		}
		thick := 0.0
		for _, p := range axis {
			thick += p.Radius / float64(len(axis))
		}
		if b.Tip < 0 && axis[len(axis)-1].Along < 3*thick {
			continue // the palm between two forks
		}
		k.bends = append(k.bends, k.Rings.Bends(int32(i), k.named*math.Pi/180)...)
	}
}

// columns are the numbers at each vertex.
func (k *look) columns() []meshio.Column {
	n := len(k.Mesh.Verts)
	dist, ring, turn := make([]float32, n), make([]float32, n), make([]float32, n)
	fast := k.turning()
	for v, r := range k.RingOf() {
		dist[v], ring[v] = -1, -1
		if r >= 0 {
			dist[v], ring[v], turn[v] = k.Rings.Dist[v], float32(r+1), fast[r]
		}
	}
	return []meshio.Column{{Name: "distance", Values: dist}, {Name: "ring", Values: ring}, {Name: "turn", Values: turn}}
}

// turning returns how fast the axis turns at each ring: degrees over one radius
// of the limb; nothing on a head.
func (k *look) turning() []float32 {
	out := make([]float32, len(k.Rings.Rings))
	if k.shape == limb.Head {
		return out
	}
	for b := range k.Rings.Branches {
		for _, p := range k.Rings.Axis(int32(b)) {
			out[p.Ring] = float32(p.Curve.Len() * p.Radius * 180 / math.Pi)
		}
	}
	return out
}

// rows writes every bend and every place where skin comes near itself.
func (k *look) rows(finds []find) string {
	var b strings.Builder
	b.WriteString("number,what,place,fault,angle_deg,inside_radius_mm,axis_radius_mm,limb_radius_mm,air_mm,distance_mm,x_mm,y_mm,z_mm,advice\n")
	for i, f := range finds {
		fmt.Fprintf(&b, "%d,%s,%s,%t,%.2f,%.3f,%.3f,%.3f,%.3f,%.3f,%.3f,%.3f,%.3f,%s\n", i+1, f.spot.What, f.place, f.spot.Fault, f.angle, f.inside, f.radius, f.limb, f.air, f.level,
			f.spot.At[0], f.spot.At[1], f.spot.At[2], f.advice)
	}
	return b.String()
}
