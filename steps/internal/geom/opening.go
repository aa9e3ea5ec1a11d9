package geom

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// Opening is an end of a part through which its mould is filled and emptied
// and the moulding pulled out: a flat face that closes it, or the rim of skin
// that ends there.
type Opening struct {
	Plane  Plane   // the normal points out of the part
	Centre Vec     // middle of the rim, by length, mm
	Area   float64 // that the rim encloses, mm²
	Girth  float64 // length of the rim, mm
	Flat   float64 // how far the rim and the face stray from the plane at most, mm
	Face   []int32 // triangles of the flat face, rising; none at an open rim
	Rim    []int32 // vertices of the rim, in order
}

// Open reports whether nothing closes the opening.
func (o *Opening) Open() bool { return len(o.Face) == 0 }

// Constants of what counts as a cut end; common practice, no source.
const (
	sharpTurn  = 0.766 // cosine of 40 degrees: a face ends where the skin turns by more
	leastShare = 0.004 // of a shell's area, for a face or the disc within a rim
	domed      = 0.35  // times its radius: a face that strays farther from a plane is no end
)

// Openings finds the ends of a surface, the largest first: rims of open skin,
// and faces that a sharp edge all round parts from the skin and that lie near a
// plane, of every shell. How far an end strays from its plane is measured; up
// to a third of its radius it is an end all the same, and the caller judges it.
// A face that runs into the skin without an edge is not found: see FaceAt. Two
// million triangles take about 0.2 s over two workers.
func (m *Mesh) Openings(ctx context.Context, e *Edges, workers int) ([]Opening, error) {
	var list []Opening
	for _, loop := range m.Rims(e) {
		if o, ok := m.openEnd(loop); ok {
			list = append(list, o)
		}
	}
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	for _, face := range m.faces(e, workers) {
		if o, ok := m.flatEnd(e, face); ok {
			list = append(list, o)
		}
	}
	least := float64(leastShare * m.Area())
	list = slices.DeleteFunc(list, func(o Opening) bool { return o.Area < least })
	slices.SortStableFunc(list, func(a, b Opening) int { return cmp.Compare(b.Area, a.Area) })
	return list, context.Cause(ctx)
}

// openEnd makes an opening of a rim, its normal away from the skin.
func (m *Mesh) openEnd(loop Loop) (Opening, bool) {
	o := Opening{Rim: loop.Verts}
	if !m.settle(&o) {
		return o, false
	}
	out := 0.0 // the skin at the rim lies on the inner side
	for _, c := range loop.Edges {
		apex := m.Tris[c/3][(c%3+2)%3]
		a, b := m.Ends(c)
		out -= m.Verts[apex].Vec().Sub(m.Verts[a].Vec().Add(m.Verts[b].Vec()).Mul(0.5)).Unit().Dot(o.Plane.Normal)
	}
	if out < 0 {
		o.turn()
	}
	return o, true
}

func (o *Opening) turn() {
	o.Plane = Plane{o.Plane.Normal.Mul(-1), -o.Plane.Offset}
}

// settle finds plane, centre, girth and area from the rim.
func (m *Mesh) settle(o *Opening) bool {
	at := make([]Vec, len(o.Rim))
	for i, v := range o.Rim {
		at[i] = m.Verts[v].Vec()
	}
	r := ringOf(at)
	pl, _, err := FitPlane(at, nil)
	if err != nil || !(r.area > 0) {
		return false
	}
	o.Plane, o.Centre, o.Girth, o.Area = pl, r.centre, r.girth, r.area
	for _, p := range at {
		o.Flat = max(o.Flat, math.Abs(pl.Dist(p)))
	}
	return float64(o.Flat) <= float64(domed*math.Sqrt(o.Area/math.Pi))
}

// ringShape is what is measured of a closed way through space: its length, the
// mean of its points by length, and the area and direction of the least film
// over it (half the sum of the products of neighbours).
type ringShape struct {
	girth, area    float64
	centre, normal Vec
}

func ringOf(at []Vec) ringShape {
	var length, x, y, z Sum
	var turn Vec
	for i, v := range at {
		w := at[(i+1)%len(at)]
		l, mid := w.Sub(v).Len(), v.Add(w).Mul(0.5)
		length.Add(l)
		x.Add(float64(l * mid.X))
		y.Add(float64(l * mid.Y))
		z.Add(float64(l * mid.Z))
		turn = turn.Add(v.Sub(at[0]).Cross(w.Sub(at[0])))
	}
	r := ringShape{girth: length.Total(), area: turn.Len() / 2, normal: turn.Unit(), centre: at[0]}
	if r.girth > 0 {
		r.centre = Vec{x.Total(), y.Total(), z.Total()}.Mul(1 / r.girth)
	}
	return r
}

// faces returns the pieces that sharp edges part, all but the largest of each
// shell, each in rising order.
func (m *Mesh) faces(e *Edges, workers int) [][]int32 {
	flat := flatNormals(m, workers)
	of, n := m.pieces(e, flat, workers)
	area := make([]Sum, n)
	for t := range flat {
		area[of[t]].Add(flat[t].Len() / 2)
	}
	shell, shells := m.Shells(e)
	skin := make([]int32, shells) // the largest piece of each shell, its number plus one
	for t, s := range shell {
		if k := of[t] + 1; skin[s] == 0 || area[of[t]].Total() > area[skin[s]-1].Total() {
			skin[s] = k
		}
	}
	least := float64(leastShare / 2 * m.Area())
	place := make([]int32, n)
	var out [][]int32
	for t, k := range of {
		if skin[shell[t]] == k+1 || area[k].Total() < least {
			continue
		}
		if place[k] == 0 {
			out = append(out, nil)
			place[k] = int32(len(out))
		}
		out[place[k]-1] = append(out[place[k]-1], int32(t))
	}
	return out
}

// pieces numbers the pieces of the surface that hang together across edges where
// it does not turn sharply, in the order of their first triangles.
func (m *Mesh) pieces(e *Edges, flat []Vec, workers int) (of []int32, n int) {
	joined := make([]bool, len(e.Across))
	Chunks(len(joined), workers, func(lo, hi int) {
		for c := lo; c < hi; c++ {
			if mate := e.Across[c]; mate >= 0 && !m.Turned(e, int32(c)) {
				a, b := flat[c/3], flat[mate/3]
				joined[c] = a.Dot(b) > float64(sharpTurn*math.Sqrt(float64(a.Len2()*b.Len2())))
			}
		}
	})
	of = make([]int32, len(m.Tris))
	for t := range of {
		of[t] = -1
	}
	var stack []int32
	for t := range of {
		if of[t] >= 0 {
			continue
		}
		of[t] = int32(n)
		for stack = append(stack, int32(t)); len(stack) > 0; {
			s := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			for c := 3 * s; c < 3*s+3; c++ {
				if u := e.Across[c] / 3; joined[c] && of[u] < 0 {
					of[u] = int32(n)
					stack = append(stack, u)
				}
			}
		}
		n++
	}
	return of, n
}

// flatEnd makes an opening of a face with one rim, its normal the face's.
func (m *Mesh) flatEnd(e *Edges, face []int32) (Opening, bool) {
	rim := m.around(e, face)
	if rim == nil {
		return Opening{}, false
	}
	o := Opening{Face: face, Rim: rim}
	if !m.settle(&o) {
		return o, false
	}
	var out Vec
	var area Sum
	for _, t := range face {
		a, b, c := m.Corners(int(t))
		n := b.Sub(a).Cross(c.Sub(a))
		out = out.Add(n)
		area.Add(n.Len() / 2)
		for _, p := range [3]Vec{a, b, c} {
			o.Flat = max(o.Flat, math.Abs(o.Plane.Dist(p)))
		}
	}
	if out.Dot(o.Plane.Normal) < 0 {
		o.turn()
	}
	radius := math.Sqrt(o.Area / math.Pi)
	return o, o.Flat <= float64(domed*radius) && area.Total() < 1.5*o.Area
}

// around returns the vertices round a piece of skin in order, nil if it has not
// one closed rim that goes through no vertex twice.
func (m *Mesh) around(e *Edges, face []int32) []int32 {
	in := make(map[int32]bool, len(face))
	for _, t := range face {
		in[t] = true
	}
	next := map[int32]int32{}
	first := int32(-1)
	for _, t := range face {
		for c := 3 * t; c < 3*t+3; c++ {
			if mate := e.Across[c]; mate >= 0 && in[mate/3] {
				continue
			}
			a, b := m.Ends(c)
			if _, twice := next[a]; twice {
				return nil
			}
			next[a] = b
			if first < 0 {
				first = a
			}
		}
	}
	var rim []int32
	for v := first; ; {
		rim = append(rim, v)
		to, ok := next[v]
		if !ok || len(rim) > len(next) {
			return nil
		}
		if v = to; v == first {
			break
		}
	}
	if len(rim) != len(next) { // a hole in the face
		return nil
	}
	return rim
}

// FaceAt returns the flat face round a point that a person gave: from the
// nearest triangle over the skin as far as it stays within strays mm of one
// plane and within 15 degrees of it. False if that is no face with one rim, or
// the point lies off the skin by more than ten times strays.
func (m *Mesh) FaceAt(e *Edges, at Vec, strays float64) (Opening, bool) {
	start, best := int32(-1), math.Inf(1)
	for t := range m.Tris {
		a, b, c := m.Corners(t)
		if d := a.Add(b).Add(c).Mul(1.0 / 3).Sub(at).Len2(); d < best {
			start, best = int32(t), d
		}
	}
	if start < 0 {
		return Opening{}, false
	}
	a, b, c := m.Corners(int(start))
	if beside := math.Sqrt(best) - max(b.Sub(a).Len(), c.Sub(b).Len(), a.Sub(c).Len()); beside > 10*strays {
		return Opening{}, false
	}
	n := b.Sub(a).Cross(c.Sub(a)).Unit()
	pl := Plane{n, n.Dot(a)}
	var face []int32
	for range 3 {
		face = m.level(e, start, pl, strays)
		var pts []Vec
		for _, t := range face {
			a, b, c := m.Corners(int(t))
			pts = append(pts, a, b, c)
		}
		fit, _, err := FitPlane(pts, nil)
		if err != nil {
			return Opening{}, false
		}
		if fit.Normal.Dot(pl.Normal) < 0 {
			fit = Plane{fit.Normal.Mul(-1), -fit.Offset}
		}
		pl = fit
	}
	o, ok := m.flatEnd(e, face)
	return o, ok && o.Area >= float64(leastShare*m.Area())
}

// level returns the triangles about start that lie in a plane, rising.
func (m *Mesh) level(e *Edges, start int32, pl Plane, strays float64) []int32 {
	const lean = 0.966 // cosine of 15 degrees
	in := map[int32]bool{start: true}
	for stack := []int32{start}; len(stack) > 0; {
		t := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		for c := 3 * t; c < 3*t+3; c++ {
			mate := e.Across[c]
			if mate < 0 || in[mate/3] {
				continue
			}
			a, b, d := m.Corners(int(mate / 3))
			n := b.Sub(a).Cross(d.Sub(a))
			off := max(math.Abs(pl.Dist(a)), math.Abs(pl.Dist(b)), math.Abs(pl.Dist(d)))
			if off <= strays && n.Dot(pl.Normal) >= float64(lean*n.Len()) {
				in[mate/3] = true
				stack = append(stack, mate/3)
			}
		}
	}
	face := make([]int32, 0, len(in))
	for t := range in {
		face = append(face, t)
	}
	slices.Sort(face)
	return face
}
