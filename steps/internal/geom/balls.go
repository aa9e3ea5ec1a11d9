package geom

import (
	"context"
	"math"
)

// This file finds touching balls. At a place on the skin the ball grows along
// the skin's direction, always touching there, until it touches the skin a
// second time. Outside the solid its diameter is the gap to the facing skin, or
// twice the radius of an inside corner; inside the solid it is the thickness,
// or twice the radius of an outside corner.
//
// Based on: J. Ma, S. W. Bae, S. Choi, "3D medial axis point approximation
// using nearest neighbors and the normal field", The Visual Computer 28, 2012
// (from memory): begin with a ball that is large enough, and while a point lies
// in it shrink it until it touches the one nearest its centre.

// Side is the side of the skin on which balls are looked for.
type Side int

// The two sides.
const (
	Air   Side = 1
	Solid Side = -1
)

// Ball is the largest ball that touches the skin at a place and enters nothing.
type Ball struct {
	Radius float32 // mm
	// Touch is the second place it touches, -1 if it may be as large as asked.
	Touch int32
	// Turn is the product of the directions at its two places: -1 where two
	// skins face one another squarely, 1 where they face the same way.
	Turn float32
}

// Free reports whether the ball touches nothing else up to the size asked for.
func (b Ball) Free() bool { return b.Touch < 0 }

// Balls returns the touching ball at every place of s on one side, up to widest
// mm in diameter; it costs about 2 µs a place and side on one core.
//
// rough is the height of bumps, mm, that are no second touch: a place that
// faces within 60 degrees of the first and rises less than rough above it is
// the same skin. The radius is that of the ball that touches the plane of the
// second place, which takes out most of what the spacing of places adds.
func (s *Skin) Balls(ctx context.Context, tree *PointTree, side Side, widest, rough float64, workers int) ([]Ball, error) {
	b := &baller{tree: tree, out: make([]Point, len(s.At)), rough: rough, widest: widest / 2}
	for i, id := range tree.ids {
		d := s.Out[id]
		b.out[i] = Point{float32(side) * d[0], float32(side) * d[1], float32(side) * d[2]}
	}
	balls := make([]Ball, len(s.At))
	Chunks(len(balls), workers, func(lo, hi int) {
		if ctx.Err() != nil {
			return
		}
		last := int32(-1)
		for i := lo; i < hi; i++ {
			var ball Ball
			ball, last = b.grow(int32(i), last)
			balls[tree.ids[i]] = ball
		}
	})
	return balls, context.Cause(ctx)
}

type baller struct {
	tree   *PointTree
	out    []Point // directions to the side looked at, in the tree's order
	rough  float64
	widest float64 // radius
}

// grow finds the ball at place i of the tree's order. guess is where the ball
// before touched, or -1: most often this one touches near it.
func (b *baller) grow(i, guess int32) (Ball, int32) {
	p, n := b.tree.pts[i].Vec(), b.out[i].Vec()
	r, touch := b.widest, int32(-1)
	if guess >= 0 && !b.skin(p, n, guess) {
		if rg := b.through(p, n, guess); rg < r {
			r, touch = rg, guess
		}
	}
	for range 40 {
		in := b.inside(p.Add(n.Mul(r)), p, n, float64(r*r)*(1-1e-6))
		if in < 0 {
			break
		}
		smaller := b.through(p, n, in)
		touch = in
		if !(smaller < r) {
			break
		}
		r = smaller
		if r < 1e-6 {
			break
		}
	}
	if touch < 0 {
		return Ball{float32(r), -1, 1}, guess
	}
	q, nq := b.tree.pts[touch].Vec(), b.out[touch].Vec()
	turn := n.Dot(nq)
	if flat := p.Sub(q).Dot(nq) / (1 - turn); turn < 0 && flat > r/2 && flat < r {
		r = flat
	}
	return Ball{float32(r), b.tree.ids[touch], float32(turn)}, touch
}

// through returns the radius of the ball that touches p and place q; infinite
// if q is not ahead of p.
func (b *baller) through(p, n Vec, q int32) float64 {
	d := b.tree.pts[q].Vec().Sub(p)
	h := d.Dot(n)
	if h <= 0 {
		return math.Inf(1)
	}
	return d.Len2() / (2 * h)
}

// skin reports whether place q is the same skin as p, bumps apart.
func (b *baller) skin(p, n Vec, q int32) bool {
	return b.tree.pts[q].Vec().Sub(p).Dot(n) < b.rough && b.out[q].Vec().Dot(n) > 0.5
}

// inside returns the place nearest to c, nearer than sqrt(r2) and not of p's
// own skin, or -1.
func (b *baller) inside(c, p, n Vec, r2 float64) int32 {
	t := b.tree
	best := int32(-1)
	var stack [64]Near
	depth := 0
	node, d := 1, t.boxes[1].dist2(c)
	for {
		for node < t.leaves && d < r2 {
			l, r := 2*node, 2*node+1
			dl, dr := t.boxes[l].dist2(c), t.boxes[r].dist2(c)
			if dr < dl {
				l, r, dl, dr = r, l, dr, dl
			}
			if dr < r2 {
				stack[depth] = Near{int32(r), dr}
				depth++
			}
			node, d = l, dl
		}
		if d < r2 {
			lo, hi := t.first(node-t.leaves), t.first(node-t.leaves+1)
			for i, x := range t.pts[lo:hi] {
				dx, dy, dz := float64(x[0])-c.X, float64(x[1])-c.Y, float64(x[2])-c.Z
				if d2 := float64(dx*dx) + float64(dy*dy) + float64(dz*dz); d2 < r2 && !b.skin(p, n, int32(lo+i)) {
					best, r2 = int32(lo+i), d2
				}
			}
		}
		if depth == 0 {
			return best
		}
		depth--
		node, d = int(stack[depth].ID), stack[depth].Dist2
	}
}
