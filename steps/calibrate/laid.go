package calibrate

import (
	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/process"
	"layette/steps/internal/workpiece"
)

// laidPoints is how many points say how a sample lies in the finished part.
const laidPoints = 4000

// layDown writes a sample, turned and moved to where the finished part was
// before the recipe's chain made a master of it; a forecast lies there. Size,
// bending and softening stay as the sample has them. Without a chain the
// sample's own shrinkage says where, if it is known.
func (c *calibration) layDown(job *step.Job, base string, r *found, sample *geom.Mesh) error {
	links, _ := process.Chain(job.Values)
	back := process.Copied(links)
	if len(links) == 0 && r.mean.known() {
		back = geom.Mat{{1 - r.shrink[0].at, 0, 0}, {0, 1 - r.shrink[1].at, 0}, {0, 0, 1 - r.shrink[2].at}}
	}
	o := c.mesh.Origin
	from := spread(sample, laidPoints, c.workers)
	to := make([]geom.Vec, len(from))
	for i, p := range from {
		to[i] = back.Apply(r.warp.apply(r.lay.Apply(p)).Add(o)).Sub(o)
	}
	fit, err := geom.FitRigid(from, to, nil)
	if err != nil {
		return err
	}
	laid := &geom.Mesh{Tris: sample.Tris, Verts: make([]geom.Point, len(sample.Verts)), Origin: o}
	for i, v := range sample.Verts {
		laid.Verts[i] = fit.Pose.Apply(v.Vec()).Point()
	}
	return workpiece.Write(job, "laid", base+"-sample.ply", laid)
}
