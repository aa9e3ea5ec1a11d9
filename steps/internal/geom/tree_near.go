package geom

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
	lo, hi := t.grid.cells(b)
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
				n.lo[0][k] > hi[0] || n.lo[1][k] > hi[1] || n.lo[2][k] > hi[2] ||
				n.hi[0][k] < lo[0] || n.hi[1][k] < lo[1] || n.hi[2][k] < lo[2] {
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

// cells returns the least and greatest cells of a box; boxes in the tree are
// wide enough for the rounding.
func (g *grid) cells(b Box) (lo, hi [3]int32) {
	of := func(x float64) int32 { return int32(min(max(x, -2), gridSide+4)) }
	l, h := b.Min.Sub(g.min).Mul(g.per), b.Max.Sub(g.min).Mul(g.per)
	return [3]int32{of(l.X), of(l.Y), of(l.Z)}, [3]int32{of(h.X), of(h.Y), of(h.Z)}
}
