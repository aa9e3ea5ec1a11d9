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
	startPoints = 500
	placePoints = 1500
	formPoints  = 12000
	softPoints  = 30000
	fitPoints   = 60000
	allPoints   = 250000
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
// to the nearest skin, the best three of them with more points, and takes the one
// that fits best. What is left after that may be some hundredths of a scale and
// some degrees.
func (c *calibration) place(ctx context.Context, sample *geom.Mesh) (geom.Fit, error) {
	few, pts := spread(sample, startPoints, c.workers), spread(sample, placePoints, c.workers)
	if len(pts) < 200 {
		return geom.Fit{}, errors.New("fewer than 200 points: too few to calibrate with")
	}
	var ways []placed
	for _, start := range c.starts(pts) {
		way, err := c.follow(ctx, few, placed{Fit: geom.Fit{Pose: start, Scale: 1}}, 30)
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
		if ways[k], err = c.follow(ctx, pts, ways[k], 20); err != nil {
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

// follow moves the points some rounds toward the planes of the skin nearest to
// them, with a common scale (Y. Chen and G. Medioni, 1992; from memory).
func (c *calibration) follow(ctx context.Context, pts []geom.Vec, f placed, rounds int) (placed, error) {
	here := make([]geom.Vec, len(pts))
	for round := 0; ; round++ {
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
		next, ok := c.pulled(f.Fit, here, hits, away[len(away)*8/10])
		if !ok || round == rounds {
			return f, nil
		}
		if squeezed := next.Scale <= smallest || next.Scale >= largest; squeezed && round > 20 {
			f.left = math.Inf(1) // it fits only where it is of another size
			return f, nil
		}
		f.Fit = next
	}
}

// smallest and largest are what scales a sample is tried at. Common practice, no source.
const smallest, largest = 0.8, 1.25

// tangential is how much a place pulls along the skin, where it may slide, of
// what it pulls toward the skin: it keeps steps short. Chosen by us.
const tangential = 0.03

// pulled returns the similarity that the places nearer than near, mm, to what
// they hit ask for; false where there is none.
func (c *calibration) pulled(f geom.Fit, here []geom.Vec, hits []geom.Hit, near float64) (geom.Fit, bool) {
	var a [7 * 7]float64
	var b [7]float64
	add := func(n, u geom.Vec, off, w float64) { // of shift, turn and stretch about the middle
		turn := u.Cross(n)
		row := [7]float64{n.X, n.Y, n.Z, turn.X / c.size, turn.Y / c.size, turn.Z / c.size, u.Dot(n) / c.size}
		for i, x := range row {
			b[i] += float64(float64(w*x) * off)
			for j, y := range row[:i+1] {
				a[7*i+j] += float64(float64(w*x) * y)
			}
		}
	}
	for i, h := range hits {
		if h.Tri < 0 || h.Dist2 > float64(near*near) {
			continue
		}
		off, u := h.Point.Sub(here[i]), here[i].Sub(c.middle)
		p, q, r := c.relief.forms[0].mesh.Corners(int(h.Tri))
		n := q.Sub(p).Cross(r.Sub(p)).Unit()
		add(n, u, off.Dot(n), 1)
		add(geom.Vec{X: 1}, u, off.X, tangential)
		add(geom.Vec{Y: 1}, u, off.Y, tangential)
		add(geom.Vec{Z: 1}, u, off.Z, tangential)
	}
	if !geom.Cholesky(a[:], 7) {
		return f, false
	}
	geom.CholeskySolve(a[:], 7, b[:])
	rot, scale := geom.SmallTurn(geom.Vec{X: b[3], Y: b[4], Z: b[5]}.Mul(1/c.size)), 1+b[6]/c.size
	if scale = min(max(float64(f.Scale*scale), smallest), largest) / f.Scale; !(scale > 0) {
		return f, false
	}
	next := geom.Fit{Scale: f.Scale * scale}
	next.Rot = rot.Mul(f.Rot)
	next.Move = c.middle.Add(geom.Vec{X: b[0], Y: b[1], Z: b[2]}).Add(rot.Apply(f.Move.Sub(c.middle)).Mul(scale))
	return next, true
}

// sorted puts numbers in rising order.
func sorted(x []float64) []float64 {
	slices.Sort(x)
	return x
}
