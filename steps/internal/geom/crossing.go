package geom

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"sync"
	"sync/atomic"
)

// Pair is two triangles by index, the smaller first.
type Pair [2]int32

// Crossings returns the pairs of triangles that cross: that have a point in
// common which belongs to no corner or edge they share. It misses none and
// invents none. Corners at equal places are shared, whatever their numbers.
// Neighbours folded flat onto each other cross; triangles without area and
// copies of a triangle do not (they are counted as such elsewhere).
//
// Where tens of thousands of triangles lie at one place it gives up with
// ErrHeaped.
//
// Pairs stand in order, no more than most of them, and all tells whether there
// are no more. Which are kept of too many, as all else, does not depend on
// workers.
//
// The tree is walked against itself, part against part, as long as boxes meet;
// at its leaves a plane that clearly parts two triangles ends the matter, and
// else signs of determinants decide, computed exactly where rounding could
// turn them (exact.go). Every two triangles that meet have an edge of one
// meeting the other; with a corner in common, the edge that lies opposite.
func (t *Tree) Crossings(ctx context.Context, most, workers int) (pairs []Pair, all bool, err error) {
	if len(t.nodes) == 0 {
		return nil, true, nil
	}
	c := &crosser{ctx: ctx, tree: t, most: most, boxes: make([]box32, len(t.corners)),
		triesMost: triesFree + triesEach*int64(len(t.ids))}
	if err := c.measure(workers); err != nil {
		return nil, false, err
	}
	found, err := c.run(c.tasks(), workers)
	if err != nil {
		return nil, false, err
	}
	for _, f := range found {
		pairs = append(pairs, f...)
		if len(pairs) > most {
			break
		}
	}
	all = len(pairs) <= most
	pairs = pairs[:min(len(pairs), most)]
	slices.SortFunc(pairs, func(a, b Pair) int { return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1])) })
	return pairs, all, nil
}

// crosser looks for crossings.
type crosser struct {
	ctx   context.Context
	tree  *Tree
	most  int
	boxes []box32 // of each triangle, in tree order

	tries     atomic.Int64 // pairs of triangles tried
	triesMost int64
}

// triesEach is how many others a triangle may be tried against on average, on
// top of triesFree. Skin needs some twenty; where ten thousands lie at one
// place the work grows with their square and would not end.
const (
	triesEach = 1000
	triesFree = 1 << 24
)

// ErrHeaped tells that crossings cannot be counted.
var ErrHeaped = errors.New("so many triangles lie at one place that crossings cannot be counted: remove copies and triangles without area first")

// part is a subtree: a node, or a leaf as in node.kids.
type part struct{ a, b int32 }

func (c *crosser) measure(workers int) error {
	return inBatches(c.ctx, len(c.boxes), workers, func(from, to int) {
		for i := from; i < to; i++ {
			v := &c.tree.corners[i]
			b := box32{[3]float32{v[0], v[1], v[2]}, [3]float32{v[0], v[1], v[2]}}
			b.add(&box32{[3]float32{v[3], v[4], v[5]}, [3]float32{v[3], v[4], v[5]}})
			b.add(&box32{[3]float32{v[6], v[7], v[8]}, [3]float32{v[6], v[7], v[8]}})
			c.boxes[i] = b
		}
	})
}

// taskMost is about how many pieces the walk is cut into: enough to share out
// evenly, whatever the number of workers.
const taskMost = 2000

// tasks opens the widest walks of the tree against itself until there are
// enough of them.
func (c *crosser) tasks() []part {
	list := []part{{0, 0}}
	for len(list) > 0 && len(list) < taskMost {
		var next []part
		opened := false
		for _, p := range list {
			if p.a < 0 && p.b < 0 {
				next = append(next, p)
				continue
			}
			opened = true
			c.open(p, func(a, b int32) { next = append(next, part{a, b}) })
		}
		list = next
		if !opened {
			break
		}
	}
	return list
}

// run works the tasks off and returns what each found. When the tasks done
// from the first on have found too many, the rest is left.
func (c *crosser) run(tasks []part, workers int) ([][]Pair, error) {
	found := make([][]Pair, len(tasks))
	done := make([]bool, len(tasks))
	var next, stop atomic.Int64
	stop.Store(int64(len(tasks)))
	var mu sync.Mutex
	ahead, sum := 0, 0
	work := func() {
		for c.ctx.Err() == nil {
			k := next.Add(1) - 1
			if k >= stop.Load() {
				return
			}
			w := walker{crosser: c}
			w.walk(tasks[k].a, tasks[k].b)
			mu.Lock()
			found[k], done[k] = w.found, true
			for ahead < len(tasks) && done[ahead] && sum <= c.most {
				sum += len(found[ahead])
				ahead++
			}
			if sum > c.most {
				stop.Store(0)
			}
			mu.Unlock()
		}
	}
	var wg sync.WaitGroup
	for range max(workers, 1) - 1 {
		wg.Go(work)
	}
	work()
	wg.Wait()
	if c.ctx.Err() != nil {
		return nil, context.Cause(c.ctx)
	}
	if c.tries.Load() > c.triesMost {
		return nil, ErrHeaped
	}
	return found[:ahead], nil
}

// open calls f for the pairs of parts below a pair of parts whose boxes meet.
func (c *crosser) open(p part, f func(a, b int32)) {
	nodes := c.tree.nodes
	switch {
	case p.a == p.b && p.a >= 0:
		n := &nodes[p.a]
		for i := range 4 {
			if n.kids[i] == 0 {
				break
			}
			f(n.down(p.a, i), n.down(p.a, i))
			for k := i + 1; k < 4 && n.kids[k] != 0; k++ {
				if boxesMeet(n, i, n, k) {
					f(n.down(p.a, i), n.down(p.a, k))
				}
			}
		}
	case p.a >= 0 && p.b >= 0:
		n, m := &nodes[p.a], &nodes[p.b]
		for i := 0; i < 4 && n.kids[i] != 0; i++ {
			for k := 0; k < 4 && m.kids[k] != 0; k++ {
				if boxesMeet(n, i, m, k) {
					f(n.down(p.a, i), m.down(p.b, k))
				}
			}
		}
	case p.a >= 0:
		c.openAgainst(p.a, p.b, f)
	case p.b >= 0:
		c.openAgainst(p.b, p.a, f)
	}
}

// openAgainst calls f for the parts of a node that meet a leaf.
func (c *crosser) openAgainst(a, leaf int32, f func(a, b int32)) {
	lo, hi := c.leafCells(leaf)
	n := &c.tree.nodes[a]
	for i := 0; i < 4 && n.kids[i] != 0; i++ {
		if n.lo[0][i] <= hi[0] && n.hi[0][i] >= lo[0] &&
			n.lo[1][i] <= hi[1] && n.hi[1][i] >= lo[1] &&
			n.lo[2][i] <= hi[2] && n.hi[2][i] >= lo[2] {
			f(n.down(a, i), leaf)
		}
	}
}

// down returns child k of node n, which stands at self.
func (n *node) down(self int32, k int) int32 {
	if n.kids[k] > 0 {
		return self + n.kids[k]
	}
	return n.kids[k]
}

func boxesMeet(n *node, i int, m *node, k int) bool {
	return n.lo[0][i] <= m.hi[0][k] && n.hi[0][i] >= m.lo[0][k] &&
		n.lo[1][i] <= m.hi[1][k] && n.hi[1][i] >= m.lo[1][k] &&
		n.lo[2][i] <= m.hi[2][k] && n.hi[2][i] >= m.lo[2][k]
}

// leafCells returns the box of a leaf on the grid.
func (c *crosser) leafCells(leaf int32) (lo, hi [3]int32) {
	first := int(^leaf >> 3)
	b := noBox32
	for i := first; i < first+int(^leaf&7); i++ {
		b.add(&c.boxes[i])
	}
	return c.tree.grid.cells(b.Box())
}

// walker walks one task.
type walker struct {
	*crosser
	found []Pair
	steps int
	tried int // pairs of triangles since it last told
}

// walk looks for crossings between two parts, or within one.
func (w *walker) walk(a, b int32) {
	if w.steps++; len(w.found) > w.most {
		return
	}
	if w.steps&255 == 0 {
		w.tries.Add(int64(w.tried))
		w.tried = 0
	}
	if w.steps&255 == 0 && w.ctx.Err() != nil || w.tries.Load() > w.triesMost {
		return
	}
	if a < 0 && b < 0 {
		w.leaves(a, b)
		return
	}
	w.open(part{a, b}, w.walk)
}

// leaves tries the triangles of two leaves, or of one, against each other.
func (w *walker) leaves(a, b int32) {
	af, bf := int(^a>>3), int(^b>>3)
	al, bl := af+int(^a&7), bf+int(^b&7)
	w.tried += (al - af) * (bl - bf)
	for i := af; i < al; i++ {
		if a == b {
			bf = i + 1
		}
		for k := bf; k < bl; k++ {
			if w.boxes[i].meets(&w.boxes[k]) && crosses(&w.tree.corners[i], &w.tree.corners[k]) {
				s, t := w.tree.ids[i], w.tree.ids[k]
				w.found = append(w.found, Pair{min(s, t), max(s, t)})
			}
		}
	}
}

func (b *box32) meets(o *box32) bool {
	return b.lo[0] <= o.hi[0] && b.hi[0] >= o.lo[0] &&
		b.lo[1] <= o.hi[1] && b.hi[1] >= o.lo[1] &&
		b.lo[2] <= o.hi[2] && b.hi[2] >= o.lo[2]
}
