package likeness

import (
	"context"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// most of the surface's vertices that the drift is found with: a fit of seven
// numbers needs no more, and the answer must not take longer than the map.
const samples = 40000

// rounds is how often partners are sought again; drifts of some millimetres on
// a part of 60 to 120 mm settle in about fifteen.
const rounds = 40

// drift returns the similarity that brings the reference nearest to the
// surface, and how firmly the shape fixes it: the least of the seven
// directions' weights as a share of the greatest, 0 to 1.
func (c *comparison) drift(ctx context.Context) (geom.Fit, float64, error) {
	pts := c.sampled()
	f := geom.Fit{Pose: geom.NoMove, Scale: 1}
	firm := 0.0
	size := c.tree.Bounds().Size().Len() / 2
	for range rounds {
		here := make([]geom.Vec, len(pts))
		for i, p := range pts {
			here[i] = undo(f, p)
		}
		hits, err := c.tree.ClosestAll(ctx, here, c.reach, c.job.Workers)
		if err != nil {
			return f, 0, err
		}
		m, ok := c.normalEquations(here, hits, size)
		if !ok {
			return f, 0, nil
		}
		x, least := solveFirm(m)
		firm = least
		moved := c.update(&f, x, size)
		if moved < 1e-7*size {
			break
		}
	}
	return f, firm, nil
}

// sampled returns every so manieth vertex along a space-filling curve.
func (c *comparison) sampled() []geom.Vec {
	if len(c.points) <= samples {
		return c.points
	}
	order := geom.CurveOrder(c.surface.Verts, c.job.Workers)
	pts := make([]geom.Vec, samples)
	for i := range pts {
		pts[i] = c.points[order[i*len(order)/samples]]
	}
	return pts
}

// seven holds the normal equations of a small turn, a shift and a growth, all
// in mm at the distance size from the middle.
type seven struct {
	a [7][7]float64
	b [7]float64
}

// normalEquations sums n·(here + step - partner) = 0 over the samples, with
// Tukey's biweight scaled by the median distance; false if too few have a
// partner.
func (c *comparison) normalEquations(here []geom.Vec, hits []geom.Hit, size float64) (seven, bool) {
	var left []float64
	for i, h := range hits {
		if c.partner(h) {
			left = append(left, math.Abs(here[i].Sub(h.Point).Dot(c.normalAt(h))))
		}
	}
	if len(left) < 20 {
		return seven{}, false
	}
	slices.Sort(left)
	sigma := max(1.4826*left[len(left)/2], 1e-6) // 1.4826 makes the median of a normal spread its sigma
	cut := 4.685 * sigma
	middle := c.tree.Bounds().Centre()
	var s seven
	for i, h := range hits {
		if !c.partner(h) {
			continue
		}
		n := c.normalAt(h)
		r := here[i].Sub(h.Point).Dot(n)
		u := r / cut
		if u*u >= 1 {
			continue
		}
		w := 1 - float64(u*u)
		arm := here[i].Sub(middle).Mul(1 / size)
		turn := arm.Cross(n)
		s.add([7]float64{turn.X, turn.Y, turn.Z, n.X, n.Y, n.Z, arm.Dot(n)}, -r, float64(w*w))
	}
	return s, true
}

func (s *seven) add(row [7]float64, rhs, w float64) {
	for i, x := range row {
		wx := float64(w * x)
		for j := range row {
			s.a[i][j] += float64(wx * row[j])
		}
		s.b[i] += float64(wx * rhs)
	}
}

// update applies a step to f and returns its size in mm. The step moves the
// surface towards the reference, so the drift takes its inverse.
func (c *comparison) update(f *geom.Fit, x [7]float64, size float64) float64 {
	middle := c.tree.Bounds().Centre()
	turn := geom.SmallTurn(geom.Vec{X: x[0] / size, Y: x[1] / size, Z: x[2] / size})
	grow := 1 + x[6]/size
	shift := geom.Vec{X: x[3], Y: x[4], Z: x[5]}
	// here -> grow turn (here - middle) + middle + shift; its inverse goes in front of f.
	inv := geom.Fit{Scale: 1 / grow}
	inv.Rot = turn.Transposed()
	inv.Move = middle.Sub(inv.Rot.Apply(middle.Add(shift)).Mul(inv.Scale))
	f.Move = f.Apply(inv.Move)
	f.Rot = f.Rot.Mul(inv.Rot)
	f.Scale *= inv.Scale
	moved := 0.0
	for _, v := range x {
		moved += math.Abs(v)
	}
	return moved
}
