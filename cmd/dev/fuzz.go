package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"regexp"
	"strings"
	"time"
)

// fuzz runs every fuzz target for a while, one after the other.
func fuzz(ctx context.Context, h house, args []string) error {
	flags := flag.NewFlagSet("fuzz", flag.ContinueOnError)
	length := flags.Duration("time", 30*time.Second, "time for each target")
	match := flags.String("match", ".", "run targets whose name matches this expression")
	if err := parse(flags, args); err != nil {
		return err
	}
	wanted, err := regexp.Compile(*match)
	if err != nil {
		return fmt.Errorf("-match: %w", err)
	}
	targets, err := fuzzTargets(h.root)
	if err != nil {
		return err
	}
	var steps []step
	for _, t := range targets {
		if !wanted.MatchString(t.name) {
			continue
		}
		steps = append(steps, step{t.room + " " + t.name, *length + 10*time.Minute, func(ctx context.Context) error {
			// Making each interesting input as small as it can be takes up to a minute by
			// default, which left most of the time for trying few: 40 times as many are
			// tried without.
			return program{house: h}.run(ctx, "go", "test", "-run=^$", "-fuzz=^"+t.name+"$", "-fuzztime="+length.String(), "-fuzzminimizetime=5x", t.room)
		}})
	}
	if len(steps) == 0 {
		return errors.New("no fuzz target matches")
	}
	if err := mustHave(newInstaller(h).bring(ctx, buildNeeds())); err != nil {
		return err
	}
	return closeSteps(os.Stdout, runSteps(ctx, os.Stdout, steps))
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
