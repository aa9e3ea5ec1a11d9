// Package soundness is the step that looks whether a surface bounds a solid
// that can be cut, offset and moulded: nothing open, nothing turned, nothing
// twice, nothing running through itself, and of the size it should have.
package soundness

import (
	"context"
	"fmt"

	"layette/engine/step"
	"layette/steps/internal/workpiece"
)

// Kind is the step.
type Kind struct{}

// Handbook implements step.Kind.
func (Kind) Handbook() step.Handbook {
	return step.Handbook{
		Name:    "soundness",
		Version: 1,
		Summary: "Looks whether a surface is whole, faces outward, does not run through itself and has the expected size.",
		Method: "Corners at equal places are one vertex, and on wish those within `weld` of each other. Edges are matched to find what is open, " +
			"where three or more triangles meet, and which triangles are turned over; rims are followed to loops; pieces that hang together are shells. " +
			"\n\nTriangles that cross are found with a tree of boxes and decided by exact arithmetic, so that none is missed and none invented: " +
			"two triangles cross if they have a point in common that belongs to no corner or edge they share. " +
			"\n\nA shell is inside another if a ray from it leaves that other one more often than it enters. " +
			"A piece is inside out if its volume is negative with its turned triangles put right and its holes closed by flat fans. " +
			"\n\nNothing is repaired: the surface goes on as it came, in millimetres. With a `weld` above zero the joined surface goes on.",
		Sources: []string{
			"B. G. Baumgart, \"A polyhedron representation for computer vision\", 1975: edges and what lies across them (from memory)",
			"J. R. Shewchuk, \"Adaptive precision floating-point arithmetic and fast robust geometric predicates\", 1997: exact signs (from memory)",
			"C. Zhang, T. Chen, \"Efficient feature extraction for 2D/3D objects in mesh representation\", 2001: volume (from memory)",
		},
		Inputs: []step.Input{{Name: "surface", Kind: step.Surface, Doc: "the surface to look at"}},
		Values: []step.Value{
			{Name: "least", Type: step.Length, Optional: true, Min: "0 mm", Doc: "the shortest the part's longest side may be; a wrong unit shows as a part a thousand times too large or too small", Origin: "the kit's own sizes"},
			{Name: "most", Type: step.Length, Optional: true, Min: "0 mm", Doc: "the longest the part's longest side may be", Origin: "the kit's own sizes"},
			{Name: "weld", Type: step.Length, Default: "0 mm", Min: "0 mm", Max: "1 mm", Doc: "corners within this distance are made one; 0 joins only those at exactly the same place", Origin: "common practice: 0, or a tenth of the scanner's noise"},
		},
		Measures: measures,
		Outputs:  []step.Output{{Name: "surface", Kind: step.Surface, Units: "mm", Doc: "the surface looked at: the very file if it is in millimetres and nothing was joined or left out, else a PLY in millimetres"}},
		Memory:   14,
	}
}

var measures = []step.Measure{
	{Name: "watertight", Type: step.Flag, Doc: "every edge lies between exactly two triangles that turn the same way"},
	{Name: "plausible", Type: step.Flag, Doc: "the longest side lies between least and most; true where neither is given"},
	{Name: "inside-out", Type: step.Flag, Doc: "a shell that lies in no other has its inside facing out"},
	{Name: "triangles", Type: step.Count, Doc: "triangles in the surface"},
	{Name: "shells", Type: step.Count, Doc: "pieces that hang together across edges"},
	{Name: "shells.inner", Type: step.Count, Doc: "shells that lie inside another"},
	{Name: "edges.open", Type: step.Count, Doc: "edges with a triangle on one side only"},
	{Name: "loops", Type: step.Count, Doc: "closed ways along open edges: holes, rims, cracks"},
	{Name: "loops.longest", Type: step.Length, Resolution: 0.001, Doc: "the length of the longest loop"},
	{Name: "loops.largest", Type: step.Number, Unit: "mm²", Resolution: 0.01, Doc: "the area of the widest loop, as seen from where it is widest"},
	{Name: "edges.crowded", Type: step.Count, Doc: "edges where three or more triangles meet"},
	{Name: "edges.turned", Type: step.Count, Doc: "edges whose two triangles turn opposite ways"},
	{Name: "faces.turned", Type: step.Count, Doc: "triangles that must be turned to agree with the larger part of their sheet"},
	{Name: "vertices.crowded", Type: step.Count, Doc: "vertices where pieces of skin touch at a point"},
	{Name: "faces.degenerate", Type: step.Count, Doc: "triangles without any area"},
	{Name: "faces.slivers", Type: step.Count, Doc: "triangles lower than 0.0001 mm, those without area among them"},
	{Name: "faces.duplicate", Type: step.Count, Doc: "triangles that repeat one before them"},
	{Name: "faces.lost", Type: step.Count, Doc: "triangles of the file left out because a coordinate is not a number or infinite"},
	{Name: "crossing.pairs", Type: step.Count, Doc: "pairs of triangles that cross"},
	{Name: "crossing.faces", Type: step.Count, Doc: "triangles that cross another"},
	{Name: "spikes", Type: step.Count, Doc: "vertices that stand three times as far out from their neighbours as those lie apart"},
	{Name: "volume", Type: step.Number, Unit: "mm³", Resolution: 0.01, Doc: "signed volume; means nothing for an open surface"},
	{Name: "area", Type: step.Number, Unit: "mm²", Resolution: 0.01, Doc: "area of all triangles"},
	{Name: "size.x", Type: step.Length, Resolution: 0.001, Doc: "extent along x"},
	{Name: "size.y", Type: step.Length, Resolution: 0.001, Doc: "extent along y"},
	{Name: "size.z", Type: step.Length, Resolution: 0.001, Doc: "extent along z"},
	{Name: "longest", Type: step.Length, Resolution: 0.001, Doc: "the longest of the three extents"},
}

// Run implements step.Kind.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	job.Progress.Start("reading the surface", 0)
	piece, err := workpiece.One(ctx, job, "surface")
	if err != nil {
		return nil, err
	}
	mesh, notes := piece.Mesh, piece.Notes()
	if reach := job.Values.Float("weld"); reach > 0 {
		joined, collapsed, err := joinNear(ctx, mesh, reach, job.Workers)
		if err != nil {
			return nil, err
		}
		notes = append(notes, fmt.Sprintf("%d vertices within %g mm of another were joined to it, %d triangles shrank to nothing and were left out",
			len(mesh.Verts)-len(joined.Verts), reach, collapsed))
		mesh = joined
	}
	look := &look{mesh: mesh, workers: job.Workers, progress: job.Progress, lost: piece.Info.NotFinite}
	if err := look.all(ctx); err != nil {
		return nil, err
	}
	size := sizeUp(mesh, job.Values, piece.File.Units)
	out := &step.Outcome{Measures: look.measures(), Notes: append(notes, look.notes()...)}
	size.tell(out)
	out.Spots, out.Notes = gravest(append(size.spots(), look.spots()...), out.Notes)
	if mesh == piece.Mesh && piece.File.Units == "mm" && piece.Info.NotFinite == 0 {
		return out, job.Pass("surface", piece.File)
	}
	return out, workpiece.Write(job, "surface", piece.Base()+".ply", mesh)
}
