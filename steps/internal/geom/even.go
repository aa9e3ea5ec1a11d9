package geom

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// evenOut returns values at the vertices that are as even over the skin as can
// be between those that are held: each the mean of its neighbours', the nearer
// counting more (a harmonic field; X. Ni, M. Garland, J. C. Hart, "Fair Morse
// functions for extracting the topological structure of a surface mesh",
// SIGGRAPH 2004, from memory). It starts from start, and goes on until a
// ten-thousandth is left to do. Triangles that closed marks are no skin.
//
// Weights are cotangents, none below a hundredth, so that no value lies outside those
// about it. The equations are solved by conjugate gradients, made ready by the
// diagonal and by the same equations between coarse pieces of skin, which are
// solved outright.
func (m *Mesh) evenOut(ctx context.Context, e *Edges, start []float64, held []bool, closed []bool, along []float32) ([]float64, error) {
	s := newSettling(m, e, held, closed)
	coarse, err := s.coarsen(ctx, along)
	if err != nil {
		return nil, err
	}
	n := len(start)
	x := slices.Clone(start)
	r, z, p, q := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	s.times(x, r)
	for i := range r {
		r[i] = -r[i]
	}
	coarse.ready(r, z)
	copy(p, z)
	rz := product(r, z)

	for first, k := rz, 0; k < 300 && rz > 1e-8*first && rz > 0; k++ {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		s.times(p, q)
		step := rz / product(p, q)
		for i := range x {
			x[i] += float64(step * p[i])
			r[i] -= float64(step * q[i])
		}
		coarse.ready(r, z)
		next := product(r, z)
		on := next / rz
		for i := range p {
			p[i] = z[i] + float64(on*p[i])
		}
		rz = next
	}
	return x, nil
}

// settling is the equations: for each vertex that is not held its neighbours
// and their weights.
type settling struct {
	m     *Mesh
	held  []bool
	first []int32
	to    []int32
	by    []float32
	whole []float64 // sum of the weights
}

func newSettling(m *Mesh, e *Edges, held []bool, closed []bool) *settling {
	s := &settling{m: m, held: held, first: make([]int32, len(m.Verts)+1), whole: make([]float64, len(m.Verts))}
	each := func(f func(a, b, edge int32)) {
		for edge, mate := range e.Across {
			if mate >= 0 && mate < int32(edge) || closed != nil && closed[edge/3] {
				continue
			}
			a, b := m.Ends(int32(edge))
			f(a, b, int32(edge))
		}
	}
	each(func(a, b, _ int32) {
		s.first[a+1]++
		s.first[b+1]++
	})
	for v := range m.Verts {
		s.first[v+1] += s.first[v]
	}
	s.to, s.by = make([]int32, s.first[len(m.Verts)]), make([]float32, s.first[len(m.Verts)])
	fill := slices.Clone(s.first)
	each(func(a, b, edge int32) {
		w := m.cotangent(edge)
		if mate := e.Across[edge]; mate >= 0 && (closed == nil || !closed[mate/3]) {
			w += m.cotangent(mate)
		}
		w = max(w/2, 0.01)
		s.to[fill[a]], s.by[fill[a]] = b, float32(w)
		s.to[fill[b]], s.by[fill[b]] = a, float32(w)
		fill[a]++
		fill[b]++
	})
	for v := range m.Verts {
		for k := s.first[v]; k < s.first[v+1]; k++ {
			s.whole[v] += float64(s.by[k])
		}
	}
	return s
}

// cotangent returns that of the angle across a corner edge, within bounds.
func (m *Mesh) cotangent(edge int32) float64 {
	t := m.Tris[edge/3]
	a, b, c := m.Verts[t[edge%3]].Vec(), m.Verts[t[(edge+1)%3]].Vec(), m.Verts[t[(edge+2)%3]].Vec()
	u, v := a.Sub(c), b.Sub(c)
	return min(max(u.Dot(v)/max(u.Cross(v).Len(), 1e-30), -10), 10)
}

// times returns how far each value x is from the mean of its neighbours',
// times its weights; nothing where it is held.
func (s *settling) times(x, into []float64) {
	Chunks(len(x), 2, func(lo, hi int) {
		for v := lo; v < hi; v++ {
			into[v] = 0
			if s.held[v] || s.whole[v] == 0 {
				continue
			}
			sum := float64(s.whole[v] * x[v])
			for k := s.first[v]; k < s.first[v+1]; k++ {
				sum -= float64(float64(s.by[k]) * x[s.to[k]])
			}
			into[v] = sum
		}
	})
}

func product(a, b []float64) float64 {
	var sum Sum
	for i := range a {
		sum.Add(float64(a[i] * b[i]))
	}
	return sum.Total()
}

// coarse is the equations between coarse pieces of skin, as the lower half of
// L Lᵀ: row i begins at column from[i].
type coarse struct {
	s    *settling
	of   []int32 // place of each vertex's piece; -1 where it is held
	from []int32
	row  [][]float64
	gain float64
	sum  []float64
}

// mostPieces is about how many there are at most.
const mostPieces = 5000

// coarsen takes patches of skin for pieces, in the order of a distance: so
// neighbours stand close in the order.
func (s *settling) coarsen(ctx context.Context, along []float32) (*coarse, error) {
	pieces := min(mostPieces, 50+len(s.m.Verts)/40)
	patches, err := NewPatches(ctx, s.m, math.Sqrt(s.m.Area()/float64(pieces))+1e-9)
	if err != nil {
		return nil, err
	}
	n := patches.Len()
	mean, count := make([]float64, n), make([]float64, n)
	for v, p := range patches.Of {
		if d := float64(along[v]); !s.held[v] && s.whole[v] > 0 && !math.IsInf(d, 1) {
			mean[p] += d
			count[p]++
		}
	}
	order := make([]int32, 0, n)
	free := 0.0
	for p := range n {
		if count[p] > 0 {
			mean[p] /= count[p]
			free += count[p]
			order = append(order, int32(p))
		}
	}
	slices.SortFunc(order, func(a, b int32) int { return cmp.Or(cmp.Compare(mean[a], mean[b]), cmp.Compare(a, b)) })
	place := make([]int32, n)
	for i := range place {
		place[i] = -1
	}
	for i, p := range order {
		place[p] = int32(i)
	}
	c := &coarse{s: s, of: make([]int32, len(patches.Of)), gain: math.Sqrt(free / max(1, float64(len(order)))), sum: make([]float64, len(order))}
	for v, p := range patches.Of {
		c.of[v] = -1
		if !s.held[v] && s.whole[v] > 0 && !math.IsInf(float64(along[v]), 1) {
			c.of[v] = place[p]
		}
	}
	c.fill()
	return c, c.factor(ctx)
}

// fill sets up the rows.
func (c *coarse) fill() {
	n := len(c.sum)
	c.from, c.row = make([]int32, n), make([][]float64, n)
	for i := range c.from {
		c.from[i] = int32(i)
	}
	for v, a := range c.of {
		for k := c.s.first[v]; a >= 0 && k < c.s.first[v+1]; k++ {
			if b := c.of[c.s.to[k]]; b >= 0 {
				c.from[a] = min(c.from[a], b)
			}
		}
	}
	for i := range c.row {
		c.row[i] = make([]float64, int32(i)+1-c.from[i])
	}
	for v, a := range c.of {
		for k := c.s.first[v]; a >= 0 && k < c.s.first[v+1]; k++ {
			b, w := c.of[c.s.to[k]], float64(c.s.by[k])
			if b == a {
				continue
			}
			c.row[a][int32(len(c.row[a]))-1] += w
			if b >= 0 && b < a {
				c.row[a][b-c.from[a]] -= w
			}
		}
	}
	for i := range c.row { // pieces that nothing holds
		last := len(c.row[i]) - 1
		c.row[i][last] += 1e-9 * (1 + c.row[i][last])
	}
}

// factor makes L of the rows (A.-L. Cholesky's way, within the envelope).
func (c *coarse) factor(ctx context.Context) error {
	for i := range c.row {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		fi, row := c.from[i], c.row[i]
		for j := fi; j < int32(i); j++ {
			fj := c.from[j]
			lo := max(fi, fj)
			row[j-fi] = (row[j-fi] - inner(row[lo-fi:j-fi], c.row[j][lo-fj:j-fj])) / c.row[j][j-fj]
		}
		last := int32(i) - fi
		row[last] = math.Sqrt(max(row[last]-inner(row[:last], row[:last]), 1e-12))
	}
	return nil
}

func inner(a, b []float64) float64 {
	sum := 0.0
	for i, x := range a {
		sum += float64(x * b[i])
	}
	return sum
}

// ready brings r nearer to what solves the equations: by the diagonal, and by
// the pieces.
func (c *coarse) ready(r, into []float64) {
	x := c.sum
	clear(x)
	for v, a := range c.of {
		if a >= 0 {
			x[a] += r[v]
		}
	}
	for i, row := range c.row {
		last := len(row) - 1
		x[i] = (x[i] - inner(row[:last], x[c.from[i]:i])) / row[last]
	}
	for i := len(x) - 1; i >= 0; i-- {
		row := c.row[i]
		last := len(row) - 1
		x[i] /= row[last]
		for k := range row[:last] {
			x[int(c.from[i])+k] -= float64(row[k] * x[i])
		}
	}
	for v, a := range c.of {
		into[v] = 0
		if a >= 0 {
			into[v] = r[v]/c.s.whole[v] + float64(c.gain*x[a])
		}
	}
}
