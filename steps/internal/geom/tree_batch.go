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

// askOrder returns the order in which to ask about points: along the
// space-filling curve, those outside the box as if on its border.
func askOrder(points []Vec, box Box, workers int) []int32 {
	on := make([]Point, len(points))
	Chunks(len(points), workers, func(lo, hi int) {
		for i, p := range points[lo:hi] {
			on[lo+i] = Vec{within(p.X, box.Min.X, box.Max.X), within(p.Y, box.Min.Y, box.Max.Y), within(p.Z, box.Min.Z, box.Max.Z)}.Point()
		}
	})
	return CurveOrder(on, workers)
}

// within returns x, or the bound it lies beyond; NaN counts as below.
func within(x, lo, hi float64) float64 {
	if !(x > lo) {
		return lo
	}
	return min(x, hi)
}
