package merge

import (
	"context"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// darning closes the holes of an open skin in which nothing can hide: those no
// wider than wide mm. They lie where one scan alone saw the skin, and that from
// the side.
type darning struct {
	*skin
	wide float64
	tied map[[2]int32]bool  // vertices of rims that an edge joins, or a tie
	ties map[[2]int32]int32 // the vertex in the middle of each tie, once it is made
}

// darn closes every hole that can be cut, by ties from rim to rim no longer than
// wide mm, into pieces whose rims are no longer than that of a round hole so wide.
// Each piece is closed by a fan about its middle, which no scan saw.
func (m *merger) darn(ctx context.Context, s *skin, wide float64) error {
	e, err := s.Edges(ctx, m.job.Workers)
	if err != nil {
		return err
	}
	d := &darning{skin: s, wide: wide, tied: tied(s.Mesh, e), ties: map[[2]int32]int32{}}
	for _, rim := range s.Rims(e) {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		hole, ok := about(s.Mesh, rim)
		if !ok {
			continue
		}
		pieces, ok := d.cut(hole, nil)
		if !ok {
			continue
		}
		for _, piece := range pieces {
			d.fan(piece)
		}
		m.darned++
	}
	return nil
}

// tied returns the pairs of vertices, the lesser first, that lie on rims and are
// joined by an edge.
func tied(m *geom.Mesh, e *geom.Edges) map[[2]int32]bool {
	on, pairs := onRim(m, e), map[[2]int32]bool{}
	for c := range e.Across {
		if a, b := m.Ends(int32(c)); on[a] && on[b] {
			pairs[pair(a, b)] = true
		}
	}
	return pairs
}

func pair(a, b int32) [2]int32 { return [2]int32{min(a, b), max(a, b)} }

// about returns the vertices of a rim in the order in which triangles that close
// it run; false if its edges do not go once round, each from one vertex to the next.
func about(m *geom.Mesh, rim geom.Loop) ([]int32, bool) {
	n, forth, back := len(rim.Verts), true, true
	for i, edge := range rim.Edges {
		a, b := m.Ends(edge)
		from, to := rim.Verts[i], rim.Verts[(i+1)%n]
		forth, back = forth && a == from && b == to, back && a == to && b == from
	}
	hole := slices.Clone(rim.Verts)
	if forth {
		slices.Reverse(hole)
	}
	return hole, n >= 3 && (forth || back)
}

// cut appends the pieces of a hole to done, or returns false if it is too wide.
func (d *darning) cut(hole []int32, done [][]int32) ([][]int32, bool) {
	w := d.walk(hole)
	n := len(hole)
	small := w.long[n] <= math.Pi*d.wide
	if small && w.plain() {
		return append(done, hole), true
	}
	if w.twice[n].Len() > d.wide*w.long[n] { // more than a slit so wide and long
		return nil, false
	}
	i, j := d.tie(hole, w)
	if j == 0 {
		return append(done, hole), small
	}
	d.tied[pair(hole[i], hole[j])], d.ties[pair(hole[i], hole[j])] = true, 0
	done, ok := d.cut(slices.Clone(hole[i:j+1]), done)
	if !ok {
		return nil, false
	}
	return d.cut(slices.Concat(hole[j:], hole[:i+1]), done)
}

// walk holds sums along a rim, from its first vertex to each and back to it.
type walk struct {
	at    []geom.Vec
	long  []float64  // mm
	twice []geom.Vec // twice the area that the way sweeps about the first vertex
}

func (d *darning) walk(hole []int32) walk {
	n := len(hole)
	w := walk{make([]geom.Vec, n), make([]float64, n+1), make([]geom.Vec, n+1)}
	for i, v := range hole {
		w.at[i] = d.Verts[v].Vec().Sub(d.Verts[hole[0]].Vec())
	}
	for i, p := range w.at {
		q := w.at[(i+1)%n]
		w.long[i+1] = w.long[i] + q.Sub(p).Len()
		w.twice[i+1] = w.twice[i].Add(p.Cross(q))
	}
	return w
}

// plain reports whether all of the rim is in sight from its middle, so that no
// triangle of a fan is folded over.
func (w walk) plain() bool {
	var middle geom.Vec
	for _, p := range w.at {
		middle = middle.Add(p.Mul(1 / float64(len(w.at))))
	}
	for i, p := range w.at {
		if p.Sub(middle).Cross(w.at[(i+1)%len(w.at)].Sub(middle)).Dot(w.twice[len(w.at)]) <= 0 {
			return false
		}
	}
	return true
}

// tie returns the two places of a hole's rim, no more than wide mm apart, that
// part it most evenly by a line within it. There is none if j is 0.
func (d *darning) tie(hole []int32, w walk) (i, j int) {
	n, most := len(hole), 0.0
	for a := range hole {
		for b := a + 2; b < n; b++ {
			across := w.at[b].Sub(w.at[a])
			if across.Len2() > float64(d.wide*d.wide) {
				continue
			}
			long := w.long[b] - w.long[a]
			even := min(long, w.long[n]-long)
			if even <= most || even <= across.Len() || d.tied[pair(hole[a], hole[b])] || !w.within(a, b) {
				continue
			}
			i, j, most = a, b, even
		}
	}
	return i, j
}

// within reports whether the line from a to b lies in the hole as it is seen
// square on, and not over a tongue of skin.
func (w walk) within(a, b int) bool {
	n := len(w.at)
	if !w.inward(a, w.at[b]) || !w.inward(b, w.at[a]) {
		return false
	}
	for k := range n {
		l := (k + 1) % n
		if k == a || k == b || l == a || l == b {
			continue
		}
		if w.left(a, b, k) != w.left(a, b, l) && w.left(k, l, a) != w.left(k, l, b) {
			return false
		}
	}
	return true
}

// inward reports whether a line from place a of the rim to q begins in the hole.
func (w walk) inward(a int, q geom.Vec) bool {
	n := len(w.at)
	up, at := w.twice[n], w.at[a]
	last, next, to := w.at[(a+n-1)%n].Sub(at), w.at[(a+1)%n].Sub(at), q.Sub(at)
	afterNext, beforeLast := next.Cross(to).Dot(up) > 0, to.Cross(last).Dot(up) > 0
	if next.Cross(last).Dot(up) > 0 {
		return afterNext && beforeLast
	}
	return afterNext || beforeLast
}

// left reports whether place k lies to the left of the line from a to b.
func (w walk) left(a, b, k int) bool {
	return w.at[b].Sub(w.at[a]).Cross(w.at[k].Sub(w.at[a])).Dot(w.twice[len(w.at)]) > 0
}

// fan closes a piece of a hole. Its middle, and those of its ties, no scan saw.
func (d *darning) fan(piece []int32) {
	var sum geom.Vec
	for _, v := range piece {
		sum = sum.Add(d.Verts[v].Vec())
	}
	middle := d.invent(sum.Mul(1 / float64(len(piece))))
	for i, v := range piece {
		w := piece[(i+1)%len(piece)]
		half, tie := d.ties[pair(v, w)]
		if !tie {
			d.Tris = append(d.Tris, geom.Tri{v, w, middle})
			continue
		}
		if half == 0 {
			half = d.invent(d.Verts[v].Vec().Add(d.Verts[w].Vec()).Mul(0.5))
			d.ties[pair(v, w)] = half
		}
		d.Tris = append(d.Tris, geom.Tri{v, half, middle}, geom.Tri{half, w, middle})
	}
}

// invent adds a vertex that no scan saw.
func (s *skin) invent(at geom.Vec) int32 {
	s.Verts = append(s.Verts, at.Point())
	s.Seen, s.disagree = append(s.Seen, 0), append(s.disagree, 0)
	return int32(len(s.Verts) - 1)
}
