package geom

import (
	"context"
	"errors"
	"slices"
)

// split is one cut being made.
type split struct {
	*Cutter
	plane  Plane
	up     []int32 // rising edge of each triangle that is cut, -1 of others
	cuts   []int32 // the triangles that are cut
	beyond []bool  // of triangles that are not cut
	// New vertices: spot tells the vertex at a place, old or new; at and near
	// the place of each new one, from number #V on, and the old vertex whose
	// colour it takes.
	spot map[Point]int32
	at   []Point
	near []int32
	caps []Tri // counter-clockwise seen against the normal
}

// sort finds which triangles lie beyond the cut.
func (s *split) sort(ctx context.Context, whole bool) error {
	s.beyond = make([]bool, len(s.m.Tris))
	if whole {
		for t, tri := range s.m.Tris {
			s.beyond[t] = s.above(s.plane, tri[0])
		}
		return nil
	}
	return s.flood(ctx)
}

// flood spreads from the upper parts of the cut triangles. Reaching a lower
// part means that the cut does not part the surface.
func (s *split) flood(ctx context.Context) error {
	stack := slices.Clone(s.cuts)
	for n := 0; len(stack) > 0; n++ {
		if n&0xffff == 0 && ctx.Err() != nil {
			return context.Cause(ctx)
		}
		t := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		cut := s.up[t] >= 0
		for e := 3 * t; e < 3*t+3; e++ {
			a, b := s.m.Ends(e)
			up := s.above(s.plane, a)
			if cut && (!up || !s.above(s.plane, b)) {
				continue // an edge of the lower part, or the cut itself
			}
			u := s.edges.Across[e] / 3
			if s.up[u] >= 0 {
				if !up {
					return errors.New("cutting this section alone does not part the surface: it hangs together another way; cut all that the plane meets, or elsewhere")
				}
				continue
			}
			if !s.beyond[u] {
				s.beyond[u] = true
				stack = append(stack, u)
			}
		}
	}
	return nil
}

// place numbers the new vertices; one that falls on an end of its edge, or on
// another new one, is that vertex.
func (s *split) place(sections []Section) {
	for _, sec := range sections {
		for _, r := range sec.rings {
			for _, e := range r.up {
				a, b := s.m.Ends(e)
				at, near := s.crossing(s.plane, e)
				if _, known := s.spot[at]; known {
					continue
				}
				switch at {
				case s.m.Verts[a]:
					s.spot[at] = a
				case s.m.Verts[b]:
					s.spot[at] = b
				default:
					s.spot[at] = int32(len(s.m.Verts) + len(s.at))
					s.at, s.near = append(s.at, at), append(s.near, near)
				}
			}
		}
	}
}

func (s *split) vertex(e int32) int32 {
	at, _ := s.crossing(s.plane, e)
	return s.spot[at]
}

// cap fills one section.
func (s *split) cap(sec Section) {
	lay := layFlat(s.plane)
	var outlines, holes [][]flatPoint
	for _, r := range sec.rings {
		var loop []flatPoint
		for i := len(r.up) - 1; i >= 0; i-- { // the other way round: see ringArea
			if v := s.vertex(r.up[i]); len(loop) == 0 || loop[len(loop)-1].id != v {
				loop = append(loop, lay(v, r.at[i]))
			}
		}
		for _, l := range simple(loop) {
			if flatArea(l) >= 0 {
				outlines = append(outlines, l)
			} else {
				holes = append(holes, l)
			}
		}
	}
	s.caps = append(s.caps, fillAll(outlines, holes)...)
}

// simple parts a loop where it passes a point again, and drops pieces of fewer
// than three points.
func simple(loop []flatPoint) [][]flatPoint {
	var loops [][]flatPoint
	var way []flatPoint
	place := map[int32]int{}
	keep := func(l []flatPoint) {
		if len(l) > 2 {
			loops = append(loops, append([]flatPoint{}, l...))
		}
	}
	for _, p := range loop {
		if k, again := place[p.id]; again {
			keep(way[k:])
			for _, q := range way[k:] {
				delete(place, q.id)
			}
			way = way[:k]
		}
		place[p.id] = len(way)
		way = append(way, p)
	}
	keep(way)
	return loops
}

func flatArea(loop []flatPoint) float64 {
	s := 0.0
	for i, p := range loop {
		q := loop[(i+1)%len(loop)]
		s += float64((p.u-loop[0].u)*(q.v-loop[0].v)) - float64((q.u-loop[0].u)*(p.v-loop[0].v))
	}
	return s / 2
}

// fillAll fills outlines, each without the holes that lie in it. A hole in
// none, which only rounding makes, is filled for itself.
func fillAll(outlines, holes [][]flatPoint) []Tri {
	var tris []Tri
	inside := make([][][]flatPoint, len(outlines))
	for _, h := range holes {
		home := -1
		for i, o := range outlines {
			if flatWithin(o, h) && (home < 0 || flatArea(o) < flatArea(outlines[home])) {
				home = i
			}
		}
		if home < 0 {
			tris = append(tris, clipEars(h)...)
			continue
		}
		inside[home] = append(inside[home], h)
	}
	for i, o := range outlines {
		tris = append(tris, fill(o, inside[i])...)
	}
	return tris
}

// flatWithin reports whether a corner of inner that is none of outer lies in it.
func flatWithin(outer, inner []flatPoint) bool {
	mine := map[int32]bool{}
	for _, p := range outer {
		mine[p.id] = true
	}
	for _, q := range inner {
		if mine[q.id] {
			continue
		}
		odd := false
		for i, f := range outer {
			g := outer[(i+1)%len(outer)]
			if (f.v > q.v) == (g.v > q.v) {
				continue
			}
			if g.v < f.v {
				f, g = g, f
			}
			if leftOf(f, g, q) > 0 {
				odd = !odd
			}
		}
		return odd
	}
	return true
}

// piece gathers the triangles of one side, parts of cut ones among them, and
// the caps that close it.
func (s *split) piece(ctx context.Context, beyond bool) *Mesh {
	var tris []Tri
	add := func(a, b, c int32) {
		if a != b && b != c && c != a {
			tris = append(tris, Tri{a, b, c})
		}
	}
	for t, tri := range s.m.Tris {
		if t&0xffff == 0 && ctx.Err() != nil {
			return s.m // Split asks ctx again
		}
		if s.up[t] < 0 {
			if s.beyond[t] == beyond {
				tris = append(tris, tri)
			}
			continue
		}
		s.part(s.up[t], beyond, add)
	}
	for _, c := range s.caps {
		if beyond {
			add(c[0], c[2], c[1])
		} else {
			add(c[0], c[1], c[2])
		}
	}
	return s.compact(tris)
}

// part adds one side of the cut triangle that rises along corner edge up.
func (s *split) part(up int32, beyond bool, add func(a, b, c int32)) {
	t := up / 3
	k := up - 3*t
	tri := s.m.Tris[t]
	a, b, c := tri[k], tri[(k+1)%3], tri[(k+2)%3] // a below, b above
	p := s.vertex(up)
	if s.above(s.plane, c) {
		q := s.vertex(3*t + (k+2)%3) // c to a falls
		if beyond {
			add(p, b, c)
			add(p, c, q)
		} else {
			add(a, p, q)
		}
		return
	}
	q := s.vertex(3*t + (k+1)%3) // b to c falls
	if beyond {
		add(p, b, q)
	} else {
		add(a, p, q)
		add(a, q, c)
	}
}

// compact keeps the vertices that tris use, in the order of the whole and new
// ones last.
func (s *split) compact(tris []Tri) *Mesh {
	n := len(s.m.Verts)
	index := make([]int32, n+len(s.at))
	for _, t := range tris {
		index[t[0]], index[t[1]], index[t[2]] = 1, 1, 1
	}
	m := &Mesh{Tris: tris, Origin: s.m.Origin}
	for v, used := range index {
		if used == 0 {
			continue
		}
		index[v] = int32(len(m.Verts))
		from := int32(v)
		if v >= n {
			from = s.near[v-n]
			m.Verts = append(m.Verts, s.at[v-n])
		} else {
			m.Verts = append(m.Verts, s.m.Verts[v])
		}
		if len(s.m.Colours) > 0 {
			m.Colours = append(m.Colours, s.m.Colours[from])
		}
		if len(s.m.Seen) > 0 {
			m.Seen = append(m.Seen, s.m.Seen[from])
		}
	}
	for i, t := range tris {
		tris[i] = Tri{index[t[0]], index[t[1]], index[t[2]]}
	}
	return m
}
