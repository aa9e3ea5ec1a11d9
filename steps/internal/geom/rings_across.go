package geom

import (
	"context"
	"math"
	"slices"
)

// Across is the section of a limb square to its axis.
type Across struct {
	Plane Plane   // its normal points away from the opening
	Mid   Vec     // middle of the section's area: a point of the axis
	Girth float64 // length of the outline, mm
	Tape  float64 // length of a tape pulled tight round it, mm
	Area  float64 // mm²
	Open  bool    // the outline meets a rim and was closed straight across
	Found bool    // false at a blunt end, and where no section hangs together with the ring: then it is the ring itself
	At    []Vec   // the outline, in order
	tris  []int32
}

// cutAcross cuts every branch square to its axis at each of its rings: first
// along the centres of the rings, then twice along the middles of the sections
// found. A ring leans where the skin is shorter on one side, as beyond a bend;
// the section does not.
func (r *Rings) cutAcross(ctx context.Context) error {
	for b := range r.Branches {
		branch := &r.Branches[b]
		mids := make([]Vec, len(branch.Rings))
		wide := make([]float64, len(mids))
		for i, k := range branch.Rings {
			ring := &r.Rings[k]
			mids[i], wide[i] = ring.Centre, math.Sqrt(ring.Area/math.Pi)
			ring.Across = Across{Mid: ring.Centre, At: ring.At, tris: ring.tris}
		}
		n := r.beforeEnd(branch, mids, wide)
		for _, k := range branch.Rings[n:] {
			ring := &r.Rings[k]
			ring.Across = ring.itself(ring.plane())
		}
		mids, wide = mids[:n], wide[:n]
		square := r.directions(branch.Rings[:n], mids, wide)
		for i, k := range branch.Rings[:n] {
			r.square(&r.Rings[k], mids[i], square[i])
			mids[i] = r.Rings[k].Across.Mid
		}
		r.bridge(branch.Rings[:n], mids)
		first := make([]Across, n)
		for i, k := range branch.Rings[:n] {
			first[i] = r.Rings[k].Across
		}
		for _, reach := range [3]float64{1, 0.5, 0.25} {
			if ctx.Err() != nil {
				return context.Cause(ctx)
			}
			dirs := fitted(mids, wide, reach, square)
			for i, k := range branch.Rings[:n] {
				r.square(&r.Rings[k], mids[i], leant(square[i], dirs[i]))
			}
			r.takeBack(branch.Rings[:n], first, wide)
			for i, k := range branch.Rings[:n] {
				mids[i] = r.Rings[k].Across.Mid
			}
			r.bridge(branch.Rings[:n], mids)
		}
		r.dropFingers(branch)
		for _, k := range branch.Rings {
			a := &r.Rings[k].Across
			a.Tape = Tape(a.At, a.Plane.Normal)
		}
	}
	return nil
}

// takeBack puts the first sections back where others were not found or are
// larger, which a squarer one is not, and half a radius to either side of there.
func (r *Rings) takeBack(rings []int32, first []Across, wide []float64) {
	worse := make([]bool, len(rings))
	for i, k := range rings {
		a := &r.Rings[k].Across
		worse[i] = first[i].Found && (!a.Found || a.Area > 1.02*first[i].Area)
	}
	for i := range rings {
		if !worse[i] {
			continue
		}
		for _, step := range [2]int{-1, 1} {
			for j := i; j >= 0 && j < len(rings) && first[j].Mid.Sub(first[i].Mid).Len() <= wide[i]/2; j += step {
				if first[j].Found {
					r.Rings[rings[j]].Across = first[j]
				}
			}
		}
	}
}

// bridge puts the middles of rings without a section between those of the next
// ones that have one: a ring's own centre lies beside the axis.
func (r *Rings) bridge(rings []int32, mids []Vec) {
	last := -1
	for i, k := range rings {
		if !r.Rings[k].Across.Found {
			continue
		}
		if last >= 0 {
			step := mids[i].Sub(mids[last]).Mul(1 / float64(i-last))
			for j := last + 1; j < i; j++ {
				mids[j] = mids[last].Add(step.Mul(float64(j - last)))
			}
		}
		last = i
	}
}

// beforeEnd returns how many rings of a branch come before its blunt end: one
// and a half radii from its tip (a half ball is pi/2 from rim to top), or where
// the front closes in and the centres of rings move on by less than half a
// spacing, three in a row, with no more than four radii to go (the floor of a
// narrow waist has more), or where a ring lacks a thirtieth of its girth.
func (r *Rings) beforeEnd(branch *Branch, mids []Vec, wide []float64) int {
	if len(branch.Forks) > 0 || branch.Meets >= 0 {
		return len(mids)
	}
	slow := 0
	for i, k := range branch.Rings {
		ring := &r.Rings[k]
		across := ring.At[len(ring.At)-1].Sub(ring.At[0]).Len()
		if ring.top-ring.Level < 1.5*wide[i] || ring.Open && across > 0.03*ring.Girth {
			return max(i, min(2, len(mids)))
		}
		if i > 0 && mids[i].Sub(mids[i-1]).Len() < r.Spacing/4 && ring.top-ring.Level < 4*wide[i] {
			slow++
		} else {
			slow = 0
		}
		if slow == 3 {
			return max(i-2, min(2, len(mids)))
		}
	}
	return len(mids)
}

// plane returns the plane of a ring that is its own section.
func (g *Ring) plane() Plane {
	n := ringOf(g.At).normal
	return Plane{n, n.Dot(g.Centre)}
}

// dropFingers takes back sections of the last two radii before a fork that are
// much smaller than their ring: they go through one finger.
func (r *Rings) dropFingers(branch *Branch) {
	if len(branch.Forks) == 0 {
		return
	}
	end := r.Rings[branch.Rings[len(branch.Rings)-1]].Level
	for _, k := range branch.Rings {
		g := &r.Rings[k]
		if end-g.Level < 2*math.Sqrt(g.Area/math.Pi) && g.Across.Area < 0.65*g.Area {
			g.Across = g.itself(g.Across.Plane)
		}
	}
}

// itself returns the ring as its own section.
func (g *Ring) itself(pl Plane) Across {
	return Across{Plane: pl, Mid: g.Centre, Girth: g.Girth, Area: g.Area, Open: g.Open, At: g.At, tris: g.tris}
}

// square cuts across at mid, square to dir, starting where the last section
// found, or the ring, passes through the plane.
func (r *Rings) square(ring *Ring, mid, dir Vec) {
	old := ring.Across
	pl := Plane{dir, dir.Dot(mid)}
	above := func(v int32) bool { return pl.Dist(r.Mesh.Verts[v].Vec()) >= 0 }
	cross := func(a, b int32) Vec {
		pa, pb := r.Mesh.Verts[a].Vec(), r.Mesh.Verts[b].Vec()
		da, db := pl.Dist(pa), pl.Dist(pb)
		return pa.Add(pb.Sub(pa).Mul(min(max(da/(da-db), 0), 1)))
	}
	r.trace.next()
	best, round := Across{Plane: pl, Mid: mid, At: old.At, tris: old.tris}, false
	for _, t := range old.tris {
		tri := r.Mesh.Tris[t]
		if a := above(tri[0]); r.trace.met(t) || a == above(tri[1]) && a == above(tri[2]) {
			continue
		}
		l := r.trace.trace(t, above, cross)
		s := r.section(pl, l)
		in := holds(pl, s.At, mid)
		if !best.Found || in && !round || in == round && s.Area > best.Area {
			best, round = s, in
		}
	}
	if best.Mid.Sub(ring.Centre).Len() > 0.35*math.Sqrt(ring.Area/math.Pi)+r.Spacing/2 {
		best.Found = false // another part of the limb, or a slice along it
	}
	if best.Found && (!r.mostlyOf(&best, ring.Branch) || r.throughEnd(&best) || best.Open && !ring.Open) {
		best.Found = false // through one of two fingers, the palm behind them, or the opening
	}
	if !best.Found {
		best = ring.itself(pl)
	}
	ring.Across = best
}

// mostlyOf reports whether over six tenths of a section's outline lie on the
// skin of branch b.
func (r *Rings) mostlyOf(a *Across, b int32) bool {
	var all, on float64
	for i, p := range a.At {
		long := a.At[(i+1)%len(a.At)].Sub(p).Len()
		all += long
		if r.Of[r.Mesh.Tris[a.tris[i]][0]] == b {
			on += long
		}
	}
	return on > 0.6*all
}

// throughEnd reports whether a section passes a face that is no skin.
func (r *Rings) throughEnd(a *Across) bool {
	return r.closed != nil && slices.ContainsFunc(a.tris, func(t int32) bool { return r.closed[t] })
}

// section measures a line that lies in a plane.
func (r *Rings) section(pl Plane, l line) Across {
	shape := ringOf(l.at)
	s := Across{Plane: pl, Mid: middle(l.at, pl.Normal), Girth: shape.girth, Area: shape.area, Open: l.open, Found: true, At: l.at, tris: make([]int32, len(l.edges))}
	for i, e := range l.edges {
		s.tris[i] = r.shared(e, l.edges[(i+1)%len(l.edges)])
	}
	return s
}

// middle returns the middle of the area within a flat ring.
func middle(at []Vec, n Vec) Vec {
	var x, y, z, area Sum
	o := at[0]
	for i, v := range at {
		w := at[(i+1)%len(at)]
		a := v.Sub(o).Cross(w.Sub(o)).Dot(n)
		mid := v.Sub(o).Add(w.Sub(o)).Mul(1.0 / 3)
		area.Add(a)
		x.Add(float64(a * mid.X))
		y.Add(float64(a * mid.Y))
		z.Add(float64(a * mid.Z))
	}
	if math.Abs(area.Total()) < 1e-12 {
		return ringOf(at).centre
	}
	return o.Add(Vec{x.Total(), y.Total(), z.Total()}.Mul(1 / area.Total()))
}

// directions returns the direction of a limb at each of some rings: that which
// the rings within a quarter of its radius are square to, those nearer counting
// more.
func (r *Rings) directions(rings []int32, at []Vec, radius []float64) []Vec {
	normal, out := make([]Vec, len(rings)), make([]Vec, len(rings))
	for i, k := range rings {
		g := &r.Rings[k]
		normal[i] = g.plane().Normal
		on := g.away
		if i > 0 && math.Abs(normal[i].Dot(on)) < 0.3*on.Len() { // on the floor of a waist the front runs in the ring's own plane
			on = normal[i-1]
		}
		if normal[i].Dot(on) < 0 {
			normal[i] = normal[i].Mul(-1)
		}
	}
	for i := range rings {
		reach := radius[i] / 4
		sum := normal[i]
		for _, step := range [2]int{-1, 1} {
			for k := i + step; k >= 0 && k < len(rings); k += step {
				far := at[k].Sub(at[i]).Len()
				if far >= reach {
					break
				}
				sum = sum.Add(normal[k].Mul(1 - far/reach))
			}
		}
		if out[i] = sum.Unit(); out[i] == (Vec{}) {
			out[i] = Vec{Z: 1}
		}
	}
	return out
}

// fitted returns the direction of a way at each of its points: of the line
// that fits the points within a share of the limb's radius best, as many to
// either side, those nearer counting more; near its ends that in square.
func fitted(at []Vec, radius []float64, share float64, square []Vec) []Vec {
	out := make([]Vec, len(at))
	for i := range at {
		reach := float64(radius[i] * share)
		n := 1
		for i-n >= 0 && i+n < len(at) && at[i-n].Sub(at[i]).Len() < reach && at[i+n].Sub(at[i]).Len() < reach {
			n++
		}
		out[i] = square[i]
		if i < n || i+n >= len(at) {
			continue
		}
		var sum Vec
		for k := 1; k <= n; k++ {
			sum = sum.Add(at[i+k].Sub(at[i-k]).Mul(float64(k) * (1 - float64(k)/float64(n+1))))
		}
		if sum != (Vec{}) {
			out[i] = sum.Unit()
		}
	}
	return out
}

// leant returns direction to, or if it lies more than a fifth of a right angle off the direction from, the one that is so far
// off it on the same side.
func leant(from, to Vec) Vec {
	const most = 0.325 // tangent of 18 degrees
	cos := from.Dot(to)
	off := to.Sub(from.Mul(cos))
	if tan := off.Len(); cos <= 0 || tan > most*cos {
		return from.Add(off.Mul(most / max(tan, 1e-9))).Unit()
	}
	return to
}
