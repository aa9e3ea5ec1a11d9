package calibrate

import (
	"cmp"
	"context"
	"errors"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// master is what the sample was made from, made ready for fitting to.
type master struct {
	mesh    *geom.Mesh
	tree    *geom.Tree
	normals []geom.Point
	centre  geom.Vec
	odd     []bool  // vertices that nothing is to be fitted to; nil for none
	size    float64 // half the longest way through its box, mm
}

func newMaster(ctx context.Context, m *geom.Mesh, workers int) (*master, error) {
	tree, err := geom.NewTree(ctx, m, workers)
	if err != nil {
		return nil, err
	}
	b := tree.Bounds()
	return &master{mesh: m, tree: tree, normals: m.VertexNormals(), centre: b.Centre(), size: b.Size().Len() / 2}, nil
}

// normalAt returns the direction of the skin at h, blended from the corners.
func (m *master) normalAt(h geom.Hit) geom.Vec {
	t := m.mesh.Tris[h.Tri]
	n := m.normals[t[0]].Vec().Mul(1 - h.V - h.W)
	return n.Add(m.normals[t[1]].Vec().Mul(h.V)).Add(m.normals[t[2]].Vec().Mul(h.W)).Unit()
}

// Numbers of points that a sample is placed and fitted with.
const (
	placePoints = 1500
	fitPoints   = 24000
)

// spread returns n of the vertices, evenly along a curve through space.
func spread(m *geom.Mesh, n, workers int) []geom.Vec {
	order := geom.CurveOrder(m.Verts, workers)
	n = min(n, len(order))
	pts := make([]geom.Vec, n)
	for i := range pts {
		pts[i] = m.Verts[order[i*len(order)/n]].Vec()
	}
	return pts
}

// place returns the rigid motion that lays the sample on the master. It tries
// the sample as it lies and by its axes of inertia, four ways round, follows
// each to the nearest skin (P. J. Besl and N. D. McKay, PAMI 1992; from memory)
// and takes the one that fits best. What is left after that may be a scale and
// some degrees.
func (m *master) place(ctx context.Context, sample *geom.Mesh, workers int) (geom.Pose, error) {
	pts := spread(sample, placePoints, workers)
	if len(pts) < 200 {
		return geom.Pose{}, errors.New("fewer than 200 points: too few to calibrate with")
	}
	best, pose := math.Inf(1), geom.NoMove
	for _, start := range m.starts(pts, workers) {
		p, left, err := m.follow(ctx, pts, start, workers)
		if err != nil {
			return pose, err
		}
		if left < best {
			best, pose = left, p
		}
	}
	if best > m.size/10 {
		return pose, errors.New("the sample cannot be laid on the master: is it another part, or in another unit?")
	}
	return pose, nil
}

// starts returns the poses to begin with.
func (m *master) starts(pts []geom.Vec, workers int) []geom.Pose {
	cm, am := inertia(spread(m.mesh, placePoints, workers))
	cs, as := inertia(pts)
	poses := []geom.Pose{geom.NoMove}
	for _, s := range [4][3]float64{{1, 1, 1}, {1, -1, -1}, {-1, 1, -1}, {-1, -1, 1}} {
		var rot geom.Mat // takes each axis of the sample to the master's
		for k := range 3 {
			a, b := am[k], as[k].Mul(s[k])
			for i, x := range [3]float64{a.X, a.Y, a.Z} {
				rot[i][0] += float64(x * b.X)
				rot[i][1] += float64(x * b.Y)
				rot[i][2] += float64(x * b.Z)
			}
		}
		poses = append(poses, geom.Pose{Rot: rot, Move: cm.Sub(rot.Apply(cs))})
	}
	return poses
}

// inertia returns the middle and the axes of the spread of points, right-handed.
func inertia(pts []geom.Vec) (geom.Vec, [3]geom.Vec) {
	var c geom.Vec
	for _, p := range pts {
		c = c.Add(p)
	}
	c = c.Mul(1 / float64(len(pts)))
	s := [][]float64{make([]float64, 3), make([]float64, 3), make([]float64, 3)}
	for _, p := range pts {
		d := p.Sub(c)
		x := [3]float64{d.X, d.Y, d.Z}
		for i := range 3 {
			for j := range 3 {
				s[i][j] += float64(x[i] * x[j])
			}
		}
	}
	_, v := geom.Eigen(s)
	a := geom.Vec{X: v[0][0], Y: v[0][1], Z: v[0][2]}
	b := geom.Vec{X: v[1][0], Y: v[1][1], Z: v[1][2]}
	return c, [3]geom.Vec{a, b, a.Cross(b)}
}

// follow moves the points to the skin nearest to them, with a common scale that
// is dropped at the end, and returns the motion and the median distance left.
func (m *master) follow(ctx context.Context, pts []geom.Vec, start geom.Pose, workers int) (geom.Pose, float64, error) {
	f := geom.Fit{Pose: start, Scale: 1}
	left := math.Inf(1)
	for range 25 {
		here := make([]geom.Vec, len(pts))
		for i, p := range pts {
			here[i] = f.Apply(p)
		}
		hits, err := m.tree.ClosestAll(ctx, here, 2*m.size, workers)
		if err != nil {
			return f.Pose, 0, err
		}
		var away []float64
		for _, h := range hits {
			if h.Tri >= 0 {
				away = append(away, math.Sqrt(h.Dist2))
			}
		}
		if len(away) < len(pts)/2 {
			return f.Pose, math.Inf(1), nil
		}
		slices.Sort(away)
		left = away[len(away)/2]
		near := away[len(away)*8/10]
		var from, to []geom.Vec
		for i, h := range hits {
			if h.Tri >= 0 && h.Dist2 <= float64(near*near) {
				from, to = append(from, pts[i]), append(to, h.Point)
			}
		}
		next, err := geom.FitSimilarity(from, to, nil)
		if err != nil || next.Scale < 0.8 || next.Scale > 1.25 {
			break
		}
		f = next
	}
	// The same place for the middle of the points without the scale.
	var c geom.Vec
	for _, p := range pts {
		c = c.Add(p)
	}
	c = c.Mul(1 / float64(len(pts)))
	return geom.Pose{Rot: f.Rot, Move: f.Apply(c).Sub(f.Rot.Apply(c))}, left, nil
}

// sorted puts numbers in rising order.
func sorted(x []float64) []float64 {
	slices.SortFunc(x, cmp.Compare)
	return x
}
