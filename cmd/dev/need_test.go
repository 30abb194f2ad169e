package main

import (
	"context"
	"encoding/json"
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// TestWindowHeaders compares the list of C libraries with what the window
// toolkit's own build lines ask the linker and pkg-config for, so that a newer
// toolkit with one more library is seen before a fresh machine finds it.
// Source: the #cgo lines of the modules themselves, as go list reports them.
func TestWindowHeaders(t *testing.T) {
	out, err := program{house: repository(t), env: []string{"CGO_ENABLED=1", "GOOS=linux"}}.output(t.Context(),
		"go", "list", "-deps", "-json=ImportPath,CgoLDFLAGS,CgoPkgConfig", toolkitApp)
	if err != nil {
		t.Fatal(err)
	}
	// Part of the C library itself, which libc6-dev brings.
	known := []string{"m", "dl", "rt", "pthread", "resolv"}
	var packages []string
	for _, h := range windowHeaders() {
		known = append(known, h.link)
		packages = append(packages, h.pkg)
	}
	asked := map[string]bool{}
	for d := json.NewDecoder(strings.NewReader(out)); ; {
		var pkg struct {
			ImportPath               string
			CgoLDFLAGS, CgoPkgConfig []string
		}
		if err := d.Decode(&pkg); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		for _, flag := range pkg.CgoLDFLAGS {
			if library, ok := strings.CutPrefix(flag, "-l"); ok {
				asked[library] = true
				if !slices.Contains(known, library) {
					t.Errorf("%s links lib%s, which no package of the list brings", pkg.ImportPath, library)
				}
			}
		}
		for _, name := range pkg.CgoPkgConfig {
			if name != "gl" || !slices.Contains(packages, "libgl-dev") {
				t.Errorf("%s asks pkg-config for %s, which no package of the list brings", pkg.ImportPath, name)
			}
		}
	}
	for _, h := range windowHeaders() {
		if !asked[h.link] {
			t.Errorf("%s is installed for lib%s, which nothing links", h.pkg, h.link)
		}
	}
}

// TestProgramsAreNeeds finds every outside program that a test or the program
// itself starts by name and looks for it in the lists of needs: one that is on
// this machine by chance would be missing on the next.
func TestProgramsAreNeeds(t *testing.T) {
	h := repository(t)
	known := []string{"go", "git"} // the two that a machine must have
	for _, n := range append(testNeeds(), screenNeeds()...) {
		known = append(known, n.what)
	}
	starts := []string{"Command", "CommandContext", "LookPath"}
	files := token.NewFileSet()
	err := eachGoFile(h.root, func(rel string) error {
		if strings.HasPrefix(rel, "cmd/dev/") {
			return nil // it looks before it starts anything
		}
		parsed, err := parser.ParseFile(files, filepath.Join(h.root, filepath.FromSlash(rel)), nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		ast.Inspect(parsed, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			f, ok := call.Fun.(*ast.SelectorExpr)
			if !ok || !slices.Contains(starts, f.Sel.Name) {
				return true
			}
			if from, ok := f.X.(*ast.Ident); !ok || from.Name != "exec" {
				return true
			}
			program := 0
			if f.Sel.Name == "CommandContext" {
				program = 1
			}
			// A name that is not written out here is not seen.
			literal, ok := call.Args[program].(*ast.BasicLit)
			if !ok {
				return true
			}
			name, err := strconv.Unquote(literal.Value)
			if err == nil && !slices.Contains(known, name) {
				t.Errorf("%s:%d starts %q, which no list of needs holds", rel, files.Position(call.Pos()).Line, name)
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// TestBring tries the installer on machines that are made up: it says what and
// why before it installs, never asks, and goes on where it cannot install.
func TestBring(t *testing.T) {
	const update = "env DEBIAN_FRONTEND=noninteractive apt-get -qq -y update"
	const install = "env DEBIAN_FRONTEND=noninteractive apt-get -qq -y install --no-install-recommends libtarn-dev"
	for _, row := range []struct {
		name  string
		root  bool
		has   []string
		there bool // before anything is installed
		lines []string
		still bool
		says  string
	}{
		{"nothing missing", true, []string{"apt-get"}, true, nil, false, ""},
		{"root on Debian", true, []string{"apt-get"}, false, []string{update, install}, false, "Installing with apt-get: libtarn-dev"},
		{"person on Debian", false, []string{"apt-get", "sudo"}, false, []string{"sudo " + update, "sudo " + install}, false, "Installing with apt-get: libtarn-dev"},
		{"person without sudo", false, []string{"apt-get"}, false, nil, true, "apt-get install libtarn-dev"},
		{"another system", true, nil, false, nil, true, "Debian's names for what is missing: libtarn-dev"},
	} {
		t.Run(row.name, func(t *testing.T) {
			installed := row.there
			var said strings.Builder
			var lines []string
			in := installer{
				out: &said, root: row.root,
				has: func(p string) bool { return slices.Contains(row.has, p) },
				run: func(_ context.Context, name string, args ...string) error {
					// What and why come before the first command.
					if !strings.Contains(said.String(), "for the tarn") {
						t.Error("a command ran before the reason was given")
					}
					line := strings.Join(append([]string{name}, args...), " ")
					lines = append(lines, strings.Replace(line, "sudo -n ", "sudo ", 1))
					installed = installed || strings.Contains(line, "install ")
					return nil
				},
			}
			needs := []need{{"tarn.h", "for the tarn", []string{"libtarn-dev"}, func(context.Context) bool { return installed }}}
			still := in.bring(t.Context(), needs)
			if !slices.Equal(lines, row.lines) {
				t.Errorf("ran %q, want %q", lines, row.lines)
			}
			if (len(still) > 0) != row.still {
				t.Errorf("still missing: %v, want %v", len(still) > 0, row.still)
			}
			if !strings.Contains(said.String(), row.says) || row.says == "" && said.Len() > 0 {
				t.Errorf("said %q, want %q in it", said.String(), row.says)
			}
		})
	}
}

// TestMissingFailsUnderCI: a skipped check must not look like a passed one.
func TestMissingFailsUnderCI(t *testing.T) {
	lack := []need{{what: "tarn.h", packages: []string{"libtarn-dev"}}}
	for _, row := range []struct {
		ci   string
		lack []need
		fail bool
	}{{"true", lack, true}, {"true", nil, false}, {"", lack, false}} {
		t.Setenv("CI", row.ci)
		if err := mustHave(row.lack); (err != nil) != row.fail {
			t.Errorf("CI=%q, %d missing: error %v", row.ci, len(row.lack), err)
		}
	}
}

// TestPackages: each once, in the order in which they were needed.
func TestPackages(t *testing.T) {
	got := packagesOf(testNeeds())
	want := []string{"xvfb", "xdotool", "poppler-utils", "qpdf", "nodejs", "npm"}
	if !slices.Equal(got, want) {
		t.Errorf("packages of the tests: %q, want %q", got, want)
	}
}
