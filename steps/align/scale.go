package align

import (
	"fmt"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// A scan whose neighbours would have it so much larger or smaller, beyond so
// many deviations, shows another child or is in another unit. Of right shots of
// hands, of the open-data head and of the rabbit none came to 1.7 %; of a child
// of 34 weeks among shots of one of 40, 8 % smaller, each came to 5 % and over
// eight deviations: what is fitted falls short while partners are the nearest.
const (
	mostGrown   = 0.03
	surelyGrown = 5
)

// sized takes back that the scan lies well if its size speaks against it. The
// casting is what others are measured by.
func (c *scan) sized(p *place) {
	if c.fixed || !p.ok || math.Abs(c.grown) <= max(mostGrown, float64(surelyGrown*c.grownBy)) {
		return
	}
	way := "smaller"
	if c.grown < 0 {
		way = "larger"
	}
	p.ok, p.why = false, fmt.Sprintf("it is about %.0f %% %s than what it lies on: another child, or another unit", 100*math.Abs(c.grown), way)
}

// grown returns by how much a scan must be scaled about its middle to lie best
// where it touches others, as a share (0.08: it is too small by 8 %), and the
// standard deviation of that. All seven of turn, shift and scale are free, by
// least squares with Tukey's biweight (from memory), so that a scan whose shape
// does not tell its size has a large deviation. at is the scan's middle, size
// half its diagonal, mm.
func grown(touches []geom.Touch, at geom.Vec, size float64) (scale, sd float64) {
	const n = 7
	off := make([]float64, len(touches))
	for k := range touches {
		off[k] = math.Abs(touches[k].Off())
	}
	slices.Sort(off)
	sigma := max(1.4826*off[len(off)/2], 1e-4)
	var a [n * n]float64
	weight := 0.0
	x, one := make([]float64, n), make([]float64, n)
	for k := range touches {
		t := &touches[k]
		r := t.Off()
		u := r / (4.685 * sigma)
		if u*u >= 1 {
			continue
		}
		w := (1 - float64(u*u)) * (1 - float64(u*u))
		weight += w
		arm := t.At.Sub(at).Mul(1 / size)
		turn := arm.Cross(t.Normal)
		row := [n]float64{turn.X, turn.Y, turn.Z, t.Normal.X, t.Normal.Y, t.Normal.Z, arm.Dot(t.Normal)}
		for i := range n {
			for j := range n {
				a[i*n+j] += float64(float64(w*row[i]) * row[j])
			}
			x[i] -= float64(float64(w*row[i]) * r)
		}
	}
	for i := range n {
		a[i*n+i] += 1e-6 * float64(len(touches))
	}
	one[n-1] = 1
	if !geom.Cholesky(a[:], n) {
		return 0, math.Inf(1)
	}
	geom.CholeskySolve(a[:], n, x)
	geom.CholeskySolve(a[:], n, one)
	scale, sd = x[n-1]/size, sigma*math.Sqrt(max(one[n-1], 0))/size
	if scale < 0 { // what scatter alone pretends to: a point off the skin is taken for one of a larger body
		scale = min(0, scale+float64(weight*float64(sd*sd)))
	}
	return scale, sd
}
