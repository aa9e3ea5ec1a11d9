package merge

import (
	"context"
	"fmt"
	"math"

	"layette/steps/internal/geom"
)

// field gathers, at the samples of a lattice near the skin, the weighted mean
// of the distances to the tangent planes of the points: above zero outside.
type field struct {
	*geom.Lattice
	sum, weight [][geom.BlockSamples]float32
	reach       float64 // mm along the normal that a point speaks for, both ways
	most        int     // blocks at most: 6 KB each
	workers     int
}

// mostBlocks bounds the field's memory to 2.4 GB.
const mostBlocks = 400_000

// add lets a scan speak. Scans are added one after the other, in order; the
// points of one are dealt out to the blocks they reach, in order, and blocks
// are filled at once: every sum has its own order, whatever the workers.
func (f *field) add(ctx context.Context, p *placed) error {
	first, list, err := f.deal(p)
	if err != nil {
		return err
	}
	for len(f.sum) < len(f.At) {
		f.sum = append(f.sum, [geom.BlockSamples]float32{})
		f.weight = append(f.weight, [geom.BlockSamples]float32{})
	}
	return geom.Each(ctx, len(p.blocks), f.workers, func(n int) {
		b := p.blocks[n]
		for _, i := range list[first[n]:first[n+1]] {
			f.splat(b, p, i)
		}
	})
}

// deal finds the blocks each point reaches. list[first[n]:first[n+1]] are the
// points of block p.blocks[n].
func (f *field) deal(p *placed) (first, list []int32, err error) {
	place := make(map[int32]int32) // of a block in p.blocks
	var pairs [][2]int32
	var last [3]int32
	lastN := int32(-1)
	for i := range p.points {
		lo, hi := f.reached(p, i)
		for z := lo[2] >> 3; z <= hi[2]>>3; z++ {
			for y := lo[1] >> 3; y <= hi[1]>>3; y++ {
				for x := lo[0] >> 3; x <= hi[0]>>3; x++ {
					at := [3]int32{x, y, z}
					if at != last || lastN < 0 {
						b := f.Add(at)
						n, ok := place[b]
						if !ok {
							n = int32(len(p.blocks))
							place[b] = n
							p.blocks = append(p.blocks, b)
						}
						last, lastN = at, n
					}
					pairs = append(pairs, [2]int32{lastN, int32(i)})
				}
			}
		}
		if len(f.At) > f.most {
			return nil, nil, fmt.Errorf("a voxel of %.3g mm is too fine for skin of this size: the field would need more than %d MB; set a larger voxel", f.Cell, f.most*6/1000)
		}
	}
	first = make([]int32, len(p.blocks)+1)
	for _, q := range pairs {
		first[q[0]+1]++
	}
	for n := range p.blocks {
		first[n+1] += first[n]
	}
	list = make([]int32, len(pairs))
	at := append([]int32(nil), first...)
	for _, q := range pairs {
		list[at[q[0]]] = q[1]
		at[q[0]]++
	}
	return first, list, nil
}

// reached returns the least and greatest samples within a point's box: a disc
// of its radius along the skin, as thick as the reach.
func (f *field) reached(p *placed, i int) (lo, hi [3]int32) {
	r := float64(p.radius[i])
	for d := range 3 {
		n, x := float64(p.normals[i][d]), float64(p.points[i][d])
		ext := float64(math.Abs(n)*f.reach) + float64(r*math.Sqrt(max(0, 1-float64(n*n))))
		lo[d] = int32(math.Ceil((x - ext) / f.Cell))
		hi[d] = int32(math.Floor((x + ext) / f.Cell))
	}
	return lo, hi
}

// splat adds one point to the samples of one block. Both along the skin and
// across it a point's word fades to nothing at its reach, so that the field has
// no steps.
func (f *field) splat(b int32, p *placed, i int32) {
	lo, hi := f.reached(p, int(i))
	at := f.At[b]
	for d := range 3 {
		lo[d], hi[d] = max(lo[d]-at[d]*geom.BlockSide, 0), min(hi[d]-at[d]*geom.BlockSide, geom.BlockSide-1)
	}
	base := f.Place(at[0]*geom.BlockSide, at[1]*geom.BlockSide, at[2]*geom.BlockSide).Sub(p.points[i].Vec())
	n := p.normals[i].Vec()
	perR2, perD2 := 1/float64(float64(p.radius[i])*float64(p.radius[i])), 1/float64(f.reach*f.reach)
	w := float64(p.weight[i])
	sum, weight := &f.sum[b], &f.weight[b]
	for k := lo[2]; k <= hi[2]; k++ {
		z := base.Z + float64(float64(k)*f.Cell)
		for j := lo[1]; j <= hi[1]; j++ {
			y := base.Y + float64(float64(j)*f.Cell)
			dyz, yz2 := float64(n.Y*y)+float64(n.Z*z), float64(y*y)+float64(z*z)
			row := (k*geom.BlockSide + j) * geom.BlockSide
			for i := lo[0]; i <= hi[0]; i++ {
				x := base.X + float64(float64(i)*f.Cell)
				d := float64(n.X*x) + dyz
				d2 := float64(d * d)
				u, v := 1-float64((float64(x*x)+yz2-d2)*perR2), 1-float64(d2*perD2)
				if u <= 0 || v <= 0 {
					continue
				}
				uv := float64(u * v)
				g := float64(w * float64(uv*uv))
				sum[row+i] += float32(g * d)
				weight[row+i] += float32(g)
			}
		}
	}
}

// settle turns sums into the field's values.
func (f *field) settle(ctx context.Context) error {
	err := geom.Each(ctx, len(f.At), f.workers, func(b int) {
		for s, w := range f.weight[b] {
			if w > 0 {
				f.Values[b][s] = f.sum[b][s] / w
			}
		}
	})
	f.sum, f.weight = nil, nil
	return err
}
