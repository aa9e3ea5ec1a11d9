package geom

import (
	"context"
	"math"
)

// Features describe the shape of the skin round chosen points so that it is
// known again in another scan, however it lies.
type Features struct {
	At  []int32 // which points of the cloud
	Row [][featureLen]float32
}

const (
	featureBins = 11
	featureLen  = 2 * 3 * featureBins // two radii, three angles
)

// NewFeatures describes points of c about apart spacings from each other, those
// on the rim left out, by how the normals within near and far mm turn about
// each other: fast point feature histograms of R. B. Rusu, N. Blodow and M.
// Beetz, "Fast point feature histograms (FPFH) for 3D registration", ICRA 2009
// (from memory), at two radii side by side. Each histogram is brought to sum
// one and its roots are taken, so that the squared distance of two rows is
// Hellinger's; angles are replaced by numbers that grow with them, which need
// no trigonometry.
//
// Cost: about 0.2 s for 5,000 points with 400 of them within the far radius.
func NewFeatures(ctx context.Context, c *Cloud, apart, near, far float64, workers int) (*Features, error) {
	f := &Features{At: c.spread(apart)}
	simple := make([][featureLen]float32, len(c.Points))
	Chunks(len(c.Points), workers, func(lo, hi int) {
		var around []Near
		for i := lo; i < hi && ctx.Err() == nil; i++ {
			around = c.simple(i, near, far, &simple[i], around[:0])
		}
	})
	f.Row = make([][featureLen]float32, len(f.At))
	Chunks(len(f.At), workers, func(lo, hi int) {
		var around []Near
		for k := lo; k < hi && ctx.Err() == nil; k++ {
			around = c.gather(int(f.At[k]), near, far, simple, &f.Row[k], around[:0])
		}
	})
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	return f, nil
}

// spread returns points of c, none on the rim, no two nearer than apart mm.
func (c *Cloud) spread(apart float64) []int32 {
	taken := make([]bool, len(c.Points))
	var at []int32
	var near []Near
	for _, i := range c.Tree.Order() {
		if c.Rim[i] || taken[i] {
			continue
		}
		at = append(at, i)
		near = c.Tree.Gather(c.Points[i].Vec(), apart, near[:0])
		for _, q := range near {
			taken[q.ID] = true
		}
	}
	return at
}

// simple fills the histogram of point i against its neighbours alone.
func (c *Cloud) simple(i int, near, far float64, h *[featureLen]float32, around []Near) []Near {
	p, u := c.Points[i].Vec(), c.Normals[i].Vec()
	around = c.Tree.Gather(p, far, around)
	near2 := float64(near * near)
	for _, q := range around {
		if int(q.ID) == i || q.Dist2 == 0 {
			continue
		}
		bins := turnBins(u, c.Points[q.ID].Vec().Sub(p).Mul(1/math.Sqrt(q.Dist2)), c.Normals[q.ID].Vec())
		for a, b := range bins {
			h[3*featureBins+a*featureBins+b]++
			if q.Dist2 <= near2 {
				h[a*featureBins+b]++
			}
		}
	}
	normalise(h)
	return around
}

// turnBins returns the bins of the three angles between a normal u, the
// direction d to a neighbour and its normal n.
func turnBins(u, d, n Vec) [3]int {
	v := d.Cross(u).Unit()
	w := u.Cross(v)
	turn := diamond(u.Dot(n), w.Dot(n)) + 2
	if turn >= 4 {
		turn -= 4
	}
	return [3]int{
		binOf((v.Dot(n) + 1) / 2),
		binOf((u.Dot(d) + 1) / 2),
		binOf(turn / 4),
	}
}

func binOf(x float64) int { return max(0, min(int(x*featureBins), featureBins-1)) }

// normalise brings each of the six histograms to sum one.
func normalise(h *[featureLen]float32) {
	for k := 0; k < featureLen; k += featureBins {
		var s float32
		for _, x := range h[k : k+featureBins] {
			s += x
		}
		if s == 0 {
			continue
		}
		for b := range featureBins {
			h[k+b] /= s
		}
	}
}

// gather adds the neighbours' histograms, nearer ones more, and takes roots.
func (c *Cloud) gather(i int, near, far float64, simple [][featureLen]float32, row *[featureLen]float32, around []Near) []Near {
	around = c.Tree.Gather(c.Points[i].Vec(), far, around)
	near2 := float64(near * near)
	for _, q := range around {
		w := float32(1 / (1 + math.Sqrt(q.Dist2)/c.Spacing))
		from := 3 * featureBins
		if q.Dist2 <= near2 {
			from = 0
		}
		for b := from; b < featureLen; b++ {
			row[b] += float32(w * simple[q.ID][b])
		}
	}
	normalise(row)
	for b, x := range row {
		row[b] = float32(math.Sqrt(float64(x)))
	}
	return around
}

// apart2 returns the squared distance of two rows, or some number above limit.
func apart2(a, b *[featureLen]float32, limit float32) float32 {
	var s float32
	for k := 0; k < featureLen; k += featureBins {
		for i := k; i < k+featureBins; i++ {
			d := a[i] - b[i]
			s += float32(d * d)
		}
		if s > limit {
			return s
		}
	}
	return s
}

// NewEmptyFeatures returns room for n rows, to be read into.
func NewEmptyFeatures(n int) *Features {
	return &Features{At: make([]int32, n), Row: make([][featureLen]float32, n)}
}
