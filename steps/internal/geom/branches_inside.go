package geom

import "math"

// insideRadius returns the radius of the skin on the inner side of a bend, and its
// middle, in the plane of the bend: that of the circle through the line in which the plane
// cuts the skin there. The circle is fitted to seven tenths of the turn about
// its middle, and again as its radius says how long that is, from a limb's
// radius down: creases much shorter than the bend do not count. False if there
// is no such line, or it does not bend towards the inner side.
func (r *Rings) insideRadius(b *Bend, axis []AxisPoint) (radius float64, at Vec, ok bool) {
	inward := axis[b.last].Dir.Sub(axis[b.first].Dir)
	line := r.innerLine(b, inward)
	mid := 0
	for i, p := range line { // both ways on from its middle it turns towards the inner side alike
		if p.Sub(line[mid]).Dot(inward) < 0 {
			mid = i
		}
	}
	if mid < 2 || mid+2 >= len(line) {
		return 0, at, false
	}
	way := make([]float64, len(line))
	for i := 1; i < len(line); i++ {
		way[i] = way[i-1] + line[i].Sub(line[i-1]).Len()
	}
	const share = 0.35 // of the turn, to either side
	reach := float64(share * b.Turn * 2 * b.Limb)
	for range 40 {
		lo, hi := mid, mid
		for lo > 0 && (mid-lo < 2 || way[mid]-way[lo-1] <= reach) {
			lo--
		}
		for hi < len(line)-1 && (hi-mid < 2 || way[hi+1]-way[mid] <= reach) {
			hi++
		}
		var centre Vec
		if radius, centre, ok = arcThrough(line[lo:hi+1], b.Axle); !ok || centre.Sub(line[mid]).Dot(inward) <= 0 {
			return 0, at, false
		}
		next := float64(share * b.Turn * radius)
		if math.Abs(next-reach) < 0.01*reach || mid-lo <= 2 && hi-mid <= 2 {
			break
		}
		reach = next
	}
	return radius, line[mid], true
}

// arcThrough returns the circle that fits points best, seen along axle.
func arcThrough(line []Vec, axle Vec) (radius float64, centre Vec, ok bool) {
	points := make([]AxisPoint, len(line))
	for i, p := range line {
		points[i].At = p
	}
	return arcOf(points, axle)
}

// innerLine returns the line in which the plane of a bend cuts the skin of its
// inner side, from before the bend to beyond it. It is followed both ways from
// the skin where the axis turns fastest, as long as it faces inward.
func (r *Rings) innerLine(b *Bend, inward Vec) (line []Vec) {
	pl := Plane{b.Axle, b.Axle.Dot(b.At)}
	above := func(v int32) bool { return pl.Dist(r.Mesh.Verts[v].Vec()) >= 0 }
	start, near := int32(-1), math.Inf(1)
	for _, t := range r.Rings[b.Ring].Across.tris {
		tri := r.Mesh.Tris[t]
		if a := above(tri[0]); a == above(tri[1]) && a == above(tri[2]) {
			continue
		}
		p, q, s := r.Mesh.Corners(int(t))
		if d := p.Add(q).Add(s).Mul(1.0 / 3).Sub(b.Skin).Len2(); d < near && r.out(t).Dot(inward) > 0 {
			start, near = t, d
		}
	}
	if start < 0 {
		return nil
	}
	one, other := r.follow(start, pl, b, inward, true), r.follow(start, pl, b, inward, false)
	for i := len(one) - 1; i >= 0; i-- {
		line = append(line, one[i])
	}
	return append(line, other...)
}

func (r *Rings) out(t int32) Vec {
	p, q, s := r.Mesh.Corners(int(t))
	return q.Sub(p).Cross(s.Sub(p)).Unit()
}

// follow walks from triangle t along the plane, up or down the way from the
// opening, two limb's radii beyond the bend at most or until the skin faces away.
func (r *Rings) follow(t int32, pl Plane, b *Bend, inward Vec, first bool) (line []Vec) {
	dist := func(v int32) float64 { return pl.Dist(r.Mesh.Verts[v].Vec()) }
	way := 0.0
	came := int32(-1)
	for range 4 * len(r.Rings[b.Ring].Across.tris) {
		next := int32(-1)
		for c := 3 * t; c < 3*t+3; c++ {
			u, v := r.Mesh.Tris[t][c-3*t], r.Mesh.Tris[t][(c-3*t+1)%3]
			du, dv := dist(u), dist(v)
			if (du >= 0) == (dv >= 0) || c == came {
				continue
			}
			if came < 0 && (du >= 0) != first {
				continue // at the start each way leaves through one edge
			}
			pu, pv := r.Mesh.Verts[u].Vec(), r.Mesh.Verts[v].Vec()
			p := pu.Add(pv.Sub(pu).Mul(du / (du - dv)))
			if n := len(line); n > 0 {
				way += p.Sub(line[n-1]).Len()
			}
			line = append(line, p)
			next = r.e.Across[c]
			break
		}
		if next < 0 || way > float64(b.Turn*b.Radius)+2*b.Limb {
			return line
		}
		t, came = next/3, next
		if n := r.out(t); n.Dot(inward) < 0 && n.Dot(b.Axle) < 0.7 && n.Dot(b.Axle) > -0.7 {
			return line
		}
	}
	return line
}
