package specimen

import (
	"context"
	"runtime"
	"sync"
	"sync/atomic"
)

// each calls do(i) for 0 <= i < n on several goroutines and waits for all. The
// calls must not depend on one another. It stops early, with the cause, when
// ctx is done.
func each(ctx context.Context, workers, n int, do func(i int)) error {
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(workers, n) {
		wg.Go(func() {
			for ctx.Err() == nil {
				i := int(next.Add(1)) - 1
				if i >= n {
					return
				}
				do(i)
			}
		})
	}
	wg.Wait()
	return context.Cause(ctx)
}
