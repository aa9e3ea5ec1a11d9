package coverage

import (
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// place is skin that no scan saw: a hole or a patch of invented skin.
type place struct {
	first  int32 // a vertex of it
	at     geom.Vec
	normal geom.Vec // outward
	area   float64  // mm²; of a hole, of its outline seen square on
	wide   float64  // mm across; of a slit, the short way
	verts  []int32  // on its outline, or in it
	ring   bool     // verts are an outline in order
	cause  cause
	advice string
}

// holes returns the surface's rims as places.
func (c *cover) holes() []*place {
	var list []*place
	for _, l := range c.m.Rims(c.edges) {
		p := &place{first: l.Verts[0], verts: l.Verts, ring: true}
		var length float64
		for i, v := range l.Verts {
			a, b := c.m.Verts[v].Vec(), c.m.Verts[l.Verts[(i+1)%len(l.Verts)]].Vec()
			w := b.Sub(a).Len()
			p.at = p.at.Add(a.Add(b).Mul(w / 2))
			length += w
		}
		if length == 0 {
			continue
		}
		p.at = p.at.Mul(1 / length)
		p.measure(c.m)
		if from, _ := c.m.Ends(l.Edges[0]); from == l.Verts[0] {
			p.normal = p.normal.Mul(-1) // triangles run round a hole the other way
		}
		list = append(list, p)
	}
	return list
}

// measure finds a hole's flat area, its normal and its width: of an ellipse the
// short axis, four times the standard deviation that way of the flat area within
// the outline, but no more than the diameter of a disc of that area.
func (p *place) measure(m *geom.Mesh) {
	corner := func(i int) geom.Vec { return m.Verts[p.verts[i%len(p.verts)]].Vec().Sub(p.at) }
	var vector geom.Vec
	for i := range p.verts {
		vector = vector.Add(corner(i).Cross(corner(i + 1)).Mul(0.5))
	}
	p.area, p.normal = vector.Len(), vector.Unit()
	var s spread
	for i := range p.verts { // in triangles about the middle
		a, b := corner(i), corner(i+1)
		w := a.Cross(b).Dot(p.normal) / 2
		// A triangle's moments are those of three points in the middles of its sides.
		for _, q := range [3]geom.Vec{a.Mul(0.5), b.Mul(0.5), a.Add(b).Mul(0.5)} {
			s.add(q, w/3)
		}
	}
	p.wide = min(s.short(), 2*math.Sqrt(p.area/math.Pi))
}

// spread gathers the second moments of what lies about a place.
type spread struct {
	weight float64
	first  geom.Vec
	second geom.Mat
}

func (s *spread) add(p geom.Vec, w float64) {
	s.weight += w
	s.first = s.first.Add(p.Mul(w))
	x := [3]float64{p.X, p.Y, p.Z}
	for r := range 3 {
		for k := range 3 {
			s.second[r][k] += float64(float64(x[r]*x[k]) * w)
		}
	}
}

// short returns the short axis of an ellipse of that spread, mm: four standard
// deviations. The least of the three is the bend of the skin.
func (s *spread) short() float64 {
	if s.weight <= 0 { // an outline twisted over itself
		return math.Inf(1)
	}
	x := [3]float64{s.first.X, s.first.Y, s.first.Z}
	for r := range 3 {
		for k := range 3 {
			s.second[r][k] = s.second[r][k]/s.weight - float64(x[r]*x[k])/float64(s.weight*s.weight)
		}
	}
	values, _ := geom.Eigen3(s.second)
	return 4 * math.Sqrt(max(values[1], 0))
}

// invented returns the connected patches of triangles with a corner that no scan
// saw.
func (c *cover) invented() []*place {
	m := c.m
	sets := geom.NewSets(len(m.Verts))
	for _, t := range m.Tris {
		for k := range 3 {
			if a, b := t[k], t[(k+1)%3]; m.Seen[a] == 0 && m.Seen[b] == 0 {
				sets.Join(a, b)
			}
		}
	}
	of, n := sets.Number()
	number := make([]*place, n)
	var list []*place
	for v, s := range of {
		if m.Seen[v] != 0 {
			continue
		}
		if number[s] == nil {
			number[s] = &place{first: int32(v)}
			list = append(list, number[s])
		}
		number[s].verts = append(number[s].verts, int32(v))
	}
	spreads := make([]spread, n)
	for t, tri := range m.Tris {
		for _, v := range tri {
			if m.Seen[v] == 0 { // and so are all others of it that nobody saw
				a, b, e := m.Corners(t)
				number[of[v]].take(&spreads[of[v]], a, b, e)
				break
			}
		}
	}
	list = slices.DeleteFunc(list, func(p *place) bool { return p.area == 0 })
	for _, p := range list {
		p.normal, p.at = p.normal.Unit(), p.at.Mul(1/p.area)
		p.wide = min(2*math.Sqrt(p.area/math.Pi), spreads[of[p.first]].short())
		p.settle(m)
	}
	return list
}

// take adds a triangle to a patch.
func (p *place) take(s *spread, a, b, c geom.Vec) {
	cross := b.Sub(a).Cross(c.Sub(a)).Mul(0.5)
	w := cross.Len()
	p.area, p.normal, p.at = p.area+w, p.normal.Add(cross), p.at.Add(a.Add(b).Add(c).Mul(w/3))
	for _, q := range [3]geom.Vec{a.Add(b).Mul(0.5), b.Add(c).Mul(0.5), c.Add(a).Mul(0.5)} {
		s.add(q, w/3)
	}
}

// long is the long axis, of an ellipse of that area and width.
func (p *place) long() float64 {
	if p.wide == 0 {
		return 0
	}
	return max(p.wide, 4*p.area/(math.Pi*p.wide))
}

// settle moves the middle of a patch onto its own nearest vertex.
func (p *place) settle(m *geom.Mesh) {
	best, middle := math.Inf(1), p.at
	for _, v := range p.verts {
		if d := m.Verts[v].Vec().Sub(middle).Len2(); d < best {
			best, p.at = d, m.Verts[v].Vec()
		}
	}
}

// mostOutline is the most points of an outline that is drawn.
const mostOutline = 64

// outline returns the rim to draw, nil for a patch.
func (p *place) outline(m *geom.Mesh) [][3]float64 {
	if !p.ring {
		return nil
	}
	var ring [][3]float64
	n := min(len(p.verts), mostOutline)
	for i := range n {
		q := m.Verts[p.verts[i*len(p.verts)/n]].Vec().Add(m.Origin)
		ring = append(ring, [3]float64{q.X, q.Y, q.Z})
	}
	return ring
}

// samples are places spread over it, for asking what is in sight: the middle,
// and places towards its outline, off the skin by eps.
func (p *place) samples(m *geom.Mesh) []geom.Vec {
	const rays = 8
	off := p.normal.Mul(max(0.05*p.wide, 0.05))
	list := []geom.Vec{p.at.Add(off)}
	n := min(len(p.verts), rays)
	for i := range n {
		q := m.Verts[p.verts[i*len(p.verts)/n]].Vec()
		list = append(list, p.at.Add(q.Sub(p.at).Mul(0.6)).Add(off))
	}
	return list
}
