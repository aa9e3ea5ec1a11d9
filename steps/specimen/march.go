package specimen

import "layette/steps/internal/geom"

// kuhn lists the six tetrahedra of a cube as corners (bit 0: i, bit 1: j, bit
// 2: k), each turned so that (b-a)·((c-a)×(d-a)) is positive through the
// lattice's map, which itself turns the cube inside out.
var kuhn = [6][4]int{
	{0, 1, 7, 3}, {0, 1, 5, 7}, {0, 2, 3, 7}, {0, 2, 7, 6}, {0, 4, 7, 5}, {0, 4, 6, 7},
}

// march returns the triangles of a leaf's cells.
func march(lf *leaf, index map[[3]int32]*leaf, capped bool) []geom.Tri {
	c := &cells{lf: lf}
	for d := range 8 {
		c.near[d] = index[[3]int32{
			lf.at[0] + leafSide*int32(d&1), lf.at[1] + leafSide*int32(d>>1&1), lf.at[2] + leafSide*int32(d>>2&1),
		}]
	}
	for i := range leafSide {
		for j := range leafSide {
			for k := range leafSide {
				c.cell(i, j, k)
				if capped && i == 0 && lf.at[0] == 0 {
					c.cap(j, k, 0, 2, 6)
					c.cap(j, k, 0, 6, 4)
				}
			}
		}
	}
	return c.tris
}

// cells walks the cells of one leaf.
type cells struct {
	lf   *leaf
	near [8]*leaf // the leaf and those after it in i, j, k
	at   [3]int
	in   [8]bool
	tris []geom.Tri
}

func (c *cells) cell(i, j, k int) {
	c.at = [3]int{i, j, k}
	n := 0
	for v := range 8 {
		c.in[v] = c.lf.inside[corner(i+v&1, j+v>>1&1, k+v>>2&1)]
		if c.in[v] {
			n++
		}
	}
	if n == 0 || n == 8 {
		return
	}
	for _, t := range kuhn {
		c.tetrahedron(t)
	}
}

// tetrahedron cuts one tetrahedron: a triangle round a lone corner, or two
// across the middle.
func (c *cells) tetrahedron(t [4]int) {
	mask := 0
	for n, v := range t {
		if c.in[v] {
			mask |= 1 << n
		}
	}
	// lone[m]: the corner on its own side, then the rest in positive order.
	switch mask {
	case 1, 14:
		c.lone(t, mask == 14)
	case 2, 13:
		c.lone([4]int{t[1], t[0], t[3], t[2]}, mask == 13)
	case 4, 11:
		c.lone([4]int{t[2], t[0], t[1], t[3]}, mask == 11)
	case 8, 7:
		c.lone([4]int{t[3], t[0], t[2], t[1]}, mask == 7)
	case 3:
		c.slice(t[0], t[1], t[2], t[3])
	case 5:
		c.slice(t[0], t[2], t[3], t[1])
	case 9:
		c.slice(t[0], t[3], t[1], t[2])
	case 6:
		c.slice(t[1], t[2], t[0], t[3])
	case 10:
		c.slice(t[3], t[1], t[0], t[2])
	case 12:
		c.slice(t[2], t[3], t[0], t[1])
	}
}

func (c *cells) lone(t [4]int, outside bool) {
	a, b, d := c.crossing(t[0], t[1]), c.crossing(t[0], t[2]), c.crossing(t[0], t[3])
	if outside {
		b, d = d, b
	}
	c.tris = append(c.tris, geom.Tri{a, b, d})
}

// slice cuts between a, b inside and c, d outside, (a, b, c, d) positive,
// along the diagonal that starts at the lower number.
func (c *cells) slice(a, b, x, y int) {
	p, q, r, s := c.crossing(a, x), c.crossing(a, y), c.crossing(b, y), c.crossing(b, x)
	if min(p, r) < min(q, s) {
		c.tris = append(c.tris, geom.Tri{p, q, r}, geom.Tri{p, r, s})
	} else {
		c.tris = append(c.tris, geom.Tri{p, q, s}, geom.Tri{q, r, s})
	}
}

// crossing returns the vertex on the edge between two corners of the cell.
func (c *cells) crossing(v, w int) int32 {
	v, w = min(v, w), max(v, w) // on Kuhn's paths v's bits are among w's
	return c.number(v, w^v)
}

// number returns the vertex that belongs to corner v of the cell, bit d.
func (c *cells) number(v, d int) int32 {
	i, j, k := c.at[0]+v&1, c.at[1]+v>>1&1, c.at[2]+v>>2&1
	lf := c.near[i/leafSide|j/leafSide<<1|k/leafSide<<2]
	return lf.vertex(own(i%leafSide, j%leafSide, k%leafSide), d)
}

// cap closes the part of one face in the plane of the cut that lies inside.
func (c *cells) cap(j, k int, face ...int) {
	c.at = [3]int{0, j, k}
	in := func(v int) bool { return c.lf.inside[corner(0, j+v>>1&1, k+v>>2&1)] }
	var poly [4]int32
	n := 0
	for e, v := range face {
		w := face[(e+1)%3]
		if in(v) {
			poly[n] = c.number(v, 0)
			n++
		}
		if in(v) != in(w) {
			poly[n] = c.crossing(v, w)
			n++
		}
	}
	for e := 2; e < n; e++ {
		c.tris = append(c.tris, geom.Tri{poly[0], poly[e-1], poly[e]})
	}
}
