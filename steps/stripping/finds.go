package stripping

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/limb"
)

// What spots are called.
const (
	tight    = "stretch"
	hooked   = "catches"
	hanging  = "hangs"
	straight = "bend to be straightened"
)

// mostSpots is how many spots the sheet shows.
const mostSpots = 100

// spots lists what stands in the way, the gravest first.
func (p *pull) spots() []step.Spot {
	list := slices.Concat(p.tightSpots(), p.hookedSpots(), p.hangingSpots(), p.bentSpots())
	slices.SortStableFunc(list, func(a, b step.Spot) int {
		if a.Fault != b.Fault {
			if a.Fault {
				return -1
			}
			return 1
		}
		return cmp.Compare(weight(b), weight(a))
	})
	list = list[:min(len(list), mostSpots)]
	for i := range list {
		list[i].Number = i + 1
	}
	return list
}

// weight makes spots of different sorts comparable: stretch as it is, angles
// by right angles, lengths by 15 mm.
func weight(s step.Spot) float64 {
	switch s.What {
	case tight:
		return s.Value / 100
	case hanging:
		return s.Value / 15
	}
	return s.Value / 90
}

// tightSpots has one spot for each region of a branch that stretches more than
// is easy, at its worst ring.
func (p *pull) tightSpots() []step.Spot {
	if p.passes == nil {
		return nil
	}
	var list []step.Spot
	for _, b := range p.Rings.Branches {
		worst, name := int32(-1), ""
		for i, k := range b.Rings {
			if here := p.Region(p.shape, k); here != name {
				worst, name = -1, here
			}
			if p.passes[k].stretch > p.warn && (worst < 0 || p.passes[k].stretch > p.passes[worst].stretch) {
				worst = k
			}
			if worst >= 0 && (i == len(b.Rings)-1 || p.Region(p.shape, b.Rings[i+1]) != name) {
				list = append(list, p.tightSpot(worst))
			}
		}
	}
	return list
}

func (p *pull) tightSpot(k int32) step.Spot {
	q, g := p.passes[k], &p.Rings.Rings[k]
	girth, hole := p.size(k).girth, p.size(q.limit)
	where, to := "the opening", p.Openings[0].Centre
	if q.limit >= 0 {
		h := &p.Rings.Rings[q.limit]
		name := p.Region(p.shape, q.limit)
		if p.shape == limb.Head {
			name = "neck"
		}
		where, to = fmt.Sprintf("the %s %.1f mm in", name, h.Level), h.Across.Mid
	}
	wider := hole.girth * (1 + q.stretch) / (1 + p.warn)
	folded := ""
	if q.byGirth > q.byArea+0.005 {
		folded = fmt.Sprintf(" folded, %.0f %% unfolded", 100*q.byGirth)
	}
	judged := fmt.Sprintf("more than the %.0f %% that is easy", 100*p.warn)
	if q.stretch > p.fail {
		judged = fmt.Sprintf("over the %.0f %% that is allowed: it tears or stays in the mould", 100*p.fail)
	}
	return step.Spot{
		What: tight, At: p.At(g.Across.Mid), To: p.At(to), Radius: limb.Round(math.Sqrt(g.Across.Area/math.Pi), 0.01),
		Value: limb.Round(100*q.stretch, 0.1), Unit: "%", Surface: "surface", Fault: q.stretch > p.fail, Ring: p.Outline(k),
		Says: fmt.Sprintf("the %s, %.1f mm round %.1f mm from the opening, has to pass %s, %.1f mm round: it stretches %.0f %%%s, %s. Widen the narrow place to %.0f mm round, or slim the wide one to %.0f mm",
			p.Region(p.shape, k), girth, g.Level, where, hole.girth, 100*q.stretch, folded, judged, wider, girth*(1+p.warn)/(1+q.stretch)),
	}
}

// hookedSpots has one spot for each digit or other branch that points back
// towards the opening: it catches like a barb.
func (p *pull) hookedSpots() []step.Spot {
	var list []step.Spot
	for _, b := range p.barbs() {
		if b.angle <= p.catch {
			continue
		}
		list = append(list, step.Spot{
			What: hooked, At: p.At(b.tip), To: p.At(b.root), Radius: limb.Round(b.tip.Sub(b.root).Len()/2, 0.01), Value: limb.Round(b.angle, 0.1), Unit: "deg", Surface: "surface", Fault: b.angle > 120,
			Says: fmt.Sprintf("%s points back, %.0f degrees from the way into the mould, and catches when the part is pulled: it has to fold over in its hole. Turn it to under %.0f degrees", b.name, b.angle, p.catch),
		})
	}
	return list
}

// barb is what may point back: a branch that ends in a tip, or a thorn.
type barb struct {
	name      string
	angle     float64 // from the way into the mould, degrees
	root, tip geom.Vec
}

// barbs lists them; none where it is not known which way the part is pulled.
// Bumps shorter than a twenty-fifth of the part do not catch.
func (p *pull) barbs() []barb {
	if p.passes == nil {
		return nil
	}
	short := 0.04 * float64(p.Rings.Dist[p.farthest()])
	var list []barb
	for _, b := range p.Rings.Branches {
		if b.Parent < 0 || b.Tip < 0 || b.Long < short {
			continue
		}
		if angle, root, tip, ok := p.lean(&b); ok {
			list = append(list, barb{"the " + p.Region(p.shape, b.Rings[0]), angle, root, tip})
		}
	}
	for _, t := range p.Rings.Thorns {
		from, root, tip := &p.Rings.Rings[t.From], p.Rings.Rings[t.Root].Centre, p.Mesh.Verts[t.Tip].Vec()
		if tip.Sub(root).Len() >= short {
			name := "what stands out of the " + p.Region(p.shape, t.From)
			list = append(list, barb{name, degrees(t.Out.Dot(p.wayPast(p.Rings.Branches[from.Branch].Rings, from, root, tip))), root, tip})
		}
	}
	return list
}

// hang is something that hangs towards the opening farther than it is thick.
type hang struct {
	geom.Hang
	deep float64 // mm
}

// hangs lists what hangs beside the part: ears, on a head. What is not so long
// as the radius of a disc with the area of its root, and a fifth, is a bulge
// such as a chin and does not catch; nor does less than two walls.
func (p *pull) hangs() []hang {
	var list []hang
	for _, h := range p.Rings.Hangs {
		g := &p.Rings.Rings[h.Root]
		deep := g.Level + p.Rings.Spacing/2 - float64(p.Rings.Dist[h.Low]) // it runs in before the next level
		if deep > 1.2*math.Sqrt(g.Area/math.Pi) && deep > 2*p.wall {
			list = append(list, hang{h, deep})
		}
	}
	return list
}

// hangingSpots has one spot for each: it sits in a cup of metal, and has to
// fold up out of it.
func (p *pull) hangingSpots() []step.Spot {
	var list []step.Spot
	for _, h := range p.hangs() {
		g := &p.Rings.Rings[h.Root]
		says := fmt.Sprintf("an ear or flap hangs %.1f mm towards the opening and sits in a cup of the mould: it has to fold up to come out", h.deep)
		if h.deep > p.hook {
			says += fmt.Sprintf(". It catches: lay it against the part, or let it hang %.1f mm at most", p.hook)
		}
		list = append(list, step.Spot{
			What: hanging, At: p.At(p.Mesh.Verts[h.Low].Vec()), To: p.At(g.Centre), Radius: limb.Round(h.deep/2, 0.01), Value: limb.Round(h.deep, 0.01), Unit: "mm", Surface: "surface",
			Fault: h.deep > p.hook, Ring: p.Outline(h.Root), Says: says,
		})
	}
	return list
}

// lean returns the angle between a branch that ends in a tip and the limb that
// it leaves, in degrees, with the middle of its root and its tip.
func (p *pull) lean(b *geom.Branch) (angle float64, root, tip geom.Vec, ok bool) {
	root, tip = p.Rings.Rings[b.Rings[0]].Centre, p.Mesh.Verts[b.Tip].Vec()
	from := p.Rings.Branches[b.Parent].Rings
	way := p.wayIn(from, &p.Rings.Rings[from[len(from)-1]])
	out := p.direction(b.Rings, func(float64) bool { return true })
	if out == (geom.Vec{}) {
		out = tip.Sub(root).Unit()
	}
	return degrees(out.Dot(way)), root, tip, way != geom.Vec{}
}

// wayIn returns the direction of a limb before one of its rings, from one to
// four radii: of all the rings given if it is not so long.
func (p *pull) wayIn(rings []int32, fork *geom.Ring) geom.Vec {
	wide := math.Sqrt(fork.Area / math.Pi)
	way := p.direction(rings, func(level float64) bool { return fork.Level-level > wide && fork.Level-level < 4*wide })
	if way == (geom.Vec{}) {
		way = p.direction(rings, func(level float64) bool { return level <= fork.Level })
	}
	return way
}

// wayPast returns the direction of a limb past a thorn: from the middle of the
// last section before root and tip to that of the first a radius beyond, or from
// the opening to the former. Sections through a thorn lean towards it.
func (p *pull) wayPast(rings []int32, from *geom.Ring, root, tip geom.Vec) geom.Vec {
	way, wide := p.wayIn(rings, from), math.Sqrt(from.Area/math.Pi)
	back := wide + max(0, root.Sub(tip).Dot(way))
	start := p.Openings[0].Centre
	before := start
	for _, k := range rings {
		g := &p.Rings.Rings[k]
		switch {
		case !g.Across.Found:
		case g.Level <= from.Level-back:
			before = g.Across.Mid
		case g.Level >= from.Level+wide:
			if on := g.Across.Mid.Sub(before).Unit(); on.Dot(way) > 0.9 {
				return on
			} else if on = before.Sub(start); on.Len() > wide {
				return on.Unit() // a joint lies between
			}
			return way
		}
	}
	return way
}

// direction returns the mean direction of the sections at some levels.
func (p *pull) direction(rings []int32, at func(level float64) bool) geom.Vec {
	var sum geom.Vec
	for _, k := range rings {
		if g := &p.Rings.Rings[k]; g.Across.Found && at(g.Level) {
			sum = sum.Add(g.Across.Plane.Normal)
		}
	}
	return sum.Unit()
}

// farthest returns the vertex farthest from the opening.
func (p *pull) farthest() int32 {
	best := int32(0)
	for v, k := range p.ringOf {
		if k >= 0 && (p.ringOf[best] < 0 || p.Rings.Dist[v] > p.Rings.Dist[best]) {
			best = int32(v)
		}
	}
	return best
}

func degrees(cos float64) float64 { return math.Acos(min(1, max(-1, cos))) * 180 / math.Pi }

// bentSpots has one spot for each bend that has to be straightened on the way.
func (p *pull) bentSpots() []step.Spot {
	var list []step.Spot
	for _, b := range p.bends() {
		turn := b.Turn * 180 / math.Pi
		list = append(list, step.Spot{
			What: straight, At: p.At(b.Skin), To: p.At(b.At), Radius: limb.Round(b.Limb, 0.01), Value: limb.Round(turn, 0.1), Unit: "deg", Surface: "surface",
			Says: fmt.Sprintf("the part bends by %.0f degrees at the %s, %.1f mm from the opening: what lies beyond has to be straightened as it is pulled through, so pull it warm and turn it out along the bend", turn, p.Where(p.shape, b.Ring), p.Rings.Rings[b.Ring].Level),
		})
	}
	return list
}

// bends returns the bends of the trunk that matter when pulling.
func (p *pull) bends() []geom.Bend {
	if p.shape == limb.Head {
		return nil
	}
	return p.Rings.Bends(0, p.bend*math.Pi/180)
}

// measures turns what was found into the numbers that gates judge.
func (p *pull) measures() map[string]any {
	nan := math.NaN()
	m := map[string]any{
		"opening.count": int64(len(p.Openings)), "opening.flat": nan, "opening.area": nan, "opening.girth": nan,
		"rings": int64(len(p.Rings.Rings)), "branches": int64(len(p.Digits)),
		"stretch.greatest": nan, "stretch.at": nan, "stretch.girth": nan, "stretch.limit-at": nan, "stretch.limit-girth": nan,
		"stretch.place": "unknown", "stretch.limit-place": "unknown", "stretch.grade": "unknown", "fold.fullness": nan,
	}
	if len(p.Openings) > 0 {
		o := &p.Openings[0]
		m["opening.flat"], m["opening.area"], m["opening.girth"] = o.Flat, o.Area, o.Girth
	}
	if k := p.worst(); k >= 0 {
		q := p.passes[k]
		m["stretch.greatest"], m["stretch.at"], m["stretch.girth"] = q.stretch, p.Rings.Rings[k].Level, p.size(k).girth
		m["stretch.limit-at"], m["stretch.limit-girth"], m["stretch.limit-place"] = 0.0, p.size(q.limit).girth, "opening"
		if q.limit >= 0 {
			m["stretch.limit-at"], m["stretch.limit-place"] = p.Rings.Rings[q.limit].Level, p.Region(p.shape, q.limit)
		}
		m["stretch.place"], m["stretch.grade"] = p.Region(p.shape, k), p.grade(q.stretch)
		full := 0.0
		for k := range p.passes {
			full = max(full, p.passes[k].full)
		}
		m["fold.fullness"] = full
	}
	var area, under float64
	m["undercut.greatest"], m["undercut.place"] = 0.0, "none"
	for _, r := range p.regions {
		area, under = area+r.area, under+r.under
		if share := r.under / max(r.area, 1e-9); share > m["undercut.greatest"].(float64) {
			m["undercut.greatest"], m["undercut.place"] = share, r.name
		}
	}
	m["undercut.share"] = under / max(area, 1e-9)
	if p.passes == nil {
		m["undercut.share"], m["undercut.greatest"], m["undercut.place"] = nan, nan, "unknown"
	}
	lean := 0.0
	for _, b := range p.barbs() {
		lean = max(lean, b.angle)
	}
	if p.passes == nil {
		lean = nan
	}
	deepest, caught := 0.0, int64(len(p.hookedSpots()))
	for _, h := range p.hangs() {
		deepest = max(deepest, h.deep)
		if h.deep > p.hook {
			caught++
		}
	}
	m["catch.angle"], m["catch.hook"], m["catch.spots"] = lean, deepest, caught
	turn, bends := 0.0, p.bends()
	for _, b := range bends {
		turn = max(turn, b.Turn*180/math.Pi)
	}
	m["bends.angle"], m["bends.count"] = turn, int64(len(bends))
	return m
}

func (p *pull) grade(e float64) string {
	switch {
	case e > p.fail:
		return "fail"
	case e > p.warn:
		return "warn"
	}
	return "pass"
}

// notes says what people should know beside the spots.
func (p *pull) notes() []string {
	var notes []string
	if p.passes == nil {
		return []string{"without an opening it is not known through what the part is pulled: stretch is unknown and holds its gate"}
	}
	var shares []string
	for _, r := range p.regions {
		if share := r.under / max(r.area, 1e-9); share >= 0.005 {
			shares = append(shares, fmt.Sprintf("%s %.0f %%", r.name, 100*share))
		}
	}
	if len(shares) > 0 {
		notes = append(notes, "undercut skin by region: "+strings.Join(shares, ", ")+". Soft vinyl gives way there; what counts is the stretch")
	}
	return notes
}
