package geom

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// Patches is a surface in coarse pieces: each the skin of one cell of a grid
// that hangs together there. It tells about how far apart two places are along
// the skin, and costs little.
type Patches struct {
	Of    []int32 // patch of each vertex
	Piece []int32 // which piece of the surface, not joined to others, a patch is on
	at    []Vec   // mean of its vertices
	first []int32 // its neighbours are next[first[i]:first[i+1]]
	next  []patchStep
}

type patchStep struct {
	to   int32
	long float32
}

// NewPatches cuts m into the skin of cells of the given size, mm. Distances
// along the steps from patch to patch come out up to a fifth too long, and
// wrong by up to a cell at either end. Two million triangles take about a second.
func NewPatches(ctx context.Context, m *Mesh, cell float64) (*Patches, error) {
	low := m.Bounds().Min
	cellOf := make([][3]int32, len(m.Verts))
	for i, p := range m.Verts {
		v := p.Vec().Sub(low).Mul(1 / cell)
		cellOf[i] = [3]int32{int32(v.X), int32(v.Y), int32(v.Z)}
	}
	sets := NewSets(len(m.Verts))
	for _, t := range m.Tris {
		for k := range 3 {
			if a, b := t[k], t[(k+1)%3]; cellOf[a] == cellOf[b] {
				sets.Join(a, b)
			}
		}
	}
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	p := &Patches{}
	var n int
	p.Of, n = sets.Number()
	p.centre(m, n)
	p.link(m, n)
	return p, context.Cause(ctx)
}

func (p *Patches) centre(m *Mesh, n int) {
	p.at = make([]Vec, n)
	count := make([]float64, n)
	for v, q := range m.Verts {
		i := p.Of[v]
		p.at[i] = p.at[i].Add(q.Vec())
		count[i]++
	}
	for i := range p.at {
		p.at[i] = p.at[i].Mul(1 / count[i])
	}
}

// link finds the steps between patches and the pieces they make up.
func (p *Patches) link(m *Mesh, n int) {
	var pairs []uint64
	full := 1 << 22
	for _, t := range m.Tris {
		for k := range 3 {
			if a, b := p.Of[t[k]], p.Of[t[(k+1)%3]]; a != b {
				pairs = append(pairs, uint64(a)<<32|uint64(b), uint64(b)<<32|uint64(a))
			}
		}
		if len(pairs) > full {
			slices.Sort(pairs)
			pairs = slices.Compact(pairs)
			full = max(full, 2*len(pairs))
		}
	}
	slices.Sort(pairs)
	pairs = slices.Compact(pairs)
	sets := NewSets(n)
	p.first = make([]int32, n+1)
	p.next = make([]patchStep, len(pairs))
	for i, pair := range pairs {
		a, b := int32(pair>>32), int32(uint32(pair))
		sets.Join(a, b)
		p.first[a+1]++
		p.next[i] = patchStep{b, float32(p.at[a].Sub(p.at[b]).Len())}
	}
	for i := range n {
		p.first[i+1] += p.first[i]
	}
	p.Piece, _ = sets.Number()
}

// Len returns the number of patches.
func (p *Patches) Len() int { return len(p.at) }

// Walk is room to walk over Patches in; each goroutine needs its own.
type Walk struct {
	p      *Patches
	dist   []float64
	wanted []bool
	seen   []int32 // patches with a distance, to be wiped
	queue  []Near
}

// NewWalk returns room to walk over p in.
func (p *Patches) NewWalk() *Walk {
	w := &Walk{p: p, dist: make([]float64, p.Len()), wanted: make([]bool, p.Len())}
	for i := range w.dist {
		w.dist[i] = math.Inf(1)
	}
	return w
}

// To returns the distance along the skin from one patch to each of some, mm,
// into long: infinite beyond limit. E. W. Dijkstra, "A note on two problems in
// connexion with graphs", 1959 (from memory).
func (w *Walk) To(from int32, to []int32, limit float64, long []float64) {
	w.queue = append(w.queue[:0], Near{from, 0})
	w.dist[from] = 0
	w.seen = append(w.seen[:0], from)
	wanted := 0
	for _, t := range to {
		if !w.wanted[t] {
			w.wanted[t] = true
			wanted++
		}
	}
	for len(w.queue) > 0 && wanted > 0 {
		at := PopNear(&w.queue)
		if at.Dist2 > w.dist[at.ID] {
			continue
		}
		if w.wanted[at.ID] {
			w.wanted[at.ID] = false
			wanted--
		}
		for _, s := range w.p.next[w.p.first[at.ID]:w.p.first[at.ID+1]] {
			d := at.Dist2 + float64(s.long)
			if d > limit || d >= w.dist[s.to] {
				continue
			}
			if math.IsInf(w.dist[s.to], 1) {
				w.seen = append(w.seen, s.to)
			}
			w.dist[s.to] = d
			PushNear(&w.queue, Near{s.to, d})
		}
	}
	for i, t := range to {
		long[i], w.wanted[t] = w.dist[t], false
	}
	for _, i := range w.seen {
		w.dist[i] = math.Inf(1)
	}
}

// PushNear adds to a heap that has the nearest on top, ties by number. (Walks along
// the skin use Near for distances that are not squared.)
func PushNear(q *[]Near, n Near) {
	*q = append(*q, n)
	h := *q
	for i := len(h) - 1; i > 0; {
		up := (i - 1) / 2
		if !h[i].before(h[up]) {
			break
		}
		h[i], h[up] = h[up], h[i]
		i = up
	}
}

// PopNear takes the nearest off the heap, which must not be empty.
func PopNear(q *[]Near) Near {
	h := *q
	top, n := h[0], len(h)-1
	h[0] = h[n]
	*q = h[:n]
	h = h[:n]
	for i := 0; ; {
		l := 2*i + 1
		if l >= n {
			return top
		}
		if l+1 < n && h[l+1].before(h[l]) {
			l++
		}
		if !h[l].before(h[i]) {
			return top
		}
		h[i], h[l] = h[l], h[i]
		i = l
	}
}

// Sets joins numbers into sets; the least number leads its set, so that the
// result does not depend on the order of joining.
type Sets []int32

// NewSets returns n sets of one number each.
func NewSets(n int) Sets {
	s := make(Sets, n)
	for i := range s {
		s[i] = int32(i)
	}
	return s
}

// Lead returns the least number in the set of i.
func (s Sets) Lead(i int32) int32 { return s.lead(i) }

func (s Sets) lead(i int32) int32 {
	for s[i] != i {
		s[i] = s[s[i]]
		i = s[i]
	}
	return i
}

// Join makes the sets of a and b one.
func (s Sets) Join(a, b int32) {
	a, b = s.lead(a), s.lead(b)
	if c := cmp.Compare(a, b); c < 0 {
		s[b] = a
	} else if c > 0 {
		s[a] = b
	}
}

// Number numbers the sets in order of their leads.
func (s Sets) Number() (of []int32, n int) {
	of = make([]int32, len(s))
	for i := range s {
		if l := s.lead(int32(i)); l == int32(i) {
			of[i] = int32(n)
			n++
		} else {
			of[i] = of[l]
		}
	}
	return of, n
}
