package geom

import (
	"cmp"
	"context"
	"slices"
	"sync"
)

// box32 is a box in stored numbers.
type box32 struct{ lo, hi [3]float32 }

var noBox32 = box32{
	[3]float32{maxF32, maxF32, maxF32},
	[3]float32{-maxF32, -maxF32, -maxF32},
}

const maxF32 = 0x1p127 * (1 + (1 - 0x1p-23))

func (b *box32) add(o *box32) {
	for x := range 3 {
		if o.lo[x] < b.lo[x] {
			b.lo[x] = o.lo[x]
		}
		if o.hi[x] > b.hi[x] {
			b.hi[x] = o.hi[x]
		}
	}
}

// halfArea returns half the surface of the box, 0 for a box of nothing.
func (b *box32) halfArea() float64 {
	x, y, z := float64(b.hi[0])-float64(b.lo[0]), float64(b.hi[1])-float64(b.lo[1]), float64(b.hi[2])-float64(b.lo[2])
	if x < 0 {
		return 0
	}
	return float64(x*y) + float64(y*z) + float64(z*x)
}

func (b *box32) longest() int {
	axis := 0
	for x := 1; x < 3; x++ {
		if b.hi[x]-b.lo[x] > b.hi[axis]-b.lo[axis] {
			axis = x
		}
	}
	return axis
}

// Box returns b for computing with.
func (b *box32) Box() Box { return Box{Point(b.lo).Vec(), Point(b.hi).Vec()} }

// ref is a triangle while the tree is built.
type ref struct {
	box32
	tri int32
}

// span is a stretch of refs and the box of all in it.
type span struct {
	from, to int
	box      box32
}

func (s span) len() int { return s.to - s.from }

// builder grows a tree from the top: a stretch of triangles is cut where a
// binned estimate of the surface-area cost is least along the longest side of
// its box, until four parts stand side by side; then each part likewise. I.
// Wald, "On fast construction of SAH-based bounding volume hierarchies", IEEE
// RT 2007 (from memory).
type builder struct {
	ctx  context.Context
	mesh *Mesh
	refs []ref
	all  box32
	grid grid
	free chan struct{} // a token for each goroutine that may still be started
}

func newBuilder(ctx context.Context, m *Mesh, workers int) *builder {
	return &builder{ctx: ctx, mesh: m, free: make(chan struct{}, max(workers, 1)-1)}
}

// both runs a and b, side by side if a goroutine is to be had.
func (b *builder) both(f, g func()) {
	select {
	case b.free <- struct{}{}:
		var wg sync.WaitGroup
		wg.Go(func() { f(); <-b.free })
		g()
		wg.Wait()
	default:
		f()
		g()
	}
}

// halves runs f over [from,to) in pieces of at most piece.
func (b *builder) halves(from, to, piece int, f func(from, to int)) {
	if to-from <= piece {
		f(from, to)
		return
	}
	mid := (from + to) / 2
	b.both(func() { b.halves(from, mid, piece, f) }, func() { b.halves(mid, to, piece, f) })
}

// gather makes the refs, leaving out triangles that are not finite.
func (b *builder) gather() error {
	m := b.mesh
	b.refs = make([]ref, len(m.Tris))
	b.halves(0, len(m.Tris), 1<<15, func(from, to int) {
		if b.ctx.Err() != nil {
			return
		}
		for i := from; i < to; i++ {
			b.refs[i] = refOf(m, i)
		}
	})
	if b.ctx.Err() != nil {
		return context.Cause(b.ctx)
	}
	if slices.ContainsFunc(b.refs, func(r ref) bool { return r.tri < 0 }) {
		b.refs = slices.DeleteFunc(b.refs, func(r ref) bool { return r.tri < 0 })
	}
	return nil
}

func refOf(m *Mesh, i int) ref {
	t := m.Tris[i]
	p, q, r := m.Verts[t[0]], m.Verts[t[1]], m.Verts[t[2]]
	var out ref
	out.tri = int32(i)
	for x := range 3 {
		lo, hi := p[x], p[x]
		if q[x] < lo {
			lo = q[x]
		}
		if q[x] > hi {
			hi = q[x]
		}
		if r[x] < lo {
			lo = r[x]
		}
		if r[x] > hi {
			hi = r[x]
		}
		out.lo[x], out.hi[x] = lo, hi
		if (p[x]+q[x]+r[x])*0 != 0 && (p[x]*0 != 0 || q[x]*0 != 0 || r[x]*0 != 0) {
			out.tri = -1
		}
	}
	return out
}

func (b *builder) boundsOf(from, to int) box32 {
	box := noBox32
	for i := from; i < to; i++ {
		box.add(&b.refs[i].box32)
	}
	return box
}

// apart is the size above which the parts of a node are grown on their own
// and may be given to other goroutines. It does not depend on how many.
const apart = 1 << 14

// grow returns the nodes of the tree over s, its root first.
func (b *builder) grow(s span, depth int) []node {
	if b.ctx.Err() != nil {
		return nil
	}
	if s.len() <= apart {
		nodes := make([]node, 0, s.len()/6+4)
		return b.growSmall(nodes, s, depth)
	}
	var l, r [2]span
	l[0], r[0] = b.split(s, depth)
	b.both(
		func() { l[0], l[1] = b.split(l[0], depth) },
		func() { r[0], r[1] = b.split(r[0], depth) })
	parts := [4]span{l[0], l[1], r[0], r[1]}
	var subs [4][]node
	one := func(k int) {
		if parts[k].len() > leafMost {
			subs[k] = b.grow(parts[k], depth+1)
		}
	}
	b.both(
		func() { b.both(func() { one(0) }, func() { one(1) }) },
		func() { b.both(func() { one(2) }, func() { one(3) }) })
	return b.join(parts, subs)
}

// join puts the parts of a node behind a node of its own.
func (b *builder) join(parts [4]span, subs [4][]node) []node {
	nodes := make([]node, 1, 1+len(subs[0])+len(subs[1])+len(subs[2])+len(subs[3]))
	n := 0
	for k, p := range parts {
		switch {
		case p.len() == 0:
			continue
		case p.len() <= leafMost:
			nodes[0].set(n, &p.box, &b.grid, leafOf(p.from, p.len()))
		default:
			nodes[0].set(n, &p.box, &b.grid, int32(len(nodes)))
			nodes = append(nodes, subs[k]...)
		}
		n++
	}
	return nodes
}

// growSmall appends the nodes over s to nodes.
func (b *builder) growSmall(nodes []node, s span, depth int) []node {
	var parts [4]span
	parts[0] = s
	n := 1
	for n < 4 {
		k := b.worst(parts[:n])
		if k < 0 {
			break
		}
		parts[k], parts[n] = b.split(parts[k], depth)
		n++
	}
	self := len(nodes)
	nodes = append(nodes, node{})
	for k, p := range parts[:n] {
		if p.len() <= leafMost {
			nodes[self].set(k, &p.box, &b.grid, leafOf(p.from, p.len()))
			continue
		}
		nodes[self].set(k, &p.box, &b.grid, int32(len(nodes)-self))
		nodes = b.growSmall(nodes, p, depth+1)
	}
	return nodes
}

// worst returns the part with most to gain from a cut, or -1 if all are leaves.
func (b *builder) worst(parts []span) int {
	best, at := -1.0, -1
	for k := range parts {
		if parts[k].len() > leafMost {
			if a := parts[k].box.halfArea(); a > best {
				best, at = a, k
			}
		}
	}
	return at
}

// split cuts s in two parts, neither of them empty if s has two triangles.
func (b *builder) split(s span, depth int) (l, r span) {
	if s.len() < 2 {
		return s, span{s.to, s.to, noBox32}
	}
	axis := s.box.longest()
	if depth >= depthMost {
		return b.middle(s, axis)
	}
	nb := 16
	if s.len() <= 32 {
		nb = 8
	}
	cut, lbox, rbox := b.choose(s, axis, nb)
	if cut < 0 {
		return b.middle(s, axis)
	}
	mid := b.part(s, axis, nb, cut)
	return span{s.from, mid, lbox}, span{mid, s.to, rbox}
}

// middle cuts s so that both parts have as many triangles.
func (b *builder) middle(s span, axis int) (l, r span) {
	slices.SortFunc(b.refs[s.from:s.to], func(p, q ref) int {
		return cmp.Or(cmp.Compare(p.lo[axis]+p.hi[axis], q.lo[axis]+q.hi[axis]), cmp.Compare(p.tri, q.tri))
	})
	mid := (s.from + s.to) / 2
	return span{s.from, mid, b.boundsOf(s.from, mid)}, span{mid, s.to, b.boundsOf(mid, s.to)}
}

// bin gathers the triangles whose middles lie in one slice of a span's box.
type bin struct {
	box32
	n int
}

type bins [16]bin

// slicer returns what turns lo+hi of a ref into its bin.
func slicer(s *span, axis, nb int) (base, per float32) {
	base = 2 * s.box.lo[axis]
	size := 2*s.box.hi[axis] - base
	if !(size > 0) {
		return base, 0
	}
	return base, float32(nb) * 0.99999 / size
}

// choose returns the bin before which to cut, with the boxes of both sides;
// -1 if no cut parts the triangles.
func (b *builder) choose(s span, axis, nb int) (cut int, lbox, rbox box32) {
	var set bins
	b.fill(&set, s, axis, nb)
	var right [17]box32
	right[nb] = noBox32
	var count [17]int
	for i := nb - 1; i > 0; i-- {
		right[i], count[i] = right[i+1], count[i+1]+set[i].n
		right[i].add(&set[i].box32)
	}
	left, n := noBox32, 0
	cut, best := -1, 0.0
	for i := 1; i < nb; i++ {
		left.add(&set[i-1].box32)
		n += set[i-1].n
		if n == 0 || count[i] == 0 {
			continue
		}
		cost := float64(left.halfArea()*float64(n)) + float64(right[i].halfArea()*float64(count[i]))
		if cut < 0 || cost < best {
			cut, best, lbox, rbox = i, cost, left, right[i]
		}
	}
	return cut, lbox, rbox
}

// fill sorts the triangles of s into bins. Boxes and counts do not depend on
// the order of adding.
func (b *builder) fill(set *bins, s span, axis, nb int) {
	for i := range set[:nb] {
		set[i].box32 = noBox32
	}
	base, per := slicer(&s, axis, nb)
	if s.len() <= 1<<17 {
		fillPart(set, b.refs[s.from:s.to], axis, base, per)
		return
	}
	var mu sync.Mutex
	b.halves(s.from, s.to, (s.len()+1)/2, func(from, to int) {
		var own bins
		for i := range own {
			own[i].box32 = noBox32
		}
		fillPart(&own, b.refs[from:to], axis, base, per)
		mu.Lock()
		defer mu.Unlock()
		for i := range own {
			set[i].add(&own[i].box32)
			set[i].n += own[i].n
		}
	})
}

func fillPart(set *bins, refs []ref, axis int, base, per float32) {
	for i := range refs {
		r := &refs[i]
		k := &set[int((r.lo[axis]+r.hi[axis]-base)*per)&15]
		k.n++
		if r.lo[0] < k.lo[0] {
			k.lo[0] = r.lo[0]
		}
		if r.lo[1] < k.lo[1] {
			k.lo[1] = r.lo[1]
		}
		if r.lo[2] < k.lo[2] {
			k.lo[2] = r.lo[2]
		}
		if r.hi[0] > k.hi[0] {
			k.hi[0] = r.hi[0]
		}
		if r.hi[1] > k.hi[1] {
			k.hi[1] = r.hi[1]
		}
		if r.hi[2] > k.hi[2] {
			k.hi[2] = r.hi[2]
		}
	}
}

// part moves the triangles of the bins before cut to the front of s.
func (b *builder) part(s span, axis, nb, cut int) int {
	base, per := slicer(&s, axis, nb)
	refs := b.refs
	i, j := s.from, s.to-1
	for {
		for i <= j && int((refs[i].lo[axis]+refs[i].hi[axis]-base)*per)&15 < cut {
			i++
		}
		for i <= j && int((refs[j].lo[axis]+refs[j].hi[axis]-base)*per)&15 >= cut {
			j--
		}
		if i >= j {
			return i
		}
		refs[i], refs[j] = refs[j], refs[i]
		i++
		j--
	}
}

// lay writes the triangles down in tree order.
func (b *builder) lay() ([]int32, [][9]float32) {
	ids := make([]int32, len(b.refs))
	corners := make([][9]float32, len(b.refs))
	b.halves(0, len(b.refs), 1<<15, func(from, to int) {
		if b.ctx.Err() != nil {
			return
		}
		for i := from; i < to; i++ {
			ids[i] = b.refs[i].tri
			t := b.mesh.Tris[ids[i]]
			p, q, r := b.mesh.Verts[t[0]], b.mesh.Verts[t[1]], b.mesh.Verts[t[2]]
			corners[i] = [9]float32{p[0], p[1], p[2], q[0], q[1], q[2], r[0], r[1], r[2]}
		}
	})
	return ids, corners
}
