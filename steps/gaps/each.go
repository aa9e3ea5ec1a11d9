package gaps

import (
	"context"
	"sync"
	"sync/atomic"
)

// each does pieces 0..n-1 of work on up to workers goroutines, each with a
// function of its own, and stops early when ctx is done.
func each(ctx context.Context, n, workers int, worker func() func(k int)) error {
	var next atomic.Int64
	var wg sync.WaitGroup
	for range max(1, min(workers, n)) {
		wg.Go(func() {
			do := worker()
			for ctx.Err() == nil {
				k := int(next.Add(1)) - 1
				if k >= n {
					return
				}
				do(k)
			}
		})
	}
	wg.Wait()
	return context.Cause(ctx)
}
