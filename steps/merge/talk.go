package merge

import (
	"math"
	"math/bits"

	"layette/steps/internal/geom"
)

// talk is what the scans say at the samples of one block: sums, in the scans'
// order. They are asked in cubes of eight samples, 64 to a block.
type talk struct {
	*field
	corner geom.Vec                   // the block's first sample
	push   [geom.BlockSamples]float32 // of distances to the skin, weighted
	weight [geom.BlockSamples]float32
	well   [geom.BlockSamples]uint8 // how many saw the skin well
}

// poor is the weight below which a patch is not taken at its word: seen at more
// than 68 degrees, near the border of its scan, or of a noisy one. A plane alone
// may be tilted there, and would fold the skin and tear holes in it. Where enough
// scans saw the skin well, those that saw it poorly are not asked.
const (
	poor   = 0.1
	enough = 2
)

// hear asks the scans first for what they saw well, then for the rest.
func (t *talk) hear(scans []int32) {
	poorly := make([]uint64, len(scans)) // the cubes that a scan saw poorly
	for n, s := range scans {
		for c := range int32(64) {
			if t.ask(t.scans[s], c, false) {
				poorly[n] |= 1 << c
			}
		}
	}
	for n, s := range scans {
		for left := poorly[n]; left != 0; left &= left - 1 {
			t.ask(t.scans[s], int32(bits.TrailingZeros64(left)), true)
		}
	}
}

// ask adds what a scan says about cube c: of samples that it saw well its
// distance to the smoothed skin there, or else, if poorly, of the others to the
// planes of all patches about. It reports whether there are others.
func (t *talk) ask(p *placed, c int32, poorly bool) (others bool) {
	x, y, z := c&3*2, c>>2&3*2, c>>4*2
	middle := t.corner.Add(geom.Vec{X: float64(x) + 0.5, Y: float64(y) + 0.5, Z: float64(z) + 0.5}.Mul(t.Cell))
	under := p.under(middle, 1.1*(t.reach+float64(0.9*t.Cell))) // half the diagonal of a cube
	if under < 0 {
		return false
	}
	down := p.patches[under].up.Vec()
	near := p.picture.straight(p.foot(under, middle), down)
	for s := range int32(8) {
		off := geom.Vec{X: float64(s&1) - 0.5, Y: float64(s>>1&1) - 0.5, Z: float64(s>>2) - 0.5}.Mul(t.Cell)
		q, at := middle.Add(off), geom.InBlock(x+s&1, y+s>>1&1, z+s>>2)
		i := p.in(near.cell(off), q)
		if i < 0 {
			if i = p.around(q.Sub(down.Mul(p.above(under, q)))); i < 0 {
				continue
			}
		}
		b := &p.patches[i]
		d, u := b.seen(q)
		switch {
		case b.weight >= poor && u > 0:
			if !poorly && t.add(at, b, u, d+float64(b.out)) {
				t.well[at]++
			}
		case !poorly:
			others = true
		case t.well[at] < enough:
			t.addAll(at, q, q.Sub(down.Mul(p.above(under, q))), p, float64(b.wide))
		}
	}
	return others
}

// addAll adds what all patches about the foot of q say.
func (t *talk) addAll(at int32, q, foot geom.Vec, p *placed, wide float64) {
	loU, hiU, loV, hiV := p.picture.cells(foot, wide)
	for row := loV; row <= hiV && loU <= hiU; row++ {
		about := p.picture.row(p.patches, loU, hiU, row)
		for k := range about {
			if d, u := about[k].seen(q); u > 0 {
				t.add(at, &about[k], u, d)
			}
		}
	}
}

// add adds that the skin lies d mm under the sample; false if that is too far
// off. The word fades to nothing at the patch's reach, both along the skin and
// across it, so that the field has no steps.
func (t *talk) add(at int32, b *patch, u, d float64) bool {
	v := 1 - float64(d*d)/float64(t.reach*t.reach)
	if v <= 0 {
		return false
	}
	uv := float64(u * v)
	g := float64(float64(b.weight) * float64(uv*uv))
	t.push[at] += float32(g * d)
	t.weight[at] += float32(g)
	return true
}

// seen returns how far q lies above a patch, and a share that falls from 1 over
// its middle to 0 where its width along the skin ends.
func (p *patch) seen(q geom.Vec) (d, u float64) {
	e, wide := q.Sub(p.at.Vec()), float64(p.wide)
	d = e.Dot(p.up.Vec())
	return d, 1 - (e.Len2()-float64(d*d))/float64(wide*wide)
}

// above returns how far q lies above the smoothed skin about patch i, and foot
// the place on it that q stands over.
func (p *placed) above(i int32, q geom.Vec) float64 {
	b := &p.patches[i]
	return q.Sub(b.at.Vec()).Dot(b.up.Vec()) + float64(b.out)
}

func (p *placed) foot(i int32, q geom.Vec) geom.Vec {
	return q.Sub(p.patches[i].up.Vec().Mul(p.above(i, q)))
}

// under returns the patch of the skin that q stands over or under, no more than
// far mm off; -1 if there is none. It is found by going from q, as the scanner
// saw it, down to the skin; where other skin stands in front, to the side of it.
func (p *placed) under(q geom.Vec, far float64) int32 {
	i := p.within(far*2, q, q)
	if i < 0 {
		return -1
	}
	return p.within(far, q, p.foot(i, q))
}

// within returns the patch that the scanner saw about the place from, if q lies
// no more than far mm over or under it, or else the nearest beside it that is so;
// -1 if there is none.
func (p *placed) within(far float64, q, from geom.Vec) int32 {
	i := p.about(from)
	if i < 0 {
		return -1
	}
	d := math.Abs(p.above(i, q))
	if d <= far {
		return i
	}
	if d > far+float64(p.patches[i].jump) {
		return -1
	}
	if i = p.around(from); i < 0 || math.Abs(p.above(i, q)) > far {
		return -1
	}
	return i
}
