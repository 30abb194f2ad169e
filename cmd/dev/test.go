package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"time"
)

// displayVariable names the display that the window tests may use with mouse
// and keys. It is another name than DISPLAY so that they never take over the
// screen of the person who runs them.
const displayVariable = "RIGATINO_DISPLAY"

// test runs all that the continuous check runs.
func test(ctx context.Context, h house, args []string) error {
	if err := parse(flag.NewFlagSet("test", flag.ContinueOnError), args); err != nil {
		return err
	}
	needs := append(buildNeeds(), windowNeeds()...)
	lack := newInstaller(h).bring(ctx, append(needs, testNeeds()...))
	if err := mustHave(lack); err != nil {
		return err
	}
	if len(lack) > 0 {
		fmt.Printf("Going on: the tests that need these are skipped, which CI=true would not allow.\n\n")
	}
	steps := append(lintSteps(h),
		step{"interop programs", 10 * time.Minute, func(ctx context.Context) error { return interopPrograms(ctx, h) }},
		step{"headless build", 10 * time.Minute, func(ctx context.Context) error { return headlessBuild(ctx, h) }},
		step{"tests", 30 * time.Minute, func(ctx context.Context) error { return goTests(ctx, h) }},
	)
	return closeSteps(os.Stdout, runSteps(ctx, os.Stdout, steps))
}

// goTests runs the tests of every package, those of the window on a display in
// memory. Results of earlier runs are not taken: a test that asks an outside
// program is not seen to change with it.
func goTests(ctx context.Context, h house) error {
	var env []string
	if onPath("Xvfb") {
		x, err := startScreen(ctx)
		if err != nil {
			return err
		}
		defer x.stop()
		env = append(env, displayVariable+"="+x.display)
	}
	return program{house: h, env: env, quiet: "testing"}.run(ctx, "go", "test", "-count=1", "-timeout=20m", "./...")
}

// headlessBuild compiles the program as it goes on a server: no window, no C.
func headlessBuild(ctx context.Context, h house) error {
	if _, err := os.Stat(h.path("cmd/rigatino")); err != nil {
		fmt.Println("no cmd/rigatino in this clone: nothing to build")
		return nil
	}
	return program{house: h, env: []string{"CGO_ENABLED=0"}, quiet: "building"}.
		run(ctx, "go", "build", "-buildvcs=false", "-tags", "headless", "-o", os.DevNull, "./cmd/rigatino")
}

// interopFolder holds the outside programs that read what we write.
const interopFolder = "testdata/interop"

// interopPrograms fetches the outside programs at the versions of the lock file,
// once for each lock file.
func interopPrograms(ctx context.Context, h house) error {
	lock, err := os.ReadFile(h.path(interopFolder + "/package-lock.json"))
	if errors.Is(err, os.ErrNotExist) {
		fmt.Println("no " + interopFolder + " in this clone: nothing to fetch")
		return nil
	}
	if err != nil {
		return err
	}
	if !onPath("npm") {
		fmt.Println("no npm here: the tests that need outside programs are skipped")
		return nil
	}
	sum := sha256.Sum256(lock)
	mark := h.path(interopFolder + "/node_modules/.fetched")
	if have, err := os.ReadFile(mark); err == nil && string(have) == hex.EncodeToString(sum[:]) {
		fmt.Println("fetched already for this lock file")
		return nil
	}
	err = program{house: h, in: interopFolder, quiet: "fetching"}.run(ctx, "npm", "ci", "--no-audit", "--no-fund")
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(mark), 0o755); err != nil {
		return err
	}
	return os.WriteFile(mark, []byte(hex.EncodeToString(sum[:])), 0o644)
}
