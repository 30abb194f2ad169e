package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path"
	"regexp"
	"runtime"
	"slices"
	"sort"
	"strings"
)

// bench runs the benchmarks of the hot paths and prints them as one table that
// can be put into a page as it is.
func bench(ctx context.Context, h house, args []string) error {
	flags := flag.NewFlagSet("bench", flag.ContinueOnError)
	match := flags.String("match", ".", "run benchmarks whose name matches this expression")
	length := flags.String("time", "1s", "time, or number as 100x, that each benchmark runs")
	if err := parse(flags, args); err != nil {
		return err
	}
	rooms, err := roomsWith(h.root, regexp.MustCompile(`(?m)^func Benchmark[A-Z_]\w*\(`))
	if err != nil {
		return err
	}
	if len(rooms) == 0 {
		return fmt.Errorf("no package has a benchmark")
	}
	if err := mustHave(newInstaller(h).bring(ctx, buildNeeds())); err != nil {
		return err
	}
	// One package at a time: two at once would share the cores they are timed on.
	command := []string{"test", "-run=^$", "-bench=" + *match, "-benchtime=" + *length, "-benchmem", "-p=1", "-timeout=0"}
	fmt.Fprintln(os.Stderr, "Timing", strings.Join(rooms, " "))
	text, err := program{house: h, quiet: "timing"}.output(ctx, "go", append(command, rooms...)...)
	printTimings(os.Stdout, readTimings(text))
	fmt.Printf("\n%s, %s, %d cores\n", processor(), runtime.Version(), runtime.NumCPU())
	if err != nil {
		fmt.Fprint(os.Stderr, text)
	}
	return err
}

// A timing is one line of a benchmark.
type timing struct {
	room, name string
	values     map[string]string // by unit, as go test printed them
}

var timingLine = regexp.MustCompile(`^Benchmark(\S+?)(?:-\d+)?\s+\d+\s+(.*)$`)

// readTimings reads what go test prints for benchmarks of several packages.
func readTimings(text string) []timing {
	var all []timing
	room := ""
	for _, line := range strings.Split(text, "\n") {
		if name, ok := strings.CutPrefix(line, "pkg: "); ok {
			room = strings.TrimPrefix(strings.TrimSpace(name), modulePath+"/")
		}
		m := timingLine.FindStringSubmatch(line)
		if m == nil {
			continue
		}
		t := timing{room, m[1], map[string]string{}}
		fields := strings.Fields(m[2])
		for i := 0; i+1 < len(fields); i += 2 {
			t.values[fields[i+1]] = fields[i]
		}
		all = append(all, t)
	}
	return all
}

// printTimings writes the table: time and memory first, then whatever units the
// benchmarks report themselves, by name.
func printTimings(w io.Writer, all []timing) {
	units := []string{"ns/op", "B/op", "allocs/op"}
	var own []string
	for _, t := range all {
		for unit := range t.values {
			if !slices.Contains(units, unit) && !slices.Contains(own, unit) {
				own = append(own, unit)
			}
		}
	}
	sort.Strings(own)
	units = append(units, own...)
	fmt.Fprintf(w, "| package | benchmark | %s |\n", strings.Join(units, " | "))
	fmt.Fprintf(w, "|---|---|%s\n", strings.Repeat("---:|", len(units)))
	for _, t := range all {
		fmt.Fprintf(w, "| %s | %s |", t.room, t.name)
		for _, unit := range units {
			fmt.Fprintf(w, " %s |", t.values[unit])
		}
		fmt.Fprintln(w)
	}
}

// processor names the processor, or says that it is not known.
func processor() string {
	text, err := os.ReadFile("/proc/cpuinfo")
	if err == nil {
		if m := regexp.MustCompile(`(?m)^model name\s*:\s*(.+)$`).FindSubmatch(text); m != nil {
			return string(m[1])
		}
	}
	if out, err := exec.Command("uname", "-m").Output(); err == nil {
		return strings.TrimSpace(string(out))
	}
	return runtime.GOARCH
}

// roomsWith lists, as "./folder", the packages with a test file that matches.
func roomsWith(root string, pattern *regexp.Regexp) ([]string, error) {
	found := map[string]bool{}
	err := eachGoFile(root, func(rel string) error {
		if !strings.HasSuffix(rel, "_test.go") {
			return nil
		}
		text, err := os.ReadFile(house{root}.path(rel))
		if err == nil && pattern.Match(text) {
			found["./"+path.Dir(rel)] = true
		}
		return err
	})
	var list []string
	for dir := range found {
		list = append(list, dir)
	}
	sort.Strings(list)
	return list, err
}
