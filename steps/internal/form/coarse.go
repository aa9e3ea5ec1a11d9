package form

import (
	"context"
	"math"

	"layette/steps/internal/geom"
)

// A cut-off many triangles long needs no triangles that fine. Where it pays, the
// filter gathers the skin in patches, lets heat flow on the triangles between
// the patches' middles, and takes the result back to the vertices by straight
// fits. Gathering and fitting spread heat a little by themselves, by as much as
// the patches are wide; that is measured and taken off the time. Waves pass
// within 0.001 on the mean, and within 0.025 of their height at a place; beside
// rims more is lost. On a hand of two million triangles the step relief takes
// 22 s of a processor with this, 142 s without.
type coarse struct {
	*Operator
	of     []int32   // patch of each vertex
	share  []float64 // skin of each vertex, mm²
	near   []int32   // eight patches a vertex, -1 where there are fewer
	weight []float32
	spread float64 // time that gathering and fitting take, mm²
}

const (
	patchesLong = 20      // patches in a cut-off
	pays        = 1.6     // edges in a patch, at least
	manyVerts   = 250_000 // below that little is gained
	nearby      = 8
)

// coarser returns the operator on patches for a cut-off, or nil where it does
// not pay.
func (o *Operator) coarser(ctx context.Context, cutoff float64) (*coarse, error) {
	if o.skin == nil || len(o.places) < manyVerts || cutoff < patchesLong*pays*o.edge {
		return nil, nil
	}
	size := pays * o.edge
	for 2*size*patchesLong <= cutoff {
		size *= 2
	}
	if c, ok := o.levels[size]; ok {
		return c, nil
	}
	c, err := o.gather(ctx, size, cutoff)
	if err == nil {
		o.levels[size] = c
	}
	return c, err
}

// gather makes the patches, about size mm wide, and their operator.
func (o *Operator) gather(ctx context.Context, size, cutoff float64) (*coarse, error) {
	s := o.skin
	c := &coarse{share: s.Areas(o.places)}
	seeds, err := s.patches(ctx, o.places, size)
	if err != nil {
		return nil, err
	}
	c.of = seeds
	n := int32(0)
	for _, k := range c.of {
		n = max(n, k+1)
	}
	middle := c.gathered(o.places, n)
	small := &Skin{Mesh: &geom.Mesh{Verts: make([]geom.Point, n)}, Held: make([]bool, n), workers: s.workers}
	for v, held := range s.Held {
		if held {
			small.Held[c.of[v]] = true
		}
	}
	for _, t := range s.Mesh.Tris {
		if a, b, d := c.of[t[0]], c.of[t[1]], c.of[t[2]]; a != b && b != d && d != a {
			small.Mesh.Tris = append(small.Mesh.Tris, geom.Tri{a, b, d})
		}
	}
	small.fan = newFan(small.Mesh)
	if c.Operator, err = small.Operator(ctx, middle, cutoff); err != nil {
		return nil, err
	}
	c.Operator.skin = nil
	return c, c.fit(ctx, o, small, middle)
}

// patches parts the skin by which of some vertices, size mm apart at least, is
// nearest along edges. Held vertices make patches of their own.
func (s *Skin) patches(ctx context.Context, places []geom.Vec, size float64) ([]int32, error) {
	long, of := make([]float64, len(places)), make([]int32, len(places))
	for v := range of {
		long[v], of[v] = math.Inf(1), -1
	}
	var queue []geom.Near
	n := int32(0)
	for v := range places {
		if v%1024 == 0 && ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		if long[v] <= size {
			continue
		}
		long[v], of[v] = 0, n
		queue = append(queue[:0], geom.Near{ID: int32(v)})
		for len(queue) > 0 {
			q := geom.PopNear(&queue)
			if q.Dist2 > long[q.ID] || of[q.ID] != n {
				continue
			}
			for _, corner := range s.fan.of(int(q.ID)) {
				for _, u := range s.Mesh.Tris[corner/3] {
					d := q.Dist2 + places[u].Sub(places[q.ID]).Len()
					if d < long[u] && d <= 1.5*size && s.Held[u] == s.Held[q.ID] {
						long[u], of[u] = d, n
						geom.PushNear(&queue, geom.Near{ID: u, Dist2: d})
					}
				}
			}
		}
		n++
	}
	return of, nil
}

// gathered returns the mean of x over each patch, by skin.
func (c *coarse) gathered(x []geom.Vec, n int32) []geom.Vec {
	sum, skin := make([]geom.Vec, n), make([]float64, n)
	for v, k := range c.of {
		a := max(c.share[v], 1e-12)
		sum[k] = sum[k].Add(x[v].Mul(a))
		skin[k] += a
	}
	for k := range sum {
		sum[k] = sum[k].Mul(1 / skin[k])
	}
	return sum
}

// fit finds how each vertex is told from the patches about it.
func (c *coarse) fit(ctx context.Context, o *Operator, small *Skin, middle []geom.Vec) error {
	normals := o.skin.Normals(o.places)
	c.near, c.weight = make([]int32, nearby*len(c.of)), make([]float32, nearby*len(c.of))
	pieces := len(c.of)/4096 + 1
	wide, skin := make([]float64, pieces), make([]float64, pieces)
	geom.Chunks(len(c.of), o.workers, func(lo, hi int) {
		if ctx.Err() != nil {
			return
		}
		for v := lo; v < hi; v++ {
			k := c.of[v]
			apart := c.straight(v, o.places[v], normals[v], small, middle)
			if !o.skin.Held[v] {
				wide[lo/4096] += c.share[v] * (apart + o.places[v].Sub(middle[k]).Len2())
				skin[lo/4096] += c.share[v]
			}
		}
	})
	sum, all := 0.0, 0.0
	for i := range wide {
		sum, all = sum+wide[i], all+skin[i]
	}
	// A kernel of second moment m in both directions together spreads as heat
	// does in the time m/4.
	c.spread = sum / max(all, 1e-12) / 4
	return context.Cause(ctx)
}

// straight sets the weights by which vertex v at p is told from the patches
// about it: the value there of the straight function that fits theirs best,
// near ones above all. It returns the second moment of the weights, mm².
func (c *coarse) straight(v int, p, up geom.Vec, small *Skin, middle []geom.Vec) (apart float64) {
	near, weight := c.near[nearby*v:][:nearby], c.weight[nearby*v:][:nearby]
	n := 1
	near[0] = c.of[v]
	for _, corner := range small.fan.of(int(near[0])) {
		for _, k := range small.Mesh.Tris[corner/3] {
			if n < nearby && find(near[:n], k) < 0 {
				near[n] = k
				n++
			}
		}
	}
	e1 := geom.Vec{X: 1}.Cross(up)
	if math.Abs(up.X) > 0.7 {
		e1 = geom.Vec{Y: 1}.Cross(up)
	}
	e1 = e1.Unit()
	e2 := up.Cross(e1)
	least := middle[near[0]].Sub(p).Len2()
	for _, k := range near[:n] {
		least = max(least, middle[k].Sub(p).Len2())
	}
	var x, y, w [nearby]float64
	var s0, sx, sy, sxx, sxy, syy float64
	for i, k := range near[:n] {
		d := middle[k].Sub(p)
		x[i], y[i] = d.Dot(e1), d.Dot(e2)
		q := 1.05 - d.Len2()/max(least, 1e-12)
		w[i] = float64(q*q) / (d.Len2() + float64(0.02*least) + 1e-12)
		s0, sx, sy = s0+w[i], sx+float64(w[i]*x[i]), sy+float64(w[i]*y[i])
		sxx, sxy, syy = sxx+float64(w[i]*float64(x[i]*x[i])), sxy+float64(w[i]*float64(x[i]*y[i])), syy+float64(w[i]*float64(y[i]*y[i]))
	}
	// a + b x + c y with a at p: Cramer's rule on the normal equations.
	m0 := float64(sxx*syy) - float64(sxy*sxy)
	m1 := float64(sxy*sy) - float64(sx*syy)
	m2 := float64(sx*sxy) - float64(sxx*sy)
	det := float64(s0*m0) + float64(sx*m1) + float64(sy*m2)
	clear(weight)
	if n < 3 || !(math.Abs(det) > 1e-6*float64(s0*float64(sxx*syy))) {
		weight[0] = 1
		for i := 1; i < nearby; i++ {
			near[i] = near[0]
		}
		return 0
	}
	for i := range nearby {
		if i >= n {
			near[i] = near[0]
			continue
		}
		weight[i] = float32(w[i] * (m0 + float64(m1*x[i]) + float64(m2*y[i])) / det)
		apart += float64(float64(weight[i]) * (float64(x[i]*x[i]) + float64(y[i]*y[i])))
	}
	return apart
}

// told brings values of patches back to the vertices; held ones keep theirs.
func (c *coarse) told(x []geom.Vec, back, was []geom.Vec, held []bool, workers int) {
	geom.Chunks(len(was), workers, func(lo, hi int) {
		for v := lo; v < hi; v++ {
			if held[v] {
				back[v] = was[v]
				continue
			}
			sum := geom.Vec{}
			for i := nearby * v; i < nearby*(v+1); i++ {
				if w := float64(c.weight[i]); w != 0 {
					sum = sum.Add(x[c.near[i]].Mul(w))
				}
			}
			back[v] = sum
		}
	})
}

// gauss filters places by way of the patches.
func (c *coarse) gauss(ctx context.Context, o *Operator, x []geom.Vec, cutoff float64) ([]geom.Vec, error) {
	small, err := c.seriesPlaces(ctx, c.gathered(x, int32(len(c.first)-1)), c.heatFor(max(0, time(cutoff)-c.spread)))
	if err != nil {
		return nil, err
	}
	back := make([]geom.Vec, len(x))
	c.told(small, back, x, o.skin.Held, o.workers)
	return back, nil
}

// gaussOne filters one number a vertex.
func (c *coarse) gaussOne(ctx context.Context, o *Operator, x []float64, cutoff float64) ([]float64, error) {
	mean, skin := make([]float64, len(c.first)-1), make([]float64, len(c.first)-1)
	for v, k := range c.of {
		a := max(c.share[v], 1e-12)
		mean[k] += float64(a * x[v])
		skin[k] += a
	}
	for k := range mean {
		mean[k] /= skin[k]
	}
	small, err := c.series(ctx, mean, c.heatFor(max(0, time(cutoff)-c.spread)))
	if err != nil {
		return nil, err
	}
	back := make([]float64, len(x))
	geom.Chunks(len(x), o.workers, func(lo, hi int) {
		for v := lo; v < hi; v++ {
			if o.skin.Held[v] {
				back[v] = x[v]
				continue
			}
			for i := nearby * v; i < nearby*(v+1); i++ {
				back[v] += float64(float64(c.weight[i]) * small[c.near[i]])
			}
		}
	})
	return back, nil
}
