package geom

import (
	"context"
	"errors"
	"fmt"
	"math"
)

// Section is where a plane passes through a closed surface: one outline and
// the outlines within it that bound hollows.
type Section struct {
	rings []cutRing // the outline first
	Girth float64   // length of the outline, mm
	Area  float64   // within the outline and outside its hollows, mm²
	Mid   Vec       // mean of the outline by length
}

// Outline returns the corners of the outline, about the mesh's origin.
func (s *Section) Outline() []Vec { return s.rings[0].at }

// Rings returns the corners of the outline and of the hollows within it.
func (s *Section) Rings() [][]Vec {
	var rings [][]Vec
	for _, r := range s.rings {
		rings = append(rings, r.at)
	}
	return rings
}

// cutRing is one closed way along which a plane crosses a surface: corner edge
// up[i], from below the plane to above, is crossed at at[i]; from there the way
// goes through the edge's triangle to at[i+1]. flat area is positive where it
// runs round solid and negative round a hollow.
type cutRing struct {
	up   []int32
	at   []Vec
	area float64
}

// Cutter cuts one closed surface by planes.
type Cutter struct {
	m     *Mesh
	edges *Edges
	seen  []bool // triangles that the rings being found have passed
}

// NewCutter makes m ready for cutting. m must be closed: every edge between
// exactly two triangles that turn the same way; its shells may cross.
func NewCutter(m *Mesh, edges *Edges) (*Cutter, error) {
	if !m.Closed(edges) {
		open := 0
		for c, mate := range edges.Across {
			if mate < 0 || m.Turned(edges, int32(c)) {
				open++
			}
		}
		return nil, fmt.Errorf("the surface is not closed: %d triangle edges have not exactly one neighbour that turns the same way; mend it before cutting", open)
	}
	return &Cutter{m: m, edges: edges, seen: make([]bool, len(m.Tris))}, nil
}

// above reports on which side of the plane a vertex lies. One that lies on the
// plane counts as above, wherever it occurs: a plane along vertices, edges or
// faces is then one that passes just below them.
func (c *Cutter) above(p Plane, v int32) bool { return p.Dist(c.m.Verts[v].Vec()) >= 0 }

// Sections returns the sections of the surface with plane p, in the order of
// their first triangles. among names the triangles to look at, all if nil; it
// must hold every triangle of the sections wanted.
func (c *Cutter) Sections(p Plane, among []int32) ([]Section, error) {
	var rings []cutRing
	look := func(t int32) {
		if up := c.upEdge(p, t); up >= 0 && !c.seen[t] {
			rings = append(rings, c.follow(p, up))
		}
	}
	if among == nil {
		for t := range int32(len(c.m.Tris)) {
			look(t)
		}
	}
	for _, t := range among {
		look(t)
	}
	for _, r := range rings {
		for _, e := range r.up {
			c.seen[e/3] = false
		}
	}
	return nest(p, rings)
}

// upEdge returns the corner edge by which triangle t rises through the plane,
// or -1.
func (c *Cutter) upEdge(p Plane, t int32) int32 {
	tri := c.m.Tris[t]
	a, b, d := c.above(p, tri[0]), c.above(p, tri[1]), c.above(p, tri[2])
	switch {
	case a == b && b == d:
		return -1
	case !a && b:
		return 3 * t
	case !b && d:
		return 3*t + 1
	default:
		return 3*t + 2
	}
}

// follow goes round from a rising edge: through its triangle to the falling
// edge, which is the next triangle's rising one.
func (c *Cutter) follow(p Plane, start int32) cutRing {
	var r cutRing
	for up := start; ; {
		t := up / 3
		c.seen[t] = true
		r.up = append(r.up, up)
		at, _ := c.crossing(p, up)
		r.at = append(r.at, at.Vec())
		down := 3*t + (up-3*t+1)%3
		if from, to := c.m.Ends(down); c.above(p, from) == c.above(p, to) {
			down = 3*t + (up-3*t+2)%3
		}
		if up = c.edges.Across[down]; up == start {
			break
		}
	}
	r.area = ringArea(p, r.at)
	return r
}

// crossing returns where corner edge e meets the plane, rounded to float32: the
// same bits from either side of the edge. near is the end nearer to it.
func (c *Cutter) crossing(p Plane, e int32) (at Point, near int32) {
	a, b := c.m.Ends(e)
	if b < a {
		a, b = b, a
	}
	va, vb := c.m.Verts[a].Vec(), c.m.Verts[b].Vec()
	da, db := p.Dist(va), p.Dist(vb)
	if math.Abs(da) <= math.Abs(db) {
		return va.Add(vb.Sub(va).Mul(da / (da - db))).Point(), a
	}
	return vb.Add(va.Sub(vb).Mul(db / (db - da))).Point(), b
}

// ringArea returns the area that a ring encloses in the plane, mm²: positive if
// the ring turns clockwise seen against the normal, as outlines do that are
// followed through the lower parts of their triangles.
func ringArea(p Plane, at []Vec) float64 {
	var s Sum
	for i, v := range at {
		w := at[(i+1)%len(at)]
		s.Add(p.Normal.Dot(v.Sub(at[0]).Cross(w.Sub(at[0]))))
	}
	return -s.Total() / 2
}

// nest groups rings into sections: each hollow with the smallest outline round it.
func nest(p Plane, rings []cutRing) ([]Section, error) {
	var list []Section
	for _, r := range rings {
		if r.area >= 0 {
			list = append(list, sectionOf(r))
		}
	}
	for _, r := range rings {
		if r.area >= 0 {
			continue
		}
		best := -1
		for i := range list {
			if s := &list[i]; s.rings[0].area > -r.area && (best < 0 || s.rings[0].area < list[best].rings[0].area) && encloses(p, s.rings[0].at, r.at) {
				best = i
			}
		}
		if best < 0 {
			return nil, errors.New("the section has a hollow with no solid round it: the surface is inside out there, or crosses itself")
		}
		s := &list[best]
		s.rings = append(s.rings, r)
		s.Area += r.area
	}
	return list, nil
}

func sectionOf(r cutRing) Section {
	s := Section{rings: []cutRing{r}, Area: r.area}
	var length, x, y, z Sum
	for i, v := range r.at {
		w := r.at[(i+1)%len(r.at)]
		l, mid := w.Sub(v).Len(), v.Add(w).Mul(0.5)
		length.Add(l)
		x.Add(float64(l * mid.X))
		y.Add(float64(l * mid.Y))
		z.Add(float64(l * mid.Z))
	}
	s.Girth = length.Total()
	s.Mid = r.at[0]
	if s.Girth > 0 {
		s.Mid = Vec{x.Total(), y.Total(), z.Total()}.Mul(1 / s.Girth)
	}
	return s
}

// encloses reports whether the first corner of inner that is no corner of outer
// lies within it.
func encloses(p Plane, outer, inner []Vec) bool {
	corner := map[Vec]bool{}
	for _, v := range outer {
		corner[v] = true
	}
	for _, v := range inner {
		if !corner[v] {
			return holds(p, outer, v)
		}
	}
	return true
}

// holds reports whether v, seen along the plane's normal, lies within the
// ring, by counting the edges to its right.
func holds(p Plane, ring []Vec, v Vec) bool {
	lay := layFlat(p)
	q := lay(0, v)
	odd := false
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		f, g := lay(0, a), lay(0, b)
		if (f.v > q.v) != (g.v > q.v) {
			if g.v < f.v {
				f, g = g, f
			}
			if leftOf(f, g, q) > 0 {
				odd = !odd
			}
		}
	}
	return odd
}

// layFlat returns what lays points of the plane flat, by leaving out the axis
// nearest the normal: counter-clockwise stays so seen against the normal, and
// float32 numbers stay what they are.
func layFlat(p Plane) func(id int32, v Vec) flatPoint {
	x, y, z := math.Abs(p.Normal.X), math.Abs(p.Normal.Y), math.Abs(p.Normal.Z)
	pick := func(id int32, v Vec) flatPoint { return flatPoint{id, v.X, v.Y} }
	n := p.Normal.Z
	switch {
	case x >= y && x >= z:
		pick, n = func(id int32, v Vec) flatPoint { return flatPoint{id, v.Y, v.Z} }, p.Normal.X
	case y >= z:
		pick, n = func(id int32, v Vec) flatPoint { return flatPoint{id, v.Z, v.X} }, p.Normal.Y
	}
	if n > 0 {
		return pick
	}
	return func(id int32, v Vec) flatPoint { f := pick(id, v); return flatPoint{id, f.v, f.u} }
}

// Split cuts the surface along the sections, all found with plane p, and
// returns what lies beyond them on the side of the normal, and the rest, each
// closed by flat caps; cut vertices have the same bits in both. Shells that the
// sections do not pass through stay with the rest, unless whole: then
// everything above the plane is beyond. Volumes of both add up to the whole.
func (c *Cutter) Split(ctx context.Context, p Plane, sections []Section, whole bool) (beyond, rest *Mesh, err error) {
	s := &split{Cutter: c, plane: p, up: make([]int32, len(c.m.Tris)), spot: map[Point]int32{}}
	for t := range s.up {
		s.up[t] = -1
	}
	for _, sec := range sections {
		for _, r := range sec.rings {
			for _, up := range r.up {
				s.up[up/3] = up
				s.cuts = append(s.cuts, up/3)
			}
		}
	}
	if err := s.sort(ctx, whole); err != nil {
		return nil, nil, err
	}
	s.place(sections)
	for _, sec := range sections {
		s.cap(sec)
	}
	beyond, rest = s.piece(ctx, true), s.piece(ctx, false)
	if ctx.Err() != nil {
		return nil, nil, context.Cause(ctx)
	}
	if len(beyond.Tris) == 0 || len(rest.Tris) == 0 {
		return nil, nil, errors.New("the plane only touches the surface there")
	}
	return beyond, rest, nil
}
