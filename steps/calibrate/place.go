package calibrate

import (
	"cmp"
	"context"
	"errors"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// Numbers of points that a sample is placed and fitted with.
const (
	startPoints = 300
	placePoints = 1500
	formPoints  = 12000
	fitPoints   = 60000
	allPoints   = 1000000
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

// place returns the motion and scale that lay the sample on the master. It tries
// the sample as it lies and by its axes of inertia, 24 ways round, follows each
// to the nearest skin (P. J. Besl and N. D. McKay, PAMI 1992; from memory), the
// best three of them for longer, and takes the one that fits best. What is left
// after that may be some hundredths of a scale and some degrees.
func (c *calibration) place(ctx context.Context, sample *geom.Mesh) (geom.Fit, error) {
	few, pts := spread(sample, startPoints, c.workers), spread(sample, placePoints, c.workers)
	if len(pts) < 200 {
		return geom.Fit{}, errors.New("fewer than 200 points: too few to calibrate with")
	}
	var ways []placed
	for _, start := range c.starts(pts) {
		way, err := c.follow(ctx, few, placed{Fit: geom.Fit{Pose: start, Scale: 1}}, 10)
		if err != nil {
			return geom.Fit{}, err
		}
		ways = append(ways, way)
	}
	nearer := func(a, b placed) int { return cmp.Compare(a.left, b.left) }
	slices.SortStableFunc(ways, nearer)
	ways = ways[:3]
	for k := range ways {
		var err error
		if ways[k], err = c.follow(ctx, pts, ways[k], 40); err != nil {
			return geom.Fit{}, err
		}
	}
	best := slices.MinFunc(ways, nearer)
	if !(best.left < c.size/10) {
		return geom.Fit{}, errors.New("the sample cannot be laid on the master: is it another part, or in another unit?")
	}
	return best.Fit, nil
}

// starts returns the poses to begin with.
func (c *calibration) starts(pts []geom.Vec) []geom.Pose {
	cm, am := inertia(spread(c.relief.skin.Mesh, placePoints, c.workers))
	cs, as := inertia(pts)
	poses := []geom.Pose{geom.NoMove}
	for _, order := range [6][3]int{{0, 1, 2}, {1, 2, 0}, {2, 0, 1}, {1, 0, 2}, {0, 2, 1}, {2, 1, 0}} {
		for _, s := range [4][2]float64{{1, 1}, {1, -1}, {-1, 1}, {-1, -1}} {
			x, y := as[order[0]].Mul(s[0]), as[order[1]].Mul(s[1])
			var rot geom.Mat // takes each axis of the sample to the master's
			for k, b := range [3]geom.Vec{x, y, x.Cross(y)} {
				for i, p := range [3]float64{am[k].X, am[k].Y, am[k].Z} {
					rot[i][0] += float64(p * b.X)
					rot[i][1] += float64(p * b.Y)
					rot[i][2] += float64(p * b.Z)
				}
			}
			poses = append(poses, geom.Pose{Rot: rot, Move: cm.Sub(rot.Apply(cs))})
		}
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

// placed is a way to lay the sample and the median distance left, mm.
type placed struct {
	geom.Fit
	left float64
}

// follow moves the points some rounds to the skin nearest to them, with a
// common scale.
func (c *calibration) follow(ctx context.Context, pts []geom.Vec, f placed, rounds int) (placed, error) {
	f.left = math.Inf(1)
	here := make([]geom.Vec, len(pts))
	for range rounds {
		for i, p := range pts {
			here[i] = f.Apply(p)
		}
		hits, err := c.relief.forms[0].tree.ClosestAll(ctx, here, 2*c.size, c.workers)
		if err != nil {
			return f, err
		}
		var away []float64
		for _, h := range hits {
			if h.Tri >= 0 {
				away = append(away, math.Sqrt(h.Dist2))
			}
		}
		if len(away) < len(pts)/2 {
			f.left = math.Inf(1)
			return f, nil
		}
		sorted(away)
		f.left = away[len(away)/2]
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
		f.Fit = next
	}
	return f, nil
}

// sorted puts numbers in rising order.
func sorted(x []float64) []float64 {
	slices.Sort(x)
	return x
}
