package job

import (
	"context"
	"errors"
	"strings"
	"testing"
)

// loop stands for the window's goroutine.
type loop chan func()

func (l loop) until(done func() bool) {
	for !done() {
		(<-l)()
	}
}

func newRunner() (*Runner, loop) {
	l := make(loop, 64)
	return &Runner{Back: func(f func()) { l <- f }}, l
}

func TestStopEndsWork(t *testing.T) {
	r, l := newRunner()
	var got error
	ended := false
	err := r.Start(func(ctx context.Context, _ Report) error { <-ctx.Done(); return ctx.Err() },
		func(err error) { got, ended = err, true })
	if err != nil {
		t.Fatal(err)
	}
	if err := r.Start(nil, nil); !errors.Is(err, ErrBusy) {
		t.Fatalf("second work at once: %v, wanted ErrBusy", err)
	}
	r.Stop()
	l.until(func() bool { return ended })
	if !errors.Is(got, context.Canceled) {
		t.Fatalf("stopped work ended with %v", got)
	}
	if r.Busy() {
		t.Fatal("still busy after the end")
	}
}

func TestProgressEndsBelowZero(t *testing.T) {
	r, l := newRunner()
	var seen []float64
	r.Progress = func(d float64, _ string) { seen = append(seen, d) }
	ended := false
	if err := r.Start(func(_ context.Context, report Report) error {
		report(0.5, "half")
		return nil
	}, func(err error) {
		ended = true
		if err != nil {
			t.Errorf("ended with %v", err)
		}
	}); err != nil {
		t.Fatal(err)
	}
	l.until(func() bool { return ended })
	if len(seen) == 0 || seen[len(seen)-1] != -1 {
		t.Fatalf("progress seen %v, wanted the end as -1", seen)
	}
}

func TestFaultBecomesAnError(t *testing.T) {
	r, l := newRunner()
	var got error
	ended := false
	if err := r.Start(func(context.Context, Report) error { panic("broken") },
		func(err error) { got, ended = err, true }); err != nil {
		t.Fatal(err)
	}
	l.until(func() bool { return ended })
	if got == nil || !strings.Contains(got.Error(), "broken") {
		t.Fatalf("got %v", got)
	}
}
