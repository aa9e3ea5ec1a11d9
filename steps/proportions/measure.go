package proportions

import (
	"math"
	"slices"

	"layette/steps/internal/geom"
	"layette/steps/internal/limb"
)

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
