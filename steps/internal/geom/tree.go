package geom

import (
	"context"
	"fmt"
	"math"
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
	nodes   []node
	corners [][9]float32 // of each triangle, in tree order
	ids     []int32      // index in mesh.Tris, in tree order
	bounds  Box
}

// node is an inner node: up to four boxes, by centre and half size, and what
// they hold. A child above zero is another node, so many places further on; a
// child below zero is a leaf: ^child = first<<3 | count. Zero is no child.
type node struct {
	c, h [3][4]float32
	kids [4]int32
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

func (n *node) set(k int, b box32, pad float32, child int32) {
	for x := range 3 {
		lo, hi := float64(b.lo[x]), float64(b.hi[x])
		c := float32(lo + (hi-lo)/2)
		h := float32(max(hi-float64(c), float64(c)-lo))
		n.c[x][k], n.h[x][k] = c, math.Nextafter32(h+float32(h*0x1p-22)+pad, math.MaxFloat32)
	}
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
		b.pad = padOf(t.bounds)
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

// padOf returns what every box is grown by, mm: far above the rounding of
// float64 arithmetic on coordinates of that size, far below a triangle.
func padOf(b Box) float32 {
	far := 0.0
	for _, v := range []float64{b.Min.X, b.Min.Y, b.Min.Z, b.Max.X, b.Max.Y, b.Max.Z} {
		far = max(far, math.Abs(v))
	}
	return float32(far * 0x1p-30)
}

// Mesh returns the surface the tree was built over.
func (t *Tree) Mesh() *Mesh { return t.mesh }

// Bounds returns the box of all triangles in the tree.
func (t *Tree) Bounds() Box { return t.bounds }

// Len returns the number of triangles in the tree.
func (t *Tree) Len() int { return len(t.ids) }

// Bytes returns the memory the tree takes beside its surface.
func (t *Tree) Bytes() int { return len(t.nodes)*112 + len(t.ids)*40 }
