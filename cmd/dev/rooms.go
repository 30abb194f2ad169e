package main

import (
	"fmt"
	"go/parser"
	"go/token"
	"io/fs"
	"path"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
)

// A room is a package, or a folder of packages, with all that it may import
// directly beside the standard library. Data flows one way through the house,
// from scans to hand-overs, and nothing imports a later room.
type room struct {
	path  string // "mesh/bvh"; "app/..." stands for every package at and below app without a row of its own
	ours  string // packages of this module, "mesh/..." includes what lies below
	other string // modules of others, by the names in otherModules
}

// everywhere may be imported by every room that imports of ours at all: values
// with units, motions, colours and the mesh itself.
const everywhere = "mesh mesh/quantity mesh/frame mesh/colour"

// codecs read and write one file format each.
const codecs = "mesh/gltf mesh/ply mesh/obj mesh/stl"

// rooms is the plan of the house. A new edge is put here, in words with its
// reason, before it is put into code.
func rooms() []room {
	return []room{
		// What everything may import knows only of itself.
		{"mesh/quantity", "-", "gonum"},
		{"mesh/frame", "-", "gonum"},
		{"mesh/colour", "-", "gonum"},
		{"mesh", "-", "gonum"},

		// Geometry of one mesh.
		// Asks the processor whether it takes eight boxes at once.
		{"mesh/bvh", "", "gonum sys"},
		{"mesh/geodesic", "", "gonum"},
		// What a surface looks like, whatever file it came from: scan asks it when
		// it opens, a project when it proposes what to map.
		{"mesh/quality", "mesh/bvh", "gonum"},
		{"mesh/simplify", "", "gonum"},
		{"mesh/gltf", "", "gonum image"},
		// The three formats of text share how a number is read to the last bit.
		{"mesh/numeral", "-", ""},
		{"mesh/ply", "mesh/numeral", "gonum"},
		{"mesh/obj", "mesh/numeral", "gonum"},
		{"mesh/stl", "mesh/numeral", "gonum"},

		// From files to what two stages differ by.
		{"mesh/scan", codecs + " mesh/bvh mesh/quality", "gonum image"},
		{"mesh/scale", "mesh/scan", "gonum"},
		{"mesh/register", "mesh/bvh mesh/scan mesh/scale", "gonum"},
		{"mesh/change", "mesh/register mesh/scan mesh/bvh", "gonum"},
		{"mesh/volume", "mesh/change mesh/register mesh/scale mesh/bvh", "gonum"},

		// The renderer knows colours, patterns and lines, not what a fill is:
		// that keeps it usable for pictures of any stage.
		{"mesh/render", "mesh/bvh mesh/simplify", "gonum image"},

		// The record and what rests on it.
		{"annotate/terms", "-", ""},
		{"annotate", "annotate/terms", "gonum"},
		{"annotate/facemap", "annotate mesh/bvh mesh/geodesic", "gonum"},
		{"annotate/history", "annotate annotate/facemap", ""},
		// Proposals compare the colours of closest places and use the record's words.
		{"annotate/propose", "annotate annotate/terms annotate/facemap mesh/change mesh/volume mesh/bvh", "gonum"},
		{"annotate/tally", "annotate annotate/facemap mesh/volume mesh/geodesic mesh/render", "gonum"},
		{"annotate/reliance", "annotate annotate/facemap annotate/tally mesh/geodesic mesh/volume", "gonum"},
		// A project does the jobs that window and commands share (add, align,
		// compare, propose, map, tally), so it reaches what they rest on.
		{"annotate/project", "annotate annotate/terms annotate/facemap annotate/history annotate/propose annotate/tally " +
			"mesh/quality mesh/scan mesh/scale mesh/register mesh/change mesh/volume", "gonum"},

		// What leaves the house. Only the report knows PDF.
		// The package as a whole is put together in annotate/handover from the
		// files that its rooms make.
		{"annotate/handover", forHandover + " annotate/handover/... mesh/change", "gonum image"},
		{"annotate/handover/...", forHandover, "gonum image"},
		{"annotate/handover/report", forHandover, "gonum image pdf"},

		{"assets", "-", ""},
		{"assets/demo", "mesh/... annotate annotate/facemap annotate/project annotate/tally", "gonum"},

		// The window. What can be tested without a toolkit holds none.
		{"app/session", "mesh/... annotate/...", "gonum"},
		{"app/job", "mesh/... annotate/...", "gonum"},
		{"app/tool", "mesh/... annotate/...", "gonum"},
		{"app/...", "app/... mesh/render annotate annotate/terms assets", "gonum image fyne"},

		{"cmd/rigatino", "mesh/... annotate/... app/... assets/...", "gonum image kong fyne"},
		{"cmd/dev", "-", ""},

		// Fixtures: only tests and the demo's maker import them. Those in
		// testdata lay known layers on scans and judge by them what reads scans.
		{"mesh/solid/...", "mesh/solid/...", "gonum"},
		{"testdata/...", "mesh/...", "gonum"},
	}
}

const forHandover = "annotate annotate/terms annotate/facemap annotate/tally annotate/reliance annotate/project " +
	"mesh/render mesh/simplify " + codecs + " assets"

// forTests is what the tests of every room but cmd/dev may import besides what
// the room may: fixtures, and the way in for scans.
const forTests = "mesh/solid/... testdata/... mesh/scan " + codecs

// otherModules names the modules of others as the table above does.
var otherModules = map[string][]string{
	"fyne":  {"fyne.io/fyne/v2"},
	"gonum": {"gonum.org/v1/gonum"},
	"pdf":   {"codeberg.org/go-pdf/fpdf"},
	"kong":  {"github.com/alecthomas/kong"},
	"image": {"golang.org/x/image"},
	"sys":   {"golang.org/x/sys"},
	"tests": {
		"github.com/google/go-cmp", "pgregory.net/rapid",
		"github.com/rogpeppe/go-internal", "github.com/santhosh-tekuri/jsonschema/v6",
	},
}

// Two imports are bound to one file each. The toolkit's app package brings its C
// part, so whatever imports it cannot be built or tested without a C compiler;
// the headless build leaves that one file out.
const (
	toolkitApp  = "fyne.io/fyne/v2/app"
	windowFile  = "cmd/rigatino/window.go"
	windowRooms = "app"
)

// An edge is one import as a file states it.
type edge struct {
	file string // inside the repository, with slashes
	line int
	to   string
}

func (e edge) test() bool { return strings.HasSuffix(e.file, "_test.go") }

// edges reads the imports of every Go file below root, whatever its build tags.
func edges(root string) ([]edge, error) {
	var all []edge
	files := token.NewFileSet()
	err := eachGoFile(root, func(rel string) error {
		parsed, err := parser.ParseFile(files, filepath.Join(root, filepath.FromSlash(rel)), nil, parser.ImportsOnly)
		if err != nil {
			return fmt.Errorf("read the imports of %s: %w", rel, err)
		}
		for _, spec := range parsed.Imports {
			to, err := strconv.Unquote(spec.Path.Value)
			if err != nil {
				return fmt.Errorf("read the imports of %s: %w", rel, err)
			}
			all = append(all, edge{rel, files.Position(spec.Pos()).Line, to})
		}
		return nil
	})
	return all, err
}

// eachGoFile calls visit with every Go file of the repository, as a path with
// slashes; hidden folders, node_modules and a package's own testdata are left out.
func eachGoFile(root string, visit func(rel string) error) error {
	return filepath.WalkDir(root, func(at string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, at)
		if err != nil {
			return err
		}
		rel = filepath.ToSlash(rel)
		name := entry.Name()
		if entry.IsDir() {
			hidden := strings.HasPrefix(name, ".") && rel != "."
			if hidden || name == "node_modules" || name == "bin" || name == "testdata" && rel != "testdata" {
				return filepath.SkipDir
			}
			return nil
		}
		if strings.HasSuffix(name, ".go") {
			return visit(rel)
		}
		return nil
	})
}

// broken returns, in words, every import that the plan does not allow.
func broken(all []edge) []string {
	var problems []string
	for _, e := range all {
		if reason := forbidden(e); reason != "" {
			problems = append(problems, fmt.Sprintf("%s:%d: imports %s: %s", e.file, e.line, e.to, reason))
		}
	}
	sort.Strings(problems)
	return problems
}

// forbidden says why an import is not allowed, "" when it is.
func forbidden(e edge) string {
	from := path.Dir(e.file)
	r, ok := roomOf(from)
	if !ok {
		return from + " has no row in the plan of the house (cmd/dev/rooms.go)"
	}
	if e.to == toolkitApp && e.file != windowFile {
		return "only " + windowFile + " may, so that everything else is built and tested without a C compiler"
	}
	if !strings.Contains(firstElement(e.to), ".") {
		if own, ours := strings.CutPrefix(e.to, modulePath+"/"); ours {
			return forbiddenOurs(e, from, r, own)
		}
		return "" // the standard library
	}
	return forbiddenOther(e, r)
}

func forbiddenOurs(e edge, from string, r room, to string) string {
	if from == "cmd/rigatino" && within(to, windowRooms+"/...") && !headless(to) && e.file != windowFile && !e.test() {
		return "only " + windowFile + " may, so that the headless build holds no window"
	}
	if to == from && e.test() {
		return "" // a test from outside its package
	}
	allowed := r.ours
	if allowed != "-" {
		allowed += " " + everywhere
	}
	if e.test() && r.path != "cmd/dev" || from == "assets/demo" {
		allowed += " " + forTests
	}
	for _, pattern := range strings.Fields(allowed) {
		if within(to, pattern) && (!fixture(to) || e.test() || from == "assets/demo" || fixture(from)) {
			return ""
		}
	}
	if fixture(to) {
		return "a fixture, for tests and the demo's maker only"
	}
	if r.ours == "-" {
		return from + " may import nothing of ours"
	}
	return from + " may import of ours only: " + strings.Join(strings.Fields(r.ours+" "+everywhere), " ")
}

func forbiddenOther(e edge, r room) string {
	allowed := strings.Fields(r.other)
	if e.test() && r.path != "cmd/dev" {
		allowed = append(allowed, "tests")
	}
	if within(path.Dir(e.file), "testdata/...") {
		allowed = append(allowed, "tests")
	}
	for _, name := range allowed {
		for _, module := range otherModules[name] {
			if within(e.to, module+"/...") {
				if name == "fyne" && r.path == "cmd/rigatino" && e.file != windowFile && !e.test() {
					return "only " + windowFile + " may, so that the headless build holds no window"
				}
				return ""
			}
		}
	}
	if len(allowed) == 0 {
		return path.Dir(e.file) + " may import the standard library only"
	}
	return path.Dir(e.file) + " may import of others only: " + strings.Join(allowed, " ")
}

// fixture says whether a package exists for tests and the demo only.
func fixture(p string) bool { return within(p, "mesh/solid/...") || within(p, "testdata/...") }

// headless says whether a room of the window holds no toolkit.
func headless(p string) bool {
	return p == "app/session" || p == "app/job" || p == "app/tool"
}

// roomOf finds a package's row: its own, else the nearest "/..." above it.
func roomOf(p string) (room, bool) {
	var best room
	found := false
	for _, r := range rooms() {
		if r.path == p {
			return r, true
		}
		if within(p, r.path) && len(r.path) > len(best.path) {
			best, found = r, true
		}
	}
	return best, found
}

// within says whether a path is named by a pattern: the same path, or with
// "/..." at its end that path and all below.
func within(p, pattern string) bool {
	base, below := strings.CutSuffix(pattern, "/...")
	return p == base || below && strings.HasPrefix(p, base+"/")
}

func firstElement(importPath string) string {
	first, _, _ := strings.Cut(importPath, "/")
	return first
}
