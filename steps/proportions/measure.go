package proportions

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/limb"
)

// found is all that is told of a part once its surface is put away. Places are
// about the mesh's origin.
type found struct {
	Size       map[string]float64  // mm by name: "hand", "upper", ...; only what was found
	At         map[string]geom.Vec // by name: "wrist", "tip.index", ...
	Far        float64             // how far along the skin the hand or foot begins; 0 if it is not known
	Opens      bool                // it has an opening
	Up, Foot   geom.Vec            // into the part, square to the opening, and the opening's middle
	Inside     bool                // its surface was inside out
	Hand       string              // the side that its hand is of; nothing where it cannot be told
	Origin     geom.Vec
	Middle     geom.Vec
	Skin       []geom.Vec // places spread over it
	Trunk, End []geom.Vec // the same without hand or foot, and of these alone
	Casting    []geom.Vec // the same but for the rim of the opening, as a casting is laid on it
	Notes      []string
}

// part is one part of the kit.
type part struct {
	found
	name  string // as the recipe calls it
	side  string // left, right or nothing
	shape limb.Shape
	file  step.File
	limb  *limb.Limb // while it is measured
}

func newPart(name string) *part {
	p := &part{name: name}
	p.side, p.shape = shapeOf(name)
	return p
}

// shapeOf tells a part's side and shape by its name.
func shapeOf(name string) (side string, shape limb.Shape) {
	for _, s := range []string{"left", "right"} {
		if strings.Contains(name, s) {
			side = s
		}
	}
	switch {
	case strings.Contains(name, "head"):
		return "", limb.Head
	case strings.Contains(name, "arm") || strings.Contains(name, "hand"):
		return side, limb.Arm
	case strings.Contains(name, "leg") || strings.Contains(name, "foot"):
		return side, limb.Leg
	}
	return side, limb.Other
}

func (p *part) note(format string, args ...any) {
	p.Notes = append(p.Notes, p.name+": "+fmt.Sprintf(format, args...))
}

// look measures a part. What cannot be found is left out and said.
func look(ctx context.Context, name string, m *geom.Mesh, workers int) (*part, error) {
	p := newPart(name)
	p.Size, p.At, p.Origin = map[string]float64{}, map[string]geom.Vec{}, m.Origin
	l, err := limb.New(ctx, m, limb.Want{Shape: p.shape, Spacing: 1, Strays: 0.3, Workers: workers})
	if err != nil {
		return nil, err
	}
	p.limb, p.Inside, p.Middle = l, l.Inside, l.Mesh.Bounds().Centre()
	for _, n := range l.Notes {
		p.note("%s", n)
	}
	if p.Opens = len(l.Openings) > 0; p.Opens {
		p.Up, p.Foot = l.Openings[0].Plane.Normal.Mul(-1), l.Openings[0].Centre
	}
	switch p.shape {
	case limb.Head:
		err = p.head(ctx)
	case limb.Arm:
		p.arm()
	case limb.Leg:
		p.leg()
	}
	p.Hand = p.handed()
	p.spread()
	return p, err
}

// head takes the greatest tape over planes level with the opening, above the
// ears, and its extents there.
func (p *part) head(ctx context.Context) error {
	up, foot := p.Up, p.Foot
	if !p.Opens {
		p.note("without an opening it cannot be told which way is up: the head is not measured")
		return nil
	}
	cutter, err := geom.NewCutter(p.limb.Mesh, p.limb.Edges)
	if err != nil {
		p.note("the head is not closed, its girth cannot be taken: %v", err)
		return nil
	}
	tall := 0.0
	for _, q := range p.limb.Mesh.Verts {
		tall = max(tall, q.Vec().Sub(foot).Dot(up))
	}
	p.Size["head.tall"] = tall
	best, top := tape{}, geom.Vec{}
	level := func(down float64) geom.Vec { return foot.Add(up.Mul(tall - down)) }
	for down := 0.1 * tall; down < 0.8*tall; down += 0.02 * tall {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		t := around(cutter, up, level(down))
		if down > aboveEars*max(t.long, best.long) {
			break
		}
		if t.girth > best.girth {
			best, top = t, level(down)
		}
	}
	for step := 0.01 * tall; step > 0.1; step /= 2 {
		for _, s := range [2]float64{step, -step} {
			if t := around(cutter, up, top.Add(up.Mul(s))); t.girth > best.girth {
				best, top = t, top.Add(up.Mul(s))
			}
		}
	}
	if best.girth > 0 {
		p.Size["head.girth"], p.Size["head.long"], p.Size["head.broad"] = best.girth, best.long, best.broad
		p.At["head.girth"] = best.mid
	}
	return nil
}

// aboveEars is how far below the crown the tape may lie, against the head's
// length there: ears begin lower. Common practice, by eye.
const aboveEars = 0.45

// tape is a level section with a tape round it.
type tape struct {
	girth, long, broad float64 // mm; broad is square to long, the greatest extent
	mid                geom.Vec
}

// around pulls a tape round the widest section in the plane through at.
func around(c *geom.Cutter, normal, at geom.Vec) tape {
	plane := geom.Plane{Normal: normal, Offset: normal.Dot(at)}
	sections, err := c.Sections(plane, nil)
	if err != nil {
		return tape{}
	}
	var best tape
	for i := range sections {
		ring := sections[i].Outline()
		if g := geom.Tape(ring, normal); g > best.girth {
			best = tape{girth: g, mid: sections[i].Mid}
			best.long, best.broad = extents(ring, normal)
		}
	}
	return best
}

// extents returns the greatest extent of a level outline, and that square to it.
func extents(ring []geom.Vec, n geom.Vec) (long, broad float64) {
	u := geom.Vec{X: 1}
	if math.Abs(n.X) > 0.7 {
		u = geom.Vec{Y: 1}
	}
	u = n.Cross(u).Unit()
	w := n.Cross(u)
	extent := func(d geom.Vec) float64 {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, p := range ring {
			x := p.Dot(d)
			lo, hi = min(lo, x), max(hi, x)
		}
		return hi - lo
	}
	const n180 = 180 // a degree each: the longest is right to 1 in 6,000
	turn := geom.SmallTurn(n.Mul(math.Pi / n180))
	for range n180 {
		if e := extent(u); e > long {
			long, broad = e, extent(w)
		}
		u, w = turn.Apply(u), turn.Apply(w)
	}
	return long, broad
}

// tapeAt pulls a tape round the limb at a ring.
func (p *part) tapeAt(ring int32) float64 { return p.limb.Rings.Rings[ring].Across.Tape }

// nearTo returns the ring of the trunk whose section lies nearest to a place.
func (p *part) nearTo(at geom.Vec) (int32, bool) {
	best, dist := int32(-1), math.Inf(1)
	for _, k := range p.limb.Rings.Branches[0].Rings {
		a := &p.limb.Rings.Rings[k].Across
		if d := a.Mid.Sub(at).Len(); a.Found && d < dist {
			best, dist = k, d
		}
	}
	return best, best >= 0
}

// joints measures from the opening to the bend, on to the narrow place, and
// round the middle of the first.
func (p *part) joints(bend, narrow string) {
	foot := p.Foot
	b, hasBend := p.limb.Joint(bend)
	n, hasNarrow := p.limb.Joint(narrow)
	if hasNarrow {
		p.Size[narrow] = p.tapeAt(n.Ring)
		n = p.crease(n)
		p.At[narrow], p.Far = n.At, p.limb.Rings.Rings[n.Ring].Level
	} else {
		p.note("no %s was found", narrow)
	}
	if !p.Opens || !hasBend {
		return
	}
	p.At[bend] = b.At
	p.Size["upper"] = b.At.Sub(foot).Len()
	if k, ok := p.nearTo(foot.Add(b.At).Mul(0.5)); ok {
		p.Size["mid"] = p.tapeAt(k)
	}
	if hasNarrow {
		p.Size["lower"] = n.At.Sub(b.At).Len()
	}
}

// crease returns where hand or foot begins: the narrowest place lies before the
// joint, and the tape rises most steeply across it. It is looked for within a
// radius beyond the narrowest place, half of it at a time. A joint that a
// person placed stays. By eye, on the invented child: common practice, no source.
func (p *part) crease(narrowest limb.Joint) limb.Joint {
	rings := p.limb.Rings.Branches[0].Rings
	k := slices.Index(rings, narrowest.Ring)
	if narrowest.Pinned || k < 0 {
		return narrowest
	}
	radius := p.tapeAt(narrowest.Ring) / (2 * math.Pi)
	type place struct {
		ring int32
		far  float64 // from the narrowest place
	}
	var way []place
	far, last := 0.0, narrowest.At
	for _, r := range rings[k:] {
		if a := &p.limb.Rings.Rings[r].Across; a.Found {
			far += a.Mid.Sub(last).Len()
			way, last = append(way, place{r, far}), a.Mid
		}
	}
	best, steepest := narrowest, 0.0
	for i, from := range way {
		j := i
		for j < len(way) && way[j].far < from.far+radius/2 {
			j++
		}
		if j == len(way) || (from.far+way[j].far)/2 > radius {
			break
		}
		if slope := (p.tapeAt(way[j].ring) - p.tapeAt(from.ring)) / (way[j].far - from.far); slope > steepest {
			steepest, best.Ring = slope, way[(i+j)/2].ring
			best.At = p.limb.Rings.Rings[best.Ring].Across.Mid
		}
	}
	return best
}

// arm measures upper arm, forearm and hand: the hand from the wrist to where
// the middle finger leaves it, and on along the finger to its tip.
func (p *part) arm() {
	p.joints("elbow", "wrist")
	if len(p.limb.Digits) != 5 {
		p.note("%d fingers stand free, not five: fingers are not measured", len(p.limb.Digits))
		return
	}
	for i, b := range p.limb.Digits {
		name := p.limb.DigitName(limb.Arm, i)
		long, tip := p.finger(b)
		p.Size["finger."+name], p.At["tip."+name] = long, tip
	}
	wrist, ok := p.At["wrist"]
	knuckle, ok2 := p.limb.Joint("knuckle.middle")
	if ok && ok2 {
		p.Size["palm"] = knuckle.At.Sub(wrist).Len()
		p.Size["hand"] = p.Size["palm"] + p.Size["finger.middle"]
	}
}

// finger returns the length of a branch along its axis, up to the tip, and the tip.
func (p *part) finger(b int32) (float64, geom.Vec) {
	branch := &p.limb.Rings.Branches[b]
	tip := p.limb.Mesh.Verts[branch.Tip].Vec()
	long, last := 0.0, geom.Vec{}
	for i, k := range branch.Rings {
		a := &p.limb.Rings.Rings[k].Across
		if i > 0 && !a.Found {
			continue
		}
		if i > 0 {
			long += a.Mid.Sub(last).Len()
		}
		last = a.Mid
	}
	return long + tip.Sub(last).Len(), tip
}

// farthest returns the place of the hand or foot farthest from v.
func (p *part) farthest(v geom.Vec) geom.Vec {
	best, most := v, -1.0
	for i, d := range p.limb.Rings.Dist {
		if float64(d) < p.Far || math.IsInf(float64(d), 1) {
			continue
		}
		if q := p.limb.Mesh.Verts[i].Vec(); q.Sub(v).Len2() > most {
			best, most = q, q.Sub(v).Len2()
		}
	}
	return best
}

// leg measures thigh, shin and foot: the foot between its two
// places that lie farthest apart, a toe and the heel.
func (p *part) leg() {
	p.joints("knee", "ankle")
	if p.Far == 0 || !p.Opens {
		return
	}
	toe, heel := p.Foot, geom.Vec{}
	for range 3 { // from one end of the foot to the farther, back and forth
		heel, toe = toe, p.farthest(toe)
	}
	p.Size["foot"] = heel.Sub(toe).Len()
	p.At["toe"], p.At["heel"] = toe, heel
}

// handed returns the side that an arm's hand is of, or nothing where it cannot
// be told: fingers forward, palm down, the thumb of a right hand lies left.
// Fingers curl from the line of the hand toward the palm.
func (p *part) handed() string {
	wrist, ok := p.At["wrist"]
	if p.shape != limb.Arm || len(p.limb.Digits) != 5 || !ok {
		return ""
	}
	r := p.limb.Rings
	var roots [5]geom.Vec
	var mid, forward geom.Vec
	for i, b := range p.limb.Digits {
		roots[i] = r.Rings[r.Branches[b].Rings[0]].Centre
		if i > 0 {
			mid = mid.Add(roots[i].Mul(0.25))
			forward = forward.Add(p.limb.Mesh.Verts[r.Branches[b].Tip].Vec().Sub(roots[i]).Unit())
		}
	}
	back := mid.Sub(wrist).Unit().Sub(forward.Unit())
	across := roots[1].Sub(roots[4]).Unit() // to the index from the little finger
	side := forward.Unit().Cross(across).Dot(back)
	switch { // fingers straight to 9 degrees do not tell
	case side > 0.15:
		return "right"
	case side < -0.15:
		return "left"
	}
	return ""
}
