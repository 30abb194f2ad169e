package main

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// TestSteps: a failed step does not hide the ones after it, a step past its
// limit fails with that reason, and the last line is the plain count.
func TestSteps(t *testing.T) {
	var page strings.Builder
	ran := 0
	count := func(err error) func(context.Context) error {
		return func(context.Context) error { ran++; return err }
	}
	outcomes := runSteps(t.Context(), &page, []step{
		{"first", time.Minute, count(errors.New("broken"))},
		{"slow", time.Millisecond, func(ctx context.Context) error { <-ctx.Done(); return ctx.Err() }},
		{"last", time.Minute, count(nil)},
	})
	err := closeSteps(&page, outcomes)
	if ran != 2 || err == nil || err.Error() != "2 of 3 steps failed" {
		t.Errorf("%d ran, error %v", ran, err)
	}
	for _, want := range []string{"first: FAILED (broken)", "slow: FAILED (stopped at its time limit of 1ms)", "last: passed"} {
		if !strings.Contains(page.String(), want) {
			t.Errorf("no %q in %q", want, page.String())
		}
	}
	if !strings.HasSuffix(page.String(), "\n1 passed, 2 failed\n") {
		t.Errorf("closing line missing: %q", page.String())
	}
	if err := closeSteps(&page, []outcome{{"only", time.Second, nil}}); err != nil {
		t.Errorf("all passed, but %v", err)
	}
}

// TestTimeLimitReachesChildren: what a stopped program started ends with it.
func TestTimeLimitReachesChildren(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	dir := t.TempDir()
	started := filepath.Join(dir, "started")
	done := make(chan error, 1)
	go func() {
		// The shell's child holds the pipe open for an hour unless it is ended too.
		var out strings.Builder
		done <- program{house: house{dir}, stdout: &out}.run(ctx, "sh", "-c", "(echo x > started; sleep 3600) & wait")
	}()
	for {
		if _, err := os.Stat(started); err == nil {
			break
		}
		select {
		case err := <-done:
			t.Fatalf("the shell ended before its child began: %v", err)
		default:
		}
	}
	start := time.Now()
	cancel()
	if err := <-done; err == nil {
		t.Error("a stopped program counts as done")
	}
	if took := time.Since(start); took > 4*time.Second {
		t.Errorf("ended only after %s: the child was left alone", took)
	}
}

// TestReadTimings reads lines as the benchmark format describes them
// (golang.org/design/14313-benchmark-format).
func TestReadTimings(t *testing.T) {
	const text = `goos: linux
pkg: rigatino/mesh/bvh
cpu: some
BenchmarkBuild-2         	       3	 412345678 ns/op	  12.50 MB/s	 1024 B/op	       7 allocs/op	     101.5 ns/triangle
BenchmarkClosest/near-2  	 1000000	      1042 ns/op
PASS
ok  	rigatino/mesh/bvh	4.1s
pkg: rigatino/mesh/ply
BenchmarkRead 	     100	  11 ns/op
`
	var page strings.Builder
	printTimings(&page, readTimings(text))
	want := `| package | benchmark | time | memory | allocations | besides |
|---|---|---:|---:|---:|---|
| mesh/bvh | Build | 412 ms | 1.00 KiB | 7 | 12.50 MB/s, 101.5 ns/triangle |
| mesh/bvh | Closest/near | 1.04 µs |  |  |  |
| mesh/ply | Read | 11 ns |  |  |  |
`
	if page.String() != want {
		t.Errorf("table:\n%s\nwant:\n%s", page.String(), want)
	}
}

// TestReadProofs reads events as `go doc test2json` describes them: rows are
// counted, values kept, and a test that never ended has failed.
func TestReadProofs(t *testing.T) {
	const events = `{"Action":"run","Package":"rigatino/mesh","Test":"TestArea"}
{"Action":"output","Package":"rigatino/mesh","Test":"TestArea/sphere","Output":"    area_test.go:9: checked: 12.566 mm² within 1e-3\n"}
{"Action":"pass","Package":"rigatino/mesh","Test":"TestArea/sphere","Elapsed":0.1}
{"Action":"pass","Package":"rigatino/mesh","Test":"TestArea/torus","Elapsed":0.1}
{"Action":"pass","Package":"rigatino/mesh","Test":"TestArea","Elapsed":0.25}
{"Action":"output","Package":"rigatino/app","Test":"TestWindow","Output":"    w_test.go:3: no display: skipped\n"}
{"Action":"skip","Package":"rigatino/app","Test":"TestWindow","Elapsed":0}
{"Action":"run","Package":"rigatino/mesh","Test":"TestHang"}
{"Action":"output","Package":"rigatino/mesh","Test":"TestHang","Output":"goroutine 7\n"}
{"Action":"fail","Package":"rigatino/mesh","Elapsed":9}
`
	proofs, err := readProofs(strings.NewReader(events))
	if err != nil {
		t.Fatal(err)
	}
	var page strings.Builder
	printProofs(&page, "abc123", proofs, map[string]string{"mesh TestArea": "TestArea: source Archimedes."})
	want := `# What was checked

Commit abc123.

## app

- **TestWindow**: skip, 0.0 s
  - no display: skipped

## mesh

- **TestArea**: pass, 0.2 s, 2 rows
  TestArea: source Archimedes.
  - checked: 12.566 mm² within 1e-3

- **TestHang**: fail, 0.0 s
      goroutine 7

1 passed, 1 failed, 1 skipped
`
	if page.String() != want {
		t.Errorf("page:\n%s\nwant:\n%s", page.String(), want)
	}
}

// TestFuzzTargets lists targets by their functions, whatever else a file holds.
func TestFuzzTargets(t *testing.T) {
	h, _ := clone(t, map[string]string{
		"mesh/ply/read_test.go": "package ply\n\nfunc FuzzRead(f *testing.F) {}\nfunc TestFuzzy(t *testing.T) {}\n",
		"mesh/ply/read.go":      "package ply\n\nfunc FuzzNot() {}\n",
		"mesh/a_test.go":        "package mesh\n\nfunc FuzzWeld(f *testing.F) {}\nfunc FuzzTopology(f *testing.F) {}\n",
	})
	got, err := fuzzTargets(h.root)
	if err != nil {
		t.Fatal(err)
	}
	want := []target{{"./mesh", "FuzzWeld"}, {"./mesh", "FuzzTopology"}, {"./mesh/ply", "FuzzRead"}}
	if len(got) != len(want) {
		t.Fatalf("found %v, want %v", got, want)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("found %v, want %v", got, want)
		}
	}
}

// TestDemoIsKept: a demo project that stands is used as it is, other files are
// never mixed with it, and a folder whose name has special letters is found.
func TestDemoIsKept(t *testing.T) {
	h := house{t.TempDir()}
	folder := h.path("demo [1]")
	project := filepath.Join(folder, "TVM 2041.rigatino")
	if err := os.MkdirAll(project, 0o755); err != nil {
		t.Fatal(err)
	}
	// Not a project yet, and not empty: nothing may be made here.
	if _, err := makeDemo(t.Context(), h, "no-such-program", folder); err == nil || !strings.Contains(err.Error(), "holds other files") {
		t.Errorf("a folder with other files: %v", err)
	}
	if err := os.WriteFile(filepath.Join(project, "project.json"), []byte("{}"), 0o600); err != nil {
		t.Fatal(err)
	}
	got, err := makeDemo(t.Context(), h, "no-such-program", folder)
	if err != nil || got.project != project {
		t.Errorf("project %q (%v), want %q", got.project, err, project)
	}
	// A demo that could not be made leaves no folder that looks like one.
	empty := h.path("new")
	if _, err := makeDemo(t.Context(), h, "no-such-program", empty); err == nil {
		t.Error("made without a program")
	}
	if _, err := os.Stat(empty); err == nil {
		t.Error("a folder was left that looks like a demo")
	}
}
