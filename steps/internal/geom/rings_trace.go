package geom

import "slices"

// tracer follows the lines along which a value given at the vertices passes a
// level: rings at one distance along the skin, and sections by a plane. It
// asks nothing of the surface: a line that comes to a rim ends there.
type tracer struct {
	m     *Mesh
	e     *Edges
	stamp []int32 // of each triangle: the last line that passed it
	last  int32
}

func newTracer(m *Mesh, e *Edges) *tracer {
	return &tracer{m: m, e: e, stamp: make([]int32, len(m.Tris))}
}

// next starts a new set of lines; no two lines of one set pass one triangle.
func (c *tracer) next() { c.last++ }

// met reports whether a line of this set has passed triangle t.
func (c *tracer) met(t int32) bool { return c.stamp[t] == c.last }

// line is a way over the skin: it crosses corner edge edges[i] at at[i].
type line struct {
	edges []int32
	at    []Vec
	open  bool // it runs from rim to rim, not round
}

// trace follows the line through triangle t both ways. above tells the side of
// a vertex and must not be the same for all three of t's; cross gives the place
// on the edge from a, below, to b, above.
func (c *tracer) trace(t int32, above func(v int32) bool, cross func(a, b int32) Vec) line {
	first, second := c.crossed(t, above)
	c.stamp[t] = c.last
	var l line
	l.add(c.m, first, above, cross)
	if c.walk(&l, second, first, above, cross) {
		return l
	}
	var back line
	c.walk(&back, first, -1, above, cross)
	slices.Reverse(back.at)
	slices.Reverse(back.edges)
	n := len(back.at) - 1 // its last is where l begins
	return line{append(back.edges[:n], l.edges...), append(back.at[:n], l.at...), true}
}

func (l *line) add(m *Mesh, e int32, above func(v int32) bool, cross func(a, b int32) Vec) {
	a, b := m.Ends(e)
	if above(a) {
		a, b = b, a
	}
	l.edges = append(l.edges, e)
	l.at = append(l.at, cross(a, b))
}

// walk goes out of a triangle by edge e and on until it comes to edge stop
// from the other side, and reports whether it did.
func (c *tracer) walk(l *line, e, stop int32, above func(v int32) bool, cross func(a, b int32) Vec) bool {
	for {
		mate := c.e.Across[e]
		if stop >= 0 && mate == stop {
			return true
		}
		l.add(c.m, e, above, cross)
		if mate < 0 || c.met(mate/3) {
			return false
		}
		t := mate / 3
		c.stamp[t] = c.last
		if e, _ = c.crossed(t, above); e == mate {
			_, e = c.crossed(t, above)
		}
	}
}

// crossed returns the two edges of t that the line crosses.
func (c *tracer) crossed(t int32, above func(v int32) bool) (first, second int32) {
	tri := c.m.Tris[t]
	a, b, d := above(tri[0]), above(tri[1]), above(tri[2])
	switch {
	case a == b:
		return 3*t + 1, 3*t + 2
	case b == d:
		return 3 * t, 3*t + 2
	default:
		return 3 * t, 3*t + 1
	}
}
