package bends

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/limb"
)

// What spots are called.
const (
	sharp   = "sharp bend"
	tightIn = "tight inside of a bend"
	mild    = "bend"
	curled  = "curled over"
	folded  = "folded on itself"
)

// find is a spot with what the table says of it.
type find struct {
	spot                        step.Spot
	place                       string
	angle, inside, radius, limb float64 // degrees, mm
	air, level                  float64 // mm; air is 0 where none was measured
	advice                      string
}

// finds lists bends and near skins, faults first, the gravest first.
func (k *look) finds() []find {
	var list []find
	for _, b := range k.bends {
		list = append(list, k.bendFind(b))
	}
	for _, n := range k.nears {
		list = append(list, k.nearFind(n))
	}
	weight := func(f find) float64 {
		if f.air > 0 {
			return 2 - f.air/k.least
		}
		return f.angle / k.most
	}
	slices.SortStableFunc(list, func(a, b find) int {
		if a.spot.Fault != b.spot.Fault {
			if a.spot.Fault {
				return -1
			}
			return 1
		}
		return cmp.Compare(weight(b), weight(a))
	})
	return list
}

func (k *look) bendFind(b geom.Bend) find {
	f := find{place: k.Where(k.shape, b.Ring), angle: b.Turn * 180 / math.Pi, inside: b.Inside, radius: b.Radius, limb: b.Limb, level: k.Rings.Rings[b.Ring].Level}
	f.spot = step.Spot{
		What: mild, At: k.At(b.Skin), To: k.At(b.At), Radius: limb.Round(b.Limb, 0.01), Value: limb.Round(f.angle, 0.1), Unit: "deg", Surface: "surface", Ring: k.Outline(b.Ring),
	}
	says := fmt.Sprintf("the %s bends by %.0f degrees, %.1f mm inside radius, %.1f mm from the opening", f.place, f.angle, f.inside, f.level)
	switch {
	case k.beyond(b):
		f.advice = "none"
		f.spot.Says = says + "; hand and foot turn there by themselves, it is not judged"
	case f.angle > k.most:
		f.spot.What, f.spot.Fault = sharp, true
		f.advice = fmt.Sprintf("open it to %.0f degrees", k.most)
		f.spot.Says = says + fmt.Sprintf(": vinyl gathers thick inside so sharp a bend, and the part hangs there when it is pulled; %s", f.advice)
	case f.angle > k.judged && f.inside < k.inside:
		f.spot.What, f.spot.Fault = tightIn, true
		f.advice = fmt.Sprintf("fill the inside to a radius of %.1f mm, or open it to %.0f degrees", k.inside, k.judged)
		f.spot.Says = says + fmt.Sprintf(", %.1f mm asked for: vinyl bridges the crease; %s", k.inside, f.advice)
	default:
		f.advice = "none"
		f.spot.Says = says
	}
	return f
}

// beyond reports whether a bend of the trunk lies in the hand or foot, or where
// that begins: they are no tubes, and turn away from the limb by themselves.
func (k *look) beyond(b geom.Bend) bool {
	for _, name := range [...]string{"wrist", "ankle"} {
		if j, ok := k.Joint(name); ok && b.Branch == 0 && k.Rings.Rings[b.Ring].Level > k.Rings.Rings[j.Ring].Level-b.Limb {
			return true
		}
	}
	return false
}

func (k *look) nearFind(n near) find {
	ring := k.ringAt(n.branch, n.level)
	f := find{place: k.Region(k.shape, ring), air: n.air, level: n.level}
	joint, turn := k.bendBetween(n)
	f.angle = turn
	f.spot = step.Spot{
		At: k.At(n.at), To: k.At(n.to), Radius: limb.Round(max(n.air, 1), 0.01), Value: limb.Round(n.air, 0.001), Unit: "mm", Surface: "surface", Fault: true,
	}
	what := "folds onto itself"
	f.spot.What = folded
	if k.shape == limb.Head {
		return k.headNear(f)
	}
	if n.branch != n.other || f.place == "hand" || k.amongDigits(n) {
		f.spot.What = curled
		if what = "is curled over the " + k.Region(k.shape, k.ringAt(n.other, n.under)); what == "is curled over the "+f.place {
			f.place, what = "end of a branch of the "+f.place, "is curled over it"
		}
	}
	if n.air <= k.touch {
		f.spot.Fault = false
		f.advice = "none"
		f.spot.Says = fmt.Sprintf("the %s %s and touches: join the skins so that no crevice is left between", f.place, what)
		return f
	}
	arm := max(n.at.Sub(joint).Len(), 1)
	by := (k.least - n.air) / arm * 180 / math.Pi
	f.advice = fmt.Sprintf("open by %.0f degrees or more, or close until it touches", math.Ceil(by))
	if turn > 0 {
		f.advice = fmt.Sprintf("open it to %.0f degrees or less, or close it until it touches", math.Floor(turn-by))
	}
	f.spot.Says = fmt.Sprintf("the %s %s with %.2f mm of air, %.2f mm asked for: metal does not plate into so thin a gap and vinyl webs it; %s", f.place, what, n.air, k.least, f.advice)
	return f
}

// headNear says of skin of a head that faces itself, as lips and lids do: no
// limb opens there.
func (k *look) headNear(f find) find {
	f.angle = 0
	if f.air <= k.touch {
		f.spot.Fault, f.advice = false, "none"
		f.spot.Says = "the head's skin touches itself: join the skins so that no crevice is left between"
		return f
	}
	f.advice = fmt.Sprintf("widen it to %.2f mm, or close it until it touches", k.least)
	f.spot.Says = fmt.Sprintf("the head's skin faces itself across %.2f mm of air, %.2f mm asked for: metal does not plate into so thin a gap and vinyl webs it; %s", f.air, k.least, f.advice)
	return f
}

// amongDigits reports whether skins of the trunk face one another beyond where
// the first of several fingers leaves it: a finger that curls over before it can
// be told from the hand.
func (k *look) amongDigits(n near) bool {
	if n.branch != 0 || n.other != 0 || len(k.Digits) < 3 {
		return false
	}
	first := math.Inf(1)
	for _, b := range k.Digits {
		first = min(first, k.Rings.Rings[k.Rings.Branches[b].Rings[0]].Level)
	}
	return n.level > first
}

// ringAt returns the ring of a branch nearest to a level.
func (k *look) ringAt(b int32, level float64) int32 {
	best, off := int32(-1), math.Inf(1)
	for _, r := range k.Rings.Branches[b].Rings {
		if d := math.Abs(k.Rings.Rings[r].Level - level); d < off {
			best, off = r, d
		}
	}
	return best
}

// bendBetween returns where the limb turns between two near skins, and by how
// many degrees in all: the greatest bend between them is the joint to open. Without
// one it is the knuckle, and the turn unknown: 0.
func (k *look) bendBetween(n near) (joint geom.Vec, degrees float64) {
	joint = k.Rings.Rings[k.Rings.Branches[n.branch].Rings[0]].Across.Mid
	best := 0.0
	for _, b := range k.bends {
		level := k.Rings.Rings[b.Ring].Level
		if b.Branch == n.branch && level < n.level && (n.branch != n.other || level > n.under) {
			degrees += b.Turn * 180 / math.Pi
			if b.Turn > best {
				best, joint = b.Turn, b.At
			}
		}
	}
	return joint, degrees
}

// measures turns finds into the numbers that gates judge.
func (k *look) measures(finds []find) map[string]any {
	m := map[string]any{"bends.count": int64(len(k.bends)), "bends.sharpest": 0.0, "bends.sharpest-place": "none", "inside.least": math.Inf(1), "air.least": k.least}
	inside, angles, radii := 200.0, []float64{}, []float64{}
	for _, b := range k.bends {
		turn := b.Turn * 180 / math.Pi
		angles, radii = append(angles, turn), append(radii, min(b.Inside, 200))
		if k.beyond(b) {
			continue
		}
		if turn > m["bends.sharpest"].(float64) {
			m["bends.sharpest"], m["bends.sharpest-place"] = turn, k.Where(k.shape, b.Ring)
		}
		if turn > k.judged {
			inside = min(inside, b.Inside)
		}
	}
	m["inside.least"], m["bends.angles"], m["bends.radii"] = inside, angles, radii
	count := map[string]int64{}
	for _, f := range finds {
		if f.spot.Fault {
			count[f.spot.What]++
		}
		if f.air > k.touch {
			m["air.least"] = min(m["air.least"].(float64), f.air)
		}
		if f.air > 0 && f.air <= k.touch {
			count["touching"]++
		}
	}
	m["bends.unknown"] = int64(0)
	if k.unknown() {
		m["bends.unknown"] = int64(1)
	}
	m["bends.too-sharp"], m["inside.spots"] = count[sharp], count[tightIn]
	m["air.curled"], m["air.folded"], m["air.touching"] = count[curled], count[folded], count["touching"]
	m["digits"], m["opening.count"] = int64(len(k.Digits)), int64(len(k.Openings))
	for _, j := range [...]string{"elbow", "wrist", "knee", "ankle"} {
		turn := 0.0
		if joint, ok := k.Joint(j); ok {
			for _, b := range k.bends {
				if math.Abs(k.Rings.Rings[b.Ring].Level-k.Rings.Rings[joint.Ring].Level) <= 1.2*b.Limb && b.Branch == k.Rings.Rings[joint.Ring].Branch {
					turn = max(turn, b.Turn*180/math.Pi)
				}
			}
		}
		m["joint."+j] = turn
	}
	return m
}

// notes says what people should know beside the spots.
func (k *look) notes() []string {
	var notes []string
	if k.shape == limb.Head {
		notes = append(notes, "a head is no limb: only its skin near itself is looked at")
	}
	if k.shape == limb.Arm && len(k.Digits) != 5 {
		notes = append(notes, fmt.Sprintf("%d branches end in a tip, not five: fingers that are joined, or too short to be told from the hand, are not looked at one by one", len(k.Digits)))
	}
	notes = append(notes, k.grownTogether()...)
	for _, b := range k.Rings.Branches {
		if b.Meets >= 0 {
			notes = append(notes, fmt.Sprintf("the %s runs into another branch: skins are joined there", k.Region(k.shape, b.Rings[0])))
		}
	}
	return notes
}
