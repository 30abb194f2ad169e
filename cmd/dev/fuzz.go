package main

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// fuzz runs every fuzz target for a while, one after the other, and says how
// many inputs each was given.
func fuzz(ctx context.Context, h house, args []string) error {
	flags := flag.NewFlagSet("fuzz", flag.ContinueOnError)
	length := flags.String("time", "30s", "time for each target, or number of inputs as 1000000x")
	match := flags.String("match", ".", "run targets whose package and name match this expression, as \"mesh/ply FuzzRead\"")
	parallel := flags.Int("parallel", 0, "inputs tried at once (default: one for each core)")
	if err := parse(flags, args); err != nil {
		return err
	}
	wanted, err := regexp.Compile(*match)
	if err != nil {
		return fmt.Errorf("-match: %w", err)
	}
	limit, err := fuzzLimit(*length)
	if err != nil {
		return err
	}
	targets, err := fuzzTargets(h.root)
	if err != nil {
		return err
	}
	var steps []step
	var counts []string
	for _, t := range targets {
		name := t.room + " " + t.name
		if !wanted.MatchString(name) {
			continue
		}
		// Making each interesting input as small as it can be takes up to a minute by
		// default, which left most of the time for trying few: 40 times as many are
		// tried without.
		command := []string{"test", "-run=^$", "-fuzz=^" + t.name + "$", "-fuzztime=" + *length, "-fuzzminimizetime=5x", "-timeout=0"}
		if *parallel > 0 {
			command = append(command, fmt.Sprintf("-parallel=%d", *parallel))
		}
		steps = append(steps, step{name, limit, func(ctx context.Context) error {
			var said fuzzReport
			err := program{house: h, stdout: io.MultiWriter(os.Stdout, &said)}.run(ctx, "go", append(command, t.room)...)
			counts = append(counts, fmt.Sprintf("%12s inputs  %s", said.inputs(), name))
			if err != nil && ctx.Err() == nil && said.onlyOutOfTime() {
				fmt.Println("   the time ran out while an input was being tried; no input failed")
				return nil
			}
			return err
		}})
	}
	if len(steps) == 0 {
		return errors.New("no fuzz target matches")
	}
	if err := mustHave(newInstaller(h).bring(ctx, buildNeeds())); err != nil {
		return err
	}
	results := runSteps(ctx, os.Stdout, steps)
	for _, line := range counts {
		fmt.Println(line)
	}
	return closeSteps(os.Stdout, results)
}

// fuzzLimit is the longest a target may take for what -time says: building and
// minimising what was found come on top of it.
func fuzzLimit(length string) (time.Duration, error) {
	if n, ok := strings.CutSuffix(length, "x"); ok {
		if _, err := strconv.ParseUint(n, 10, 63); err == nil {
			return 24 * time.Hour, nil
		}
	}
	d, err := time.ParseDuration(length)
	if err != nil || d <= 0 {
		return 0, fmt.Errorf("-time: %q is neither a time as 30s nor a number of inputs as 1000000x", length)
	}
	return d + 10*time.Minute, nil
}

// fuzzReport keeps what go test prints while it fuzzes.
type fuzzReport struct{ text bytes.Buffer }

func (f *fuzzReport) Write(p []byte) (int, error) { return f.text.Write(p) }

var fuzzInputs = regexp.MustCompile(`(?m)^fuzz: .*execs: (\d+)`)

// inputs is the last number of inputs that was printed.
func (f *fuzzReport) inputs() string {
	all := fuzzInputs.FindAllStringSubmatch(f.text.String(), -1)
	if len(all) == 0 {
		return "no"
	}
	return all[len(all)-1][1]
}

// onlyOutOfTime says whether go test failed for nothing but the end of its time,
// which it reports as a failure when an input is being tried just then. A
// failing input, a panic or a worker that died say more than that.
func (f *fuzzReport) onlyOutOfTime() bool {
	text := f.text.String()
	if !strings.Contains(text, "context deadline exceeded") {
		return false
	}
	for _, more := range []string{"Failing input", "panic", "hung or terminated", "_test.go:"} {
		if strings.Contains(text, more) {
			return false
		}
	}
	return true
}

// A target is one fuzz function. room is its package as "./folder".
type target struct{ room, name string }

var fuzzFunction = regexp.MustCompile(`(?m)^func (Fuzz[A-Z_]\w*)\(`)

// fuzzTargets lists every fuzz function of the repository.
func fuzzTargets(root string) ([]target, error) {
	rooms, err := roomsWith(root, fuzzFunction)
	if err != nil {
		return nil, err
	}
	var all []target
	for _, room := range rooms {
		dir := house{root}.path(strings.TrimPrefix(room, "./"))
		entries, err := os.ReadDir(dir)
		if err != nil {
			return nil, err
		}
		for _, entry := range entries {
			if !strings.HasSuffix(entry.Name(), "_test.go") {
				continue
			}
			text, err := os.ReadFile(dir + string(os.PathSeparator) + entry.Name())
			if err != nil {
				return nil, err
			}
			for _, m := range fuzzFunction.FindAllStringSubmatch(string(text), -1) {
				all = append(all, target{room, m[1]})
			}
		}
	}
	return all, nil
}
