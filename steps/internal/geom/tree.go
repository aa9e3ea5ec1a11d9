package geom

import (
	"context"
	"fmt"
)

// Tree is a bounding-volume tree over the triangles of a surface. It answers
// where the nearest skin is, what a ray meets, and which triangles lie near a
// place. It is not changed once built and may be asked from any number of
// goroutines.
//
// Each inner node holds the boxes of up to four children; the corners of the
// triangles stand in tree order, so that a leaf is one stretch of memory. A
// tree takes about 55 bytes a triangle beside its surface.
//
// Every answer is that of looking at all triangles one by one: boxes are
// rounded outward and where two triangles tie the smaller index wins.
// Triangles with coordinates that are not finite are left out; those without
// area and those given twice are kept.
type Tree struct {
	mesh    *Mesh
	grid    grid
	nodes   []node
	corners [][9]float32 // of each triangle, in tree order
	ids     []int32      // index in mesh.Tris, in tree order
	bounds  Box
}

// node is an inner node: up to four boxes, by their least and greatest cells
// of the tree's grid, and what they hold. A child above zero is another node,
// so many places further on; a child below zero is a leaf: ^child =
// first<<3 | count. Zero is no child, and none comes after it.
type node struct {
	lo, hi [3][4]int32
	kids   [4]int32
}

// grid lays whole numbers over the box of the tree. Whole numbers are compared
// and squared faster than float64 ones are clipped at zero, and without
// rounding.
type grid struct {
	min       Vec
	cell, per float64 // mm a cell, cells a mm
}

// gridSide is the number of cells along the longest side: 0.75 nm each on a
// part of 200 mm. Gaps of up to three sides can be squared and added in int64.
const gridSide = 1 << 28

func gridOver(b Box) grid {
	size := b.Size()
	side := max(size.X, size.Y, size.Z)
	if side == 0 {
		return grid{min: b.Min}
	}
	return grid{b.Min, side / gridSide, gridSide / side}
}

// leafMost is the most triangles in a leaf; count fits three bits.
const leafMost = 4

// treeMost is the most triangles of a tree: what an int32 counts beside three bits.
const treeMost = 1<<28 - 1

// stackMost holds the deepest walk: no more than three children are put aside
// at each level, and the builder keeps depth below depthMost + 16.
const (
	depthMost = 24
	stackMost = 3*(depthMost+16) + 8
)

func leafOf(first, count int) int32 { return ^int32(first<<3 | count) }

// set gives a node its child k. The box is widened by a cell or two, for the
// rounding of what is asked about and far above that of float64 arithmetic.
func (n *node) set(k int, b *box32, g *grid, child int32) {
	lo, hi := Point(b.lo).Vec().Sub(g.min).Mul(g.per), Point(b.hi).Vec().Sub(g.min).Mul(g.per)
	n.lo[0][k], n.lo[1][k], n.lo[2][k] = int32(lo.X)-1, int32(lo.Y)-1, int32(lo.Z)-1
	n.hi[0][k], n.hi[1][k], n.hi[2][k] = int32(hi.X)+2, int32(hi.Y)+2, int32(hi.Z)+2
	n.kids[k] = child
}

// NewTree builds a tree over m with up to workers goroutines; the tree is the
// same for any number of them. Cost: about 0.3 µs a triangle on one core.
func NewTree(ctx context.Context, m *Mesh, workers int) (*Tree, error) {
	if len(m.Tris) > treeMost {
		return nil, fmt.Errorf("the surface has %d triangles, a tree holds %d at most: cut it into parts", len(m.Tris), treeMost)
	}
	b := newBuilder(ctx, m, workers)
	if err := b.gather(); err != nil {
		return nil, err
	}
	t := &Tree{mesh: m, bounds: EmptyBox()}
	if len(b.refs) > 0 {
		b.all = b.boundsOf(0, len(b.refs))
		t.bounds = b.all.Box()
		b.grid = gridOver(t.bounds)
		t.grid = b.grid
		t.nodes = b.grow(span{0, len(b.refs), b.all}, 0)
	}
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	t.ids, t.corners = b.lay()
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	return t, nil
}

// Mesh returns the surface the tree was built over.
func (t *Tree) Mesh() *Mesh { return t.mesh }

// Bounds returns the box of all triangles in the tree.
func (t *Tree) Bounds() Box { return t.bounds }

// Len returns the number of triangles in the tree.
func (t *Tree) Len() int { return len(t.ids) }

// Bytes returns the memory the tree takes beside its surface.
func (t *Tree) Bytes() int { return len(t.nodes)*112 + len(t.ids)*40 }
