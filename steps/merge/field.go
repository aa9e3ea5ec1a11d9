package merge

import (
	"context"
	"fmt"
	"math"

	"layette/steps/internal/geom"
)

// field gathers, at the samples of a lattice near the skin, the weighted mean
// of the distances to the tangent planes of the scans: above zero outside.
type field struct {
	*geom.Lattice
	sums    [][geom.BlockSamples][2]float32 // of weighted distances, and of weights
	reach   float64                         // mm along the normal that a point speaks for, both ways
	most    int                             // blocks at most: 6 KB each
	workers int
}

// mostBlocks bounds the field's memory to 2.4 GB.
const mostBlocks = 400_000

// add lets a scan speak. Scans are added one after the other, in order, and the
// blocks that a scan reaches are filled at once: every sum has its own order,
// whatever the workers.
func (f *field) add(ctx context.Context, p *placed) error {
	p.blocks = make([]int32, len(p.reached))
	for n, at := range p.reached {
		p.blocks[n] = f.Add(at)
	}
	if len(f.At) > f.most {
		return fmt.Errorf("a voxel of %.3g mm is too fine for skin of this size: the field would need more than %d MB; set a larger voxel", f.Cell, f.most*6/1000)
	}
	for len(f.sums) < len(f.At) {
		f.sums = append(f.sums, [geom.BlockSamples][2]float32{})
	}
	return geom.Each(ctx, len(p.blocks), f.workers, func(n int) {
		b := p.blocks[n]
		f.fill(&f.sums[b], f.At[b], p)
	})
}

// fill adds what a scan says at the samples of one block, in cubes of eight,
// those left out that lie too far off.
func (f *field) fill(sums *[geom.BlockSamples][2]float32, at [3]int32, p *placed) {
	far := 1.1 * (f.reach + float64(0.9*f.Cell)) // half the diagonal of a cube of two samples
	first := f.Place(at[0]*geom.BlockSide, at[1]*geom.BlockSide, at[2]*geom.BlockSide)
	for cube := range int32(geom.BlockSamples / 8) {
		x, y, z := cube&3*2, cube>>2&3*2, cube>>4*2
		corner := first.Add(geom.Vec{X: float64(x), Y: float64(y), Z: float64(z)}.Mul(f.Cell))
		under := p.under(corner.Add(geom.Vec{X: 0.5, Y: 0.5, Z: 0.5}.Mul(f.Cell)), far)
		if under < 0 {
			continue
		}
		down := p.normals[under].Vec()
		for s := range int32(8) {
			q := corner.Add(geom.Vec{X: float64(s & 1), Y: float64(s >> 1 & 1), Z: float64(s >> 2)}.Mul(f.Cell))
			f.say(&sums[geom.InBlock(x+s&1, y+s>>1&1, z+s>>2)], q, q.Sub(down.Mul(p.above(under, q))), p)
		}
	}
}

// under returns the point of the skin that q stands over or under, no more than
// far mm off; -1 if there is none. It is found by going from q, as the scanner
// saw it, down to the skin; where other skin stands in front, to the side of it.
func (p *placed) under(q geom.Vec, far float64) int32 {
	i := p.about(q)
	if i >= 0 && math.Abs(p.above(i, q)) > 2*far {
		i = p.around(q)
	}
	if i < 0 || math.Abs(p.above(i, q)) > 2*far {
		return -1
	}
	foot := q.Sub(p.normals[i].Vec().Mul(p.above(i, q)))
	if i = p.about(foot); i >= 0 && math.Abs(p.above(i, q)) > far {
		i = p.around(foot)
	}
	if i < 0 || math.Abs(p.above(i, q)) > far {
		return -1
	}
	return i
}

// poor is the weight below which a point is not taken at its word: seen at more
// than 68 degrees, near the border of its scan, or of a noisy one. A plane alone
// may be tilted there, and would fold the skin and tear holes in it.
const poor = 0.1

// say adds what a scan says at one sample q over or under the place foot: its
// distance to the smoothed skin of the point there; if that is a poor one, or
// does not reach q, to the planes of all points about.
func (f *field) say(sum *[2]float32, q, foot geom.Vec, p *placed) {
	i := p.about(foot)
	if i < 0 || p.weight[i] >= poor && f.word(sum, q, i, p.above(i, q), p) {
		return
	}
	loU, hiU, loV, hiV := p.picture.cells(foot, float64(p.radius[i]))
	for row := loV; row <= hiV && loU <= hiU; row++ {
		c := row * p.picture.nx
		for k := p.picture.first[c+loU]; k < p.picture.first[c+hiU+1]; k++ {
			f.word(sum, q, k, p.above(k, q)-float64(p.out[k]), p)
		}
	}
}

// word adds what point i says at q, d mm above its skin; false if it does not
// reach q along the skin. Both along the skin and across it the word fades to nothing at the
// point's reach, so that the field has no steps.
func (f *field) word(sum *[2]float32, q geom.Vec, i int32, d float64, p *placed) bool {
	d2, radius := float64(d*d), float64(p.radius[i])
	u := 1 - (q.Sub(p.points[i].Vec()).Len2()-d2)/float64(radius*radius)
	v := 1 - d2/float64(f.reach*f.reach)
	if u <= 0 || v <= 0 {
		return u > 0
	}
	uv := float64(u * v)
	g := float64(float64(p.weight[i]) * float64(uv*uv))
	sum[0] += float32(g * d)
	sum[1] += float32(g)
	return true
}

// above returns how far q lies above the skin about point i.
func (p *placed) above(i int32, q geom.Vec) float64 {
	return q.Sub(p.points[i].Vec()).Dot(p.normals[i].Vec()) + float64(p.out[i])
}

// settle turns sums into the field's values.
func (f *field) settle(ctx context.Context) error {
	err := geom.Each(ctx, len(f.At), f.workers, func(b int) {
		for s, sum := range f.sums[b] {
			if sum[1] > 0 {
				f.Values[b][s] = sum[0] / sum[1]
			}
		}
	})
	f.sums = nil
	return err
}

// reach finds the blocks of a field that the points of p reach: each a disc of
// its radius along the skin, so thick both ways. Points of a scan mostly come in
// rows, so one reaches the same blocks as the one before.
func (p *placed) reach(cell, thick float64) error {
	known := make(map[[3]int32]bool)
	var box [2][3]int32 // of the point before, in blocks
	for i := range p.points {
		now := p.box(i, cell, thick)
		if now == box && len(known) > 0 || p.radius[i] == 0 {
			continue
		}
		if box = now; blocksIn(box) > mostBlocks || len(known) > mostBlocks {
			return fmt.Errorf("a voxel of %.3g mm is too fine for points %.3g mm apart; set a larger voxel", cell, p.spacing)
		}
		for z := box[0][2]; z <= box[1][2]; z++ {
			for y := box[0][1]; y <= box[1][1]; y++ {
				for x := box[0][0]; x <= box[1][0]; x++ {
					if at := [3]int32{x, y, z}; !known[at] {
						known[at] = true
						p.reached = append(p.reached, at)
					}
				}
			}
		}
	}
	return nil
}

// box returns the first and last blocks about a point's disc.
func (p *placed) box(i int, cell, thick float64) (box [2][3]int32) {
	radius := float64(p.radius[i])
	for d := range 3 {
		n, x := float64(p.normals[i][d]), float64(p.points[i][d])
		ext := float64(math.Abs(n)*thick) + float64(radius*math.Sqrt(max(0, 1-float64(n*n))))
		box[0][d] = int32(math.Ceil((x-ext)/cell)) >> 3
		box[1][d] = int32(math.Floor((x+ext)/cell)) >> 3
	}
	return box
}

// blocksIn counts the blocks of a box.
func blocksIn(box [2][3]int32) float64 {
	n := 1.0
	for d := range 3 {
		n *= float64(box[1][d]) - float64(box[0][d]) + 1
	}
	return n
}
