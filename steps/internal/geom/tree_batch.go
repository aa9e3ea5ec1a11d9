package geom

import (
	"context"
	"sync"
	"sync/atomic"
)

// batch is how many queries one goroutine takes at a time.
const batch = 1024

// inBatches calls f for stretches of [0,n) from up to workers goroutines, and
// returns the cause if ctx ends first.
func inBatches(ctx context.Context, n, workers int, f func(from, to int)) error {
	var next atomic.Int64
	work := func() {
		for ctx.Err() == nil {
			from := int(next.Add(batch)) - batch
			if from >= n {
				return
			}
			f(from, min(from+batch, n))
		}
	}
	var wg sync.WaitGroup
	for range max(min(workers, n/batch+1), 1) - 1 {
		wg.Go(work)
	}
	work()
	wg.Wait()
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	return nil
}

// curveOrder returns the points' indices along G. M. Morton's curve ("A
// computer oriented geodetic data base", 1966, from memory) over the box.
// Points outside count as on its border.
func curveOrder(ctx context.Context, points []Vec, box Box, workers int) ([]int32, error) {
	keys := make([]uint64, len(points)) // 32 bits of curve above 32 bits of index
	size := box.Size()
	longest := max(size.X, size.Y, size.Z)
	per := 0.0
	if longest > 0 {
		per = 1024 / longest
	}
	err := inBatches(ctx, len(points), workers, func(from, to int) {
		for i := from; i < to; i++ {
			d := points[i].Sub(box.Min)
			key := spread(cell(d.X*per)) | spread(cell(d.Y*per))<<1 | spread(cell(d.Z*per))<<2
			keys[i] = uint64(key)<<32 | uint64(uint32(i))
		}
	})
	if err != nil {
		return nil, err
	}
	radix(keys)
	order := make([]int32, len(points))
	for i, k := range keys {
		order[i] = int32(uint32(k))
	}
	return order, nil
}

// cell returns x as a whole number from 0 to 1023; NaN counts as 0.
func cell(x float64) uint32 {
	if !(x > 0) {
		return 0
	}
	return uint32(min(x, 1023))
}

// spread puts two empty bits behind each of ten.
func spread(x uint32) uint32 {
	x = (x | x<<16) & 0x030000ff
	x = (x | x<<8) & 0x0300f00f
	x = (x | x<<4) & 0x030c30c3
	return (x | x<<2) & 0x09249249
}

// radix sorts keys by their upper halves and keeps the order of equals.
func radix(keys []uint64) {
	other := make([]uint64, len(keys))
	for shift := 32; shift < 62; shift += 10 {
		var count [1024]int
		for _, k := range keys {
			count[k>>shift&1023]++
		}
		at := 0
		for i, n := range count {
			count[i] = at
			at += n
		}
		for _, k := range keys {
			d := k >> shift & 1023
			other[count[d]] = k
			count[d]++
		}
		keys, other = other, keys
	}
	copy(other, keys) // after three passes the caller's slice is the other one
}
