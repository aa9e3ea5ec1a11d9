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
// mm in diameter; two million triangles take about a second a side on two cores.
// tree holds the places.
//
// rough is the height of bumps, mm, that are no second touch: a place that
// faces within 60 degrees of the first and rises less than rough above it is
// the same skin. The radius is that of the ball that touches the plane of the
// second place, which takes out most of what the spacing of places adds.
//
// Where balls are wide against the spacing, they are found at every so many
// places only, against those, and carried to the places between; where any of
// these is under nearWidth, or the skin turns, every place is looked at.
func (s *Skin) Balls(ctx context.Context, tree *PointTree, side Side, widest, rough float64, workers int) ([]Ball, error) {
	b := &baller{tree: tree, out: make([]Point, len(s.At)), rough: rough, widest: min(widest, nearWidth) / 2, reach: s.Edge, enter: 1e-3}
	for i, id := range tree.ids {
		d := s.Out[id]
		b.out[i] = Point{float32(side) * d[0], float32(side) * d[1], float32(side) * d[2]}
	}
	var far *sparse
	if widest > nearWidth {
		stride := int(min(64, float64(sparseEdge*sparseEdge)/float64(s.Edge*s.Edge)))
		if stride < 2 {
			b.widest, b.enter = widest/2, 1e-2
		} else {
			b.reach = 2 * sparseEdge
			var err error
			if far, err = b.sparse(ctx, stride, widest, workers); err != nil {
				return nil, err
			}
		}
	}
	balls := make([]Ball, len(s.At))
	Chunks(len(balls), workers, func(lo, hi int) {
		if ctx.Err() != nil {
			return
		}
		last := int32(-1)
		for i := lo; i < hi; i++ {
			p, n := b.tree.pts[i].Vec(), b.out[i].Vec()
			var ball Ball
			if far != nil && far.wide(i) {
				ball = far.carry(i)
			} else {
				ball, last = b.grow(p, n, last)
				if ball.Touch < 0 && far != nil {
					ball = far.grow(p, n)
				}
			}
			if ball.Touch >= 0 {
				ball.Touch = tree.ids[ball.Touch]
			}
			balls[tree.ids[i]] = ball
		}
	})
	return balls, context.Cause(ctx)
}

// nearWidth is the diameter, mm, up to which every place is looked at;
// sparseEdge is about how far apart the others' representatives are.
const (
	nearWidth  = 4.0
	sparseEdge = 0.6
)

// sparse is one place of every stride along the curve, with the balls that
// these have against one another.
type sparse struct {
	all    *baller
	few    *baller
	stride int
	ids    []int32 // place in all's order of each in few's
	balls  []Ball  // in all's order, a stride apart; Touch in all's order
}

func (b *baller) sparse(ctx context.Context, stride int, widest float64, workers int) (*sparse, error) {
	n := (len(b.out) + stride - 1) / stride
	s := &sparse{all: b, stride: stride, ids: make([]int32, n), balls: make([]Ball, n)}
	at := make([]Point, n)
	for k := range n {
		at[k] = b.tree.pts[s.rep(k)]
	}
	tree, err := NewPointTree(ctx, at, workers)
	if err != nil {
		return nil, err
	}
	s.few = &baller{tree: tree, out: make([]Point, n), rough: b.rough, widest: widest / 2, reach: sparseEdge, enter: 1e-2}
	for i, k := range tree.ids {
		s.ids[i] = int32(s.rep(int(k)))
		s.few.out[i] = b.out[s.ids[i]]
	}
	Chunks(n, workers, func(lo, hi int) {
		if ctx.Err() != nil {
			return
		}
		last := int32(-1)
		for i := lo; i < hi; i++ {
			var ball Ball
			ball, last = s.few.grow(tree.pts[i].Vec(), s.few.out[i].Vec(), last)
			s.balls[tree.ids[i]] = s.named(ball)
		}
	})
	return s, context.Cause(ctx)
}

// rep is the place that stands for the k-th stride of places.
func (s *sparse) rep(k int) int { return min(k*s.stride+s.stride/2, len(s.all.out)-1) }

func (s *sparse) named(b Ball) Ball {
	if b.Touch >= 0 {
		b.Touch = s.ids[b.Touch]
	}
	return b
}

// wide reports whether the balls round place i are all wide and the skin there
// does not turn by more than 30 degrees.
func (s *sparse) wide(i int) bool {
	k := i / s.stride
	for j := max(0, k-1); j <= min(k+1, len(s.balls)-1); j++ {
		if s.balls[j].Radius <= nearWidth/2 {
			return false
		}
	}
	return s.all.out[i].Vec().Dot(s.all.out[s.rep(k)].Vec()) > 0.866
}

// carry gives place i the ball that touches where its representative's does.
func (s *sparse) carry(i int) Ball {
	ball := s.balls[i/s.stride]
	if ball.Touch < 0 {
		return ball
	}
	p, n := s.all.tree.pts[i].Vec(), s.all.out[i].Vec()
	q, nq := s.all.tree.pts[ball.Touch].Vec(), s.all.out[ball.Touch].Vec()
	r := min(s.all.flat(p, n, q, nq, float64(ball.Radius)), s.few.widest)
	return Ball{float32(r), ball.Touch, float32(n.Dot(nq))}
}

// grow finds the ball at any place against the few.
func (s *sparse) grow(p, n Vec) Ball {
	ball, _ := s.few.grow(p, n, -1)
	return s.named(ball)
}

type baller struct {
	tree   *PointTree
	out    []Point // directions to the side looked at, in the tree's order
	rough  float64
	widest float64 // radius
	reach  float64 // how far places stand for the plane they lie in
	// enter is the share of the square of its radius by which a ball may enter
	// the skin, about half as much of the radius. In a round limb, which a ball
	// touches all round, it saves shrinking by rounding errors forty times.
	enter float64
}

// grow finds the ball at p in direction n. guess is where the ball before
// touched, or -1: most often this one touches near it. Touch is in the tree's
// order.
func (b *baller) grow(p, n Vec, guess int32) (Ball, int32) {
	r, touch := b.widest, int32(-1)
	if guess >= 0 && !b.skin(p, n, guess) {
		if rg := b.through(p, n, guess); rg < r {
			r, touch = rg, guess
		}
	}
	for range 40 {
		in := b.inside(p.Add(n.Mul(r)), p, n, float64(r*r)*(1-b.enter))
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
	q, towards := b.tree.pts[touch].Vec(), p.Add(n.Mul(r)).Sub(b.tree.pts[touch].Vec())
	touch = b.side(touch, towards)
	nq := b.out[touch].Vec()
	return Ball{float32(b.flat(p, n, q, nq, r)), touch, float32(n.Dot(nq))}, touch
}

// flat returns the radius of the ball that touches p and the plane of place q,
// if it touches that plane within reach of q; else r.
func (b *baller) flat(p, n, q, nq Vec, r float64) float64 {
	turn := n.Dot(nq)
	if turn > -0.3 {
		return r
	}
	f := p.Sub(q).Dot(nq) / (1 - turn)
	foot := p.Add(n.Mul(f)).Sub(nq.Mul(f))
	if f > 0 && foot.Sub(q).Len2() <= float64(b.reach*b.reach) {
		return f
	}
	return r
}

// side returns, of the places at the position of place q, the one whose
// direction is most towards d: on a sharp edge, the side that the ball touches.
func (b *baller) side(q int32, d Vec) int32 {
	best := q
	for _, step := range [2]int32{-1, 1} {
		for i := q + step; i >= 0 && int(i) < len(b.out) && b.tree.pts[i] == b.tree.pts[q]; i += step {
			if b.out[i].Vec().Dot(d) > b.out[best].Vec().Dot(d) {
				best = i
			}
		}
	}
	return best
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
