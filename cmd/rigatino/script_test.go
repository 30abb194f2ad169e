package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/alecthomas/kong"
	"github.com/rogpeppe/go-internal/testscript"
	"github.com/santhosh-tekuri/jsonschema/v6"
)

// TestCommands runs the scripts under testdata/script. Beside what every script
// language of this kind has, they have the commands below:
//
//	exits STATUS ARG…             run the program; see exits
//	schema NAME FILE              the file is a document of that command
//	is FILE PATH TEXT             the member of the document has this text; * for any
//	near FILE PATH NUMBER SHARE   the member is that number, but for a share of it
//	[!] point FILE ID             the document has that open point
//	same FILE FILE                both sheets of values have the same figures to 1e-6
//	remember DIR, unchanged DIR   nothing in the folder changed in between
//	solid …, picks …              make scans and picked pairs; see fixture_test.go
//	cut FILE BYTES                keep the first bytes of a file
//	falsify FROM TO PATH NUMBER   change a number in the notes of a model
//
// FILE may be stdout or stderr.
func TestCommands(t *testing.T) {
	schemas, err := loadSchemas()
	if err != nil {
		t.Fatal(err)
	}
	broken, err := filepath.Abs(filepath.Join("..", "..", "testdata", "gltf"))
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir:                 filepath.Join("testdata", "script"),
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Setup: func(env *testscript.Env) error {
			// A hand-over has today's date where none is given.
			env.Setenv("SOURCE_DATE_EPOCH", "1774396800")
			env.Setenv("BROKEN", broken)
			env.Values[remembered{}] = map[string]map[string]string{}
			return nil
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"exits":     schemas.exits,
			"schema":    schemas.schema,
			"is":        is,
			"near":      near,
			"point":     point,
			"same":      same,
			"remember":  remember,
			"unchanged": unchanged,
			"solid":     makeSolid,
			"picks":     makePicks,
			"cut":       cut,
			"falsify":   falsify,
		},
	})
}

// schemas are the committed forms of the commands' documents.
type schemas map[string]*jsonschema.Schema

func loadSchemas() (schemas, error) {
	files, err := filepath.Glob(filepath.Join("schema", "*.json"))
	if err != nil {
		return nil, err
	}
	out := schemas{}
	for _, f := range files {
		s, err := jsonschema.NewCompiler().Compile(f)
		if err != nil {
			return nil, err
		}
		out[strings.TrimSuffix(filepath.Base(f), ".json")] = s
	}
	return out, nil
}

// Every command has its schema, and every schema its command.
func TestEveryCommandHasASchema(t *testing.T) {
	schemas, err := loadSchemas()
	if err != nil {
		t.Fatal(err)
	}
	parser, err := kong.New(&commands{})
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, n := range parser.Model.Leaves(true) {
		names = append(names, n.Name)
	}
	slices.Sort(names)
	if have := slices.Sorted(maps.Keys(schemas)); !slices.Equal(names, have) {
		t.Errorf("commands %v, schemas %v", names, have)
	}
}

// check holds a document against the form of a command's.
func (s schemas) check(name, text string) error {
	form, ok := s[name]
	if !ok {
		return fmt.Errorf("there is no schema/%s.json", name)
	}
	doc, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
	if err != nil {
		return fmt.Errorf("not one JSON document: %w", err)
	}
	return form.Validate(doc)
}

func (s schemas) schema(ts *testscript.TestScript, neg bool, args []string) {
	need(ts, neg, args, 2, "schema NAME FILE")
	ts.Check(s.check(args[0], ts.ReadFile(args[1])))
}

// exits runs the program and wants exactly that exit status. With --json,
// standard output must be one document in the command's own form where the job
// was done, and at most that where it was not. A job that was not done says why
// in one sentence on standard error.
func (s schemas) exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 1 {
		ts.Fatalf("usage: exits STATUS ARG…")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	args = args[1:]
	got := 0
	if err := ts.Exec("rigatino", args...); err != nil {
		var exit *exec.ExitError
		if !errors.As(err, &exit) {
			ts.Fatalf("the program did not run: %v", err)
		}
		got = exit.ExitCode()
	}
	if got != want {
		ts.Fatalf("exit status %d, want %d", got, want)
	}
	stdout, stderr := ts.ReadFile("stdout"), ts.ReadFile("stderr")
	if slices.Contains(args, "--json") {
		switch {
		case want == 2 && stdout != "":
			ts.Fatalf("wrong usage, yet there is something on standard output")
		case want == 0, want == 3, stdout != "":
			if err := s.check(args[0], stdout); err != nil {
				ts.Fatalf("standard output: %v", err)
			}
		}
	}
	if want != 0 {
		ts.Check(oneSentence(stderr, want == 2))
	}
}

// oneSentence wants one line that begins with the program's name; after wrong
// usage of the parser's own kind, a second one leads to the help.
func oneSentence(text string, usage bool) error {
	lines := strings.Split(strings.TrimSuffix(text, "\n"), "\n")
	if usage && len(lines) == 2 && lines[1] == "Try: rigatino --help" {
		lines = lines[:1]
	}
	if len(lines) != 1 || !strings.HasPrefix(lines[0], "rigatino: ") || len(lines[0]) < len("rigatino: ")+10 {
		return fmt.Errorf("standard error is not one sentence:\n%s", text)
	}
	return nil
}

func need(ts *testscript.TestScript, neg bool, args []string, n int, usage string) {
	if neg || len(args) != n {
		ts.Fatalf("usage: %s", usage)
	}
}

// member finds a member of a JSON document by its path: names and indices with
// dots between.
func member(ts *testscript.TestScript, file, path string) any {
	var doc any
	if err := json.Unmarshal([]byte(ts.ReadFile(file)), &doc); err != nil {
		ts.Fatalf("%s: %v", file, err)
	}
	return walk(ts, file, doc, path)
}

func walk(ts *testscript.TestScript, file string, at any, path string) any {
	for _, name := range strings.Split(path, ".") {
		switch v := at.(type) {
		case map[string]any:
			inner, ok := v[name]
			if !ok {
				ts.Fatalf("%s: no %q in %q, only %v", file, name, path, slices.Sorted(maps.Keys(v)))
			}
			at = inner
		case []any:
			i, err := strconv.Atoi(name)
			if err != nil || i >= len(v) {
				ts.Fatalf("%s: no entry %q in %q, there are %d", file, name, path, len(v))
			}
			at = v[i]
		default:
			ts.Fatalf("%s: %q leads through %v", file, path, v)
		}
	}
	return at
}

func is(ts *testscript.TestScript, neg bool, args []string) {
	need(ts, neg, args, 3, "is FILE PATH TEXT")
	if got := fmt.Sprint(member(ts, args[0], args[1])); args[2] != "*" && got != args[2] {
		ts.Fatalf("%s is %q, want %q", args[1], got, args[2])
	}
}

func near(ts *testscript.TestScript, neg bool, args []string) {
	need(ts, neg, args, 4, "near FILE PATH NUMBER SHARE")
	got, ok := member(ts, args[0], args[1]).(float64)
	if !ok {
		ts.Fatalf("%s is no number", args[1])
	}
	want, err := strconv.ParseFloat(args[2], 64)
	ts.Check(err)
	share, err := strconv.ParseFloat(args[3], 64)
	ts.Check(err)
	ts.Logf("%s is %.8g, want %.8g: %+.3g of it", args[1], got, want, got/want-1)
	if !(math.Abs(got-want) <= share*math.Abs(want)) {
		ts.Fatalf("%s is %.8g, want %.8g but for %g of it", args[1], got, want, share)
	}
}

func point(ts *testscript.TestScript, neg bool, args []string) {
	if len(args) != 2 {
		ts.Fatalf("usage: [!] point FILE ID")
	}
	var doc struct {
		OpenPoints []struct {
			ID string `json:"id"`
		} `json:"open_points"`
	}
	ts.Check(json.Unmarshal([]byte(ts.ReadFile(args[0])), &doc))
	ids, found := []string{}, false
	for _, p := range doc.OpenPoints {
		ids = append(ids, p.ID)
		found = found || p.ID == args[1]
	}
	if found == neg {
		ts.Fatalf("open points are %v", ids)
	}
}

// figures are the parts of a sheet of values that a model holds itself. Their
// uncertainties are no part of the promise: the model's triangles are cut along
// the outlines, so that its mean edge, on which they rest, is another.
var figures = []string{"stage", "surface", "restored", "changed_in_look", "retouch_over_original", "matrix_left", "joins", "pieces", "regions"}

func same(ts *testscript.TestScript, neg bool, args []string) {
	need(ts, neg, args, 2, "same FILE FILE")
	var a, b map[string]any
	ts.Check(json.Unmarshal([]byte(ts.ReadFile(args[0])), &a))
	ts.Check(json.Unmarshal([]byte(ts.ReadFile(args[1])), &b))
	numbers := 0
	for _, name := range figures {
		if (a[name] == nil) != (b[name] == nil) {
			ts.Fatalf("%s stands in one of the two only: %v, %v", name, a[name], b[name])
		}
		if err := alike(name, a[name], b[name], &numbers); err != nil {
			ts.Fatalf("%v", err)
		}
	}
	if numbers < 10 {
		ts.Fatalf("only %d figures were compared", numbers)
	}
}

// alike compares two JSON values: numbers to 1e-6 of the larger, the rest
// exactly.
func alike(path string, a, b any, numbers *int) error {
	switch x := a.(type) {
	case map[string]any:
		y, ok := b.(map[string]any)
		if !ok || !slices.Equal(slices.Sorted(maps.Keys(x)), slices.Sorted(maps.Keys(y))) {
			return fmt.Errorf("%s: %v and %v", path, a, b)
		}
		for k := range x {
			if measured := x["value"] != nil && x["unit"] != nil; measured && k != "value" && k != "unit" {
				continue
			}
			if err := alike(path+"."+k, x[k], y[k], numbers); err != nil {
				return err
			}
		}
	case []any:
		y, ok := b.([]any)
		if !ok || len(x) != len(y) {
			return fmt.Errorf("%s: %v and %v", path, a, b)
		}
		byID(x)
		byID(y)
		for i := range x {
			if err := alike(path+"."+strconv.Itoa(i), x[i], y[i], numbers); err != nil {
				return err
			}
		}
	case float64:
		y, ok := b.(float64)
		if !ok || !(math.Abs(x-y) <= 1e-6*math.Max(math.Abs(x), math.Abs(y))) {
			return fmt.Errorf("%s: %v and %v", path, a, b)
		}
		*numbers++
	default:
		if a != b {
			return fmt.Errorf("%s: %v and %v", path, a, b)
		}
	}
	return nil
}

// byID sorts entries that have an id: their order is no figure.
func byID(list []any) {
	id := func(v any) string {
		m, _ := v.(map[string]any)
		text, _ := m["id"].(string)
		return text
	}
	slices.SortStableFunc(list, func(a, b any) int { return strings.Compare(id(a), id(b)) })
}

// remembered is the key of what remember saw.
type remembered struct{}

// contents are the hashes of all files of a folder, and its folders.
func contents(dir string) (map[string]string, error) {
	out := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			out[path] = "folder"
			return err
		}
		f, err := os.Open(path)
		if err != nil {
			return err
		}
		h := sha256.New()
		_, err = io.Copy(h, f)
		out[path] = fmt.Sprintf("%x", h.Sum(nil))
		return errors.Join(err, f.Close())
	})
	return out, err
}

func remember(ts *testscript.TestScript, neg bool, args []string) {
	need(ts, neg, args, 1, "remember DIR")
	seen, err := contents(ts.MkAbs(args[0]))
	ts.Check(err)
	ts.Value(remembered{}).(map[string]map[string]string)[args[0]] = seen
}

func unchanged(ts *testscript.TestScript, neg bool, args []string) {
	need(ts, neg, args, 1, "unchanged DIR")
	before, ok := ts.Value(remembered{}).(map[string]map[string]string)[args[0]]
	if !ok {
		ts.Fatalf("remember %s first", args[0])
	}
	now, err := contents(ts.MkAbs(args[0]))
	ts.Check(err)
	for path := range before {
		if now[path] != before[path] {
			ts.Fatalf("%s is gone or changed", path)
		}
	}
	for path := range now {
		if before[path] == "" {
			ts.Fatalf("%s is new", path)
		}
	}
}

func cut(ts *testscript.TestScript, neg bool, args []string) {
	need(ts, neg, args, 2, "cut FILE BYTES")
	n, err := strconv.ParseInt(args[1], 10, 64)
	ts.Check(err)
	data := []byte(ts.ReadFile(args[0]))
	if n >= int64(len(data)) {
		ts.Fatalf("%s has only %d bytes", args[0], len(data))
	}
	ts.Check(os.Truncate(ts.MkAbs(args[0]), n))
}

// falsify changes a number in the notes that a model carries: root extras of its
// JSON chunk. Layout of GLB: glTF 2.0 specification, section 4.4.
func falsify(ts *testscript.TestScript, neg bool, args []string) {
	need(ts, neg, args, 4, "falsify FROM TO PATH NUMBER")
	data := []byte(ts.ReadFile(args[0]))
	const header = 20
	if len(data) < header || string(data[:4]) != "glTF" || string(data[16:20]) != "JSON" {
		ts.Fatalf("%s is no GLB", args[0])
	}
	size := int(binary.LittleEndian.Uint32(data[12:]))
	var doc map[string]any
	ts.Check(json.Unmarshal(data[header:header+size], &doc))
	number, err := strconv.ParseFloat(args[3], 64)
	ts.Check(err)
	way, last := args[2], ""
	if i := strings.LastIndexByte(way, '.'); i >= 0 {
		way, last = way[:i], way[i+1:]
	}
	holder, ok := walk(ts, args[0], doc["extras"], way).(map[string]any)
	if _, number := holder[last].(float64); !ok || !number {
		ts.Fatalf("%s is no number in the notes", args[2])
	}
	holder[last] = number
	text, err := json.Marshal(doc)
	ts.Check(err)
	for len(text)%4 != 0 {
		text = append(text, ' ')
	}
	rest := data[header+size:]
	out := binary.LittleEndian.AppendUint32(bytes.Clone(data[:8]), uint32(header+len(text)+len(rest)))
	out = binary.LittleEndian.AppendUint32(out, uint32(len(text)))
	out = slices.Concat(out, data[16:20], text, rest)
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), out, 0o644))
}
