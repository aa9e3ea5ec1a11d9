package coverage

import (
	"math"

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
// short axis, from the second moments of its outline, but no more than the
// diameter of a disc of that area.
func (p *place) measure(m *geom.Mesh) {
	var vector geom.Vec
	var moment geom.Mat
	for i, v := range p.verts {
		a, b := m.Verts[v].Vec().Sub(p.at), m.Verts[p.verts[(i+1)%len(p.verts)]].Vec().Sub(p.at)
		vector = vector.Add(a.Cross(b).Mul(0.5))
		x := [3]float64{a.X, a.Y, a.Z}
		for r := range 3 {
			for k := range 3 {
				moment[r][k] += float64(x[r]*x[k]) / float64(len(p.verts))
			}
		}
	}
	p.area, p.normal = vector.Len(), vector.Unit()
	values, _ := geom.Eigen3(moment)
	p.wide = 2 * min(math.Sqrt(2*max(values[1], 0)), math.Sqrt(p.area/math.Pi))
}

// invented returns the connected patches of vertices that no scan saw.
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
	skin, normal, at := make([]float64, n), make([]geom.Vec, n), make([]geom.Vec, n)
	for t, tri := range m.Tris {
		a, b, e := m.Corners(t)
		cross := b.Sub(a).Cross(e.Sub(a)).Mul(1.0 / 6)
		w := cross.Len()
		for _, v := range tri {
			if s := of[v]; m.Seen[v] == 0 {
				skin[s] += w
				normal[s] = normal[s].Add(cross)
				at[s] = at[s].Add(m.Verts[v].Vec().Mul(w))
			}
		}
	}
	number := make([]*place, n)
	var list []*place
	for v, s := range of {
		if m.Seen[v] != 0 || skin[s] == 0 {
			continue
		}
		p := number[s]
		if p == nil {
			p = &place{first: int32(v), area: skin[s], normal: normal[s].Unit(), at: at[s].Mul(1 / skin[s]), wide: 2 * math.Sqrt(skin[s]/math.Pi)}
			number[s] = p
			list = append(list, p)
		}
		p.verts = append(p.verts, int32(v))
	}
	for _, p := range list {
		p.settle(m)
	}
	return list
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
