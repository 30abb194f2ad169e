package main

import (
	"testing"
	"time"
)

func TestFuzzReportTellsTheEndOfTimeFromAFailure(t *testing.T) {
	// Lines as go test of Go 1.26 prints them.
	const head = "fuzz: elapsed: 3s, execs: 20764 (6920/sec), new interesting: 2 (total: 12)\nfuzz: elapsed: 6s, execs: 43794 (10923/sec), new interesting: 4 (total: 14)\n"
	for name, row := range map[string]struct {
		text   string
		inputs string
		only   bool
	}{
		"passed":      {head + "PASS\nok  \trigatino/mesh/ply\t6.1s\n", "43794", false},
		"out of time": {head + "--- FAIL: FuzzRead (6.10s)\n    context deadline exceeded\nFAIL\n", "43794", true},
		"failed":      {head + "--- FAIL: FuzzRead (6.10s)\n    --- FAIL: FuzzRead (0.00s)\n        ply_test.go:5: off\n\n    Failing input written to testdata/fuzz/FuzzRead/x\n", "43794", false},
		"both":        {head + "    fuzzing process hung or terminated unexpectedly: exit status 2\n    context deadline exceeded\n", "43794", false},
		"not built":   {"FAIL\trigatino/mesh/ply [build failed]\n", "no", false},
	} {
		var f fuzzReport
		if _, err := f.Write([]byte(row.text)); err != nil {
			t.Fatal(err)
		}
		if f.inputs() != row.inputs || f.onlyOutOfTime() != row.only {
			t.Errorf("%s: %s inputs, only out of time %v", name, f.inputs(), f.onlyOutOfTime())
		}
	}
}

func TestFuzzLimit(t *testing.T) {
	for text, want := range map[string]time.Duration{"30s": 10*time.Minute + 30*time.Second, "20m": 30 * time.Minute, "1000000x": 24 * time.Hour, "x": 0, "": 0, "-1s": 0, "ten": 0} {
		if got, err := fuzzLimit(text); got != want || (err == nil) != (want > 0) {
			t.Errorf("%q: %v, %v", text, got, err)
		}
	}
}
