package geom

import (
	"context"
	"math"
	"sync"
)

// Weld joins loose triangles into an indexed surface: corners holds three
// points for each triangle, all finite, and corners that are equal coordinate
// by coordinate (-0 equals 0) become one vertex. Vertices stand in the order in
// which they are first met, whatever the number of workers; every triangle is
// kept, also one that has no area.
//
// Each worker looks at every corner and enters those of its own share of the
// hash values into a table of its own, so that nothing is locked or merged.
// Two million triangles take about a quarter of a second over two workers and,
// beside corners and result, 40 bytes for each triangle.
func Weld(ctx context.Context, corners []Point, workers int) (*Mesh, error) {
	first, err := firstEqual(ctx, corners, workers)
	if err != nil {
		return nil, err
	}
	m := &Mesh{Verts: keepFirst(corners, first)}
	m.Tris = make([]Tri, len(corners)/3)
	for t := range m.Tris {
		m.Tris[t] = Tri{first[3*t], first[3*t+1], first[3*t+2]}
	}
	return m, nil
}

// Welded returns m with vertices at equal places made one, in the order in
// which they are first met among the vertices; a joined vertex keeps the
// normal, colour and count of the first. Vertices that no triangle uses stay.
// from tells for each vertex of the result which vertex of m it was.
func (m *Mesh) Welded(ctx context.Context, workers int) (welded *Mesh, from []int32, err error) {
	index, err := firstEqual(ctx, m.Verts, workers)
	if err != nil {
		return nil, nil, err
	}
	return m.renumbered(index), firsts(index), nil
}

// firsts returns where each number first stands in index, whose numbers count
// up from zero in the order in which they are met.
func firsts(index []int32) []int32 {
	var from []int32
	for i, v := range index {
		if int(v) == len(from) {
			from = append(from, int32(i))
		}
	}
	return from
}

// renumbered returns m with vertex i called index[i]; index counts up from zero
// in the order in which its numbers are met, and the first of each stays.
func (m *Mesh) renumbered(index []int32) *Mesh {
	w := &Mesh{Verts: keepFirst(m.Verts, index), Origin: m.Origin}
	if len(m.Normals) > 0 {
		w.Normals = keepFirst(m.Normals, index)
	}
	if len(m.Colours) > 0 {
		w.Colours = keepFirst(m.Colours, index)
	}
	if len(m.Seen) > 0 {
		w.Seen = keepFirst(m.Seen, index)
	}
	w.Tris = make([]Tri, len(m.Tris))
	for t, tri := range m.Tris {
		w.Tris[t] = Tri{index[tri[0]], index[tri[1]], index[tri[2]]}
	}
	return w
}

// keepFirst returns the first of all for each number of index.
func keepFirst[T any](all []T, index []int32) []T {
	n := int32(0)
	for _, v := range index {
		n = max(n, v+1)
	}
	kept := make([]T, 0, n)
	for i, v := range index {
		if int(v) == len(kept) {
			kept = append(kept, all[i])
		}
	}
	return kept
}

// firstEqual numbers the points: equal points get equal numbers, and the
// numbers count up from zero in the order in which they are met.
func firstEqual(ctx context.Context, pts []Point, workers int) ([]int32, error) {
	first := make([]int32, len(pts))
	workers = max(1, min(workers, 64))
	var wg sync.WaitGroup
	for w := range workers {
		wg.Go(func() { enter(ctx, pts, first, w, workers) })
	}
	wg.Wait()
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	n := int32(0)
	for i, f := range first {
		if int(f) == i {
			first[i] = n
			n++
		} else {
			first[i] = first[f]
		}
	}
	return first, nil
}

// enter finds, for every point whose hash falls to worker w, the place of the
// first equal point.
func enter(ctx context.Context, pts []Point, first []int32, w, workers int) {
	t := newPointTable(len(pts) / (6 * workers))
	share := uint64(workers)
	for i, p := range pts {
		if i&0xffff == 0 && ctx.Err() != nil {
			return
		}
		x, y, z := bits(p[0]), bits(p[1]), bits(p[2])
		h := mix(x, y, z)
		if (h>>32)*share>>32 == uint64(w) {
			first[i] = t.enter(uint32(h), x, y, z, int32(i))
		}
	}
}

// bits returns the bits of x, those of 0 for -0.
func bits(x float32) uint32 { return math.Float32bits(x + 0) }

// mix hashes a point: two rounds of multiplying and folding. The high half
// chooses the worker, the low half the slot.
func mix(x, y, z uint32) uint64 {
	h := (uint64(x) | uint64(y)<<32) * 0x9e3779b97f4a7c15
	h ^= h >> 29
	h = (h + uint64(z)) * 0xbf58476d1ce4e5b9
	h ^= h >> 32
	return h * 0x94d049bb133111eb
}

// pointTable is an open-addressed table of points with the place where each
// was first met. An empty slot has place -1.
type pointTable struct {
	slots []pointSlot
	shift uint
	used  int
}

type pointSlot struct {
	x, y, z uint32
	place   int32
}

func newPointTable(expect int) *pointTable {
	k := uint(4)
	for 1<<k < 2*expect {
		k++
	}
	t := &pointTable{}
	t.alloc(k)
	return t
}

func (t *pointTable) alloc(k uint) {
	t.slots = make([]pointSlot, 1<<k)
	t.shift = 32 - k
	for i := range t.slots {
		t.slots[i].place = -1
	}
}

// enter returns the place of the point's first entry, which is place if it is new.
func (t *pointTable) enter(h, x, y, z uint32, place int32) int32 {
	mask := uint32(len(t.slots) - 1)
	for i := h >> t.shift; ; i = (i + 1) & mask {
		s := &t.slots[i]
		if s.place < 0 {
			*s = pointSlot{x, y, z, place}
			if t.used++; t.used*10 > len(t.slots)*7 {
				t.grow()
			}
			return place
		}
		if s.x == x && s.y == y && s.z == z {
			return s.place
		}
	}
}

func (t *pointTable) grow() {
	old := t.slots
	t.alloc(32 - t.shift + 1)
	mask := uint32(len(t.slots) - 1)
	for _, s := range old {
		if s.place < 0 {
			continue
		}
		i := uint32(mix(s.x, s.y, s.z)) >> t.shift
		for t.slots[i].place >= 0 {
			i = (i + 1) & mask
		}
		t.slots[i] = s
	}
}

// WeldedWithin returns m with vertices less than tol mm apart made one: for
// surfaces whose triangles were rounded each for itself and no longer meet
// exactly. It is a choice to be made knowingly, for it also closes gaps and
// flattens detail finer than tol. In the order of vertices, each that is not
// joined yet stays where it is and takes up all within tol of it; triangles of
// which two corners become one are left out. from tells for each vertex of the
// result which vertex of m it was. Vertices must be finite.
func (m *Mesh) WeldedWithin(ctx context.Context, tol float64, workers int) (welded *Mesh, from []int32, err error) {
	tree, err := NewPointTree(ctx, m.Verts, workers)
	if err != nil {
		return nil, nil, err
	}
	index := make([]int32, len(m.Verts))
	for i := range index {
		index[i] = -1
	}
	n := int32(0)
	var near []Near
	for i, p := range m.Verts {
		if i&0xfff == 0 && ctx.Err() != nil {
			return nil, nil, context.Cause(ctx)
		}
		if index[i] >= 0 {
			continue
		}
		index[i] = n
		near = tree.Within(p.Vec(), tol, near[:0])
		for _, q := range near {
			if index[q.ID] < 0 {
				index[q.ID] = n
			}
		}
		n++
	}
	w := m.renumbered(index)
	kept := w.Tris[:0]
	for _, t := range w.Tris {
		if t[0] != t[1] && t[1] != t[2] && t[2] != t[0] {
			kept = append(kept, t)
		}
	}
	w.Tris = kept
	return w, firsts(index), nil
}
