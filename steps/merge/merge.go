// Package merge is the step that joins the placed scans of a part into one
// surface.
package merge

import (
	"context"
	"fmt"
	"math"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/workpiece"
)

// Kind is the step.
type Kind struct{}

// Handbook implements step.Kind.
func (Kind) Handbook() step.Handbook {
	return step.Handbook{
		Name:    "merge",
		Version: 13,
		Summary: "Joins the placed scans of a part into one surface.",
		Method: "Of every scan points closer together than three quarters of a voxel are put together, the skin is smoothed by its own points once, and kept from run to run. At the samples of a fine grid near it each " +
			"placed scan speaks by the distance to that skin; where it is seen poorly (beyond 68 degrees, at its border) and no two others saw it well, by all points about. What is said is averaged by weight: the square of the cosine of the viewing angle, " +
			"falling faster beyond 60 degrees; fading towards the border of the scan, so that no step shows where one begins; and one over the " +
			"square of the scan's noise. The joined surface lies where the mean is zero.\n\n" +
			"Each vertex is then moved to where the scans themselves, not the grid, say that the skin is, and keeps the number of scans that " +
			"saw it (property seen) and how far they disagree (property disagree, mm: the child moved, or a scan is misplaced).\n\n" +
			"One scan more, less or other moves the places of all others by some hundredths of a millimetre, since align settles them together. " +
			"So all scans are joined again every time; what is saved is reading and smoothing those that did not change.\n\n" +
			"What as many scanners looked through as saw, or more, is taken for air.\n\n" +
			"Skin that no scan saw is left open but for pinholes and slits as narrow, or closed by carrying the surface on smoothly; invented skin has " +
			"seen = 0 either way and is measured, never hidden. Closed, what is wider than opening still stays open: a neck or a wrist.",
		Sources: []string{
			"B. Curless and M. Levoy, A volumetric method for building complex models from range images, SIGGRAPH 1996 (from memory)",
			"D. Levin, The approximation power of moving least-squares, 1998 (from memory)",
			"S. Rusinkiewicz, A symmetric objective function for ICP, SIGGRAPH 2019 (from memory)",
			"W. Lorensen and H. Cline, Marching cubes, SIGGRAPH 1987 (from memory)",
			"A. Jacobson and others, Robust inside-outside segmentation using generalized winding numbers, SIGGRAPH 2013 (from memory)",
			"Congote et al. 2011, face capture with structured light: holes are filled, so what is filled is marked as invented",
			"the turn to lighter weights at 60 degrees: common practice, no source",
		},
		Inputs: []step.Input{
			{Name: "scans", Kind: step.Scan, Many: true, Named: true, Doc: "the scans of the part, as intake left them"},
			{Name: "poses", Kind: step.Rows, Doc: "where each of them lies, from align"},
		},
		Values: []step.Value{
			{Name: "voxel", Type: step.Length, Default: "0.4 mm", Min: "0.02 mm", Max: "20 mm", Doc: "cell of the grid, about the length of an edge", Origin: "common practice, no source: a little more than the scans' own spacing"},
			{Name: "unseen", Type: step.OneWord, Default: "open", OneOf: []string{"open", "closed"}, Doc: "what becomes of skin that no scan saw"},
			{Name: "opening", Type: step.Length, Default: "0 mm", Min: "0 mm", Doc: "if what no scan saw is closed: what is wider, as a disc of as much skin, stays open, as where the part was cut off; 0 closes all"},
			{Name: "pinhole", Type: step.Number, Default: "4", Min: "0", Max: "20", Doc: "holes and slits no wider than so many voxels are closed even so", Origin: "common practice, no source: nothing to be sculpted hides in them"},
			{Name: "fade", Type: step.Length, Default: "2 mm", Min: "0.1 mm", Doc: "over how much of its border a scan gives way to others", Origin: "common practice, no source"},
			{Name: "scrap", Type: step.Area, Default: "25 mm2", Doc: "loose pieces with less skin are left out", Origin: "common practice, no source"},
		},
		Measures: []step.Measure{
			{Name: "scans.joined", Type: step.Count, Doc: "scans that the surface is made of"},
			{Name: "scans.left-out", Type: step.Count, Doc: "scans given that could not be joined"},
			{Name: "triangles", Type: step.Count, Doc: "triangles of the surface"},
			{Name: "area", Type: step.Area, Resolution: 0.01, Doc: "all skin, invented skin too"},
			{Name: "invented.area", Type: step.Area, Resolution: 0.01, Doc: "skin that no scan saw, as far as it was closed"},
			{Name: "invented.share", Type: step.Share, Resolution: 1e-4, Doc: "share of the skin that no scan saw"},
			{Name: "open.rims", Type: step.Count, Doc: "holes and openings left"},
			{Name: "darned", Type: step.Count, Doc: "pinholes and slits closed: the middles are marked as invented"},
			{Name: "scraps", Type: step.Count, Doc: "loose pieces left out"},
			{Name: "carved", Type: step.Count, Doc: "vertices taken out because scanners looked through them"},
			{Name: "noise", Type: step.Length, Resolution: 1e-4, Doc: "median noise of the scans"},
			{Name: "disagree.p50", Type: step.Length, Resolution: 0.001, Doc: "where two scans or more saw the skin, half of it is agreed on better than this"},
			{Name: "disagree.p95", Type: step.Length, Resolution: 0.001, Doc: "and 95 % of it better than this"},
			{Name: "watertight", Type: step.Flag, Doc: "the surface is closed"},
		},
		Outputs: []step.Output{
			{Name: "surface", Kind: step.Surface, Doc: "the joined surface, with properties seen and disagree"},
		},
		Memory: 3,
	}
}

// merger holds one job.
type merger struct {
	job         *step.Job
	voxel, fade float64
	noise       float64 // median of the scans
	scans       []*placed
	left        []string // what was left out, and why
	scraps      int
	carved      int // vertices that scanners looked through
	darned      int // pinholes closed
	notes       []string
}

// Run implements step.Kind.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	m := &merger{job: job, voxel: job.Values.Float("voxel"), fade: job.Values.Float("fade")}
	if err := m.read(ctx); err != nil {
		return nil, err
	}
	f, err := m.field(ctx)
	if err != nil {
		return nil, err
	}
	s, err := m.skin(ctx, f)
	if err != nil {
		return nil, err
	}
	col := meshio.Column{Name: "disagree", Values: s.disagree}
	s.Normals = s.VertexNormals()
	if err := workpiece.Write(job, "surface", "merged.ply", s.Mesh, col); err != nil {
		return nil, err
	}
	return m.outcome(ctx, s)
}

// field lets all scans speak.
func (m *merger) field(ctx context.Context) (*field, error) {
	f := &field{Lattice: geom.NewLattice(m.voxel), scans: m.scans, reach: m.reach(), most: mostBlocks, workers: m.job.Workers}
	if err := f.lay(); err != nil {
		return nil, err
	}
	m.job.Progress.Start("joining scans, block by block", len(f.At))
	return f, f.fill(ctx, m.job.Progress)
}

// skin makes the surface out of the field: what was seen, and, if the recipe
// says so, what closes it.
func (m *merger) skin(ctx context.Context, f *field) (*skin, error) {
	s, err := m.march(ctx, f)
	if err != nil {
		return nil, err
	}
	if len(s.Tris) == 0 {
		return nil, fmt.Errorf("the scans make no surface at a voxel of %.3g mm: is it far larger than the part?", m.voxel)
	}
	if err := m.settle(ctx, f, s); err != nil {
		return nil, err
	}
	if m.carved, err = m.carve(ctx, s); err != nil {
		return nil, err
	}
	open, err := m.trimmed(ctx, s)
	if err != nil {
		return nil, err
	}
	if m.job.Values.Text("unseen") == "open" {
		return open, m.darn(ctx, open, m.job.Values.Float("pinhole")*m.voxel)
	}
	m.job.Progress.Start("closing what no scan saw", 0)
	if err := f.forget(ctx, open.Mesh); err != nil {
		return nil, err
	}
	closed, err := f.close(ctx, open.Mesh)
	if err != nil {
		return nil, err
	}
	if !closed {
		m.notes = append(m.notes, "Too little of the part was seen to close the rest: it was left open.")
		return open, m.darn(ctx, open, m.job.Values.Float("pinhole")*m.voxel)
	}
	if s, err = m.march(ctx, f); err != nil {
		return nil, err
	}
	if err := m.settle(ctx, f, s); err != nil {
		return nil, err
	}
	if err := m.unmark(ctx, s, open); err != nil {
		return nil, err
	}
	if err := soften(ctx, s.Mesh, 30); err != nil {
		return nil, err
	}
	return opened(s, m.job.Values.Float("opening")), nil
}

// march makes the surface, without scraps.
func (m *merger) march(ctx context.Context, f *field) (*skin, error) {
	mesh, err := f.March(ctx, m.job.Workers)
	if err != nil {
		return nil, err
	}
	mesh, _, scraps, err := withoutScraps(ctx, mesh, m.job.Values.Float("scrap"), m.job.Workers)
	if err != nil {
		return nil, err
	}
	m.scraps = scraps
	e, err := mesh.Edges(ctx, m.job.Workers)
	if err != nil {
		return nil, err
	}
	return &skin{Mesh: mesh}, even(ctx, mesh, e)
}

// trimmed cuts off what no scan saw.
func (m *merger) trimmed(ctx context.Context, s *skin) (*skin, error) {
	seen, from := kept(s.Mesh, s.seen)
	if len(seen.Tris) == 0 {
		return nil, fmt.Errorf("no two of the scans agree on any skin: they are misplaced, or their noise is far above the voxel of %.3g mm", m.voxel)
	}
	mesh, left, scraps, err := withoutScraps(ctx, seen, m.job.Values.Float("scrap"), m.job.Workers)
	if err != nil {
		return nil, err
	}
	m.scraps += scraps
	return s.from(seen, from).from(mesh, left), nil
}

// seen reports whether scans saw all corners of a triangle; if not it is invented.
func (s *skin) seen(t int) bool {
	tri := s.Tris[t]
	return s.Seen[tri[0]] > 0 && s.Seen[tri[1]] > 0 && s.Seen[tri[2]] > 0
}

// from is the skin that is left of s: mesh, of which vertex v was from[v].
func (s *skin) from(mesh *geom.Mesh, from []int32) *skin {
	out := &skin{Mesh: mesh, disagree: make([]float32, len(from))}
	for v, was := range from {
		out.disagree[v] = s.disagree[was]
	}
	return out
}

// outcome measures the surface.
func (m *merger) outcome(ctx context.Context, s *skin) (*step.Outcome, error) {
	e, err := s.Edges(ctx, m.job.Workers)
	if err != nil {
		return nil, err
	}
	var all, invented geom.Sum
	for t := range s.Tris {
		a, b, c := s.Corners(t)
		area := b.Sub(a).Cross(c.Sub(a)).Len() / 2
		all.Add(area)
		if !s.seen(t) {
			invented.Add(area)
		}
	}
	half, most := s.disagreement()
	noise := m.noise
	if noise == 0 {
		noise = math.NaN()
	}
	out := &step.Outcome{Measures: map[string]any{
		"scans.joined": int64(len(m.scans)), "scans.left-out": int64(len(m.left)), "triangles": int64(len(s.Tris)),
		"area": all.Total(), "invented.area": invented.Total(), "invented.share": invented.Total() / all.Total(),
		"open.rims": int64(len(s.Rims(e))), "scraps": int64(m.scraps), "darned": int64(m.darned), "carved": int64(m.carved), "noise": noise,
		"disagree.p50": half, "disagree.p95": most, "watertight": s.Closed(e),
	}}
	out.Notes = m.notes
	if m.carved > len(s.Verts)/200 {
		out.Notes = append(out.Notes, fmt.Sprintf("%d vertices were taken out because as many scanners looked through the place as saw skin there: a shot is misplaced, or the child moved.", m.carved))
	}
	if len(m.left) > 0 {
		out.Notes = append(out.Notes, fmt.Sprintf("%d of %d scans are not in the surface: %s", len(m.left), len(m.left)+len(m.scans), strings.Join(m.left, "; ")))
	}
	return out, nil
}
