package geom

import "math"

// Within calls f for every triangle no farther than radius mm from p, with its
// squared distance, until f returns false. The order is that of the tree.
func (t *Tree) Within(p Vec, radius float64, f func(tri int32, dist2 float64) bool) {
	most := radius * radius
	t.visit(Box{Vec{p.X - radius, p.Y - radius, p.Z - radius}, Vec{p.X + radius, p.Y + radius, p.Z + radius}}, func(at int) bool {
		d, _, _, _ := closestOn(p.X, p.Y, p.Z, &t.corners[at])
		return d > most || f(t.ids[at], d)
	})
}

// InBox calls f for every triangle whose own box meets b, until f returns
// false. The order is that of the tree.
func (t *Tree) InBox(b Box, f func(tri int32) bool) {
	t.visit(b, func(at int) bool {
		c := &t.corners[at]
		lo := Vec{float64(min(c[0], c[3], c[6])), float64(min(c[1], c[4], c[7])), float64(min(c[2], c[5], c[8]))}
		hi := Vec{float64(max(c[0], c[3], c[6])), float64(max(c[1], c[4], c[7])), float64(max(c[2], c[5], c[8]))}
		apart := lo.X > b.Max.X || lo.Y > b.Max.Y || lo.Z > b.Max.Z ||
			hi.X < b.Min.X || hi.Y < b.Min.Y || hi.Z < b.Min.Z
		return apart || f(t.ids[at])
	})
}

// visit calls f for the places in the tree of all triangles in leaves that
// meet b, until f returns false.
func (t *Tree) visit(b Box, f func(at int) bool) {
	if len(t.nodes) == 0 {
		return
	}
	c, h := b.Centre(), b.Size().Mul(0.5)
	// A little more than half, for the rounding of the two lines above.
	grow := float64(max(math.Abs(c.X), math.Abs(c.Y), math.Abs(c.Z), h.X, h.Y, h.Z) * 0x1p-50)
	h = Vec{h.X + grow, h.Y + grow, h.Z + grow}
	var stack [stackMost]int32
	top := 1 // stack[0] is the root, 0
	for top > 0 {
		top--
		cur := stack[top]
		if cur < 0 {
			first := int(^cur >> 3)
			for at := first; at < first+int(^cur&7); at++ {
				if !f(at) {
					return
				}
			}
			continue
		}
		n := &t.nodes[cur]
		for k := 3; k >= 0; k-- {
			kid := n.kids[k]
			if kid == 0 ||
				math.Abs(float64(n.c[0][k])-c.X) > float64(n.h[0][k])+h.X ||
				math.Abs(float64(n.c[1][k])-c.Y) > float64(n.h[1][k])+h.Y ||
				math.Abs(float64(n.c[2][k])-c.Z) > float64(n.h[2][k])+h.Z {
				continue
			}
			if kid > 0 {
				kid += cur
			}
			stack[top] = kid
			top++
		}
	}
}
