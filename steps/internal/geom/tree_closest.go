package geom

import (
	"context"
	"math"
)

// Feature says on what part of a triangle a point lies.
type Feature uint8

// The features of a triangle with corners a, b, c.
const (
	OnFace Feature = iota
	OnEdgeAB
	OnEdgeBC
	OnEdgeCA
	OnCornerA
	OnCornerB
	OnCornerC
)

// Hit is the place of a surface that lies nearest to a point.
type Hit struct {
	Tri     int32   // index in Mesh.Tris; -1 if there is none
	Feature Feature // face, edge or corner
	Point   Vec     // mm
	Dist2   float64 // squared distance, mm²
	V, W    float64 // weights of the second and the third corner; the first has 1-V-W
}

// NoHit is the answer where nothing lies within reach.
var NoHit = Hit{Tri: -1, Dist2: math.Inf(1)}

// Closest returns the nearest place on the surface within maxDist mm of p
// (infinity for no limit), and whether there is one. Of triangles equally near
// the one with the smallest index is named.
func (t *Tree) Closest(p Vec, maxDist float64) (Hit, bool) {
	s := search{tri: -1, best: maxDist * maxDist}
	t.nearest(p, &s)
	return t.hit(p, &s)
}

// search is the best found so far: the squared distance, the triangle and its
// place in the tree.
type search struct {
	best float64
	tri  int32
	at   int32
}

// hit works out the answer for the triangle that was found.
func (t *Tree) hit(p Vec, s *search) (Hit, bool) {
	if s.tri < 0 {
		return NoHit, false
	}
	_, v, w, f := closestOn(p.X, p.Y, p.Z, &t.corners[s.at])
	a, b, c := t.mesh.Corners(int(s.tri))
	at := a.Add(b.Sub(a).Mul(v)).Add(c.Sub(a).Mul(w))
	switch f {
	case OnCornerA:
		at = a
	case OnCornerB:
		at = b
	case OnCornerC:
		at = c
	}
	return Hit{Tri: s.tri, Feature: f, Point: at, Dist2: s.best, V: v, W: w}, true
}

// asked is a point on the grid of a tree: its cell, no farther than two sides
// from the box, and the squared distance in cells by which it lies beyond.
type asked struct {
	x, y, z int64
	beyond  float64
}

func (g *grid) ask(p Vec) asked {
	v := p.Sub(g.min).Mul(g.per)
	var a asked
	for _, c := range [3]struct {
		x  float64
		to *int64
	}{{v.X, &a.x}, {v.Y, &a.y}, {v.Z, &a.z}} {
		in := min(max(c.x, -2*gridSide), 3*gridSide)
		*c.to = int64(math.Floor(in))
		a.beyond += float64((c.x - in) * (c.x - in))
	}
	return a
}

// reach returns the squared distance in cells beyond which a box cannot hold
// anything as near as best, with more than the rounding of this line to spare.
func (g *grid) reach(best float64, a *asked) int64 {
	r := float64(float64(best*g.per)*g.per)*(1+0x1p-40) - float64(a.beyond*(1-0x1p-40))
	if !(r < 1<<62) {
		return math.MaxInt64
	}
	return max(int64(r), 0) + 1
}

// waiting is a part of the tree put aside: a node, or a leaf as in node.kids,
// and the squared distance of its box in cells.
type waiting struct {
	d int64
	n int32
}

// nearest walks the tree, nearest boxes first, and leaves out what is farther
// than the best so far.
func (t *Tree) nearest(p Vec, s *search) {
	if len(t.nodes) == 0 || !p.Finite() {
		return
	}
	a := t.grid.ask(p)
	reach := t.grid.reach(s.best, &a)
	var stack [stackMost]waiting
	top := 0
	cur := int32(0)
	for {
		if cur < 0 {
			if t.nearestInLeaf(p, cur, s) {
				reach = t.grid.reach(s.best, &a)
			}
		} else {
			n := &t.nodes[cur]
			next, nextD := int32(0), reach
			for k, kid := range &n.kids {
				if kid == 0 {
					break
				}
				x := max(int64(n.lo[0][k])-a.x, a.x-int64(n.hi[0][k]), 0)
				y := max(int64(n.lo[1][k])-a.y, a.y-int64(n.hi[1][k]), 0)
				z := max(int64(n.lo[2][k])-a.z, a.z-int64(n.hi[2][k]), 0)
				d := x*x + y*y + z*z
				if d > reach {
					continue
				}
				if kid > 0 {
					kid += cur
				}
				if d <= nextD {
					kid, next = next, kid
					d, nextD = nextD, d
				}
				if kid != 0 {
					stack[top] = waiting{d, kid}
					top++
				}
			}
			if next != 0 {
				cur = next
				continue
			}
		}
		for {
			if top == 0 {
				return
			}
			top--
			if stack[top].d <= reach {
				cur = stack[top].n
				break
			}
		}
	}
}

// nearestInLeaf tries the triangles of a leaf and reports whether one is nearer.
func (t *Tree) nearestInLeaf(p Vec, leaf int32, s *search) bool {
	first := int(^leaf >> 3)
	last := first + int(^leaf&7)
	corners, nearer := t.corners[first:last], false
	for i := range corners {
		d, _, _, _ := closestOn(p.X, p.Y, p.Z, &corners[i])
		if d < s.best || d == s.best && (s.tri < 0 || t.ids[first+i] < s.tri) {
			s.best, s.tri, s.at = d, t.ids[first+i], int32(first+i)
			nearer = true
		}
	}
	return nearer
}

// closestOn returns the squared distance from a point to a triangle, the
// weights of its second and third corner at the nearest place, and on what
// part of it that lies.
//
// C. Ericson, "Real-Time Collision Detection", 2005, 5.1.5 (from memory), with
// the products of the three corners written through those of the first.
func closestOn(px, py, pz float64, t *[9]float32) (d2, v, w float64, f Feature) {
	ax, ay, az := float64(t[0]), float64(t[1]), float64(t[2])
	abx, aby, abz := float64(t[3])-ax, float64(t[4])-ay, float64(t[5])-az
	acx, acy, acz := float64(t[6])-ax, float64(t[7])-ay, float64(t[8])-az
	apx, apy, apz := px-ax, py-ay, pz-az
	bb := float64(abx*abx) + float64(aby*aby) + float64(abz*abz)
	bc := float64(abx*acx) + float64(aby*acy) + float64(abz*acz)
	cc := float64(acx*acx) + float64(acy*acy) + float64(acz*acz)
	d1 := float64(abx*apx) + float64(aby*apy) + float64(abz*apz)
	d2b := float64(acx*apx) + float64(acy*apy) + float64(acz*apz)
	det := float64(bb*cc) - float64(bc*bc)
	vb := float64(cc*d1) - float64(bc*d2b)
	vc := float64(bb*d2b) - float64(bc*d1)
	switch {
	case !(det > 1e-10*bb*cc):
		v, w, f = closestOnSliver(bb, bc, cc, d1, d2b, vb, vc, det)
	case d1 <= 0 && d2b <= 0:
		f = OnCornerA
	case d1 >= bb && d2b-bc <= d1-bb:
		v, f = 1, OnCornerB
	case vc <= 0 && d1 >= 0 && d1 <= bb:
		v, f = d1/bb, OnEdgeAB
	case d2b >= cc && d1-bc <= d2b-cc:
		w, f = 1, OnCornerC
	case vb <= 0 && d2b >= 0 && d2b <= cc:
		w, f = d2b/cc, OnEdgeCA
	case vb+vc >= det && d2b-bc >= d1-bb && d1-bc >= d2b-cc:
		w, f = ((d2b-bc)-(d1-bb))/(bb-2*bc+cc), OnEdgeBC
		v = 1 - w
	default:
		v, w = vb/det, vc/det
	}
	x := apx - float64(v*abx) - float64(w*acx)
	y := apy - float64(v*aby) - float64(w*acy)
	z := apz - float64(v*abz) - float64(w*acz)
	return float64(x*x) + float64(y*y) + float64(z*z), v, w, f
}

// closestOnSliver does for triangles thinner than a hundred-thousandth of
// their length, and for those that are a line or a point: the best of the
// three edges and, where there is a face, of the face.
func closestOnSliver(bb, bc, cc, d1, d2, vb, vc, det float64) (v, w float64, f Feature) {
	// Twice what |ap - v ab - w ac|² differs from |ap|² by.
	gain := func(v, w float64) float64 {
		return float64(v*(float64(v*bb)+2*float64(w*bc)-2*d1)) + float64(w*(float64(w*cc)-2*d2))
	}
	best := math.Inf(1)
	try := func(tv, tw float64, tf Feature) {
		if g := gain(tv, tw); g < best {
			best, v, w, f = g, tv, tw, tf
		}
	}
	try(0, 0, OnCornerA)
	try(1, 0, OnCornerB)
	try(0, 1, OnCornerC)
	if d1 > 0 && d1 < bb {
		try(d1/bb, 0, OnEdgeAB)
	}
	if d2 > 0 && d2 < cc {
		try(0, d2/cc, OnEdgeCA)
	}
	far := bb - 2*bc + cc
	if s := (d2 - bc) - (d1 - bb); s > 0 && s < far {
		try(1-s/far, s/far, OnEdgeBC)
	}
	if det > 0 && vb > 0 && vc > 0 && vb+vc < det {
		try(vb/det, vc/det, OnFace)
	}
	return v, w, f
}

// ClosestAll answers Closest for many points with up to workers goroutines.
// It asks in the order of a space-filling curve, so that neighbours share what
// is in the cache and each answer bounds the next; answers[i] is that of
// points[i], with Tri -1 where nothing lies within maxDist mm.
func (t *Tree) ClosestAll(ctx context.Context, points []Vec, maxDist float64, workers int) (answers []Hit, err error) {
	answers = make([]Hit, len(points))
	if len(t.ids) == 0 {
		for i := range answers {
			answers[i] = NoHit
		}
		return answers, nil
	}
	order := askOrder(points, t.bounds, workers)
	err = inBatches(ctx, len(points), workers, func(from, to int) {
		last := int32(-1)
		for _, i := range order[from:to] {
			p := points[i]
			s := search{tri: -1, best: maxDist * maxDist}
			if last >= 0 {
				if d, _, _, _ := closestOn(p.X, p.Y, p.Z, &t.corners[last]); d <= s.best {
					s.best, s.tri, s.at = d, t.ids[last], last
				}
			}
			t.nearest(p, &s)
			answers[i], _ = t.hit(p, &s)
			if s.tri >= 0 {
				last = s.at
			}
		}
	})
	if err != nil {
		return nil, err
	}
	return answers, nil
}
