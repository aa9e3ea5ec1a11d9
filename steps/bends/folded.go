package bends

import (
	"fmt"
	"math"

	"layette/steps/internal/geom"
	"layette/steps/internal/limb"
)

// hinges are the joints of a limb that folds: the one between, and its end.
var hinges = map[limb.Shape][2]string{limb.Arm: {"elbow", "wrist"}, limb.Leg: {"knee", "ankle"}}

// foldedLimb sees to elbows and knees that fold so far that their skins meet:
// sections jump there, and the bend comes out short. The limb's direction near
// the opening against that at wrist or ankle is then the better measure; or,
// where skins have grown together, that of the way from the joint to wrist or
// ankle, or to where sections are those of one limb again if that lies farther
// back: either may be beside the limb, where it has grown into the other.
func (k *look) foldedLimb() {
	end, ok := k.Joint(hinges[k.shape][1])
	axis := k.Rings.Axis(0)
	if !ok || len(axis) < 8 {
		return
	}
	to := k.Rings.Rings[end.Ring].Level
	var start, stop, at geom.Vec
	n := 0.0
	top := axis[len(axis)/3]
	for _, p := range axis {
		l := k.Rings.Rings[p.Ring].Level
		if l > 0.05*to && l < 0.3*to {
			start, at, n = start.Add(p.Dir), at.Add(p.At), n+1
		} else if math.Abs(l-to) < 0.7*p.Radius {
			stop = stop.Add(p.Dir)
		}
		if l > 0.3*to && l < min(0.85*to, to-1.5*p.Radius) && p.Curve.Len()*p.Radius > top.Curve.Len()*top.Radius {
			top = p
		}
	}
	fold := 75 * math.Pi / 180
	if k.leaps > 0 {
		joint := k.cap(at.Mul(1/n), start.Unit(), (axis[len(axis)/3].Radius+axis[k.leaps].Radius)/2)
		stop, top.At, fold = end.At.Sub(joint), joint, 0
		if to := axis[k.leaps].At.Sub(joint); angle(start, to) > angle(start, stop) {
			stop = to
		}
	}
	turn := angle(start, stop)
	best := -1
	for i, b := range k.bends {
		if b.Branch == 0 && !k.beyond(b) && (best < 0 || b.Turn > k.bends[best].Turn) {
			best = i
		}
	}
	switch {
	case turn < fold || best >= 0 && (turn < k.bends[best].Turn || k.leaps == 0 && turn < k.bends[best].Turn+0.2):
	case best >= 0:
		k.bends[best].Turn = turn
	default:
		k.bends = append([]geom.Bend{{Ring: top.Ring, From: top.Ring, To: top.Ring, At: top.At, Skin: top.At, Side: stop.Sub(start).Unit(), Turn: turn, Limb: top.Radius}}, k.bends...)
	}
}

func angle(a, b geom.Vec) float64 { return math.Atan2(a.Cross(b).Len(), a.Dot(b)) }

// cap returns the middle of a limb's end as seen from the opening: a radius
// below where the line through its axis leaves the skin of elbow or knee.
func (k *look) cap(on, dir geom.Vec, radius float64) geom.Vec {
	top := 0.0
	for v, p := range k.Mesh.Verts {
		if d := p.Vec().Sub(on); k.Rings.Of[v] >= 0 && d.Cross(dir).Len() < radius/2 {
			top = max(top, d.Dot(dir))
		}
	}
	return on.Add(dir.Mul(top - radius))
}

// findLeap returns which point of the trunk's axis lies beyond a jump of more
// than six tenths of a radius before hand or foot: there an arm or leg lies on itself, skins
// have grown together and sections go through both its halves. 0 if none does.
func (k *look) findLeap() int {
	end, ok := k.Joint(hinges[k.shape][1])
	if !ok {
		return 0
	}
	axis := k.Rings.Axis(0)
	for i := 1; i < len(axis) && axis[i-1].Ring <= end.Ring; i++ { // hand and foot widen by leaps
		if p := axis[i-1]; axis[i].At.Sub(p.At).Len() > 0.6*max(p.Radius, axis[i].Radius) {
			return i
		}
	}
	return 0
}

// unknown reports whether the bend of an arm's elbow or a leg's knee cannot be
// told: none was found.
func (k *look) unknown() bool {
	joints, folds := hinges[k.shape]
	_, ok := k.Joint(joints[0])
	return folds && !ok
}

// grownTogether says where an arm or leg lies on itself so that skins have grown
// into one and no air is left inside its bend.
func (k *look) grownTogether() []string {
	if k.leaps == 0 {
		return nil
	}
	at := k.Rings.Rings[k.Rings.Axis(0)[k.leaps].Ring].Level
	return []string{fmt.Sprintf("the limb's sections jump %.1f mm from the opening: it lies on itself there and skins have grown together, or nearly; the %s's angle is that of the way on from it, to some 5 degrees", at, hinges[k.shape][0])}
}
