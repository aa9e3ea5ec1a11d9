package hollow

import (
	"context"
	"fmt"
	"math"

	"layette/steps/internal/geom"
)

// mouth is the flat end of a part where the liquid goes in and the vinyl is
// pulled out.
type mouth struct {
	plane geom.Plane // its normal points into the part
	at    geom.Vec   // its middle
	area  float64    // mm²
	tri   []bool     // which triangles are it
}

const (
	flatWithin = 0.03 // mm that a cut end may stray from its plane
	leastMouth = 12.0 // mm²: a pen's width
	rivals     = 0.4  // of the largest flat end: others as large as that leave it open which is meant
	edgeTurn   = 0.94 // product of directions across a cut end's rim: 20 degrees
)

// findMouth looks for the flat end of m that near lies on, or for the only
// large one. It returns nil where there is none, and says why.
func findMouth(ctx context.Context, m *geom.Mesh, edges *geom.Edges, near *geom.Vec) (*mouth, string, error) {
	all, err := flatEnds(ctx, m, edges)
	if err != nil {
		return nil, "", err
	}
	var best, next *mouth
	for i := range all {
		e := &all[i]
		if near != nil {
			if best == nil || e.at.Sub(*near).Len2() < best.at.Sub(*near).Len2() {
				best = e
			}
			continue
		}
		switch {
		case best == nil || e.area > best.area:
			best, next = e, best
		case next == nil || e.area > next.area:
			next = e
		}
	}
	switch {
	case best == nil:
		return nil, "no flat end was found: the part is taken as closed all round; cut its opening flat", nil
	case next != nil && next.area >= rivals*best.area:
		return nil, "", fmt.Errorf("two flat ends of %.0f and %.0f mm² about (%s) and (%s): say which is the opening with opening = [x, y, z]", best.area, next.area, place(best.at.Add(m.Origin)), place(next.at.Add(m.Origin)))
	}
	return best, "", nil
}

func place(p geom.Vec) string { return fmt.Sprintf("%.1f, %.1f, %.1f", p.X, p.Y, p.Z) }

// flatEnds returns the flat pieces of skin bounded by an edge all round.
func flatEnds(ctx context.Context, m *geom.Mesh, edges *geom.Edges) ([]mouth, error) {
	seen := make([]bool, len(m.Tris))
	var all []mouth
	var work []int32
	for t := range m.Tris {
		if t%4096 == 0 && ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		n, twice := facing(m, t)
		if seen[t] || twice < 1e-6 {
			continue
		}
		plane := geom.Plane{Normal: n.Mul(-1), Offset: -n.Dot(m.Verts[m.Tris[t][0]].Vec())}
		var tris []int32
		tris, work = flatFrom(m, edges, int32(t), plane, seen, work[:0])
		if e := (mouth{plane: plane}); e.take(m, edges, tris) {
			all = append(all, e)
		}
	}
	return all, nil
}

// facing returns the direction of a triangle and twice its area.
func facing(m *geom.Mesh, t int) (geom.Vec, float64) {
	a, b, c := m.Corners(t)
	n := b.Sub(a).Cross(c.Sub(a))
	return n.Unit(), n.Len()
}

// flatFrom gathers the triangles that hang together with t and lie on a plane.
func flatFrom(m *geom.Mesh, edges *geom.Edges, t int32, p geom.Plane, seen []bool, work []int32) (tris, room []int32) {
	seen[t] = true
	work = append(work, t)
	for len(work) > 0 {
		t := work[len(work)-1]
		work = work[:len(work)-1]
		tris = append(tris, t)
		for k := range int32(3) {
			e := edges.Across[3*t+k]
			if e < 0 || seen[e/3] || !lies(m, int(e/3), p) {
				continue
			}
			seen[e/3] = true
			work = append(work, e/3)
		}
	}
	return tris, work
}

func lies(m *geom.Mesh, t int, p geom.Plane) bool {
	for _, v := range m.Tris[t] {
		if math.Abs(p.Dist(m.Verts[v].Vec())) > flatWithin {
			return false
		}
	}
	n, twice := facing(m, t)
	return twice < 1e-6 || n.Dot(p.Normal) < -0.999
}

// take makes a flat end of tris, unless it is small or runs on into the skin
// without an edge.
func (e *mouth) take(m *geom.Mesh, edges *geom.Edges, tris []int32) bool {
	for _, t := range tris {
		a, b, c := m.Corners(int(t))
		_, twice := facing(m, int(t))
		e.area += twice / 2
		e.at = e.at.Add(a.Add(b).Add(c).Mul(twice / 6))
	}
	if e.area < leastMouth {
		return false
	}
	e.at = e.at.Mul(1 / e.area)
	e.tri = make([]bool, len(m.Tris))
	for _, t := range tris {
		e.tri[t] = true
	}
	soft, sharp := 0.0, 0.0
	for _, t := range tris {
		for k := range int32(3) {
			o := edges.Across[3*t+k]
			if o < 0 || e.tri[o/3] {
				continue
			}
			i, j := m.Ends(3*t + k)
			long := m.Verts[i].Vec().Sub(m.Verts[j].Vec()).Len()
			if n, _ := facing(m, int(o/3)); n.Dot(e.plane.Normal) < -edgeTurn {
				soft += long
			} else {
				sharp += long
			}
		}
	}
	return soft < 0.1*(soft+sharp)
}

// capped closes a surface with one rim by a flat fan, which is its opening.
func capped(m *geom.Mesh, edges *geom.Edges) (*geom.Mesh, *mouth, error) {
	rims := m.Rims(edges)
	if len(rims) != 1 {
		return nil, nil, fmt.Errorf("the surface is open at %d rims: only its opening may be; close the others, soundness shows where", len(rims))
	}
	ring := rims[0].Verts
	var pts []geom.Vec
	var mid geom.Vec
	for _, v := range ring {
		pts = append(pts, m.Verts[v].Vec())
		mid = mid.Add(m.Verts[v].Vec().Mul(1 / float64(len(ring))))
	}
	plane, rms, err := geom.FitPlane(pts, nil)
	if err != nil {
		return nil, nil, fmt.Errorf("the surface is open along a line: %w", err)
	}
	if rms > 0.5 {
		return nil, nil, fmt.Errorf("the rim of the opening is not flat: it strays %.2f mm from its plane; cut it flat", rms)
	}
	out := &geom.Mesh{Verts: append(append([]geom.Point(nil), m.Verts...), mid.Point()), Tris: append([]geom.Tri(nil), m.Tris...), Origin: m.Origin}
	e := &mouth{at: mid, tri: make([]bool, len(m.Tris)+len(ring))}
	for i, v := range ring {
		w := ring[(i+1)%len(ring)]
		e.tri[len(out.Tris)] = true
		out.Tris = append(out.Tris, geom.Tri{w, v, int32(len(m.Verts))})
		n, twice := facing(out, len(out.Tris)-1)
		e.area += twice / 2
		e.plane.Normal = e.plane.Normal.Sub(n.Mul(twice))
	}
	if plane.Normal.Dot(e.plane.Normal) < 0 {
		plane = geom.Plane{Normal: plane.Normal.Mul(-1), Offset: -plane.Offset}
	}
	e.plane = plane
	return out, e, nil
}

// stood returns m turned so that its opening lies on z = 0 with the part above
// it, and the pose that did it.
func stood(m *geom.Mesh, e *mouth) (*geom.Mesh, geom.Pose) {
	u := across(e.plane.Normal)
	w := e.plane.Normal.Cross(u)
	n := e.plane.Normal
	pose := geom.Pose{Rot: geom.Mat{{u.X, u.Y, u.Z}, {w.X, w.Y, w.Z}, {n.X, n.Y, n.Z}}}
	pose.Move = geom.Vec{}.Sub(pose.Rot.Apply(e.at))
	pose.Move.Z = -e.plane.Offset
	out := &geom.Mesh{Verts: make([]geom.Point, len(m.Verts)), Tris: m.Tris}
	for i, p := range m.Verts {
		out.Verts[i] = pose.Apply(p.Vec()).Point()
	}
	return out, pose
}

// without returns m without the triangles of its opening.
func without(m *geom.Mesh, e *mouth) *geom.Mesh {
	if e == nil {
		return m
	}
	out := &geom.Mesh{Verts: m.Verts}
	for t, tri := range m.Tris {
		if !e.tri[t] {
			out.Tris = append(out.Tris, tri)
		}
	}
	return out
}
