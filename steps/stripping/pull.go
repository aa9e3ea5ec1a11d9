package stripping

import (
	"math"

	"layette/steps/internal/geom"
	"layette/steps/internal/limb"
)

// pull is a part on its way out of its mould.
type pull struct {
	*limb.Limb
	limits
	opening size
	passes  []pass // of each ring; nil without an opening
	ringOf  []int32
	under   []float32 // of each vertex: share of the skin about it that is undercut
	regions []region
}

// pass is what a ring of the part needs to come out: the narrower ring before
// it that asks most of it.
type pass struct {
	stretch         float64 // the lesser of the next two, at the limiting ring
	byGirth, byArea float64
	limit           int32   // the limiting ring; -1 is the opening itself
	full            float64 // how much of the limiting ring's area the vinyl fills
}

// size is what counts of a section.
type size struct{ girth, area float64 }

// size returns the section at ring k, -1 being the opening; nothing where none
// was found: at a blunt end, which is narrower than what is before it, and where
// branches part.
func (p *pull) size(k int32) size {
	if k < 0 {
		return p.opening
	}
	a := &p.Rings.Rings[k].Across
	if !a.Found || p.web(p.Rings.Rings[k].Branch) || lacking(a) {
		return size{}
	}
	return size{a.Tape, a.Area}
}

// web reports whether a branch is a short piece between two forks: fingers
// that part one after the other, and no tube.
func (p *pull) web(b int32) bool {
	if b < 0 || p.Rings.Branches[b].Parent < 0 || len(p.Rings.Branches[b].Forks) == 0 {
		return false
	}
	rings := p.Rings.Branches[b].Rings
	first, last := &p.Rings.Rings[rings[0]], &p.Rings.Rings[rings[len(rings)-1]]
	return last.Level-first.Level < math.Sqrt(first.Area/math.Pi)
}

// lacking reports whether a tenth of a section's outline is missing: it meets an
// opening that is not flat, or a hole.
func lacking(a *geom.Across) bool {
	return a.Open && a.At[len(a.At)-1].Sub(a.At[0]).Len() > 0.1*a.Girth
}

// through returns what it takes to bring one section through another: by girth
// if it is stretched round, by area if it folds first. A ring that is no wider
// takes nothing.
func (s size) through(hole size) (byGirth, byArea float64) {
	return max(0, s.girth/hole.girth-1), max(0, math.Sqrt(s.area/hole.area)-1)
}

// stretches finds for every ring the narrower ring before it, on the way from
// the opening, that it has to stretch most to pass.
func (p *pull) stretches() {
	p.ringOf = p.RingOf()
	if len(p.Openings) == 0 {
		return
	}
	o := &p.Openings[0]
	rim := make([]geom.Vec, len(o.Rim))
	for i, v := range o.Rim {
		rim[i] = p.Mesh.Verts[v].Vec()
	}
	p.opening = size{geom.Tape(rim, o.Plane.Normal), o.Area}
	p.passes = make([]pass, len(p.Rings.Rings))
	for b := range p.Rings.Branches {
		way := p.way(int32(b))
		own := len(way) - len(p.Rings.Branches[b].Rings)
		for i := own; i < len(way); i++ {
			p.passes[way[i]] = p.hardest(way[i], way[:i])
		}
	}
}

// way returns the rings from the opening to the end of branch b.
func (p *pull) way(b int32) []int32 {
	if b < 0 {
		return []int32{-1}
	}
	branch := &p.Rings.Branches[b]
	return append(p.way(branch.Parent), branch.Rings...)
}

func (p *pull) hardest(k int32, before []int32) pass {
	s := p.size(k)
	best := pass{limit: -1, stretch: -1}
	for _, h := range before {
		hole := p.size(h)
		if !(hole.girth > 0) || !(hole.area > 0) || !(s.girth > 0) {
			continue
		}
		g, a := s.through(hole)
		if e := min(g, a); e > best.stretch {
			best = pass{stretch: e, byGirth: g, byArea: a, limit: h}
		}
		best.full = max(best.full, min(s.area, s.girth*p.wall)/hole.area)
	}
	best.stretch = max(best.stretch, 0)
	return best
}

// worst returns the ring that needs the greatest stretch, -1 if there is none.
func (p *pull) worst() int32 {
	best := int32(-1)
	for k := range p.passes {
		if p.Rings.Rings[k].Branch >= 0 && (best < 0 || p.passes[k].stretch > p.passes[best].stretch) {
			best = int32(k)
		}
	}
	return best
}

// region is a stretch of the part with a name.
type region struct {
	name        string
	area, under float64 // skin, and undercut skin, mm²
}

// undercuts measures the skin that faces the opening: it lies behind metal when
// the part is pulled along the axis there. A triangle counts for the rings of
// its corners by thirds.
func (p *pull) undercuts() {
	p.under = make([]float32, len(p.Mesh.Verts))
	if len(p.Openings) == 0 {
		return
	}
	r := p.Rings
	along := make([]geom.Vec, len(r.Rings))
	for b := range r.Branches {
		last := geom.Vec{}
		for _, k := range r.Branches[b].Rings {
			if a := &r.Rings[k].Across; a.Found {
				last = a.Plane.Normal
			}
			along[k] = last
		}
	}
	face := make([]bool, len(p.Mesh.Tris))
	for _, o := range p.Openings {
		for _, t := range o.Face {
			face[t] = true
		}
	}
	number := map[string]int{}
	byRing := make([]int, len(r.Rings))
	for k := range r.Rings {
		byRing[k] = -1
		if r.Rings[k].Branch < 0 {
			continue
		}
		name := p.Region(p.shape, int32(k))
		n, met := number[name]
		if !met {
			n = len(p.regions)
			number[name] = n
			p.regions = append(p.regions, region{name: name})
		}
		byRing[k] = n
	}
	sums := make([][2]geom.Sum, len(p.regions))
	skin := make([][2]float64, len(p.Mesh.Verts))
	for t, tri := range p.Mesh.Tris {
		if face[t] {
			continue
		}
		a, b, c := p.Mesh.Corners(t)
		n := b.Sub(a).Cross(c.Sub(a))
		third := n.Len() / 6
		for _, v := range tri {
			k := p.ringOf[v]
			if k < 0 || byRing[k] < 0 {
				continue
			}
			sums[byRing[k]][0].Add(third)
			skin[v][0] += third
			if n.Dot(along[k]) < float64(-p.draft*6*third) {
				sums[byRing[k]][1].Add(third)
				skin[v][1] += third
			}
		}
	}
	for n := range p.regions {
		p.regions[n].area, p.regions[n].under = sums[n][0].Total(), sums[n][1].Total()
	}
	for v, s := range skin {
		if s[0] > 0 {
			p.under[v] = float32(s[1] / s[0])
		}
	}
}
