package geom

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// Reduced is a surface with fewer triangles, for looking at.
type Reduced struct {
	Mesh *Mesh
	// From names, for each vertex of Mesh, the vertex of the full surface that
	// it stands for, so that values can be carried over.
	From []int32
	// Worst and Mean are how far, in mm, the vertices of the full surface lie
	// from the reduced one: all were measured.
	Worst, Mean float64
}

// Carry returns the values of the reduced surface's vertices.
func (r *Reduced) Carry(full []float32) []float32 {
	out := make([]float32, len(r.From))
	for i, v := range r.From {
		out[i] = full[v]
	}
	return out
}

// Reduce returns m with about most triangles or fewer, and how far it strays.
// A surface that is small enough is given back as it is. Skins that face each
// other across a narrow gap are kept apart. Triangles with corners that are
// not finite, or equal, are left out. It is for looking at: a closed surface stays closed, but may
// touch itself along an edge. The result is the same for any number of workers.
//
// In a surface of many times most, vertices in one cell that face the same way are
// first taken together (J. Rossignac and P. Borrel, "Multi-resolution 3D
// approximations for rendering complex scenes", 1993); then the edge that
// changes least is drawn together until few enough are left (M. Garland and P.
// Heckbert, "Surface simplification using quadric error metrics", SIGGRAPH
// 1997; both from memory). Two million triangles to sixty thousand take about
// four seconds on two processors, a quarter of it to measure how far the result
// strays.
func Reduce(ctx context.Context, m *Mesh, most, workers int) (*Reduced, error) {
	r := &Reduced{Mesh: m, From: make([]int32, len(m.Verts))}
	for i := range r.From {
		r.From[i] = int32(i)
	}
	if len(m.Tris) <= most {
		return r, ctx.Err()
	}
	r.gather(ctx, max(most*6, fewest))
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	if err := r.collapse(ctx, max(most, 4)); err != nil {
		return nil, err
	}
	r.tidy()
	return r, r.measure(ctx, m, workers)
}

// Gathered returns m with about most triangles, for pictures: the first half of
// the way that Reduce goes, so that a surface of less than half as many again
// stays as it is. Its vertices are vertices of m. Two million triangles to two
// hundred thousand take half a second of one processor.
func Gathered(ctx context.Context, m *Mesh, most int) (*Mesh, error) {
	r := &Reduced{Mesh: m, From: make([]int32, len(m.Verts))}
	r.gather(ctx, most)
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	if len(r.Mesh.Tris) < len(m.Tris) {
		r.unfold(m.VertexNormals())
	}
	r.tidy()
	return r.Mesh, nil
}

// unfold draws together the shortest edges of triangles that came to face away
// from the skin that their corners lay on: they would show as dark specks.
func (r *Reduced) unfold(normals []Point) {
	m := r.Mesh
	to := make([]int32, len(m.Verts))
	for range 4 { // few are left after one
		for i := range to {
			to[i] = int32(i)
		}
		folded := false
		for t, tri := range m.Tris {
			p, q, s := m.Corners(t)
			n := q.Sub(p).Cross(s.Sub(p))
			out := normals[tri[0]].Vec().Add(normals[tri[1]].Vec()).Add(normals[tri[2]].Vec())
			if n.Dot(out) >= 0 {
				continue
			}
			folded = true
			a, b := m.shortest(tri)
			to[max(a, b)] = to[min(a, b)]
		}
		if !folded {
			return
		}
		m = &Mesh{Verts: m.Verts, Tris: rewired(m.Tris, to), Origin: m.Origin}
		r.Mesh = m
	}
}

// shortest returns the ends of a triangle's shortest edge.
func (m *Mesh) shortest(t Tri) (a, b int32) {
	best := math.Inf(1)
	for k := range t {
		p, q := t[k], t[(k+1)%3]
		if d := m.Verts[p].Vec().Sub(m.Verts[q].Vec()).Len2(); d < best {
			a, b, best = p, q, d
		}
	}
	return a, b
}

// rewired returns triangles over the vertices that theirs go to, less those that
// lose a side.
func rewired(tris []Tri, to []int32) []Tri {
	out := tris[:0]
	for _, t := range tris {
		t = Tri{to[t[0]], to[t[1]], to[t[2]]}
		if t[0] != t[1] && t[1] != t[2] && t[2] != t[0] {
			out = append(out, t)
		}
	}
	return out
}

// A member is a vertex on its way into a cell.
type member struct {
	cell   uint64
	vertex int32
}

// fewest is the least number of triangles that cells aim at: coarser cells
// would pinch the skin in many places.
const fewest = 200_000

// gather takes together vertices of one cell that face one way, aiming at a
// number of triangles, if the surface has more than half as many again.
func (r *Reduced) gather(ctx context.Context, aim int) {
	m := r.Mesh
	clean := make([]Tri, 0, len(m.Tris))
	for t, tri := range m.Tris {
		if a, b, c := m.Corners(t); tri[0] != tri[1] && tri[1] != tri[2] && tri[2] != tri[0] && a.Finite() && b.Finite() && c.Finite() {
			clean = append(clean, tri)
		}
	}
	m = &Mesh{Verts: m.Verts, Tris: clean, Origin: m.Origin}
	r.Mesh = m
	if len(clean) <= aim+aim/2 {
		return
	}
	list := m.members(ctx, math.Sqrt(m.Area()/float64(aim)*2))
	if ctx.Err() != nil {
		return // the caller looks too
	}
	to := m.representatives(list)
	r.Mesh = &Mesh{Verts: m.Verts, Tris: rewired(clean, to), Origin: m.Origin}
}

// members returns the vertices that triangles use, in order of their cell: a
// cube of the given side, and one of eight ways to face.
func (m *Mesh) members(ctx context.Context, side float64) []member {
	box := m.Bounds()
	faces := make([]Point, len(m.Verts))
	for t, tri := range m.Tris {
		if t%(1<<16) == 0 && ctx.Err() != nil {
			return nil
		}
		a, b, c := m.Corners(t)
		n := b.Sub(a).Cross(c.Sub(a)).Unit().Point()
		for _, v := range tri {
			p := &faces[v]
			p[0], p[1], p[2] = p[0]+n[0], p[1]+n[1], p[2]+n[2]
		}
	}
	side = max(side, box.Size().Len()/(1<<19), 1e-12)
	list := make([]member, 0, len(m.Verts))
	for i, p := range m.Verts {
		n := faces[i]
		if n == (Point{}) {
			continue // no triangle uses it
		}
		q := p.Vec().Sub(box.Min)
		cell := uint64(q.X/side)<<43 | uint64(q.Y/side)<<23 | uint64(q.Z/side)<<3
		for k := range n {
			if n[k] < 0 {
				cell |= 1 << k
			}
		}
		list = append(list, member{cell, int32(i)})
	}
	slices.SortFunc(list, func(a, b member) int {
		return cmp.Or(cmp.Compare(a.cell, b.cell), cmp.Compare(a.vertex, b.vertex))
	})
	return list
}

// representatives returns, for each vertex, the one of its cell that lies
// nearest to the cell's mean.
func (m *Mesh) representatives(list []member) []int32 {
	to := make([]int32, len(m.Verts))
	for i := range to {
		to[i] = int32(i)
	}
	for lo := 0; lo < len(list); {
		hi := lo
		var mean Vec
		for ; hi < len(list) && list[hi].cell == list[lo].cell; hi++ {
			mean = mean.Add(m.Verts[list[hi].vertex].Vec())
		}
		mean = mean.Mul(1 / float64(hi-lo))
		best, least := list[lo].vertex, math.Inf(1)
		for _, e := range list[lo:hi] {
			if d := m.Verts[e.vertex].Vec().Sub(mean).Len2(); d < least {
				best, least = e.vertex, d
			}
		}
		for _, e := range list[lo:hi] {
			to[e.vertex] = best
		}
		lo = hi
	}
	return to
}

// tidy drops vertices that no triangle uses.
func (r *Reduced) tidy() {
	m := r.Mesh
	at := make([]int32, len(m.Verts))
	out := &Mesh{Origin: m.Origin, Tris: make([]Tri, len(m.Tris))}
	var from []int32
	for i, t := range m.Tris {
		for k, v := range t {
			if at[v] == 0 {
				out.Verts = append(out.Verts, m.Verts[v])
				from = append(from, r.From[v])
				at[v] = int32(len(out.Verts))
			}
			out.Tris[i][k] = at[v] - 1
		}
	}
	r.Mesh, r.From = out, from
}

// measure finds how far the vertices of full that triangles use lie from r.
func (r *Reduced) measure(ctx context.Context, full *Mesh, workers int) error {
	tree, err := NewTree(ctx, r.Mesh, workers)
	if err != nil {
		return err
	}
	used := make([]bool, len(full.Verts))
	for _, t := range full.Tris {
		used[t[0]], used[t[1]], used[t[2]] = true, true, true
	}
	var points []Vec
	for i, p := range full.Verts {
		if v := p.Vec(); used[i] && v.Finite() {
			points = append(points, v)
		}
	}
	hits, err := tree.ClosestAll(ctx, points, math.Inf(1), workers)
	if err != nil {
		return err
	}
	var sum Sum
	for _, h := range hits {
		d := math.Sqrt(h.Dist2)
		r.Worst = max(r.Worst, d)
		sum.Add(d)
	}
	r.Mean = sum.Total() / float64(max(len(hits), 1))
	return nil
}
