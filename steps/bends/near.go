package bends

import (
	"cmp"
	"context"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// near is where the skin of a branch comes near that of the same branch or of
// one that it grows from.
type near struct {
	branch, other int32   // other is branch or an ancestor of it
	air           float64 // mm
	at, to        geom.Vec
	way           float64 // along the skin from one to the other, at least, mm
	level, under  float64 // distances of both from the opening, the farther first
}

// sample is a vertex that stands for those about it.
type sample struct {
	v   int32
	out geom.Vec
}

// samples picks one vertex of each cell, the one nearest to the cell's middle:
// a choice that does not depend on numbering.
func (k *look) samples(cell float64) []sample {
	low := k.Mesh.Bounds().Min
	type pick struct {
		v   int32
		off float64
	}
	best := map[[3]int32]pick{}
	for v, p := range k.Mesh.Verts {
		if k.Rings.Of[v] < 0 {
			continue
		}
		q := p.Vec().Sub(low).Mul(1 / cell)
		at := [3]int32{int32(q.X), int32(q.Y), int32(q.Z)}
		off := q.Sub(geom.Vec{X: float64(at[0]) + 0.5, Y: float64(at[1]) + 0.5, Z: float64(at[2]) + 0.5}).Len2()
		if b, met := best[at]; !met || off < b.off || off == b.off && before(k.Mesh.Verts[v], k.Mesh.Verts[b.v]) {
			best[at] = pick{int32(v), off}
		}
	}
	list := make([]sample, 0, len(best))
	for _, b := range best {
		list = append(list, sample{v: b.v})
	}
	slices.SortFunc(list, func(a, b sample) int { return cmp.Compare(a.v, b.v) })
	return list
}

func before(a, b geom.Point) bool {
	return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1]), cmp.Compare(a[2], b[2])) < 0
}

// findNears looks for skin that faces skin of its own limb across less than the
// least air, with a long way between them along the skin. Candidates come from
// samples; the least air is then measured between the triangles about them.
func (k *look) findNears(ctx context.Context, workers int) error {
	cell := max(min(k.least/2, k.apart/8), 0.2) // exactly looks three about each skin: not as far as the other
	reach := k.least + 2*cell                   // samples stand for skin up to a cell away
	list := k.samples(cell)
	normals := k.Mesh.VertexNormals()
	pts := make([]geom.Point, len(list))
	for i := range list {
		list[i].out = normals[list[i].v].Vec()
		pts[i] = k.Mesh.Verts[list[i].v]
	}
	tree, err := geom.NewPointTree(ctx, pts, workers)
	if err != nil {
		return err
	}
	const place = 8 // mm: one candidate in each
	type key struct {
		branch, other int32
		at            [3]int32
	}
	type candidate struct {
		a, b int32
		d    float64
	}
	found := map[key]candidate{}
	var around []geom.Near
	for i, s := range list {
		if i&0x3ff == 0 && ctx.Err() != nil {
			return context.Cause(ctx)
		}
		p := k.Mesh.Verts[s.v].Vec()
		around = tree.Within(p, reach, around[:0])
		for _, n := range around {
			o := list[n.ID]
			branch, other, way, ok := k.apartness(s.v, o.v)
			if !ok || s.out.Dot(o.out) > -0.5 || k.Mesh.Verts[o.v].Vec().Sub(p).Dot(s.out) <= 0 {
				continue
			}
			if d := math.Sqrt(n.Dist2); way > max(k.apart, 4*d) {
				q := key{branch, other, [3]int32{int32(math.Floor(p.X / place)), int32(math.Floor(p.Y / place)), int32(math.Floor(p.Z / place))}}
				if c, met := found[q]; !met || d < c.d {
					found[q] = candidate{s.v, o.v, d}
				}
			}
		}
	}
	var keys []key
	for q := range found {
		keys = append(keys, q)
	}
	slices.SortFunc(keys, func(a, b key) int {
		return cmp.Or(cmp.Compare(a.branch, b.branch), cmp.Compare(a.other, b.other), slices.Compare(a.at[:], b.at[:]))
	})
	for _, q := range keys {
		c := found[q]
		n := near{branch: q.branch, other: q.other}
		n.air, n.at, n.to = k.exactly(c.a, c.b, 3*cell)
		_, _, n.way, _ = k.apartness(c.a, c.b)
		n.level, n.under = float64(k.Rings.Dist[c.a]), float64(k.Rings.Dist[c.b])
		if n.level < n.under {
			n.level, n.under, n.at, n.to = n.under, n.level, n.to, n.at
		}
		if n.air < k.least && !k.sideBySide(n) {
			k.nears = append(k.nears, n)
		}
	}
	k.nears = onePerPlace(k.leasts(k.nears))
	return nil
}

// leasts keeps of the near skins of two branches the nearest that touch and the
// nearest that do not: what touches at one place may leave air at another.
func (k *look) leasts(list []near) []near {
	var out []near
	for _, n := range list {
		i := slices.IndexFunc(out, func(o near) bool {
			return o.branch == n.branch && o.other == n.other && (o.air <= k.touch) == (n.air <= k.touch)
		})
		switch {
		case i < 0:
			out = append(out, n)
		case n.air < out[i].air:
			out[i] = n
		}
	}
	return out
}

// sideBySide reports whether two skins are near in the direction in which the
// fingers lie side by side: two fingers, one of them told of as the hand because
// another forks off later. That is a gap between fingers, not a bend.
func (k *look) sideBySide(n near) bool {
	if n.branch == n.other {
		return false
	}
	spread, ok := k.spread()
	return ok && math.Abs(n.to.Sub(n.at).Unit().Dot(spread)) > 0.6
}

// spread returns the direction along the roots of the fingers: between the two
// farthest apart, the one that leaves first, the thumb, left out.
func (k *look) spread() (geom.Vec, bool) {
	root := func(i int) *geom.Ring { return &k.Rings.Rings[k.Rings.Branches[k.Digits[i]].Rings[0]] }
	thumb := 0
	for i := range k.Digits {
		if root(i).Level < root(thumb).Level {
			thumb = i
		}
	}
	best := geom.Vec{}
	for i := range k.Digits {
		for j := range i {
			if d := root(i).Centre.Sub(root(j).Centre); i != thumb && j != thumb && d.Len2() > best.Len2() {
				best = d
			}
		}
	}
	return best.Unit(), best != geom.Vec{}
}

// onePerPlace keeps of near skins at one place, told of several branches about
// it, the one with the longest way between.
func onePerPlace(list []near) []near {
	slices.SortStableFunc(list, func(a, b near) int { return cmp.Compare(b.way, a.way) })
	var out []near
	for _, n := range list {
		if !slices.ContainsFunc(out, func(o near) bool { return o.at.Sub(n.at).Len() < 3 || o.at.Sub(n.to).Len() < 3 }) {
			out = append(out, n)
		}
	}
	return out
}

// apartness returns the branches of two vertices, the farther from the opening
// first, and how long the way between them along the skin is at least; false
// if neither grows from the other.
func (k *look) apartness(v, w int32) (branch, other int32, way float64, ok bool) {
	a, b := k.Rings.Of[v], k.Rings.Of[w]
	dv, dw := float64(k.Rings.Dist[v]), float64(k.Rings.Dist[w])
	if a == b {
		return a, b, math.Abs(dv - dw), true
	}
	if c, fork, grows := k.growsFrom(a, b); grows {
		return a, c, max(dv-fork, 0) + math.Abs(fork-dw), true
	}
	if c, fork, grows := k.growsFrom(b, a); grows {
		return b, c, max(dw-fork, 0) + math.Abs(fork-dv), true
	}
	return 0, 0, 0, false
}

// growsFrom reports whether branch a grows from b, and how far from the opening
// it left it.
func (k *look) growsFrom(a, b int32) (other int32, fork float64, ok bool) {
	for c := a; c >= 0; {
		parent := k.Rings.Branches[c].Parent
		if parent == b {
			return b, k.Rings.Rings[k.Rings.Branches[c].Rings[0]].Level, true
		}
		c = parent
	}
	return 0, 0, false
}

// exactly returns the least distance between the triangles about two vertices,
// and where; it goes on about the places found until there is none less.
func (k *look) exactly(a, b int32, reach float64) (air float64, at, to geom.Vec) {
	s, t := k.triangleAt(a), k.triangleAt(b)
	at, to, air = k.Mesh.Verts[a].Vec(), k.Mesh.Verts[b].Vec(), math.Inf(1)
	for {
		d, on, over, u, v := k.nearest(k.trianglesNear(s, at, reach), k.trianglesNear(t, to, reach))
		if _, _, way, _ := k.apartness(k.Mesh.Tris[u][0], k.Mesh.Tris[v][0]); d >= air || way <= max(k.apart, 4*d) && !math.IsInf(air, 1) {
			return air, at, to // no less, or down in a fold
		}
		air, at, to, s, t = d, on, over, u, v
	}
}

// nearest returns the least distance between triangles of two lists, where it
// is, and which they are.
func (k *look) nearest(as, bs []int32) (air float64, at, to geom.Vec, s, t int32) {
	best := math.Inf(1)
	for _, i := range as {
		p, q, r := k.Mesh.Corners(int(i))
		box := geom.EmptyBox().Include(p).Include(q).Include(r)
		for _, j := range bs {
			u, v, w := k.Mesh.Corners(int(j))
			if beyond(box, u, v, w, best) {
				continue
			}
			if d, on, over := geom.TriDistance([3]geom.Vec{p, q, r}, [3]geom.Vec{u, v, w}); d < best {
				best, at, to, s, t = d, on, over, i, j
			}
		}
	}
	return math.Sqrt(best), at, to, s, t
}

// beyond reports whether a triangle lies farther from a box than the square
// root of dist2.
func beyond(b geom.Box, u, v, w geom.Vec, dist2 float64) bool {
	off := func(lo, hi, x, y, z float64) float64 { return max(0, lo-max(x, y, z), min(x, y, z)-hi) }
	d := geom.Vec{X: off(b.Min.X, b.Max.X, u.X, v.X, w.X), Y: off(b.Min.Y, b.Max.Y, u.Y, v.Y, w.Y), Z: off(b.Min.Z, b.Max.Z, u.Z, v.Z, w.Z)}
	return d.Len2() >= dist2
}

// triangleAt returns a triangle with corner v.
func (k *look) triangleAt(v int32) int32 {
	return int32(slices.IndexFunc(k.Mesh.Tris, func(t geom.Tri) bool { return slices.Contains(t[:], v) }))
}

// trianglesNear returns the triangles that hang together with one and have a
// corner within reach of a place.
func (k *look) trianglesNear(start int32, at geom.Vec, reach float64) []int32 {
	seen := map[int32]bool{start: true}
	list := []int32{start}
	for i := 0; i < len(list); i++ {
		t := list[i]
		for c := 3 * t; c < 3*t+3; c++ {
			mate := k.Edges.Across[c]
			if mate < 0 || seen[mate/3] {
				continue
			}
			p, q, r := k.Mesh.Corners(int(mate / 3))
			if min(p.Sub(at).Len(), q.Sub(at).Len(), r.Sub(at).Len()) <= reach {
				seen[mate/3] = true
				list = append(list, mate/3)
			}
		}
	}
	slices.Sort(list)
	return list
}
