package form

import (
	"context"
	"math"

	"layette/steps/internal/geom"
)

// A cut-off many triangles long needs no triangles that fine. Where it pays, the
// filter gathers the skin in patches, lets heat flow on the triangles between
// the patches' middles, or between patches of those again, and takes the result
// back to the vertices by fits of bowls. Gathering and fitting spread heat a
// little by themselves, by as much as the patches are wide; that is measured and
// taken off the time. Waves pass within 0.001 on the mean, and within 0.025 of
// their height at a place; beside rims more is lost.
type coarse struct {
	*Operator // between the patches
	parted    *patches
	share     []float64 // skin of each vertex, mm²
	whole     []float64 // skin of each patch, mm²
	near      []int32   // eight patches a vertex
	weight    []float32
	spread    float64 // time that gathering and fitting take, mm²
}

const (
	patchesLong = 20      // patches in a cut-off
	pays        = 1.6     // edges in a patch, at least
	manyVerts   = 250_000 // below that little is gained
	nearby      = 8
)

// patchWidth returns how wide the patches of an operator for cut-offs of about
// the given length are, mm, on triangles of the given edge.
func (s *Skin) patchWidth(cutoff, edge float64) float64 {
	if s.wide > 0 {
		return 2 * s.wide
	}
	wide := cutoff / patchesLong
	for edge > 0 && wide < pays*edge {
		wide *= 2
	}
	return wide
}

// coarser returns the operator on patches for a cut-off, or nil where it does
// not pay.
func (o *Operator) coarser(ctx context.Context, cutoff float64) (*coarse, error) {
	if len(o.places) < o.skin.many || cutoff < float64(patchesLong*o.wide) {
		return nil, nil
	}
	if o.next == nil {
		c, err := o.gather(ctx)
		if err != nil {
			return nil, err
		}
		o.next = c
	}
	return o.next, nil
}

// gather makes the operator on patches.
func (o *Operator) gather(ctx context.Context) (*coarse, error) {
	c := &coarse{share: o.skin.Areas(o.places)}
	var err error
	if c.parted, err = o.skin.patches(ctx, o.wide); err != nil {
		return nil, err
	}
	for v := range c.share {
		c.share[v] = max(c.share[v], 1e-12)
	}
	c.whole = make([]float64, len(c.parted.skin.Held))
	for v, k := range c.parted.of {
		c.whole[k] += c.share[v]
	}
	if o.up == nil {
		o.up = o.skin.Normals(o.places)
	}
	middle := c.gathered(o.places)
	if c.Operator, err = c.parted.skin.Operator(ctx, middle, float64(patchesLong*o.wide)); err != nil {
		return nil, err
	}
	c.up = c.gathered(o.up)
	for k, n := range c.up {
		c.up[k] = n.Unit()
	}
	return c, c.fit(ctx, o, middle)
}

// gathered returns the mean of x over each patch, by skin.
func (c *coarse) gathered(x []geom.Vec) []geom.Vec {
	mean, p := make([]geom.Vec, len(c.whole)), c.parted
	geom.Chunks(len(mean), p.skin.workers, func(lo, hi int) {
		for k := lo; k < hi; k++ {
			sum := geom.Vec{}
			for _, v := range p.list[p.first[k]:p.first[k+1]] {
				sum = sum.Add(x[v].Mul(c.share[v]))
			}
			mean[k] = sum.Mul(1 / c.whole[k])
		}
	})
	return mean
}

// gatheredOne is gathered for one number a vertex.
func (c *coarse) gatheredOne(x []float64) []float64 {
	mean, p := make([]float64, len(c.whole)), c.parted
	geom.Chunks(len(mean), p.skin.workers, func(lo, hi int) {
		for k := lo; k < hi; k++ {
			sum := 0.0
			for _, v := range p.list[p.first[k]:p.first[k+1]] {
				sum += float64(c.share[v] * x[v])
			}
			mean[k] = sum / c.whole[k]
		}
	})
	return mean
}

// fit finds how each vertex is told from the patches about it.
func (c *coarse) fit(ctx context.Context, o *Operator, middle []geom.Vec) error {
	of := c.parted.of
	c.near, c.weight = make([]int32, nearby*len(of)), make([]float32, nearby*len(of))
	pieces := len(of)/4096 + 1
	wide, skin := make([]float64, pieces), make([]float64, pieces)
	geom.Chunks(len(of), o.workers, func(lo, hi int) {
		if ctx.Err() != nil {
			return
		}
		for v := lo; v < hi; v++ {
			apart := c.tell(v, o.places[v], o.up[v], middle)
			if !o.skin.Held[v] {
				wide[lo/4096] += c.share[v] * (apart + o.places[v].Sub(middle[of[v]]).Len2())
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

// tell sets how vertex v at p is told from the patches about it. It returns the
// second moment of the weights, mm².
func (c *coarse) tell(v int, p, up geom.Vec, middle []geom.Vec) (apart float64) {
	own := c.parted.of[v]
	best := c.bowl(own, p, up, middle)
	for _, k := range c.parted.skin.joined.of(int(own)) {
		if best.size <= mostSize {
			break // as a rule at once
		}
		if b := c.bowl(k, p, up, middle); b.size < best.size {
			best = b
		}
	}
	copy(c.near[nearby*v:], best.near[:])
	copy(c.weight[nearby*v:], best.weight[:])
	return best.apart
}

// mostSize is how large weights may be together before a ring of other patches
// is tried.
const mostSize = 1.6

// bowl is a set of patches and weights that tell a value at a place.
type bowl struct {
	near   [nearby]int32
	weight [nearby]float32
	apart  float64 // second moment of the weights, mm²
	size   float64 // sum of the weights' sizes
}

// bowl returns the weights on patch own and those round it that give the value
// at p of the function a + b x + c y + d (x² + y²) that fits theirs best, near
// ones above all; where they lie so that d is not told, of a straight one.
func (c *coarse) bowl(own int32, p, up geom.Vec, middle []geom.Vec) bowl {
	b := bowl{size: math.Inf(1)}
	for i := range b.near {
		b.near[i] = own
	}
	b.weight[0] = 1
	n := 1 + copy(b.near[1:], c.parted.skin.joined.of(int(own)))
	e1 := geom.Vec{X: 1}.Cross(up)
	if math.Abs(up.X) > 0.7 {
		e1 = geom.Vec{Y: 1}.Cross(up)
	}
	e1 = e1.Unit()
	e2 := up.Cross(e1)
	far := 1e-12
	for _, k := range b.near[:n] {
		far = max(far, middle[k].Sub(p).Len2())
	}
	long := math.Sqrt(far)
	var row [nearby][4]float64
	var w [nearby]float64
	var m [4][4]float64
	m[3][3] = firm
	for i, k := range b.near[:n] {
		d := middle[k].Sub(p)
		q := d.Len2() / far
		w[i] = float64(float64((1.05-q)*(1.05-q)) / (q + 0.02))
		row[i] = [4]float64{1, d.Dot(e1) / long, d.Dot(e2) / long, q}
		for r := range 4 {
			for s := range r + 1 {
				m[r][s] += float64(w[i] * float64(row[i][r]*row[i][s]))
			}
		}
	}
	a, ok := firstOf(m)
	if n < 3 || !ok {
		return b
	}
	b.size = 0
	for i := range n {
		sum := 0.0
		for r := range 4 {
			sum += float64(a[r] * row[i][r])
		}
		sum *= w[i]
		b.weight[i] = float32(sum)
		b.apart += float64(sum * float64(far*row[i][3]))
		b.size += math.Abs(sum)
	}
	return b
}

// firm is what is added to the weight of d, which then fades out where the
// patches do not tell it.
const firm = 0.05

// firstOf returns the solution x of m x = (1, 0, 0, 0), m symmetric and given by
// its lower half, by Cholesky's method; false where m is all but singular.
func firstOf(m [4][4]float64) (x [4]float64, ok bool) {
	var l [4][4]float64
	for r := range 4 {
		for s := range r + 1 {
			sum := m[r][s]
			for k := range s {
				sum -= float64(l[r][k] * l[s][k])
			}
			if r == s {
				if !(sum > float64(1e-4*m[r][r])) {
					return x, false
				}
				l[r][r] = math.Sqrt(sum)
			} else {
				l[r][s] = sum / l[s][s]
			}
		}
	}
	x[0] = 1 / l[0][0]
	for r := 1; r < 4; r++ {
		for k := range r {
			x[r] -= float64(l[r][k] * x[k])
		}
		x[r] /= l[r][r]
	}
	for r := 3; r >= 0; r-- {
		for k := r + 1; k < 4; k++ {
			x[r] -= float64(l[k][r] * x[k])
		}
		x[r] /= l[r][r]
	}
	return x, true
}

// flow lets heat flow between the patches for the time t, mm².
func (c *coarse) flow(ctx context.Context, o *Operator, x []float64, cutoff, t float64) ([]float64, error) {
	small, err := c.Operator.flow(ctx, c.gatheredOne(x), cutoff, max(0, t-c.spread))
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
			sum := 0.0
			for i := nearby * v; i < nearby*(v+1); i++ {
				sum += float64(float64(c.weight[i]) * small[c.near[i]])
			}
			back[v] = sum
		}
	})
	return back, nil
}

// flowPlaces is flow for three numbers a vertex.
func (c *coarse) flowPlaces(ctx context.Context, o *Operator, x []geom.Vec, cutoff, t float64) ([]geom.Vec, error) {
	small, err := c.Operator.flowPlaces(ctx, c.gathered(x), cutoff, max(0, t-c.spread))
	if err != nil {
		return nil, err
	}
	back := make([]geom.Vec, len(x))
	geom.Chunks(len(x), o.workers, func(lo, hi int) {
		for v := lo; v < hi; v++ {
			if o.skin.Held[v] {
				back[v] = x[v]
				continue
			}
			sum := geom.Vec{}
			for i := nearby * v; i < nearby*(v+1); i++ {
				sum = sum.Add(small[c.near[i]].Mul(float64(c.weight[i])))
			}
			back[v] = sum
		}
	})
	return back, nil
}
