package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"time"
)

// A step is one piece of a longer command, with a time limit of its own.
type step struct {
	name  string
	limit time.Duration
	do    func(ctx context.Context) error
}

// An outcome says how one step ended.
type outcome struct {
	name string
	took time.Duration
	err  error
}

// runSteps runs every step, also after one failed, and prints how long each
// took. It stops early only when ctx ends.
func runSteps(ctx context.Context, w io.Writer, steps []step) []outcome {
	var outcomes []outcome
	for _, s := range steps {
		if ctx.Err() != nil {
			outcomes = append(outcomes, outcome{s.name, 0, errors.New("not started: interrupted")})
			continue
		}
		fmt.Fprintf(w, "== %s\n", s.name)
		start := time.Now()
		limited, cancel := context.WithTimeout(ctx, s.limit)
		err := s.do(limited)
		if limited.Err() == context.DeadlineExceeded {
			err = fmt.Errorf("stopped at its time limit of %s", s.limit)
		}
		cancel()
		o := outcome{s.name, time.Since(start), err}
		fmt.Fprintf(w, "-- %s: %s in %s\n\n", s.name, o.verdict(), seconds(o.took))
		outcomes = append(outcomes, o)
	}
	return outcomes
}

func (o outcome) verdict() string {
	if o.err != nil {
		return "FAILED (" + o.err.Error() + ")"
	}
	return "passed"
}

// closeSteps prints the table of times and, last, the plain line
// "N passed, N failed". The error is nil when every step passed.
func closeSteps(w io.Writer, outcomes []outcome) error {
	var total time.Duration
	passed, failed := 0, 0
	for _, o := range outcomes {
		total += o.took
		if o.err == nil {
			passed++
		} else {
			failed++
		}
		fmt.Fprintf(w, "%9s  %-18s %s\n", seconds(o.took), o.name, o.verdict())
	}
	fmt.Fprintf(w, "%9s  all steps\n", seconds(total))
	fmt.Fprintf(w, "%d passed, %d failed\n", passed, failed)
	if failed > 0 {
		return fmt.Errorf("%d of %d steps failed", failed, passed+failed)
	}
	return nil
}

func seconds(d time.Duration) string { return fmt.Sprintf("%.1f s", d.Seconds()) }

// A program is one outside program to run in the repository.
type program struct {
	house  house
	env    []string  // added to the environment
	in     string    // folder inside the repository, "" for its root
	stdin  io.Reader // nil for none: nothing here may wait for a keyboard unless it says so
	stdout io.Writer // nil for this program's own
	stderr io.Writer // nil for this program's own
	quiet  string    // words printed with the time passed while nothing else is, "" for none
	person bool      // a person sits before it: it keeps the terminal, and is asked to end, not killed
}

// run starts the program and waits. Its error names the command line.
func (p program) run(ctx context.Context, name string, args ...string) error {
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Dir = p.house.path(p.in)
	cmd.Env = append(os.Environ(), p.env...)
	cmd.Stdin = p.stdin
	cmd.Stdout, cmd.Stderr = p.stdout, p.stderr
	if cmd.Stdout == nil {
		cmd.Stdout = os.Stdout
	}
	if cmd.Stderr == nil {
		cmd.Stderr = os.Stderr
	}
	cmd.WaitDelay = 5 * time.Second
	if p.person {
		cmd.Cancel = func() error { return cmd.Process.Signal(os.Interrupt) }
	} else {
		ownGroup(cmd)
	}
	if p.quiet != "" {
		defer ticking(p.quiet)()
	}
	if err := cmd.Run(); err != nil {
		return fmt.Errorf("%s: %w", strings.Join(append([]string{name}, args...), " "), err)
	}
	return nil
}

// output runs the program and returns what it printed.
func (p program) output(ctx context.Context, name string, args ...string) (string, error) {
	var out strings.Builder
	p.stdout = &out
	err := p.run(ctx, name, args...)
	return out.String(), err
}

// ticking prints words and the time passed every half minute until the function
// it returns is called: a first build is silent for minutes.
func ticking(words string) (stop func()) {
	start := time.Now()
	tick := time.NewTicker(30 * time.Second)
	done := make(chan struct{})
	go func() {
		for {
			select {
			case <-tick.C:
				fmt.Printf("   %s: %d s so far\n", words, int(time.Since(start).Seconds()))
			case <-done:
				return
			}
		}
	}()
	return func() {
		tick.Stop()
		close(done)
	}
}
