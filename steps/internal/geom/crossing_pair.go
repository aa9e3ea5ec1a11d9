package geom

import "math"

// triangle is three corners whose coordinates are float32 numbers.
type triangle [3]corner

func triangleOf(c *[9]float32) triangle {
	return triangle{
		{float64(c[0]), float64(c[1]), float64(c[2])},
		{float64(c[3]), float64(c[4]), float64(c[5])},
		{float64(c[6]), float64(c[7]), float64(c[8])},
	}
}

// crosses reports whether two triangles have a point in common that belongs to
// no corner or edge they share; corners at equal places are shared. Triangles
// without area, and two with the same three corners, do not cross: they are
// faults of another kind. Exact.
func crosses(s, t *[9]float32) bool {
	shared, si, ti := common(s, t)
	p, q := triangleOf(s), triangleOf(t)
	switch shared {
	case 0:
		return !parted(&p, &q) && !thin(&p) && !thin(&q) && overlap(&p, &q)
	case 1:
		p, q = p.from(si[0]), q.from(ti[0])
		return !partedAt(&p, &q) && !thin(&p) && !thin(&q) &&
			(segmentMeets(p[1], p[2], &q) || segmentMeets(q[1], q[2], &p))
	case 2:
		p, q = p.from(3-si[0]-si[1]), q.from(3-ti[0]-ti[1])
		return side3(p[0], p[1], p[2], q[0]) == 0 && !thin(&p) && !thin(&q) && sameSide(&p, &q)
	}
	return false
}

// from returns the same triangle with corner k first.
func (t triangle) from(k int) triangle { return triangle{t[k], t[(k+1)%3], t[(k+2)%3]} }

// common counts the corners at equal places and says which they are. A corner
// is paired once.
func common(s, t *[9]float32) (n int, si, ti [3]int) {
	taken := -1
	for i := range 3 {
		for k := range 3 {
			if s[3*i] == t[3*k] && s[3*i+1] == t[3*k+1] && s[3*i+2] == t[3*k+2] && taken>>k&1 == 1 {
				si[n], ti[n] = i, k
				taken &^= 1 << k
				n++
				break
			}
		}
	}
	return n, si, ti
}

// thin reports whether the triangle has no area: its three shadows on the
// coordinate planes are lines.
func thin(t *triangle) bool {
	a, b, c := &t[0], &t[1], &t[2]
	return side2(a.X, a.Y, b.X, b.Y, c.X, c.Y) == 0 &&
		side2(a.Y, a.Z, b.Y, b.Z, c.Y, c.Z) == 0 &&
		side2(a.Z, a.X, b.Z, b.X, c.Z, c.X) == 0
}

// parted reports that the plane halfway between the triangles' middles has one
// on either side, more clearly than rounding could feign; false is no answer.
func parted(p, q *triangle) bool {
	m := q[0].Add(q[1]).Add(q[2]).Sub(p[0]).Sub(p[1]).Sub(p[2])
	o := p[0]
	most, err := 0.0, 0.0
	for k := 1; k < 3; k++ {
		d, e := along(m, p[k].Sub(o))
		most, err = max(most, d), max(err, e)
	}
	for k := range 3 {
		d, e := along(m, q[k].Sub(o))
		if !(d-e > most+err) {
			return false
		}
	}
	return true
}

// partedAt is parted for triangles whose first corner is the same: a plane
// through it.
func partedAt(p, q *triangle) bool {
	o := p[0]
	a, b, c, d := p[1].Sub(o), p[2].Sub(o), q[1].Sub(o), q[2].Sub(o)
	m := c.Add(d).Sub(a).Sub(b)
	for _, x := range [2]Vec{a, b} {
		if d, e := along(m, x); !(d+e < 0) {
			return false
		}
	}
	for _, x := range [2]Vec{c, d} {
		if d, e := along(m, x); !(d-e > 0) {
			return false
		}
	}
	return true
}

// along returns m · x and more than its rounding: one for each difference in x,
// each product and two for the sums.
func along(m, x Vec) (d, err float64) {
	px, py, pz := float64(m.X*x.X), float64(m.Y*x.Y), float64(m.Z*x.Z)
	return px + py + pz, 8 * roundoff * (math.Abs(px) + math.Abs(py) + math.Abs(pz))
}

// overlap reports whether two triangles have a point in common: then an edge
// of one meets the other.
func overlap(p, q *triangle) bool {
	u := [3]int{side3(p[0], p[1], p[2], q[0]), side3(p[0], p[1], p[2], q[1]), side3(p[0], p[1], p[2], q[2])}
	if oneSided(u) {
		return false
	}
	v := [3]int{side3(q[0], q[1], q[2], p[0]), side3(q[0], q[1], q[2], p[1]), side3(q[0], q[1], q[2], p[2])}
	if oneSided(v) {
		return false
	}
	for k := range 3 {
		n := (k + 1) % 3
		if meetsAt(q[k], q[n], p, u[k], u[n]) || meetsAt(p[k], p[n], q, v[k], v[n]) {
			return true
		}
	}
	return false
}

func oneSided(s [3]int) bool {
	return s[0] > 0 && s[1] > 0 && s[2] > 0 || s[0] < 0 && s[1] < 0 && s[2] < 0
}

// segmentMeets reports whether a segment has a point in common with a triangle
// that has area.
func segmentMeets(p, q corner, t *triangle) bool {
	return meetsAt(p, q, t, side3(t[0], t[1], t[2], p), side3(t[0], t[1], t[2], q))
}

// meetsAt is segmentMeets where the sides of the ends are known.
func meetsAt(p, q corner, t *triangle, sp, sq int) bool {
	if sp == 0 && sq == 0 {
		return meetsFlat(p, q, t)
	}
	if sp*sq > 0 {
		return false
	}
	a := side3(p, q, t[0], t[1])
	b := side3(p, q, t[1], t[2])
	if a*b < 0 {
		return false
	}
	c := side3(p, q, t[2], t[0])
	return a*c >= 0 && b*c >= 0
}

// flat drops the coordinate along which the triangle has a shadow, and returns
// what gives a corner's other two.
func flat(t *triangle) func(corner) (x, y float64) {
	a, b, c := &t[0], &t[1], &t[2]
	switch {
	case side2(a.X, a.Y, b.X, b.Y, c.X, c.Y) != 0:
		return func(p corner) (float64, float64) { return p.X, p.Y }
	case side2(a.Y, a.Z, b.Y, b.Z, c.Y, c.Z) != 0:
		return func(p corner) (float64, float64) { return p.Y, p.Z }
	}
	return func(p corner) (float64, float64) { return p.Z, p.X }
}

// meetsFlat is segmentMeets within the triangle's plane: an end lies in the
// triangle, or the segment passes an edge.
func meetsFlat(p, q corner, t *triangle) bool {
	xy := flat(t)
	side := func(a, b, c corner) int {
		ax, ay := xy(a)
		bx, by := xy(b)
		cx, cy := xy(c)
		return side2(ax, ay, bx, by, cx, cy)
	}
	turn := side(t[0], t[1], t[2])
	var atP, atQ [3]int
	for k := range 3 {
		n := (k + 1) % 3
		atP[k], atQ[k] = turn*side(t[k], t[n], p), turn*side(t[k], t[n], q)
		if atP[k] < 0 && atQ[k] < 0 {
			return false
		}
	}
	if within3(atP) || within3(atQ) {
		return true
	}
	for k := range 3 {
		// The ends lie on two sides of this edge's line, or on it: the edge's
		// ends must lie so about the segment's.
		if atP[k]*atQ[k] <= 0 && side(p, q, t[k])*side(p, q, t[(k+1)%3]) <= 0 && !(atP[k] == 0 && atQ[k] == 0) {
			return true
		}
	}
	return false
}

func within3(s [3]int) bool { return s[0] >= 0 && s[1] >= 0 && s[2] >= 0 }

// sameSide reports whether the first corners of two triangles in one plane,
// whose other corners are the same, lie on one side of the common edge.
func sameSide(p, q *triangle) bool {
	xy := flat(p)
	ax, ay := xy(p[1])
	bx, by := xy(p[2])
	cx, cy := xy(p[0])
	dx, dy := xy(q[0])
	return side2(ax, ay, bx, by, cx, cy)*side2(ax, ay, bx, by, dx, dy) > 0
}
