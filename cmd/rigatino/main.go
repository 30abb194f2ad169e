// Command rigatino maps the preparation of a fossil in 3D: what was taken off,
// what was put on, and what is still original. Alone or with a project it opens
// the window; every other job is a command that calls the same functions.
//
// Exit status: 0 done, 1 could not (the message names file, cause and way out),
// 2 wrong usage, 3 done but refused.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/alecthomas/kong"

	"rigatino/annotate/project"
)

// commands lists every command; each has a file of its own.
type commands struct {
	JSON bool `help:"Print one JSON document on standard output; all else goes to standard error."`

	Window   windowCommand   `cmd:"" hidden:"" default:"withargs" help:"Open the window on a project or on one or two scans."`
	Demo     demoCommand     `cmd:"" help:"Make the demo project of an invented specimen, with all its hand-overs."`
	Check    checkCommand    `cmd:"" help:"Say what scans hold and what is wrong with them, or a project's open points."`
	New      newCommand      `cmd:"" help:"Make a project."`
	Record   recordCommand   `cmd:"" help:"Merge a record file into a project."`
	Add      addCommand      `cmd:"" help:"Add a scan to a stage of a project."`
	Scale    scaleCommand    `cmd:"" help:"Say how large a scan is, from scale bars."`
	Align    alignCommand    `cmd:"" help:"Lay a scan on another: a stage of a project, or two files."`
	Change   changeCommand   `cmd:"" help:"Say what was removed and added between two stages, or two files."`
	Map      mapCommand      `cmd:"" help:"Mark faces, a line, or all the rest of a stage."`
	Tally    tallyCommand    `cmd:"" help:"Print the sheet of values of a project or of an annotated model."`
	Render   renderCommand   `cmd:"" help:"Draw a named view with map, legend and scale bar."`
	Handover handoverCommand `cmd:"" help:"Write annotated model, report and tables of a stage."`
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// exited carries the parser's own wish to end, as after --help.
type exited struct{ code int }

// run does one command and returns the exit status.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) (code int) {
	defer func() {
		switch p := recover().(type) {
		case nil:
		case exited:
			code = p.code
		default:
			panic(p)
		}
	}()
	var c commands
	parser, err := kong.New(&c,
		kong.Name("rigatino"),
		kong.Description("Maps the preparation of a fossil on its 3D scans: what was taken off, what was put on, what is original."),
		kong.Writers(stdout, stderr),
		kong.Exit(func(code int) { panic(exited{code}) }),
		kong.UsageOnError(),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true}),
	)
	if err != nil {
		panic(err) // the command table itself is wrong
	}
	parsed, err := parser.Parse(withNegatives(args))
	if err != nil {
		fmt.Fprintf(stderr, "rigatino: %v\n", err)
		fmt.Fprintln(stderr, "Try: rigatino --help")
		return 2
	}
	job := &job{ctx: ctx, stdout: stdout, stderr: stderr, json: c.JSON, terminal: isTerminal(stderr)}
	err = parsed.Run(job)
	job.endProgress()
	return status(err, stderr)
}

// withNegatives joins a flag with a value that begins with a minus and a number,
// as coordinates do, which the parser would take for another flag.
func withNegatives(args []string) []string {
	var out []string
	for _, a := range args {
		if n := len(out); n > 0 && len(a) > 1 && a[0] == '-' && strings.ContainsRune(".0123456789", rune(a[1])) &&
			strings.HasPrefix(out[n-1], "--") && len(out[n-1]) > 2 && !strings.Contains(out[n-1], "=") {
			out[n-1] += "=" + a
			continue
		}
		out = append(out, a)
	}
	return out
}

// status prints what went wrong and returns the exit status it stands for.
func status(err error, stderr io.Writer) int {
	if err == nil {
		return 0
	}
	if errors.Is(err, context.Canceled) {
		fmt.Fprintln(stderr, "rigatino: stopped; nothing was changed since the last finished step")
		return 1
	}
	fmt.Fprintf(stderr, "rigatino: %v\n", err)
	var usage usageError
	var refused refusedError
	var projectRefused *project.RefusedError
	switch {
	case errors.As(err, &usage):
		return 2
	case errors.As(err, &refused), errors.As(err, &projectRefused):
		return 3
	}
	return 1
}

// usageError is wrong usage that the parser itself cannot see.
type usageError struct{ error }

func usagef(format string, args ...any) error { return usageError{fmt.Errorf(format, args...)} }

// refusedError means that the job was done and its result is a refusal.
type refusedError struct{ error }

func refusedf(format string, args ...any) error { return refusedError{fmt.Errorf(format, args...)} }
