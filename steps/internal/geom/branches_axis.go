package geom

import (
	"cmp"
	"math"
	"slices"
)

// AxisPoint is a point of a branch's axis: the middle of a section square to it.
type AxisPoint struct {
	Ring   int32 // index into Rings.Rings
	At     Vec
	Dir    Vec     // away from the opening, length one
	Along  float64 // along the axis from the branch's first section, mm
	Radius float64 // of a disc with the section's area, mm
	Curve  Vec     // how fast Dir turns, 1/mm: points to the inner side of a bend
}

// Axis returns the axis of branch b through the middles of its sections. Its
// direction is that which the sections are square to, and how fast it turns
// that of the straight line that fits the directions within six tenths of a
// radius best, and of two at least to either side. Rings without a section of
// their own are left out.
func (r *Rings) Axis(b int32) []AxisPoint {
	var axis []AxisPoint
	for _, k := range r.Branches[b].Rings {
		a := &r.Rings[k].Across
		if !a.Found {
			continue
		}
		p := AxisPoint{Ring: k, At: a.Mid, Dir: a.Plane.Normal, Radius: math.Sqrt(a.Area / math.Pi)}
		if n := len(axis); n > 0 {
			p.Along = axis[n-1].Along + p.At.Sub(axis[n-1].At).Len()
		}
		axis = append(axis, p)
	}
	dirs := make([]Vec, len(axis))
	for i := range axis {
		lo, hi := window(axis, i, 0.6*axis[i].Radius, 2)
		dirs[i], axis[i].Curve = turning(axis[lo:hi+1], axis[i].Along)
	}
	for i := range axis {
		axis[i].Dir = dirs[i]
	}
	return axis
}

// turning fits dir + curve s to the directions of points, s counted from along.
func turning(points []AxisPoint, along float64) (dir, curve Vec) {
	var mean, slope Vec
	var steps, square float64
	for _, p := range points {
		steps += (p.Along - along) / float64(len(points))
		mean = mean.Add(p.Dir.Mul(1 / float64(len(points))))
	}
	for _, p := range points {
		s := p.Along - along - steps
		square += float64(s * s)
		slope = slope.Add(p.Dir.Mul(s))
	}
	if square > 0 {
		slope = slope.Mul(1 / square)
	}
	dir = mean.Sub(slope.Mul(steps)).Unit()
	return dir, slope.Sub(dir.Mul(slope.Dot(dir)))
}

// window returns the first and last point within reach of point i along the
// axis, and least to either side where there are so many.
func window(axis []AxisPoint, i int, reach float64, least int) (lo, hi int) {
	lo, hi = i, i
	for lo > 0 && (i-lo < least || axis[i].Along-axis[lo-1].Along <= reach) {
		lo--
	}
	for hi < len(axis)-1 && (hi-i < least || axis[hi+1].Along-axis[i].Along <= reach) {
		hi++
	}
	return lo, hi
}

// Bend is a stretch of an axis that turns one way.
type Bend struct {
	Branch   int32
	Ring     int32   // where it turns fastest
	From, To int32   // rings where it begins and ends
	At       Vec     // on the axis, where it turns fastest
	Skin     Vec     // on the inner side of the limb, in the middle of the bend
	Side     Vec     // towards the inner side, length one
	Axle     Vec     // about which it turns, length one
	Turn     float64 // the whole of it, radians
	Radius   float64 // of the axis where it turns fastest, mm
	Inside   float64 // of the skin on the inner side, mm; 0 where it folds
	Limb     float64 // radius of the limb there, mm

	first, last int // on the axis
}

// Bends returns the bends of branch b that turn by least radians or more, from
// the opening on. A bend begins and ends where the axis turns less than a
// seventh as fast as at its fastest, or the other way; its turn is that of the
// directions there. The inside radius is that of a circle through the skin
// there, the bend's own more by how far the limb reaches inward; where the skin
// tells none, or no half of that and so only of a crease, its own is that of a
// circle through the axis at its fastest.
func (r *Rings) Bends(b int32, least float64) []Bend {
	axis := r.Axis(b)
	taken := make([]bool, len(axis))
	var list []Bend
	for {
		top := -1
		for i := range axis {
			if !taken[i] && (top < 0 || axis[i].Curve.Len2() > axis[top].Curve.Len2()) {
				top = i
			}
		}
		if top < 0 || axis[top].Curve.Len()*axis[top].Radius < 0.05 {
			break
		}
		if bend, ok := r.bend(b, axis, top, taken); ok && bend.Turn >= min(least, 0.1) {
			list = append(list, bend)
		}
	}
	slices.SortFunc(list, func(a, b Bend) int { return cmp.Compare(a.first, b.first) })
	list = joinBends(list, axis)
	for i := range list {
		radius, at, ok := r.insideRadius(&list[i], axis)
		crease := radius < list[i].Inside/2 && list[i].Inside > 0.3*list[i].Limb
		if ok && !crease {
			list[i].Inside, list[i].Skin = radius, at
			list[i].Radius = radius + offAxis(axis[list[i].first:list[i].last+1], at)
		}
	}
	return slices.DeleteFunc(list, func(bend Bend) bool {
		return bend.Turn < least || r.Branches[b].Tip >= 0 && axis[len(axis)-1].Along-axis[bend.first].Along < bend.Limb // of the tip
	})
}

// joinBends makes one bend of neighbours less than a limb's radius apart that
// turn the same way, and drops what turns back beside a bend three times as
// great: at a sharp fold sections jump, and the axis turns in steps.
func joinBends(list []Bend, axis []AxisPoint) []Bend {
	for i := 0; i+1 < len(list); {
		a, b := list[i], list[i+1]
		great, small := a, b
		if b.Turn > a.Turn {
			great, small = b, a
		}
		same := a.Axle.Dot(b.Axle) > 0.7
		if axis[b.first].Along-axis[a.last].Along > great.Limb || !same && great.Turn < 3*small.Turn {
			i++
			continue
		}
		if same {
			great.first, great.last, great.From, great.To = a.first, b.last, a.From, b.To
			great.Turn = turnBetween(axis, great.first, great.last)
			great.Inside = min(a.Inside, b.Inside)
		}
		list[i] = great
		list = slices.Delete(list, i+1, i+2)
		i = max(i-1, 0)
	}
	return list
}

// turnBetween returns the angle between the directions before point lo and
// after point hi: just before and after, as parabolas reach beyond where they
// stand; or, where the limb goes on for two and a half radii on both sides, the
// means over a radius, which a fold disturbs less, as far as the axis does not turn
// back there.
func turnBetween(axis []AxisPoint, lo, hi int) float64 {
	first, last := axis[0].Along, axis[len(axis)-1].Along
	before, after := axis[lo].Radius, axis[hi].Radius
	if axis[lo].Along-first > 2.5*before && last-axis[hi].Along > 2.5*after {
		axle := axis[lo].Dir.Cross(axis[hi].Dir).Unit()
		back := func(i int) bool { return axis[i].Dir.Cross(axis[i].Curve).Dot(axle)*axis[i].Radius < -0.1 }
		from, to := lo, hi
		for from > 0 && axis[lo].Along-axis[from-1].Along <= 1.2*before && !back(from-1) {
			from--
		}
		for to < len(axis)-1 && axis[to+1].Along-axis[hi].Along <= 1.2*after && !back(to+1) {
			to++
		}
		a := meanDir(axis, axis[from].Along, max(axis[lo].Along-0.3*before, axis[from].Along))
		z := meanDir(axis, min(axis[hi].Along+0.3*after, axis[to].Along), axis[to].Along)
		return math.Atan2(a.Cross(z).Len(), a.Dot(z))
	}
	from, _ := window(axis, lo, 0.3*before, 0)
	_, to := window(axis, hi, 0.3*after, 0)
	a, z := axis[from].Dir, axis[to].Dir
	return math.Atan2(a.Cross(z).Len(), a.Dot(z))
}

// offAxis returns how far a place lies from the nearest point of an axis.
func offAxis(axis []AxisPoint, at Vec) float64 {
	best := math.Inf(1)
	for _, p := range axis {
		best = min(best, p.At.Sub(at).Len())
	}
	return best
}

// meanDir returns the mean direction of the axis between two places along it.
func meanDir(axis []AxisPoint, from, to float64) Vec {
	var sum Vec
	for _, p := range axis {
		if p.Along >= from && p.Along <= to {
			sum = sum.Add(p.Dir)
		}
	}
	return sum
}

// bend measures the bend about axis[top] and takes its points.
func (r *Rings) bend(b int32, axis []AxisPoint, top int, taken []bool) (Bend, bool) {
	at := axis[top]
	fastest := at.Curve.Len()
	side := at.Curve.Mul(1 / fastest)
	axle := at.Dir.Cross(side).Unit()
	turns := func(i int) bool {
		return !taken[i] && axis[i].Dir.Cross(axis[i].Curve).Dot(axle) > fastest/7
	}
	lo, hi := top, top
	for lo > 0 && turns(lo-1) {
		lo--
	}
	for hi < len(axis)-1 && turns(hi+1) {
		hi++
	}
	for i := lo; i <= hi; i++ {
		taken[i] = true
	}
	bend := Bend{Branch: b, Ring: at.Ring, From: axis[lo].Ring, To: axis[hi].Ring, At: at.At, Side: side, Axle: axle, Limb: at.Radius, first: lo, last: hi}
	bend.Turn = turnBetween(axis, lo, hi)
	bend.Radius = min(bendRadius(axis, lo, hi, bend.Turn, axle), 1.1/fastest) // a fold leaves few sections for a circle
	reach := 0.0
	bend.Skin = at.At
	for _, p := range r.Rings[at.Ring].Across.At {
		if d := p.Sub(at.At).Dot(side); d > reach {
			reach, bend.Skin = d, p
		}
	}
	bend.Inside = max(0, bend.Radius-reach)
	return bend, axis[hi].Along-axis[lo].Along > 0.3*at.Radius // less is one crooked section
}

// bendRadius returns the radius of an axis that turns by turn between points lo
// and hi: that of a circle through its middle part. How long that is follows
// from the radius, for the ends of the turning are blurred.
func bendRadius(axis []AxisPoint, lo, hi int, turn float64, axle Vec) float64 {
	mid := lo
	for mid < hi && axis[mid].Dir.Dot(axis[lo].Dir) > axis[mid].Dir.Dot(axis[hi].Dir) {
		mid++
	}
	long := axis[hi].Along - axis[lo].Along
	radius := 0.0
	for range 3 {
		first, last := window(axis, mid, min(0.4*long, 1.2*axis[mid].Radius), 2)
		radius = arcRadius(axis[first:last+1], axle)
		long = min(long, turn*radius)
	}
	return radius
}

// arcRadius returns the radius of the circle that fits points best, seen along
// axle; infinite if they lie on a line.
func arcRadius(points []AxisPoint, axle Vec) float64 {
	radius, _, ok := arcOf(points, axle)
	if !ok {
		return math.Inf(1)
	}
	return radius
}

// arcOf returns the circle that fits points best, seen along axle: the least
// squares of x² + y² + ax + by + c (I. Kåsa, 1976, from memory).
func arcOf(points []AxisPoint, axle Vec) (radius float64, centre Vec, ok bool) {
	u := across(axle)
	w := axle.Cross(u)
	var m [4][5]float64
	for _, p := range points {
		d := p.At.Sub(points[0].At)
		x, y := d.Dot(u), d.Dot(w)
		addRow(&m, [4]float64{2 * x, 2 * y, 1, 0}, float64(x*x)+float64(y*y))
	}
	m[3][3] = m[2][2]
	c, ok := solve4(m)
	if !ok {
		return 0, Vec{}, false
	}
	return math.Sqrt(max(0, c[2]+float64(c[0]*c[0])+float64(c[1]*c[1]))), points[0].At.Add(u.Mul(c[0])).Add(w.Mul(c[1])), true
}
