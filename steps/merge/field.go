package merge

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"layette/engine/step"
	"layette/steps/internal/geom"
)

// field holds, at the samples of a lattice near the skin, the weighted mean of
// the distances to the skin that the scans saw. It is above zero outside.
type field struct {
	*geom.Lattice
	scans   []*placed
	near    [][]int32 // of each block, the scans that reach it, in order
	reach   float64   // mm along the normal that a patch speaks for, both ways
	most    int       // blocks at most: 2 KB each
	workers int
}

// mostBlocks bounds the field's memory to 0.8 GB.
const mostBlocks = 400_000

// lay makes the blocks that the scans reach, neighbours near one another: a
// worker then finds in its caches what it needs of the scans.
func (f *field) lay() error {
	var all [][3]int32
	known := map[[3]int32]bool{}
	for _, p := range f.scans {
		for _, at := range p.reached {
			if !known[at] {
				known[at] = true
				all = append(all, at)
			}
		}
		if len(all) > f.most {
			return fmt.Errorf("a voxel of %.3g mm is too fine for skin of this size: the field would need more than %d MB; set a larger voxel", f.Cell, f.most*2/1000)
		}
	}
	slices.SortFunc(all, byMorton)
	for _, at := range all {
		f.Add(at)
	}
	f.near = make([][]int32, len(all))
	for s, p := range f.scans {
		for _, at := range p.reached {
			b, _ := f.Block(at)
			f.near[b] = append(f.near[b], int32(s))
		}
		p.reached = nil
	}
	return nil
}

// byMorton orders places along a curve that fills space: by the axis in which
// they differ in the highest bit (T. M. Chan, "Closest-point problems
// simplified on the RAM", 2002; from memory).
func byMorton(a, b [3]int32) int {
	axis, most := 0, uint32(0)
	for d := range 3 {
		if x := uint32(a[d] ^ b[d]); most < x && most < most^x {
			axis, most = d, x
		}
	}
	return cmp.Compare(a[axis], b[axis])
}

// fill lets the scans speak, block by block, whatever the workers.
func (f *field) fill(ctx context.Context, progress step.Progress) error {
	return geom.Each(ctx, len(f.At), f.workers, func(b int) {
		t := talk{field: f, corner: f.Place(f.At[b][0]*geom.BlockSide, f.At[b][1]*geom.BlockSide, f.At[b][2]*geom.BlockSide)}
		t.hear(f.near[b])
		for s, w := range t.weight {
			if w > 0 {
				f.Values[b][s] = t.push[s] / w
			}
		}
		progress.Add(1)
	})
}

// reach finds the blocks of a field that the points of p reach: each a disc of
// its radius along the skin, so thick both ways. Points of a scan mostly come in
// rows, so one reaches the same blocks as the one before.
func (p *placed) reach(cell, thick float64) error {
	known := make(map[[3]int32]bool)
	var box [2][3]int32 // of the point before, in blocks
	for i := range p.patches {
		now := p.patches[i].box(cell, thick)
		if now == box && len(known) > 0 || p.patches[i].wide == 0 {
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

// box returns the first and last blocks about a patch's disc.
func (p *patch) box(cell, thick float64) (box [2][3]int32) {
	for d := range 3 {
		n, x := float64(p.up[d]), float64(p.at[d])
		ext := float64(math.Abs(n)*thick) + float64(float64(p.wide)*math.Sqrt(max(0, 1-float64(n*n))))
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
