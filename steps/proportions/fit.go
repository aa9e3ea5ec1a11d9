package proportions

import (
	"context"
	"math"

	"layette/steps/internal/geom"
)

const (
	samples = 1500 // places compared
	rounds  = 25   // of pairing and fitting, at most
	rolls   = 8    // turns about the axis that are tried first
	rough   = 4    // of so many places one is compared while turns are tried
)

// settled is the change of scale in a round below which a fit is settled: a
// hundredth of the resolution that scales are told with.
const settled = 1e-6

// lay fits the limb of left, without hand or foot where that is known, on
// right: openings laid on one another, some turns tried, the best settled.
func lay(ctx context.Context, left, right *part, tree *geom.Tree, mirror bool) (fitted, geom.Fit, error) {
	pts, up, foot := left.Skin, left.Up, left.Foot
	if mirror {
		pts = mirrored(left.Trunk)
		up.X, foot.X = -up.X, -foot.X
	}
	from, into := frameOf(up), frameOf(right.Up)
	var few []geom.Vec
	for i := 0; i < len(pts); i += rough {
		few = append(few, pts[i])
	}
	best, bestFit := fitted{RMS: math.Inf(1)}, geom.Fit{}
	turn, step := geom.Identity, geom.SmallTurn(geom.Vec{Z: 2 * math.Tan(math.Pi/rolls)})
	for range rolls {
		rot := into.Transposed().Mul(turn).Mul(from)
		start := geom.Fit{Pose: geom.Pose{Rot: rot, Move: right.Foot.Sub(rot.Apply(foot))}, Scale: 1}
		f, fit, err := pair(ctx, few, tree, start, 8, false)
		if err != nil {
			return best, bestFit, err
		}
		if f.RMS < best.RMS {
			best, bestFit = f, fit
		}
		turn = step.Mul(turn)
	}
	best, bestFit, err := pair(ctx, pts, tree, bestFit, rounds, true)
	return best, bestFit, err
}

// frameOf returns a rotation that brings n to z.
func frameOf(n geom.Vec) geom.Mat {
	u := geom.Vec{X: 1}
	if math.Abs(n.X) > 0.7 {
		u = geom.Vec{Y: 1}
	}
	u = n.Cross(u).Unit()
	w := n.Cross(u)
	return geom.Mat{{u.X, u.Y, u.Z}, {w.X, w.Y, w.Z}, {n.X, n.Y, n.Z}}
}

// settle fits some places from a start on.
func settle(ctx context.Context, pts []geom.Vec, tree *geom.Tree, start geom.Fit, scale bool) (fitted, error) {
	f, _, err := pair(ctx, pts, tree, start, rounds, scale)
	return f, err
}

// pair brings places onto a surface: the best small motion, and scale, that
// takes the nearer nine tenths of them onto the planes of the skin nearest to
// them, and again. Y. Chen and G. Medioni, "Object modelling by registration of
// multiple range images", 1992 (from memory).
func pair(ctx context.Context, pts []geom.Vec, tree *geom.Tree, fit geom.Fit, n int, scale bool) (fitted, geom.Fit, error) {
	if len(pts) < 20 {
		return fitted{Scale: math.NaN(), RMS: math.Inf(1)}, fit, nil
	}
	at, hits, far := make([]geom.Vec, len(pts)), make([]geom.Hit, len(pts)), make([]float64, len(pts))
	for round := 0; ; round++ {
		if ctx.Err() != nil {
			return fitted{}, fit, context.Cause(ctx)
		}
		for i, p := range pts {
			at[i] = fit.Apply(p)
			hits[i], _ = tree.Closest(at[i], math.Inf(1))
			far[i] = hits[i].Dist2
		}
		limit := share(far, 0.9)
		sum, count := 0.0, 0.0
		for _, d := range far {
			if d <= limit {
				sum, count = sum+d, count+1
			}
		}
		if round == n {
			return fitted{Scale: 1 / fit.Scale, RMS: math.Sqrt(sum / count)}, fit, nil
		}
		next, ok := nudge(tree.Mesh(), at, hits, limit, fit, scale)
		if !ok {
			return fitted{Scale: 1 / fit.Scale, RMS: math.Sqrt(sum / count)}, fit, nil
		}
		if scale && math.Abs(next.Scale-fit.Scale) < settled && round > 3 {
			n = round + 1
		}
		fit = next
	}
}

// nudge returns fit followed by the small turn, move and growth about the
// middle of the places that leave the least squared distances to the planes.
func nudge(m *geom.Mesh, at []geom.Vec, hits []geom.Hit, limit float64, fit geom.Fit, scale bool) (geom.Fit, bool) {
	var mid geom.Vec
	for _, p := range at {
		mid = mid.Add(p.Mul(1 / float64(len(at))))
	}
	var eq [7][8]float64
	for i, p := range at {
		if hits[i].Dist2 > limit {
			continue
		}
		a, b, c := m.Corners(int(hits[i].Tri))
		normal := b.Sub(a).Cross(c.Sub(a)).Unit()
		q := p.Sub(mid)
		turn := q.Cross(normal)
		row := [8]float64{turn.X, turn.Y, turn.Z, normal.X, normal.Y, normal.Z, 0, hits[i].Point.Sub(p).Dot(normal)}
		if scale {
			row[6] = q.Dot(normal)
		}
		for j := range 7 {
			for k := range 8 {
				eq[j][k] += float64(row[j] * row[k])
			}
		}
	}
	for j := range 7 { // a round limb may turn freely: hold it where it is
		eq[j][j] += 1e-6*eq[j][j] + 1e-9
	}
	x, ok := solve(eq)
	if !ok {
		return fit, false
	}
	rot := geom.SmallTurn(geom.Vec{X: x[0], Y: x[1], Z: x[2]})
	grow := 1 + min(max(x[6], -0.1), 0.1)
	out := geom.Fit{Scale: fit.Scale * grow}
	out.Rot = rot.Mul(fit.Rot)
	out.Move = rot.Apply(fit.Move.Sub(mid)).Mul(grow).Add(mid).Add(geom.Vec{X: x[3], Y: x[4], Z: x[5]})
	return out, out.Scale > 0.2 && out.Scale < 5
}

// solve solves seven equations by elimination, the largest coefficient first.
func solve(eq [7][8]float64) (x [7]float64, ok bool) {
	for j := range 7 {
		top := j
		for k := j + 1; k < 7; k++ {
			if math.Abs(eq[k][j]) > math.Abs(eq[top][j]) {
				top = k
			}
		}
		if !(math.Abs(eq[top][j]) > 0) {
			return x, false
		}
		eq[j], eq[top] = eq[top], eq[j]
		for k := j + 1; k < 7; k++ {
			f := eq[k][j] / eq[j][j]
			for i := j; i < 8; i++ {
				eq[k][i] -= float64(f * eq[j][i])
			}
		}
	}
	for j := 6; j >= 0; j-- {
		x[j] = eq[j][7]
		for k := j + 1; k < 7; k++ {
			x[j] -= float64(eq[j][k] * x[k])
		}
		x[j] /= eq[j][j]
	}
	return x, true
}
