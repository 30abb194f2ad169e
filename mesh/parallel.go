package mesh

import (
	"context"
	"runtime"
	"sync"
	"sync/atomic"
)

// Parallel calls f(0) … f(blocks-1) on as many goroutines as Go may use
// processors, handing out block numbers one by one so that a slow block does
// not hold up the rest. It returns when all are done, or with ctx.Err() once
// ctx is done and the blocks under way have ended; a nil ctx is never done.
//
// Results are the same on any number of processors if f writes only what
// belongs to its block and the blocks do not depend on the processor count:
// cut work into blocks of a fixed size, never into one part per processor.
// A block should take between 0.1 and 50 ms, so that handing out costs nothing
// and Stop is felt at once.
func Parallel(ctx context.Context, blocks int, f func(block int)) error {
	stopped := func() bool { return ctx != nil && ctx.Err() != nil }
	workers := min(runtime.GOMAXPROCS(0), blocks)
	if workers <= 1 {
		for b := range blocks {
			if stopped() {
				return ctx.Err()
			}
			f(b)
		}
		return nil
	}
	var next atomic.Int64
	var wg sync.WaitGroup
	for range workers {
		wg.Go(func() {
			for !stopped() {
				b := int(next.Add(1)) - 1
				if b >= blocks {
					return
				}
				f(b)
			}
		})
	}
	wg.Wait()
	// Stopped after the last block was done is done all the same.
	if int(next.Load()) < blocks+workers && stopped() {
		return ctx.Err()
	}
	return nil
}
