package geom

import (
	"errors"
	"math"
	"slices"
)

// Hull is the convex hull of points: its corners and its facets as triangles
// turning counter-clockwise seen from outside.
//
//	Points  the corners, mm
//	Facets  triangles over Points
type Hull struct {
	Points []Vec
	Facets []Tri
}

// ErrFlat says that points lie in one place, on one line or on one plane, so
// that their hull encloses nothing.
var ErrFlat = errors.New("the points enclose nothing: they lie on one plane, line or place")

// ConvexHull returns the hull of pts. Points no farther than within mm above a
// facet count as inside (at least 1e-9 of the cloud's size, for rounding), so a
// hull of a million points of round skin need not have a hundred thousand
// corners. At least four points not on one plane are asked for, else ErrFlat.
//
// Quickhull: C. B. Barber, D. P. Dobkin and H. Huhdanpaa, "The Quickhull
// algorithm for convex hulls", ACM TOMS 1996 (from memory). Cost about n log n.
func ConvexHull(pts []Vec, within float64) (*Hull, error) {
	q, err := newQuickhull(pts, within)
	if err != nil {
		return nil, err
	}
	for {
		f := q.next()
		if f < 0 {
			return q.result(), nil
		}
		q.grow(f)
	}
}

type hullFacet struct {
	at      [3]int32 // indices into pts
	across  [3]int32 // facet across the edge at[i], at[i+1]
	normal  Vec
	offset  float64
	outside []int32 // points above it and assigned to it
	far     int32   // the farthest of them
	farBy   float64
	gone    bool
	mark    int32
}

func (f *hullFacet) above(p Vec) float64 { return f.normal.Dot(p) - f.offset }

type quickhull struct {
	pts    []Vec
	within float64 // how far above a facet a point may lie and be left out
	round  float64 // how far above a facet rounding may put a point that lies in it
	facets []hullFacet
	todo   []int32
	stamp  int32
	middle Vec
}

func newQuickhull(pts []Vec, within float64) (*quickhull, error) {
	if len(pts) < 4 {
		return nil, ErrFlat
	}
	b := EmptyBox()
	for _, p := range pts {
		if !p.Finite() {
			return nil, ErrUndetermined
		}
		b = b.Include(p)
	}
	q := &quickhull{pts: pts, round: 1e-10 * b.Size().Len(), within: max(1e-9*b.Size().Len(), within)}
	corners, ok := q.simplex()
	if !ok {
		return nil, ErrFlat
	}
	for _, i := range corners {
		q.middle = q.middle.Add(pts[i].Mul(0.25))
	}
	faces := [4][3]int{{0, 1, 2}, {0, 3, 1}, {0, 2, 3}, {1, 3, 2}}
	across := [4][3]int32{{1, 3, 2}, {2, 3, 0}, {0, 3, 1}, {1, 2, 0}}
	for k, f := range faces {
		q.add([3]int32{corners[f[0]], corners[f[1]], corners[f[2]]}, across[k])
	}
	all := make([]int32, len(pts))
	for i := range all {
		all[i] = int32(i)
	}
	q.assign(all, []int32{0, 1, 2, 3})
	return q, nil
}

// simplex picks four points far apart, ordered so that the first facet turns
// outward.
func (q *quickhull) simplex() ([4]int32, bool) {
	pick := func(score func(Vec) float64) (int32, float64) {
		best, by := int32(0), math.Inf(-1)
		for i, p := range q.pts {
			if s := score(p); s > by {
				best, by = int32(i), s
			}
		}
		return best, by
	}
	a, _ := pick(func(p Vec) float64 { return -p.X })
	pa := q.pts[a]
	b, d := pick(func(p Vec) float64 { return p.Sub(pa).Len() })
	if d <= q.within {
		return [4]int32{}, false
	}
	along := q.pts[b].Sub(pa).Unit()
	c, d := pick(func(p Vec) float64 { return p.Sub(pa).Cross(along).Len() })
	if d <= q.within {
		return [4]int32{}, false
	}
	n := q.pts[b].Sub(pa).Cross(q.pts[c].Sub(pa)).Unit()
	e, d := pick(func(p Vec) float64 { return math.Abs(p.Sub(pa).Dot(n)) })
	if d <= q.within {
		return [4]int32{}, false
	}
	if q.pts[e].Sub(pa).Dot(n) > 0 {
		b, c = c, b
	}
	return [4]int32{a, b, c, e}, true
}

func (q *quickhull) add(at [3]int32, across [3]int32) int32 {
	a, b, c := q.pts[at[0]], q.pts[at[1]], q.pts[at[2]]
	n := b.Sub(a).Cross(c.Sub(a)).Unit()
	q.facets = append(q.facets, hullFacet{at: at, across: across, normal: n, offset: n.Dot(a)})
	return int32(len(q.facets) - 1)
}

// assign gives each point to the first of the facets that it lies above.
func (q *quickhull) assign(points, facets []int32) {
	for _, i := range points {
		p := q.pts[i]
		for _, k := range facets {
			f := &q.facets[k]
			if d := f.above(p); d > q.within {
				f.outside = append(f.outside, i)
				if d > f.farBy {
					f.far, f.farBy = i, d
				}
				break
			}
		}
	}
	for _, k := range facets {
		if len(q.facets[k].outside) > 0 {
			q.todo = append(q.todo, k)
		}
	}
}

func (q *quickhull) next() int32 {
	for len(q.todo) > 0 {
		f := q.todo[len(q.todo)-1]
		q.todo = q.todo[:len(q.todo)-1]
		if !q.facets[f].gone {
			return f
		}
	}
	return -1
}

// rim is an edge between what a point sees and what it does not.
type rim struct{ from, to, beyond int32 }

// grow takes the farthest point above facet f into the hull.
func (q *quickhull) grow(f int32) {
	p := q.facets[f].far
	seen, edges := q.horizon(f, q.pts[p])
	if !closed(edges) { // rounding made an island of what p sees: leave p out
		q.drop(f, p)
		return
	}
	var orphans []int32
	for _, k := range seen {
		q.facets[k].gone = true
		orphans = append(orphans, q.facets[k].outside...)
		q.facets[k].outside = nil
	}
	first := int32(len(q.facets))
	n := int32(len(edges))
	fresh := make([]int32, n)
	for i, e := range edges {
		next, before := first+(int32(i)+1)%n, first+(int32(i)+n-1)%n
		fresh[i] = q.add([3]int32{e.from, e.to, p}, [3]int32{e.beyond, next, before})
		b := &q.facets[e.beyond]
		for j := range 3 {
			if b.at[j] == e.to && b.at[(j+1)%3] == e.from {
				b.across[j] = fresh[i]
			}
		}
	}
	q.assign(orphans, fresh)
}

// closed reports whether the edges follow each other in one ring.
func closed(edges []rim) bool {
	for i, e := range edges {
		if e.to != edges[(i+1)%len(edges)].from {
			return false
		}
	}
	return len(edges) >= 3
}

// drop takes p off facet f's list.
func (q *quickhull) drop(f, p int32) {
	points := q.facets[f].outside
	q.facets[f].outside, q.facets[f].farBy = nil, 0
	points = slices.DeleteFunc(points, func(i int32) bool { return i == p })
	q.assign(points, []int32{f})
}

// horizon returns the facets that see p, starting from f, and the closed chain
// of edges around them, in order.
func (q *quickhull) horizon(f int32, p Vec) (seen []int32, edges []rim) {
	q.stamp++
	q.facets[f].mark = q.stamp
	seen = append(seen, f)
	type visit struct{ facet, edge, left int32 }
	stack := []visit{{f, 0, 3}}
	for len(stack) > 0 {
		v := &stack[len(stack)-1]
		if v.left == 0 {
			stack = stack[:len(stack)-1]
			continue
		}
		e, at := v.edge, v.facet
		v.edge, v.left = (v.edge+1)%3, v.left-1
		here := &q.facets[at]
		to := here.across[e]
		g := &q.facets[to]
		if g.mark == q.stamp {
			continue
		}
		if g.above(p) <= q.round {
			edges = append(edges, rim{here.at[e], here.at[(e+1)%3], to})
			continue
		}
		g.mark = q.stamp
		seen = append(seen, to)
		back := int32(slices.Index(g.across[:], at))
		stack = append(stack, visit{to, (back + 1) % 3, 2})
	}
	return seen, edges
}

func (q *quickhull) result() *Hull {
	h := &Hull{}
	index := map[int32]int32{}
	for k := range q.facets {
		f := &q.facets[k]
		if f.gone {
			continue
		}
		var t Tri
		for j, i := range f.at {
			n, known := index[i]
			if !known {
				n = int32(len(h.Points))
				index[i] = n
				h.Points = append(h.Points, q.pts[i])
			}
			t[j] = n
		}
		h.Facets = append(h.Facets, t)
	}
	return h
}

// Volume returns what the hull encloses, mm³.
func (h *Hull) Volume() float64 {
	var s Sum
	o := h.Points[0]
	for _, t := range h.Facets {
		a, b, c := h.Points[t[0]].Sub(o), h.Points[t[1]].Sub(o), h.Points[t[2]].Sub(o)
		s.Add(a.Dot(b.Cross(c)))
	}
	return s.Total() / 6
}
