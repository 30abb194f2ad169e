package main

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"go/format"
	"os"
	"strings"
	"time"
)

// staticcheckChecks is staticcheck's own choice, and package comments, and the
// form of doc comments, which its own choice leaves out.
const staticcheckChecks = "inherit,ST1000,ST1020,ST1021,ST1022"

func lint(ctx context.Context, h house, args []string) error {
	if err := parse(flag.NewFlagSet("lint", flag.ContinueOnError), args); err != nil {
		return err
	}
	if err := mustHave(newInstaller(h).bring(ctx, buildNeeds())); err != nil {
		return err
	}
	return closeSteps(os.Stdout, runSteps(ctx, os.Stdout, lintSteps(h)))
}

// lintSteps are the checks that run nothing of the program.
func lintSteps(h house) []step {
	return []step{
		{"format", time.Minute, rule(func() ([]string, error) { return unformatted(h.root) })},
		{"rooms", time.Minute, rule(func() ([]string, error) {
			all, err := edges(h.root)
			return broken(all), err
		})},
		{"layout", time.Minute, func(ctx context.Context) error {
			files, err := trackedFiles(ctx, h)
			if err != nil {
				return err
			}
			return rule(func() ([]string, error) { return layout(h, files) })(ctx)
		}},
		{"words", time.Minute, func(ctx context.Context) error {
			files, err := trackedFiles(ctx, h)
			if err != nil {
				return err
			}
			return rule(func() ([]string, error) { return unwanted(h, files, forbiddenWords(ctx, h)) })(ctx)
		}},
		{"doc comments", time.Minute, rule(func() ([]string, error) { return undocumented(h.root) })},
		// A cold build compiles the window toolkit here.
		{"vet", 15 * time.Minute, func(ctx context.Context) error {
			return program{house: h, quiet: "vetting"}.run(ctx, "go", "vet", "./...")
		}},
		{"staticcheck", 10 * time.Minute, func(ctx context.Context) error {
			return program{house: h, quiet: "checking"}.run(ctx,
				"go", "tool", "-modfile=.ci/tools.mod", "staticcheck", "-checks="+staticcheckChecks, "./...")
		}},
	}
}

// rule makes a step of a check that returns what it found wrong, a line each.
func rule(check func() ([]string, error)) func(context.Context) error {
	return func(context.Context) error {
		problems, err := check()
		if err != nil {
			return err
		}
		for _, p := range problems {
			fmt.Println(p)
		}
		if len(problems) > 0 {
			return fmt.Errorf("%d found", len(problems))
		}
		return nil
	}
}

// unformatted names the Go files that gofmt would change.
func unformatted(root string) ([]string, error) {
	var found []string
	err := eachGoFile(root, func(rel string) error {
		text, err := os.ReadFile(house{root}.path(rel))
		if err != nil {
			return err
		}
		formatted, err := format.Source(text)
		if err != nil {
			return fmt.Errorf("%s: %w", rel, err)
		}
		if !bytes.Equal(text, formatted) {
			found = append(found, rel+": not as gofmt writes it: run gofmt -w on it")
		}
		return nil
	})
	return found, err
}

// trackedFiles lists what git keeps, and what it would keep when added.
func trackedFiles(ctx context.Context, h house) ([]string, error) {
	out, err := program{house: h}.output(ctx, "git", "ls-files", "-z", "--cached", "--others", "--exclude-standard")
	if err != nil {
		return nil, fmt.Errorf("list the files of the repository: %w", err)
	}
	var files []string
	for _, name := range strings.Split(strings.TrimRight(out, "\x00"), "\x00") {
		if _, err := os.Lstat(h.path(name)); errors.Is(err, os.ErrNotExist) {
			continue // removed, and the removal not committed yet
		}
		files = append(files, name)
	}
	return files, nil
}
