package geom

import (
	"cmp"
	"context"
	"math"
	onBits "math/bits"
	"slices"
	"sync"
	"sync/atomic"
)

// BlockSide is the number of samples along a side of a block of a Lattice, and
// BlockSamples how many there are in one.
const (
	BlockSide    = 8
	BlockSamples = BlockSide * BlockSide * BlockSide
)

// Lattice holds samples of a field on a cubic grid, only where there are any:
// in blocks of 8 by 8 by 8. Sample (i, j, k) lies at Cell times (i, j, k). A
// block takes 2 KB.
type Lattice struct {
	Cell   float64 // mm
	At     [][3]int32
	Values [][BlockSamples]float32 // by block; NaN where nothing is known
	index  map[[3]int32]int32
}

// NewLattice returns an empty lattice with a cell of that many mm.
func NewLattice(cell float64) *Lattice {
	return &Lattice{Cell: cell, index: map[[3]int32]int32{}}
}

// Block returns the number of the block at that place, counted in blocks.
func (l *Lattice) Block(at [3]int32) (int32, bool) {
	b, ok := l.index[at]
	return b, ok
}

// Add returns the number of the block at that place, which is made with
// nothing known if there is none.
func (l *Lattice) Add(at [3]int32) int32 {
	if b, ok := l.index[at]; ok {
		return b
	}
	b := int32(len(l.At))
	l.index[at] = b
	l.At = append(l.At, at)
	l.Values = append(l.Values, unknownBlock)
	return b
}

var unknownBlock = func() (v [BlockSamples]float32) {
	for i := range v {
		v[i] = float32(math.NaN())
	}
	return v
}()

// InBlock returns the place of a sample in its block's values.
func InBlock(i, j, k int32) int32 {
	return (k&(BlockSide-1)*BlockSide+j&(BlockSide-1))*BlockSide + i&(BlockSide-1)
}

// Value returns the sample at (i, j, k), NaN where nothing is known.
func (l *Lattice) Value(i, j, k int32) float32 {
	b, ok := l.index[[3]int32{i >> 3, j >> 3, k >> 3}]
	if !ok {
		return float32(math.NaN())
	}
	return l.Values[b][InBlock(i, j, k)]
}

// Set sets the sample at (i, j, k).
func (l *Lattice) Set(i, j, k int32, value float32) {
	l.Values[l.Add([3]int32{i >> 3, j >> 3, k >> 3})][InBlock(i, j, k)] = value
}

// Place returns where sample (i, j, k) lies.
func (l *Lattice) Place(i, j, k int32) Vec {
	return Vec{float64(float64(i) * l.Cell), float64(float64(j) * l.Cell), float64(float64(k) * l.Cell)}
}

// marchMargin keeps a vertex off the ends of its edge, as a share of the edge, so
// that no face vanishes.
const marchMargin = 0.02

// March returns the surface where the field is zero, above zero outside: the
// triangles of every cell whose eight samples are known. Cells are cut as
// cubes says, vertices are shared, and each lies on an edge of the grid
// where the field, taken as straight along it, is zero.
//
// The surface is manifold; it is closed where it does not end at samples that
// are not known. The order of blocks does not matter. Cost: about 25 ns a
// sample.
func (l *Lattice) March(ctx context.Context, workers int) (*Mesh, error) {
	order := make([]int32, len(l.At))
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortFunc(order, func(a, b int32) int {
		p, q := l.At[a], l.At[b]
		return cmp.Or(cmp.Compare(p[2], q[2]), cmp.Compare(p[1], q[1]), cmp.Compare(p[0], q[0]))
	})
	cuts := make([]cutBlock, len(l.At))
	err := Each(ctx, len(order), workers, func(n int) { l.cut(order[n], &cuts[order[n]]) })
	if err != nil {
		return nil, err
	}
	m := &Mesh{}
	for _, b := range order {
		cuts[b].base = int32(len(m.Verts))
		m.Verts = append(m.Verts, cuts[b].verts...)
		cuts[b].verts = nil
	}
	tris := make([][]Tri, len(order))
	centres := make([][]Point, len(order))
	err = Each(ctx, len(order), workers, func(n int) {
		w := marcher{l: l, cuts: cuts, at: l.At[order[n]], verts: m.Verts}
		w.march()
		tris[n], centres[n] = w.tris, w.centres
	})
	if err != nil {
		return nil, err
	}
	for n, some := range tris {
		first := int32(len(m.Verts))
		for _, t := range some {
			for k := range t {
				if t[k] < 0 { // a middle: numbered -1, -2, ... within its block
					t[k] = first - t[k] - 1
				}
			}
			m.Tris = append(m.Tris, t)
		}
		m.Verts = append(m.Verts, centres[n]...)
	}
	return m.used(), nil
}

// used drops the vertices that no triangle has.
func (m *Mesh) used() *Mesh {
	to := make([]int32, len(m.Verts))
	for _, t := range m.Tris {
		for _, v := range t {
			to[v] = 1
		}
	}
	n := int32(0)
	for v := range to {
		if to[v] == 0 {
			continue
		}
		to[v] = n
		m.Verts[n] = m.Verts[v]
		n++
	}
	m.Verts = m.Verts[:n]
	for i, t := range m.Tris {
		m.Tris[i] = Tri{to[t[0]], to[t[1]], to[t[2]]}
	}
	return m
}

// cutBlock holds the vertices on the edges that begin at a block's samples:
// bit d of mask says that the edge in direction d has one.
type cutBlock struct {
	base   int32
	mask   [BlockSamples]uint8
	before [BlockSamples]uint16
	verts  []Point
}

// cut finds the vertices of block b.
func (l *Lattice) cut(b int32, c *cutBlock) {
	at := l.At[b]
	for s := range int32(BlockSamples) {
		c.before[s] = uint16(len(c.verts))
		v := l.Values[b][s]
		if v != v {
			continue
		}
		i, j, k := at[0]*BlockSide+s%BlockSide, at[1]*BlockSide+s/BlockSide%BlockSide, at[2]*BlockSide+s/(BlockSide*BlockSide)
		for d := range 3 {
			w, inner := float32(0), false
			switch { // mostly the neighbour is in the same block
			case d == 0 && s%BlockSide < BlockSide-1:
				w, inner = l.Values[b][s+1], true
			case d == 1 && s/BlockSide%BlockSide < BlockSide-1:
				w, inner = l.Values[b][s+BlockSide], true
			case d == 2 && s/(BlockSide*BlockSide) < BlockSide-1:
				w, inner = l.Values[b][s+BlockSide*BlockSide], true
			}
			if !inner {
				n := [3]int32{i, j, k}
				n[d]++
				w = l.Value(n[0], n[1], n[2])
			}
			if w != w || (v < 0) == (w < 0) {
				continue
			}
			c.mask[s] |= 1 << d
			t := min(max(float64(v)/(float64(v)-float64(w)), marchMargin), 1-marchMargin)
			p := [3]float64{float64(i), float64(j), float64(k)}
			p[d] += t
			c.verts = append(c.verts, Vec{p[0], p[1], p[2]}.Mul(l.Cell).Point())
		}
	}
}

// marcher walks the cells that begin at the samples of one block.
type marcher struct {
	l       *Lattice
	cuts    []cutBlock
	at      [3]int32
	near    [8]int32 // the block and those after it along x, y, z; -1 for none
	tris    []Tri
	verts   []Point // those on edges
	centres []Point
}

func (w *marcher) march() {
	for d := range int32(8) {
		b, ok := w.l.Block([3]int32{w.at[0] + d&1, w.at[1] + d>>1&1, w.at[2] + d>>2&1})
		if w.near[d] = b; !ok {
			w.near[d] = -1
		}
	}
	for k := range int32(BlockSide) {
		for j := range int32(BlockSide) {
			for i := range int32(BlockSide) {
				if mask, ok := w.signs(i, j, k); ok && mask != 0 && mask != 255 {
					w.cell(i, j, k, cubes[mask])
				}
			}
		}
	}
}

// signs returns which corners of a cell are inside; false if one is not known.
func (w *marcher) signs(i, j, k int32) (mask int, ok bool) {
	for c := range int32(8) {
		x, y, z := i+c&1, j+c>>1&1, k+c>>2&1
		b := w.near[x>>3|y>>3<<1|z>>3<<2]
		if b < 0 {
			return 0, false
		}
		v := w.l.Values[b][InBlock(x, y, z)]
		if v != v {
			return 0, false
		}
		if v < 0 {
			mask |= 1 << c
		}
	}
	return mask, true
}

// cell adds the triangles of one cell: each loop as a fan, or about its middle
// where a fan would have an edge in a face of the cell, which the next cell
// could have too.
func (w *marcher) cell(i, j, k int32, loops []cubeLoop) {
	var ring [12]int32
	for _, loop := range loops {
		n := len(loop.edges)
		for m, e := range loop.edges {
			ring[m] = w.vertex(i, j, k, e)
		}
		if loop.fan {
			for m := 2; m < n; m++ {
				w.tris = append(w.tris, Tri{ring[0], ring[m-1], ring[m]})
			}
			continue
		}
		w.centres = append(w.centres, w.middle(ring[:n]))
		c := int32(-len(w.centres))
		for m := range n {
			w.tris = append(w.tris, Tri{ring[m], ring[(m+1)%n], c})
		}
	}
}

// vertex returns the vertex on edge e of the cell at (i, j, k).
func (w *marcher) vertex(i, j, k int32, e uint8) int32 {
	c, d := int32(e&7), e>>3
	x, y, z := i+c&1, j+c>>1&1, k+c>>2&1
	b := &w.cuts[w.near[x>>3|y>>3<<1|z>>3<<2]]
	s := InBlock(x, y, z)
	return b.base + int32(b.before[s]) + int32(onBits.OnesCount8(b.mask[s]&(1<<d-1)))
}

func (w *marcher) middle(ring []int32) Point {
	var sum Vec
	for _, v := range ring {
		sum = sum.Add(w.verts[v].Vec())
	}
	return sum.Mul(1 / float64(len(ring))).Point()
}

// Each calls f for 0 to n-1 from up to workers goroutines, a few at a time,
// and waits; it stops early when ctx is done and returns its cause.
func Each(ctx context.Context, n, workers int, f func(i int)) error {
	const few = 8
	workers = max(1, min(workers, (n+few-1)/few))
	var next atomic.Int64
	var wg sync.WaitGroup
	for range workers {
		wg.Go(func() {
			for ctx.Err() == nil {
				lo := int(next.Add(few)) - few
				if lo >= n {
					return
				}
				for i := lo; i < min(lo+few, n); i++ {
					f(i)
				}
			}
		})
	}
	wg.Wait()
	return context.Cause(ctx)
}
