package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path"
	"regexp"
	"runtime"
	"slices"
	"sort"
	"strconv"
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

// printTimings writes the table: time and memory in units that read well, then
// whatever else a benchmark reports, by name.
func printTimings(w io.Writer, all []timing) {
	fmt.Fprintln(w, "| package | benchmark | time | memory | allocations | besides |")
	fmt.Fprintln(w, "|---|---|---:|---:|---:|---|")
	for _, t := range all {
		var besides []string
		for unit, v := range t.values {
			if unit != "ns/op" && unit != "B/op" && unit != "allocs/op" {
				besides = append(besides, v+" "+unit)
			}
		}
		slices.SortFunc(besides, func(a, b string) int {
			_, a, _ = strings.Cut(a, " ")
			_, b, _ = strings.Cut(b, " ")
			return strings.Compare(a, b)
		})
		fmt.Fprintf(w, "| %s | %s | %s | %s | %s | %s |\n", t.room, t.name,
			scaled(t.values["ns/op"], 1000, "ns", "µs", "ms", "s"), scaled(t.values["B/op"], 1024, "B", "KiB", "MiB", "GiB"),
			t.values["allocs/op"], strings.Join(besides, ", "))
	}
}

// scaled prints a number to three digits in the largest unit that leaves at least
// one; step is from unit to unit.
func scaled(number string, step float64, units ...string) string {
	v, err := strconv.ParseFloat(number, 64)
	if err != nil {
		return number
	}
	k := 0
	for k+1 < len(units) && v >= step {
		v, k = v/step, k+1
	}
	text := strconv.FormatFloat(v, 'f', max(0, min(2, 2-int(math.Floor(math.Log10(max(v, 1)))))), 64)
	if k == 0 {
		text = strconv.FormatFloat(v, 'g', 4, 64)
	}
	return text + " " + units[k]
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
