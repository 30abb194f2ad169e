package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"strings"
)

// An installer brings missing packages. The fields are the machine as it is, so
// that a test can stand in for other machines.
type installer struct {
	out  io.Writer
	root bool                                                         // are we root
	has  func(program string) bool                                    // is a program there
	run  func(ctx context.Context, name string, args ...string) error // run one
}

func newInstaller(h house) installer {
	return installer{
		out:  os.Stdout,
		root: os.Geteuid() == 0,
		has:  onPath,
		run: func(ctx context.Context, name string, args ...string) error {
			// sudo may ask a person for a password; without a terminal it must fail at once.
			said, err := program{house: h, person: name == "sudo", quiet: "installing"}.output(ctx, name, args...)
			if err != nil {
				fmt.Print(said) // hundreds of lines that matter only now
			}
			return err
		},
	}
}

// bring looks for what is needed and installs what is missing, saying first
// what and why. It returns the needs that are still not met; where there is no
// apt it names the packages and installs nothing.
func (in installer) bring(ctx context.Context, needs []need) []need {
	lack := missing(ctx, needs)
	if len(lack) == 0 {
		return nil
	}
	fmt.Fprintln(in.out, "This machine lacks:")
	for _, n := range lack {
		fmt.Fprintln(in.out, "  "+n.words())
	}
	packages := packagesOf(lack)
	names := strings.Join(packages, " ")
	if !in.has("apt-get") {
		fmt.Fprintf(in.out, "There is no apt-get here, so nothing is installed. Debian's names for what is missing: %s\n"+
			"Going on without; install what your system calls these if the next step stops.\n\n", names)
		return lack
	}
	var before []string
	switch {
	case in.root:
	case in.has("sudo"):
		before = []string{"sudo"}
		if !terminal() {
			before = append(before, "-n")
		}
	default:
		fmt.Fprintf(in.out, "Installing needs root and there is no sudo here, so nothing is installed. As root:\n"+
			"  apt-get install %s\nGoing on without; the next step may stop.\n\n", names)
		return lack
	}
	fmt.Fprintf(in.out, "Installing with apt-get: %s\n", names)
	for _, line := range aptLines(packages) {
		words := append(append([]string{}, before...), line...)
		// A failed update is no reason to stop: another source may hold the
		// packages, or the lists of an earlier update may do.
		if err := in.run(ctx, words[0], words[1:]...); err != nil {
			fmt.Fprintf(in.out, "  %v\n", err)
		}
	}
	still := missing(ctx, lack)
	if len(still) > 0 {
		fmt.Fprintln(in.out, "Still missing:")
		for _, n := range still {
			fmt.Fprintln(in.out, "  "+n.words())
		}
	}
	fmt.Fprintln(in.out)
	return still
}

// aptLines are the command lines that install packages without a question.
// Recommended packages stay away: a bench machine should get what is needed.
func aptLines(packages []string) [][]string {
	quietly := []string{"env", "DEBIAN_FRONTEND=noninteractive", "apt-get", "-qq", "-y"}
	return [][]string{
		append(append([]string{}, quietly...), "update"),
		append(append(append([]string{}, quietly...), "install", "--no-install-recommends"), packages...),
	}
}

// terminal says whether a person can be asked: sudo reads a password from the
// controlling terminal, whatever standard input is.
func terminal() bool {
	tty, err := os.Open("/dev/tty")
	if err != nil {
		return false
	}
	tty.Close()
	return true
}

// mustHave turns missing needs into an error where nothing may be skipped.
func mustHave(lack []need) error {
	if len(lack) == 0 || !underCI() {
		return nil
	}
	return fmt.Errorf("missing and not to be installed here: %s", strings.Join(packagesOf(lack), " "))
}
