package geom

// This file measures the distance of two triangles exactly.
//
// Based on: C. Ericson, "Real-Time Collision Detection", 2005, sections 5.1.5
// and 5.1.9 (from memory).

// TriDistance returns the squared distance, mm², of triangles a and b and the
// places on them that are nearest; 0 where they touch or cross. Corners must be
// finite; triangles without area are taken for the lines or points they are.
func TriDistance(a, b [3]Vec) (dist2 float64, onA, onB Vec) {
	onA, onB = a[0], b[0]
	dist2 = onA.Sub(onB).Len2()
	closer := func(p, q Vec) {
		if d := p.Sub(q).Len2(); d < dist2 {
			dist2, onA, onB = d, p, q
		}
	}
	for k := range 3 {
		closer(a[k], OnTriangle(a[k], b))
		closer(OnTriangle(b[k], a), b[k])
		for j := range 3 {
			closer(betweenSegments(a[k], a[(k+1)%3], b[j], b[(j+1)%3]))
		}
	}
	if dist2 == 0 {
		return dist2, onA, onB
	}
	for k := range 3 {
		if p, ok := pierce(a[k], a[(k+1)%3], b); ok {
			return 0, p, p
		}
		if p, ok := pierce(b[k], b[(k+1)%3], a); ok {
			return 0, p, p
		}
	}
	return dist2, onA, onB
}

// OnTriangle returns the point of t nearest to p.
func OnTriangle(p Vec, t [3]Vec) Vec {
	ab, ac, ap := t[1].Sub(t[0]), t[2].Sub(t[0]), p.Sub(t[0])
	d1, d2 := ab.Dot(ap), ac.Dot(ap)
	if d1 <= 0 && d2 <= 0 {
		return t[0]
	}
	bp := p.Sub(t[1])
	d3, d4 := ab.Dot(bp), ac.Dot(bp)
	if d3 >= 0 && d4 <= d3 {
		return t[1]
	}
	vc := float64(d1*d4) - float64(d3*d2)
	if vc <= 0 && d1 >= 0 && d3 <= 0 && d1 > d3 {
		return t[0].Add(ab.Mul(d1 / (d1 - d3)))
	}
	cp := p.Sub(t[2])
	d5, d6 := ab.Dot(cp), ac.Dot(cp)
	if d6 >= 0 && d5 <= d6 {
		return t[2]
	}
	vb := float64(d5*d2) - float64(d1*d6)
	if vb <= 0 && d2 >= 0 && d6 <= 0 && d2 > d6 {
		return t[0].Add(ac.Mul(d2 / (d2 - d6)))
	}
	va := float64(d3*d6) - float64(d5*d4)
	if e, f := d4-d3, d5-d6; va <= 0 && e >= 0 && f >= 0 && e+f > 0 {
		return t[1].Add(t[2].Sub(t[1]).Mul(e / (e + f)))
	}
	sum := va + vb + vc
	if !(sum > 0) { // no area: the sides have been looked at
		return t[0]
	}
	return t[0].Add(ab.Mul(vb / sum)).Add(ac.Mul(vc / sum))
}

// betweenSegments returns the nearest points of the segments p..q and r..s.
func betweenSegments(p, q, r, s Vec) (Vec, Vec) {
	d1, d2, w := q.Sub(p), s.Sub(r), p.Sub(r)
	a, e, f := d1.Len2(), d2.Len2(), d2.Dot(w)
	u, v := 0.0, 0.0
	switch {
	case a == 0 && e == 0:
	case a == 0:
		v = clamp01(f / e)
	default:
		c := d1.Dot(w)
		if e == 0 {
			u = clamp01(-c / a)
			break
		}
		b := d1.Dot(d2)
		if det := float64(a*e) - float64(b*b); det > 0 {
			u = clamp01((float64(b*f) - float64(c*e)) / det)
		}
		v = (float64(b*u) + f) / e
		if v < 0 {
			v, u = 0, clamp01(-c/a)
		} else if v > 1 {
			v, u = 1, clamp01((b-c)/a)
		}
	}
	return p.Add(d1.Mul(u)), r.Add(d2.Mul(v))
}

func clamp01(x float64) float64 { return min(1, max(0, x)) }

// pierce returns where the segment p..q goes through the inside of t.
func pierce(p, q Vec, t [3]Vec) (Vec, bool) {
	n := t[1].Sub(t[0]).Cross(t[2].Sub(t[0]))
	hp, hq := p.Sub(t[0]).Dot(n), q.Sub(t[0]).Dot(n)
	if hp == hq || hp > 0 && hq > 0 || hp < 0 && hq < 0 {
		return Vec{}, false
	}
	x := p.Add(q.Sub(p).Mul(hp / (hp - hq)))
	for k := range 3 {
		if t[(k+1)%3].Sub(t[k]).Cross(x.Sub(t[k])).Dot(n) < 0 {
			return Vec{}, false
		}
	}
	return x, true
}
