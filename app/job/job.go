// Package job runs long work beside the window: one at a time, with progress
// and Stop. It holds nothing of the toolkit; the window says how to get back to
// its own goroutine.
package job

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"sync"
)

// ErrBusy is returned when other work has not ended.
var ErrBusy = errors.New("other work is still going on")

// Report tells how far work is, from 0 to 1, and what it does in words.
type Report func(done float64, words string)

// Runner runs one piece of work at a time.
type Runner struct {
	// Back runs a function on the window's goroutine.
	Back func(func())
	// Progress is called there; done below 0 means that the work has ended.
	Progress func(done float64, words string)

	mu   sync.Mutex
	stop context.CancelFunc
	wg   sync.WaitGroup
}

// Start runs work on a goroutine of its own and calls end on the window's when
// it has returned, was stopped (context.Canceled) or failed. Reports are merged:
// only the newest one waits to be shown.
func (r *Runner) Start(work func(ctx context.Context, report Report) error, end func(error)) error {
	r.mu.Lock()
	if r.stop != nil {
		r.mu.Unlock()
		return ErrBusy
	}
	ctx, cancel := context.WithCancel(context.Background())
	r.stop = cancel
	r.wg.Add(1)
	r.mu.Unlock()

	var (
		mu      sync.Mutex
		waiting bool
		done    float64
		words   string
		ended   bool
	)
	report := func(d float64, w string) {
		mu.Lock()
		done, words = d, w
		if waiting || ended {
			mu.Unlock()
			return
		}
		waiting = true
		mu.Unlock()
		r.Back(func() {
			mu.Lock()
			d, w, over := done, words, ended
			waiting = false
			mu.Unlock()
			if !over && r.Progress != nil {
				r.Progress(d, w)
			}
		})
	}
	go func() {
		defer r.wg.Done()
		err := guarded(ctx, work, report)
		if err == nil && ctx.Err() != nil {
			err = ctx.Err()
		}
		mu.Lock()
		ended = true
		mu.Unlock()
		r.mu.Lock()
		r.stop = nil
		r.mu.Unlock()
		cancel()
		r.Back(func() {
			if r.Progress != nil {
				r.Progress(-1, "")
			}
			end(err)
		})
	}()
	return nil
}

// guarded turns a panic in the work into an error, so that the window and what
// has not been saved outlive it.
func guarded(ctx context.Context, work func(context.Context, Report) error, report Report) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("this work broke off by a fault in the program (%v); nothing was changed\n%s", p, debug.Stack())
		}
	}()
	return work(ctx, report)
}

// Busy tells whether work is going on.
func (r *Runner) Busy() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.stop != nil
}

// Stop asks the work to end; it is over when end has been called.
func (r *Runner) Stop() {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.stop != nil {
		r.stop()
	}
}

// Wait blocks until no work goes on; for closing the window and for tests.
func (r *Runner) Wait() { r.wg.Wait() }
