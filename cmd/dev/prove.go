package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"sort"
	"strings"
	"time"
)

// proveVariable asks the tests for their full tables and long series.
const proveVariable = "RIGATINO_PROVE"

// prove runs every test with its full table and prints, as a page, what was
// checked, against which source, and how it ended. What a test checks and
// against what is its doc comment; values with tolerances are lines that the
// test logs with the word "source:" or "checked:" before them.
func prove(ctx context.Context, h house, args []string) error {
	flags := flag.NewFlagSet("prove", flag.ContinueOnError)
	only := flags.String("packages", "./...", "packages to prove, as go test takes them")
	limit := flags.Duration("limit", 3*time.Hour, "time limit of each package")
	if err := parse(flags, args); err != nil {
		return err
	}
	needs := append(buildNeeds(), windowNeeds()...)
	if err := mustHave(newInstaller(h).bring(ctx, append(needs, testNeeds()...))); err != nil {
		return err
	}
	if err := interopPrograms(ctx, h); err != nil {
		return err
	}
	env := []string{proveVariable + "=1"}
	if onPath("Xvfb") {
		x, err := startScreen(ctx)
		if err != nil {
			return err
		}
		defer x.stop()
		env = append(env, displayVariable+"="+x.display)
	}
	words, err := testComments(h.root)
	if err != nil {
		return err
	}
	read, write := io.Pipe()
	ran := make(chan error, 1)
	go func() {
		err := program{house: h, env: env, stdout: write, quiet: "proving"}.run(ctx,
			"go", "test", "-count=1", "-json", "-timeout="+limit.String(), *only)
		write.Close()
		ran <- err
	}()
	proofs, err := readProofs(read)
	if failure := <-ran; err == nil {
		err = failure
	}
	commit, _ := program{house: h, stderr: io.Discard}.output(ctx, "git", "describe", "--always", "--dirty")
	printProofs(os.Stdout, strings.TrimSpace(commit), proofs, words)
	return err
}

// A proof is one test function and how it ended.
type proof struct {
	room, test string
	result     string // pass, fail or skip
	took       float64
	rows       int      // subtests that ran
	said       []string // lines with values, and the reason of a skip
	failed     []string // output of a test that failed
}

// readProofs gathers the events of `go test -json` into one proof a test
// function; its subtests count as its rows.
func readProofs(events io.Reader) ([]proof, error) {
	byName := map[string]*proof{}
	lines := bufio.NewScanner(events)
	lines.Buffer(nil, 1<<24)
	for lines.Scan() {
		var e struct {
			Action, Package, Test, Output string
			Elapsed                       float64
		}
		if json.Unmarshal(lines.Bytes(), &e) != nil {
			fmt.Fprintln(os.Stderr, lines.Text())
			continue
		}
		if e.Test == "" {
			if e.Action == "output" && (strings.HasPrefix(e.Output, "FAIL") || strings.HasPrefix(e.Output, "panic")) {
				fmt.Fprint(os.Stderr, e.Package, ": ", e.Output)
			}
			continue
		}
		test, row, isRow := strings.Cut(e.Test, "/")
		p := byName[e.Package+" "+test]
		if p == nil {
			p = &proof{room: strings.TrimPrefix(e.Package, modulePath+"/"), test: test}
			byName[e.Package+" "+test] = p
		}
		switch e.Action {
		case "output":
			p.hear(e.Output)
		case "pass", "fail", "skip":
			if isRow {
				p.rows++
				if e.Action == "skip" {
					p.said = append(p.said, "skipped: "+row)
				}
				break
			}
			p.result, p.took = e.Action, e.Elapsed
		}
	}
	var all []proof
	for _, p := range byName {
		if p.result == "" {
			p.result = "fail" // it never ended: a panic or the time limit
		}
		all = append(all, *p)
	}
	sort.Slice(all, func(i, j int) bool {
		if all[i].room != all[j].room {
			return all[i].room < all[j].room
		}
		return all[i].test < all[j].test
	})
	return all, lines.Err()
}

var logged = regexp.MustCompile(`^\s+\S+\.go:\d+: (.*)$`)

// hear keeps of a test's output what belongs on the page.
func (p *proof) hear(line string) {
	line = strings.TrimRight(line, "\n")
	p.failed = append(p.failed, line)
	said := logged.FindStringSubmatch(line)
	if said == nil {
		return // not a line that the test logged
	}
	for _, mark := range []string{"source:", "checked:", "skipped"} {
		if strings.Contains(said[1], mark) {
			p.said = append(p.said, said[1])
			return
		}
	}
}

// printProofs writes the page.
func printProofs(w io.Writer, commit string, proofs []proof, words map[string]string) {
	fmt.Fprintf(w, "# What was checked\n\nCommit %s.\n", commit)
	count := map[string]int{}
	room := ""
	for _, p := range proofs {
		count[p.result]++
		if p.room != room {
			room = p.room
			fmt.Fprintf(w, "\n## %s\n", room)
		}
		fmt.Fprintf(w, "\n- **%s**: %s, %.1f s", p.test, p.result, p.took)
		if p.rows > 0 {
			fmt.Fprintf(w, ", %d rows", p.rows)
		}
		fmt.Fprintln(w)
		if said := words[p.room+" "+p.test]; said != "" {
			fmt.Fprintf(w, "  %s\n", said)
		}
		for _, line := range p.said {
			fmt.Fprintf(w, "  - %s\n", line)
		}
		if p.result == "fail" {
			for _, line := range p.failed {
				fmt.Fprintf(w, "      %s\n", line)
			}
		}
	}
	fmt.Fprintf(w, "\n%d passed, %d failed, %d skipped\n", count["pass"], count["fail"], count["skip"])
}

// testComments returns the doc comment of every test function, as one line,
// under "folder TestName".
func testComments(root string) (map[string]string, error) {
	words := map[string]string{}
	files := token.NewFileSet()
	err := eachGoFile(root, func(rel string) error {
		if !strings.HasSuffix(rel, "_test.go") {
			return nil
		}
		parsed, err := parser.ParseFile(files, filepath.Join(root, filepath.FromSlash(rel)), nil, parser.ParseComments|parser.SkipObjectResolution)
		if err != nil {
			return errors.Join(errors.New("read the comments of "+rel), err)
		}
		for _, decl := range parsed.Decls {
			if f, ok := decl.(*ast.FuncDecl); ok && f.Recv == nil && f.Doc != nil {
				words[path.Dir(rel)+" "+f.Name.Name] = strings.Join(strings.Fields(f.Doc.Text()), " ")
			}
		}
		return nil
	})
	return words, err
}
