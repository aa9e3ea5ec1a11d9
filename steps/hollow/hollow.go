// Package hollow is the step that tells how a part comes out hollow: where the
// vinyl that builds inward fills it solid, which chambers it cuts off from the
// opening, what liquid stays behind, and what the part will weigh. The handbook
// says how.
package hollow

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

// Run casts one part.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	piece, err := workpiece.One(ctx, job, "surface")
	if err != nil {
		return nil, err
	}
	c, err := cast(ctx, job, piece.Mesh)
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", piece.File.Name, err)
	}
	out := &step.Outcome{Measures: c.measures(), Spots: c.spots(), Notes: append(piece.Notes(), c.notes...)}
	if err := workpiece.WriteText(job, "rows", piece.Base()+"-hollow.csv", rows(out.Spots)); err != nil {
		return nil, err
	}
	shown := &geom.Mesh{Verts: piece.Mesh.Verts, Tris: piece.Mesh.Tris, Origin: piece.Mesh.Origin}
	return out, workpiece.Write(job, "map", piece.Base()+"-hollow.ply", shown, meshio.Column{Name: "vinyl", Values: c.thick[:len(shown.Verts)]})
}

// limits are the stage's values.
type limits struct {
	wall, cube, drain, digit, buildUp float64
	least, density                    float64
	fillsSolid                        bool
}

func limitsOf(v step.Values) limits {
	return limits{
		wall: v.Float("wall"), cube: v.Float("cube"), drain: v.Float("drain"), digit: v.Float("digit"),
		buildUp: v.Float("build-up"), least: v.Float("least-chamber"), density: v.Float("density"),
		fillsSolid: v.Flag("fills-solid"),
	}
}

// casting is a part as it will come out of the mould.
type casting struct {
	limits
	part     *geom.Mesh // standing on its opening
	pose     geom.Pose  // of the part against the file, less the file's origin
	origin   geom.Vec
	mouth    *geom.Opening
	skin     float64 // area on which vinyl builds, mm²
	depth    *depth
	chambers []chamber
	held     []held
	lumps    []lump
	thick    []float32 // vinyl under each vertex, mm
	clear    float64   // clear width of the opening, mm
	notes    []string
}

// mostCubes bounds the memory: a cube takes some 14 bytes while it is worked on.
const mostCubes = 40_000_000

func cast(ctx context.Context, job *step.Job, m *geom.Mesh) (*casting, error) {
	c := &casting{limits: limitsOf(job.Values), origin: m.Origin, pose: geom.Pose{Rot: geom.Identity}}
	if err := c.stand(ctx, job, m); err != nil {
		return nil, err
	}
	if job.Values.Flag("fills-solid") && !job.Values.Has("reason") {
		c.notes = append(c.notes, "slim limbs are to fill solid, and no reason is written down: say in the recipe who agreed to it")
	}
	job.Progress.Start("cast", 5)
	skin := without(c.part, c.mouth)
	c.skin = skin.Area()
	tree, err := geom.NewTree(ctx, skin, job.Workers)
	if err != nil {
		return nil, err
	}
	box := c.part.Bounds()
	g := newGrid(box, c.cube, mostCubes, c.mouth != nil)
	if g.h > c.cube*1.0001 {
		c.notes = append(c.notes, fmt.Sprintf("the part is too large for cubes of %.2f mm: they are %.2f mm, and narrower ways may be missed", c.cube, g.h))
	}
	in, err := g.inside(ctx, c.part, job.Workers)
	if err != nil {
		return nil, err
	}
	job.Progress.Add(1)
	if c.depth, err = newDepth(ctx, g, in, tree, c.wall-g.h, c.wall+c.drain/2, job.Workers); err != nil {
		return nil, err
	}
	job.Progress.Add(1)
	return c, c.look(ctx, job)
}

// stand finds the opening and turns the part to stand on it.
func (c *casting) stand(ctx context.Context, job *step.Job, m *geom.Mesh) error {
	for i, p := range m.Verts {
		if !p.Vec().Finite() {
			return fmt.Errorf("vertex %d is not finite", i)
		}
	}
	edges, err := m.Edges(ctx, job.Workers)
	if err != nil {
		return err
	}
	var near *geom.Vec
	if job.Values.Has("opening") {
		p := job.Values.Point("opening")
		near = &geom.Vec{X: p[0] - m.Origin.X, Y: p[1] - m.Origin.Y, Z: p[2] - m.Origin.Z}
	}
	if _, n := m.Shells(edges); n > 1 {
		c.note("%d separate shells: they are cast together, through one opening", n)
	}
	open := !m.Closed(edges)
	if open {
		m, err = c.capped(ctx, m, edges, near, job.Workers)
	}
	if err == nil && m.Volume() < 0 {
		c.notes = append(c.notes, "the surface is inside out; it was cast as if turned the right way")
		if m = limb.TurnedOver(m); !open {
			edges, err = m.Edges(ctx, job.Workers)
		}
	}
	if err == nil && !open {
		err = c.findMouth(ctx, m, edges, near, job.Workers)
	}
	if err != nil {
		return err
	}
	c.part = m
	if c.mouth != nil {
		c.part, c.pose = stood(c.part, c.mouth)
	}
	return nil
}

// look finds chambers, what stays in them and what is solid.
func (c *casting) look(ctx context.Context, job *step.Job) error {
	d := c.depth
	all, of, err := d.chambers(ctx, c.wall)
	if err != nil {
		return err
	}
	c.chambers = all
	for _, x := range all {
		if !x.open && x.volume >= c.least {
			if err := d.refine(ctx, 0, c.wall, job.Workers); err != nil {
				return err
			}
			if err := d.throats(ctx, all, of, c.wall, c.least); err != nil {
				return err
			}
			break
		}
	}
	job.Progress.Add(1)
	if c.held, err = d.keeps(ctx, all, of, c.wall, c.drain, job.Workers); err != nil {
		return err
	}
	c.clear = d.clearest(c.wall)
	job.Progress.Add(1)
	v, err := newVinyl(ctx, d, of, c.wall, job.Workers)
	if err != nil {
		return err
	}
	if c.thick, err = v.skin(ctx, c.part, job.Workers); err != nil {
		return err
	}
	c.lumps, err = v.lumps(ctx, c.part, c.thick)
	job.Progress.Add(1)
	return err
}

// home takes a place of the standing part back into the file's frame.
func (c *casting) home(p geom.Vec) [3]float64 {
	q := c.pose.Inverse().Apply(p).Add(c.origin)
	return [3]float64{round(q.X, 0.001), round(q.Y, 0.001), round(q.Z, 0.001)}
}

func round(x, to float64) float64 { return math.Round(x/to) * to }

// rows writes every spot as a row of a table.
func rows(spots []step.Spot) string {
	var b strings.Builder
	b.WriteString("number,what,fault,value,unit,x_mm,y_mm,z_mm,reach_mm,says\n")
	for _, s := range spots {
		fmt.Fprintf(&b, "%d,%s,%t,%.3f,%s,%.3f,%.3f,%.3f,%.2f,%q\n", s.Number, s.What, s.Fault, s.Value, s.Unit, s.At[0], s.At[1], s.At[2], s.Radius, s.Says)
	}
	return b.String()
}
