package gaps

import (
	"cmp"
	"context"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// pinch is where two skins are nearest, measured on the triangles themselves.
type pinch struct {
	wide   float64 // mm; 0 where they touch or cross
	at, to geom.Vec
	p, q   int32 // places nearby
}

// mostPairs bounds how many pairs of places are measured for one pinch. The
// narrowest come first, and the best pair is followed downhill after that.
const mostPairs = 300

// pinchOf measures where the balls of the members are narrowest. The balls are
// wrong by a part of the spacing of places, so that all that come close to the
// narrowest are measured.
//
// Between two limbs the nearest triangles are then followed downhill as long as
// they are of the gap. Through a solid they are not: on a round limb that would
// lead sideways, to ever shorter chords.
func (l *look) pinchOf(ctx context.Context, balls []geom.Ball, members []int32, follow bool) (pinch, error) {
	square := -1.0
	if !follow {
		members, square = l.squarest(balls, members)
	}
	narrow := math.Inf(1)
	for _, i := range members {
		narrow = min(narrow, float64(balls[i].Radius))
	}
	upTo := float32(1.1*narrow + l.skin.Edge/2)
	var near []int32
	for _, i := range members {
		if balls[i].Radius <= upTo {
			near = append(near, i)
		}
	}
	slices.SortFunc(near, func(a, b int32) int {
		return cmp.Or(cmp.Compare(balls[a].Radius, balls[b].Radius), cmp.Compare(a, b))
	})
	near = near[:min(len(near), mostPairs)]
	best := pinch{wide: math.Inf(1)}
	var tp, tq int32
	for _, i := range near {
		if ctx.Err() != nil {
			return pinch{}, context.Cause(ctx)
		}
		j := balls[i].Touch
		if !follow {
			if l.through(i, j, square, &best) {
				best.p, best.q = i, j
			}
			continue
		}
		for _, a := range l.skin.Faces.Of(l.skin.Vert[i]) {
			for _, b := range l.skin.Faces.Of(l.skin.Vert[j]) {
				if l.measure(a, b, &best) {
					best.p, best.q, tp, tq = i, j, a, b
				}
			}
		}
	}
	if math.IsInf(best.wide, 1) {
		return best, nil
	}
	if follow {
		in := map[int32]bool{}
		for _, i := range members {
			in[l.skin.Vert[i]] = true
		}
		for ctx.Err() == nil && l.downhill(&tp, &tq, &best, in) {
		}
	}
	best.wide = math.Sqrt(best.wide)
	return best, context.Cause(ctx)
}

// How far from opposite a ball through a wall may touch: cosines of 3 and of 10
// degrees. On the rounded rim of a wall shorter ways run out to its edge.
var squares = [...]float64{0.9986, 0.985}

// squarest returns the members whose balls touch opposite their places, as
// nearly as a quarter of their skin does, or on a sharp edge, and the cosine by
// which they do; all, if none do. The straight line between others is shorter
// than their balls are wide.
func (l *look) squarest(balls []geom.Ball, members []int32) (some []int32, cosine float64) {
	for _, cosine = range squares {
		var all, square geom.Sum
		some = nil
		for _, i := range members {
			all.Add(l.skin.Area[i])
			b := balls[i]
			way := l.at(i).Sub(l.at(b.Touch))
			if float64(b.Turn) < -cosine || l.sharp(b.Touch) && math.Abs(way.Dot(l.out(i))) > 0.966*way.Len() {
				square.Add(l.skin.Area[i])
				some = append(some, i)
			}
		}
		if 4*square.Total() > all.Total() {
			return some, cosine
		}
	}
	if len(some) == 0 {
		return members, -1
	}
	return some, cosine
}

// through measures from place i to the triangles round place j that face it
// squarely, and to place j itself if it lies on an edge straight behind: the
// triangles that slope away from there are the rim of a wall, or the sides of a
// ridge, and nearer only aslant.
func (l *look) through(i, j int32, square float64, best *pinch) bool {
	better := false
	from := l.at(i)
	if way := l.at(j).Sub(from); l.sharp(j) && math.Abs(way.Dot(l.out(i))) > square*way.Len() && way.Len2() < best.wide {
		best.wide, best.at, best.to, better = way.Len2(), from, l.at(j), true
	}
	for _, b := range l.skin.Faces.Of(l.skin.Vert[j]) {
		if slices.Contains(l.skin.Mesh.Tris[b][:], l.skin.Vert[i]) {
			continue // one skin
		}
		var t [3]geom.Vec
		t[0], t[1], t[2] = l.skin.Mesh.Corners(int(b))
		opposite := -l.inward * t[1].Sub(t[0]).Cross(t[2].Sub(t[0])).Unit().Dot(l.out(i))
		if opposite < square {
			continue
		}
		if d, _, to := geom.TriDistance([3]geom.Vec{from, from, from}, t); d < best.wide {
			best.wide, best.at, best.to, better = d, from, to, true
		}
	}
	return better
}

// measure looks at the distance of two triangles (squared, in best.wide until
// the end). Triangles that share a corner or do not face one another are one skin.
func (l *look) measure(a, b int32, best *pinch) bool {
	m := l.skin.Mesh
	for _, v := range m.Tris[a] {
		if slices.Contains(m.Tris[b][:], v) {
			return false
		}
	}
	var ta, tb [3]geom.Vec
	ta[0], ta[1], ta[2] = m.Corners(int(a))
	tb[0], tb[1], tb[2] = m.Corners(int(b))
	na, nb := ta[1].Sub(ta[0]).Cross(ta[2].Sub(ta[0])), tb[1].Sub(tb[0]).Cross(tb[2].Sub(tb[0]))
	if na.Dot(nb) >= 0 {
		return false
	}
	d, at, to := geom.TriDistance(ta, tb)
	if !(d < best.wide) {
		return false
	}
	best.wide, best.at, best.to = d, at, to
	return true
}

// downhill tries the triangles round the nearest two that have a corner among in.
func (l *look) downhill(tp, tq *int32, best *pinch, in map[int32]bool) bool {
	better := false
	from, to := l.round(*tp, in), l.round(*tq, in)
	for _, a := range from {
		for _, b := range to {
			if l.measure(a, b, best) {
				*tp, *tq, better = a, b, true
			}
		}
	}
	return better
}

func (l *look) round(t int32, in map[int32]bool) []int32 {
	var faces []int32
	for _, v := range l.skin.Mesh.Tris[t] {
		if in[v] {
			faces = append(faces, l.skin.Faces.Of(v)...)
		}
	}
	slices.Sort(faces)
	return slices.Compact(faces)
}
