// Command dev runs, tests, checks and measures Rigatino from a fresh clone. It
// needs Go and git and nothing else: it uses the standard library only, so that
// it starts before anything is installed, and on Debian it brings what the work
// lacks, saying what and why first.
//
//	go run ./cmd/dev run      build the program, make the demo project, open the window on it
//	go run ./cmd/dev test     everything the continuous check runs
//	go run ./cmd/dev lint     format, vet, staticcheck, the rules of the house
//	go run ./cmd/dev prove    the full tables: what is checked, against which source
//	go run ./cmd/dev bench    the benchmarks as one table
//	go run ./cmd/dev fuzz     every fuzz target for a while
//
// Not supported: packages of systems other than Debian and its relatives (they
// are named in words, the work goes on without them), and windows on systems
// without X.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
)

// A command is one thing dev does.
type command struct {
	name  string
	words string
	run   func(ctx context.Context, house house, args []string) error
}

func commands() []command {
	return []command{
		{"run", "build the program, make the demo project with its hand-overs, open the window on it", run},
		{"test", "everything the continuous check runs", test},
		{"lint", "format, vet, staticcheck, the rules of the house", lint},
		{"prove", "the full tables: what is checked, against which source", prove},
		{"bench", "the benchmarks as one table", bench},
		{"fuzz", "every fuzz target for a while", fuzz},
	}
}

// errUsage marks wrong usage, already explained: exit status 2.
var errUsage = errors.New("wrong usage")

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	err := dispatch(ctx, os.Args[1:])
	switch {
	case err == nil:
	case errors.Is(err, errUsage):
		stop()
		os.Exit(2)
	default:
		fmt.Fprintln(os.Stderr, "dev:", err)
		stop()
		os.Exit(1)
	}
}

func dispatch(ctx context.Context, args []string) error {
	if len(args) == 0 {
		usage(os.Stderr)
		return errUsage
	}
	for _, c := range commands() {
		if c.name != args[0] {
			continue
		}
		h, err := findHouse()
		if err != nil {
			return err
		}
		return c.run(ctx, h, args[1:])
	}
	if strings.TrimLeft(args[0], "-") == "help" || args[0] == "-h" {
		usage(os.Stdout)
		return nil
	}
	fmt.Fprintf(os.Stderr, "dev: no command is called %q\n", args[0])
	usage(os.Stderr)
	return errUsage
}

func usage(w io.Writer) {
	fmt.Fprintln(w, "usage: go run ./cmd/dev COMMAND [options]")
	for _, c := range commands() {
		fmt.Fprintf(w, "  %-6s %s\n", c.name, c.words)
	}
}

// parse reads a command's options and refuses words it does not know.
func parse(flags *flag.FlagSet, args []string) error {
	flags.SetOutput(os.Stderr)
	if err := flags.Parse(args); err != nil {
		return errUsage
	}
	if flags.NArg() > 0 {
		fmt.Fprintf(os.Stderr, "dev: %s does not take %q\n", flags.Name(), flags.Arg(0))
		flags.Usage()
		return errUsage
	}
	return nil
}

// modulePath is the first line of go.mod, less the word module.
const modulePath = "rigatino"

// A house is the folder that holds the repository.
type house struct{ root string }

// findHouse walks up from the working folder to the go.mod of this module.
func findHouse() (house, error) {
	dir, err := os.Getwd()
	if err != nil {
		return house{}, fmt.Errorf("find the repository: %w", err)
	}
	for at := dir; ; at = filepath.Dir(at) {
		text, err := os.ReadFile(filepath.Join(at, "go.mod"))
		if err == nil && strings.HasPrefix(string(text), "module "+modulePath+"\n") {
			return house{at}, nil
		}
		if filepath.Dir(at) == at {
			return house{}, fmt.Errorf("%s is not inside the repository of %s: change into the cloned folder first", dir, modulePath)
		}
	}
}

// path returns a path inside the repository, given with slashes.
func (h house) path(rel string) string { return filepath.Join(h.root, filepath.FromSlash(rel)) }

// underCI says whether missing pieces must fail instead of being skipped.
func underCI() bool { return os.Getenv("CI") == "true" }
