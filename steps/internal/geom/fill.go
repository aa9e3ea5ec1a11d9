package geom

import "slices"

// This file fills a flat outline with triangles: holes are joined to the
// outline by bridges, then ears are clipped. Sides are decided exactly.
//
// Based on: G. H. Meisters, "Polygons have ears", American Mathematical
// Monthly 1975; bridges as in D. Eberly, "Triangulation by ear clipping", 2002
// (both from memory).

// flatPoint is a point of an outline: its number, and its place in the plane as
// float32 numbers.
type flatPoint struct {
	id   int32
	u, v float64
}

// leftOf returns 1 if c lies left of the way from a to b, -1 if right, 0 if on it.
func leftOf(a, b, c flatPoint) int { return side2(a.u, a.v, b.u, b.v, c.u, c.v) }

func (a flatPoint) at(b flatPoint) bool { return a.u == b.u && a.v == b.v }

func (a flatPoint) dist2(b flatPoint) float64 {
	du, dv := a.u-b.u, a.v-b.v
	return float64(du*du) + float64(dv*dv)
}

// fill returns triangles that fill outline, counter-clockwise, but not holes,
// clockwise, each edge of which is then the edge of exactly one triangle. It
// takes as many triangles as the corners allow, whatever the outline: one that
// crosses itself is filled with triangles that overlap. n corners take about
// n² steps.
func fill(outline []flatPoint, holes [][]flatPoint) []Tri {
	holes = slices.Clone(holes)
	slices.SortStableFunc(holes, func(a, b []flatPoint) int {
		x, y := a[rightmost(a)], b[rightmost(b)]
		switch {
		case x.u > y.u || x.u == y.u && x.v > y.v:
			return -1
		case x.u < y.u || x.v < y.v:
			return 1
		}
		return 0
	})
	for i, h := range holes {
		outline = bridge(outline, h, holes[i+1:])
	}
	return clipEars(outline)
}

// rightmost returns the place of the corner farthest along u.
func rightmost(loop []flatPoint) int {
	best := 0
	for i, p := range loop {
		if p.u > loop[best].u || p.u == loop[best].u && p.v > loop[best].v {
			best = i
		}
	}
	return best
}

// bridge joins hole to the outline by a way there and back, from the hole's
// rightmost corner to the nearest corner of the outline that sees it.
func bridge(outline, hole []flatPoint, others [][]flatPoint) []flatPoint {
	h := rightmost(hole)
	p := hole[h]
	order := make([]int, len(outline))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch x, y := p.dist2(outline[a]), p.dist2(outline[b]); {
		case x < y:
			return -1
		case x > y:
			return 1
		}
		return 0
	})
	at := order[0]
	for _, i := range order {
		if inCone(outline, i, p) && sees(outline[i], p, outline) && sees(outline[i], p, hole) && !slices.ContainsFunc(others, func(o []flatPoint) bool { return !sees(outline[i], p, o) }) {
			at = i
			break
		}
	}
	joined := make([]flatPoint, 0, len(outline)+len(hole)+2)
	joined = append(joined, outline[:at+1]...)
	joined = append(joined, hole[h:]...)
	joined = append(joined, hole[:h+1]...)
	return append(joined, outline[at:]...)
}

// inCone reports whether the way from corner i of the outline to p starts into
// the inside.
func inCone(outline []flatPoint, i int, p flatPoint) bool {
	n := len(outline)
	a, b, c := outline[(i+n-1)%n], outline[i], outline[(i+1)%n]
	if b.at(p) {
		return true
	}
	if leftOf(a, b, c) > 0 {
		return leftOf(a, b, p) > 0 && leftOf(b, c, p) > 0
	}
	return leftOf(a, b, p) > 0 || leftOf(b, c, p) > 0
}

// sees reports whether the way from a to b meets no edge of loop but at its
// own ends.
func sees(a, b flatPoint, loop []flatPoint) bool {
	for i, d := range loop {
		c := loop[(i+len(loop)-1)%len(loop)]
		if max(c.u, d.u) < min(a.u, b.u) || min(c.u, d.u) > max(a.u, b.u) || max(c.v, d.v) < min(a.v, b.v) || min(c.v, d.v) > max(a.v, b.v) {
			continue
		}
		if !d.at(a) && !d.at(b) && leftOf(a, b, d) == 0 && between(a, b, d) {
			return false
		}
		if c.at(a) || c.at(b) || d.at(a) || d.at(b) {
			continue
		}
		if leftOf(a, b, c)*leftOf(a, b, d) < 0 && leftOf(c, d, a)*leftOf(c, d, b) <= 0 {
			return false
		}
	}
	return true
}

// between reports whether d, on the line through a and b, lies between them.
func between(a, b, d flatPoint) bool {
	return min(a.u, b.u) <= d.u && d.u <= max(a.u, b.u) && min(a.v, b.v) <= d.v && d.v <= max(a.v, b.v)
}

// ears is an outline being clipped: a ring of what is left of it.
type ears struct {
	pts        []flatPoint
	prev, next []int32
	reflex     []bool
}

// clipEars cuts corner after corner off: first those that are ears, then, if
// the outline crosses itself, those that at least turn left, then any.
func clipEars(pts []flatPoint) []Tri {
	n := int32(len(pts))
	if n < 3 {
		return nil
	}
	e := &ears{pts: pts, prev: make([]int32, n), next: make([]int32, n), reflex: make([]bool, n)}
	for i := range n {
		e.prev[i], e.next[i] = (i+n-1)%n, (i+1)%n
	}
	for i := range n {
		e.reflex[i] = e.side(i) <= 0
	}
	tris := make([]Tri, 0, n-2)
	at, tried, rule := int32(0), int32(0), 0
	for left := n; left > 2; {
		if e.clippable(at, rule) {
			a, c := e.prev[at], e.next[at]
			tris = append(tris, Tri{pts[a].id, pts[at].id, pts[c].id})
			e.next[a], e.prev[c] = c, a
			e.reflex[a], e.reflex[c] = e.side(a) <= 0, e.side(c) <= 0
			left--
			at, tried, rule = e.next[c], 0, 0
			continue
		}
		at = e.next[at]
		if tried++; tried > left {
			tried = 0
			rule++
		}
	}
	return tris
}

func (e *ears) side(i int32) int { return leftOf(e.pts[e.prev[i]], e.pts[i], e.pts[e.next[i]]) }

func (e *ears) clippable(i int32, rule int) bool {
	switch rule {
	case 0:
		return !e.reflex[i] && e.empty(i)
	case 1:
		return !e.reflex[i]
	}
	return true
}

// empty reports whether no reflex corner lies in or on the ear at i; corners at
// the same place as one of the ear's are passed over.
func (e *ears) empty(i int32) bool {
	a, b, c := e.pts[e.prev[i]], e.pts[i], e.pts[e.next[i]]
	lu, hu := min(a.u, b.u, c.u), max(a.u, b.u, c.u)
	lv, hv := min(a.v, b.v, c.v), max(a.v, b.v, c.v)
	for k := e.next[e.next[i]]; k != e.prev[i]; k = e.next[k] {
		p := e.pts[k]
		if !e.reflex[k] || p.u < lu || p.u > hu || p.v < lv || p.v > hv || p.at(a) || p.at(b) || p.at(c) {
			continue
		}
		if leftOf(a, b, p) >= 0 && leftOf(b, c, p) >= 0 && leftOf(c, a, p) >= 0 {
			return false
		}
	}
	return true
}
