package geom

import (
	"context"
	"math"
	"slices"
)

// A quadric is the sum of squared distances to planes, as a function of place:
// the ten different numbers of a symmetric 4 by 4 matrix, weighted by area.
type quadric struct{ xx, xy, xz, xw, yy, yz, yw, zz, zw, ww float64 }

// planeQuadric returns the quadric of the plane through p square to n.
func planeQuadric(n, p Vec, weight float64) quadric {
	d := -n.Dot(p)
	k := n.Mul(weight)
	return quadric{
		k.X * n.X, k.X * n.Y, k.X * n.Z, k.X * d,
		k.Y * n.Y, k.Y * n.Z, k.Y * d,
		k.Z * n.Z, k.Z * d, float64(weight*d) * d,
	}
}

func (q *quadric) add(r *quadric) {
	q.xx, q.xy, q.xz, q.xw = q.xx+r.xx, q.xy+r.xy, q.xz+r.xz, q.xw+r.xw
	q.yy, q.yz, q.yw = q.yy+r.yy, q.yz+r.yz, q.yw+r.yw
	q.zz, q.zw, q.ww = q.zz+r.zz, q.zw+r.zw, q.ww+r.ww
}

// at returns the weighted sum of squared distances of p.
func (q *quadric) at(p Vec) float64 {
	ax := float64(q.xx*p.X) + float64(q.xy*p.Y) + float64(q.xz*p.Z) + float64(2*q.xw)
	ay := float64(q.xy*p.X) + float64(q.yy*p.Y) + float64(q.yz*p.Z) + float64(2*q.yw)
	az := float64(q.xz*p.X) + float64(q.yz*p.Y) + float64(q.zz*p.Z) + float64(2*q.zw)
	return float64(ax*p.X) + float64(ay*p.Y) + float64(az*p.Z) + q.ww
}

// least returns the place where q is least, if it has one that is well told.
func (q *quadric) least() (Vec, bool) {
	a, b, c := Vec{q.xx, q.xy, q.xz}, Vec{q.xy, q.yy, q.yz}, Vec{q.xz, q.yz, q.zz}
	det := a.Dot(b.Cross(c))
	trace := q.xx + q.yy + q.zz
	if !(math.Abs(det) > 1e-4*trace*trace*trace) {
		return Vec{}, false
	}
	d := Vec{-q.xw, -q.yw, -q.zw}
	return Vec{d.Dot(b.Cross(c)), a.Dot(d.Cross(c)), a.Dot(b.Cross(d))}.Mul(1 / det), true
}

// A pull draws vertex b into vertex a. It is out of date once either has
// changed since.
type pull struct {
	cost  float64
	a, b  int32
	stamp uint32
}

func (p pull) before(q pull) bool {
	if p.cost != q.cost {
		return p.cost < q.cost
	}
	return p.a < q.a || p.a == q.a && p.b < q.b
}

// A reducer draws edges together, the cheapest first.
type reducer struct {
	verts  []Vec
	tris   []Tri     // a triangle with equal corners is gone
	around [][]int32 // the triangles about each vertex; some may be gone
	q      []quadric
	change []uint32 // how often each vertex has changed
	heap   []pull
	left   int
	ring   []int32
}

// collapse draws edges of r together until about most triangles are left.
func (r *Reduced) collapse(ctx context.Context, most int) error {
	o := r.Mesh.Bounds().Centre()
	d := newReducer(ctx, r.Mesh, o)
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	for k := 0; d.left > most && len(d.heap) > 0; k++ {
		if k%4096 == 0 && ctx.Err() != nil {
			return context.Cause(ctx)
		}
		p := d.pop()
		if d.stamp(p.a, p.b) != p.stamp {
			continue
		}
		at := d.place(p.a, p.b)
		if !d.allowed(p.a, p.b, at) {
			continue
		}
		if d.verts[p.b].Sub(at).Len2() < d.verts[p.a].Sub(at).Len2() {
			r.From[p.a] = r.From[p.b]
		}
		d.draw(p.a, p.b, at)
	}
	out := &Mesh{Verts: make([]Point, len(d.verts)), Origin: r.Mesh.Origin}
	for i, v := range d.verts {
		out.Verts[i] = v.Add(o).Point()
	}
	for _, t := range d.tris {
		if t[0] != t[1] && t[1] != t[2] && t[2] != t[0] {
			out.Tris = append(out.Tris, t)
		}
	}
	r.Mesh = out
	return nil
}

// rimWeight keeps the rims of open surfaces where they are.
const rimWeight = 20

func newReducer(ctx context.Context, m *Mesh, o Vec) *reducer {
	d := &reducer{tris: slices.Clone(m.Tris), left: len(m.Tris)}
	d.verts, d.q = make([]Vec, len(m.Verts)), make([]quadric, len(m.Verts))
	d.change, d.around = make([]uint32, len(m.Verts)), make([][]int32, len(m.Verts))
	for i, p := range m.Verts {
		d.verts[i] = p.Vec().Sub(o)
	}
	d.surround()
	for i, tri := range d.tris {
		if i%4096 == 0 && ctx.Err() != nil {
			return d
		}
		a, b, c := d.verts[tri[0]], d.verts[tri[1]], d.verts[tri[2]]
		n := b.Sub(a).Cross(c.Sub(a))
		q := planeQuadric(n.Unit(), a, n.Len()/2)
		for k, v := range tri {
			d.q[v].add(&q)
			d.rim(v, tri[(k+1)%3], n)
		}
	}
	for i, tri := range d.tris {
		if i%4096 == 0 && ctx.Err() != nil {
			return d
		}
		for k, v := range tri {
			if w := tri[(k+1)%3]; v < w || len(d.common(v, w)) == 1 {
				d.offer(v, w)
			}
		}
	}
	d.order()
	return d
}

// surround lists the triangles about each vertex in one stretch of memory.
func (d *reducer) surround() {
	count := make([]int32, len(d.verts))
	for _, t := range d.tris {
		for _, v := range t {
			count[v]++
		}
	}
	store := make([]int32, 3*len(d.tris))
	for v, n := range count {
		d.around[v], store = store[:0:n], store[n:]
	}
	for i, t := range d.tris {
		for _, v := range t {
			d.around[v] = append(d.around[v], int32(i))
		}
	}
}

// rim adds, for an edge with one triangle, a plane upright on it.
func (d *reducer) rim(v, w int32, n Vec) {
	if len(d.common(v, w)) != 1 {
		return
	}
	e := d.verts[w].Sub(d.verts[v])
	q := planeQuadric(e.Cross(n).Unit(), d.verts[v], float64(rimWeight*e.Len2()))
	d.q[v].add(&q)
	d.q[w].add(&q)
}

// common returns the triangles that have both v and w.
func (d *reducer) common(v, w int32) []int32 {
	d.ring = d.ring[:0]
	for _, t := range d.around[v] {
		if tri := d.tris[t]; tri[0] == w || tri[1] == w || tri[2] == w {
			d.ring = append(d.ring, t)
		}
	}
	return d.ring
}

func (d *reducer) stamp(a, b int32) uint32 { return d.change[a] + d.change[b] }

// place returns where a and b would best be drawn together.
func (d *reducer) place(a, b int32) Vec {
	q := d.q[a]
	q.add(&d.q[b])
	p, r := d.verts[a], d.verts[b]
	middle := p.Add(r).Mul(0.5)
	if best, ok := q.least(); ok && best.Sub(middle).Len2() <= 4*p.Sub(r).Len2() {
		return best
	}
	best, cost := middle, q.at(middle)
	for _, v := range [2]Vec{p, r} {
		if c := q.at(v); c < cost {
			best, cost = v, c
		}
	}
	return best
}

// offer puts the pull of b into a on the heap's end.
func (d *reducer) offer(a, b int32) {
	at := d.place(a, b)
	q := d.q[a]
	q.add(&d.q[b])
	// a little for length, so that even skin is thinned evenly
	cost := max(q.at(at), 0) + float64(1e-9*d.verts[a].Sub(d.verts[b]).Len2())
	d.heap = append(d.heap, pull{cost, min(a, b), max(a, b), d.stamp(a, b)})
}

// allowed reports whether drawing a and b together at a place keeps the
// surface a surface and turns no triangle over.
func (d *reducer) allowed(a, b int32, at Vec) bool {
	shared := len(d.common(a, b))
	if shared == 0 || shared > 2 || d.neighboursInCommon(a, b) != shared {
		return false
	}
	return d.upright(a, b, at) && d.upright(b, a, at)
}

// neighboursInCommon counts the vertices joined to both a and b.
func (d *reducer) neighboursInCommon(a, b int32) int {
	d.ring = d.ring[:0]
	for _, t := range d.around[a] {
		for _, v := range d.tris[t] {
			if v != a && v != b && !slices.Contains(d.ring, v) {
				d.ring = append(d.ring, v)
			}
		}
	}
	own := len(d.ring)
	n := 0
	for _, t := range d.around[b] {
		for _, v := range d.tris[t] {
			if i := slices.Index(d.ring[:own], v); i >= 0 {
				own--
				d.ring[i], d.ring[own] = d.ring[own], d.ring[i]
				n++
			}
		}
	}
	return n
}

// upright reports whether the triangles about v that do not touch w keep their
// way to face, and some breadth, when v moves.
func (d *reducer) upright(v, w int32, to Vec) bool {
	for _, t := range d.around[v] {
		tri := d.tris[t]
		if tri[0] == w || tri[1] == w || tri[2] == w {
			continue
		}
		k := 0
		for tri[k] != v {
			k++
		}
		p, q := d.verts[tri[(k+1)%3]], d.verts[tri[(k+2)%3]]
		before, after := p.Sub(d.verts[v]).Cross(q.Sub(d.verts[v])), p.Sub(to).Cross(q.Sub(to))
		if b, a := before.Len(), after.Len(); before.Dot(after) < 0.25*a*b || a < 0.02*q.Sub(p).Len2() && a < b {
			return false
		}
	}
	return true
}

// draw draws b into a at a place and offers a's edges anew.
func (d *reducer) draw(a, b int32, at Vec) {
	keep := d.around[a][:0:0]
	for i, list := range [2][]int32{d.around[a], d.around[b]} {
		for _, t := range list {
			tri := &d.tris[t]
			for k := range tri {
				if tri[k] == b {
					tri[k] = a
				}
			}
			if tri[0] == tri[1] || tri[1] == tri[2] || tri[2] == tri[0] {
				if i == 0 { // it stands in both lists
					d.left--
				}
				continue
			}
			keep = append(keep, t)
		}
	}
	d.around[a], d.around[b] = keep, nil
	d.verts[a] = at
	d.q[a].add(&d.q[b])
	d.change[a]++
	d.change[b] += 1 << 16
	d.dropGone(a)
	for _, v := range d.neighbours(a) {
		d.offer(a, v)
		d.up(len(d.heap) - 1)
	}
}

// dropGone takes triangles that are gone off the lists of a's neighbours.
func (d *reducer) dropGone(a int32) {
	for _, v := range d.neighbours(a) {
		d.around[v] = slices.DeleteFunc(d.around[v], func(t int32) bool {
			tri := d.tris[t]
			return tri[0] == tri[1] || tri[1] == tri[2] || tri[2] == tri[0]
		})
	}
}

// neighbours returns the vertices joined to a.
func (d *reducer) neighbours(a int32) []int32 {
	var out []int32
	for _, t := range d.around[a] {
		for _, v := range d.tris[t] {
			if v != a && !slices.Contains(out, v) {
				out = append(out, v)
			}
		}
	}
	return out
}

// order makes the heap a heap.
func (d *reducer) order() {
	for i := len(d.heap)/2 - 1; i >= 0; i-- {
		d.down(i)
	}
}

func (d *reducer) pop() pull {
	top, last := d.heap[0], len(d.heap)-1
	d.heap[0] = d.heap[last]
	d.heap = d.heap[:last]
	d.down(0)
	return top
}

func (d *reducer) up(i int) {
	for i > 0 {
		p := (i - 1) / 2
		if !d.heap[i].before(d.heap[p]) {
			return
		}
		d.heap[i], d.heap[p] = d.heap[p], d.heap[i]
		i = p
	}
}

func (d *reducer) down(i int) {
	for {
		k := 2*i + 1
		if k >= len(d.heap) {
			return
		}
		if k+1 < len(d.heap) && d.heap[k+1].before(d.heap[k]) {
			k++
		}
		if !d.heap[k].before(d.heap[i]) {
			return
		}
		d.heap[i], d.heap[k] = d.heap[k], d.heap[i]
		i = k
	}
}
