package gaps

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// corners finds crevices, lines and inside corners sharper than asked for.
func (l *look) corners() []find {
	var all []find
	keep := func(i int32) bool {
		return l.class[i] == crevice || l.class[i] == corner && float64(l.air[i].Radius) < max(2*l.corner, l.skin.Edge)
	}
	for _, members := range l.clusters(l.air, keep) {
		if f, ok := l.cornerFind(members); ok {
			all = append(all, f)
		}
	}
	return all
}

func (l *look) cornerFind(members []int32) (find, bool) {
	tight := slices.MinFunc(members, func(a, b int32) int { return cmp.Compare(l.radius(a), l.radius(b)) })
	n := l.lineOf(members, l.widest)
	f := find{what: tightCorner, value: l.radius(tight), unit: "mm", width: n.width, depth: n.depth, ratio: n.depth / max(n.width, 1e-6)}
	f.pinch = pinch{wide: n.width, at: l.at(tight), to: l.at(l.air[tight].Touch), p: tight, q: l.air[tight].Touch}
	f.angle = l.opening(members, n.angle)
	f.area, f.reach = l.area(l.air, members, math.Inf(1), f.pinch.at)
	if f.fault = f.value < l.corner && l.filling(f.value, f.angle) > l.rough; f.fault && !l.tells(members, f.angle) {
		f.fault = false
		l.untold++
	}
	f.weight = 1 - f.value/max(l.corner, 1e-3, f.value)
	isLine := n.radius < 0.85*l.widest/2 // its walls end before balls are as wide as looked for
	if f.area < leastArea || !f.fault && !isLine && f.angle >= l.crevice {
		return f, false
	}
	size := ""
	if isLine {
		f.what, size = vLine, fmt.Sprintf(" %.2f mm wide and %.2f mm deep", n.width, n.depth)
	}
	name := "an inside corner"
	if isLine {
		name = "a line"
	}
	cure := ""
	if f.angle < l.crevice {
		name, cure = "a crevice", fmt.Sprintf(": under %.0f degrees it webs and bubbles; open it", l.crevice)
		if l.limbs(members) {
			name = "a V between two limbs"
		}
	}
	f.says = fmt.Sprintf("%s%s, walls open by %.0f degrees, %.2f mm radius at its bottom%s", name, size, f.angle, f.value, cure)
	if f.angle < l.crevice {
		f.what, f.fault, f.value, f.unit, f.weight = narrowEdge, true, f.angle, "deg", l.crevice/max(f.angle, 1)
	}
	return f, true
}

// tells reports whether triangles tell that a corner is sharper than asked for.
// One rounded to that radius takes an edge to turn by its angle where triangles
// are larger than its arc: then only one between flat walls is told, as on a
// drawn body, not a crease of skin.
func (l *look) tells(members []int32, angle float64) bool {
	if l.edge < l.corner*(180-angle)*math.Pi/180 {
		return true
	}
	flat, all := 0, 0
	for _, i := range members {
		if v := l.skin.Vert[i]; v < l.own {
			all++
			if l.flatSides(v) {
				flat++
			}
		}
	}
	return all == 0 || 2*flat > all // within one triangle all is flat
}

// flatSides reports whether every triangle at a vertex lies within 3.5 degrees of
// the direction of one of its places.
func (l *look) flatSides(v int32) bool {
	for _, t := range l.skin.Faces.Of(v) {
		a, b, c := l.skin.Mesh.Corners(int(t))
		n := b.Sub(a).Cross(c.Sub(a)).Unit().Mul(l.inward)
		best := -1.0
		l.each(v, func(i int32) { best = max(best, n.Dot(l.out(i))) })
		if best < 0.9981 {
			return false
		}
	}
	return true
}

// filling returns how deep a corner must be filled at its bottom to give it the
// radius asked for, mm: little where it is open wide, as where few triangles go
// round a bend.
func (l *look) filling(radius, angle float64) float64 {
	return (l.corner - radius) * (1/max(math.Sin(angle*math.Pi/360), 1e-3) - 1)
}

// limbs reports whether walls among the members are those of two limbs.
func (l *look) limbs(members []int32) bool {
	return slices.ContainsFunc(members, func(i int32) bool { return l.class[i] == crevice && float64(l.along[i]) >= l.apart })
}

// opening returns the opening angle between the walls of an inside corner: the
// one that half of its crevice places are under, weighted by skin, or a tenth
// between limbs, which are round and open to all sides; with none, the angle at
// its rim.
func (l *look) opening(members []int32, rim float64) float64 {
	var angles, areas []float64
	for _, i := range members {
		if l.class[i] == crevice {
			angles = append(angles, degrees(-float64(l.air[i].Turn)))
			areas = append(areas, l.skin.Area[i])
		}
	}
	if len(angles) == 0 {
		return rim
	}
	if l.limbs(members) {
		return quantile(angles, areas, 0.1)
	}
	return quantile(angles, areas, 0.5)
}

// radius returns the radius of an inside corner at a place; 0 where the place
// lies on a sharp edge and its ball touches right beside it.
func (l *look) radius(i int32) float64 {
	b := l.air[i]
	if l.sharp(i) && l.at(i).Sub(l.at(b.Touch)).Len() < 2*l.skin.Edge {
		return 0
	}
	return float64(b.Radius)
}
