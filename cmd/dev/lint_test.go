package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// clone lays out files in an empty folder that stands for a repository.
func clone(t *testing.T, files map[string]string) (house, []string) {
	t.Helper()
	h := house{filepath.Join(t.TempDir(), "clone")}
	var names []string
	for name, text := range files {
		if err := os.MkdirAll(filepath.Dir(h.path(name)), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(h.path(name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		names = append(names, name)
	}
	return h, names
}

// expect compares what a rule found with the pieces of text it must name, one a
// find; no piece means that nothing may be found.
func expect(t *testing.T, found []string, err error, want ...string) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	if len(found) != len(want) {
		t.Errorf("found %d, want %d: %q", len(found), len(want), found)
	}
	for _, piece := range want {
		if !strings.Contains(strings.Join(found, "\n"), piece) {
			t.Errorf("not found: %q in %q", piece, found)
		}
	}
}

// TestRepositoryRules holds the repository itself against the rules that need
// no tool: lint and test run them too, this finds a slip while one package is tested.
func TestRepositoryRules(t *testing.T) {
	h := repository(t)
	files, err := trackedFiles(t.Context(), h)
	if err != nil {
		t.Fatal(err)
	}
	found, err := unwanted(h, files, forbiddenWords(t.Context(), h))
	expect(t, found, err)
	found, err = layout(h, files)
	expect(t, found, err)
}

func TestUnwanted(t *testing.T) {
	home := "/ho" + "me/"
	h, files := clone(t, map[string]string{
		"a.go":     "// as in " + home + "marit/scans\n// go" + "od\n",
		"b.md":     "from the tran" + "script\nsee issue no" + ". 12\nfyne-io/fyne#428\n",
		"go.sum":   "tran" + "script\n",
		"c.bin":    "\x00tran" + "script",
		"plain.md": "the home/away of /tmp/.X11-unix/X1, issue of 2019\n",
	})
	found, err := unwanted(h, files, fixedWords())
	expect(t, found, err, "a.go:1: \""+home+"marit/\"", "b.md:1:", "b.md:2:")

	// The folder that this clone lies in, and registry hosts, are found too.
	holder := filepath.Dir(h.root)
	h, files = clone(t, map[string]string{"a.txt": "in " + holder + "/clone\n"})
	found, err = unwanted(h, files, forbiddenWords(t.Context(), house{filepath.Join(holder, "clone")}))
	expect(t, found, err, "a path of one machine")
	if hosts := hostsIn("https://one.example.org,direct\nhttps://two.example.org/npm/\n"); strings.Join(hosts, " ") != "one.example.org two.example.org" {
		t.Errorf("hosts %q", hosts)
	}
}

func TestLayout(t *testing.T) {
	skip := "t.Skip" + "()"
	h, files := clone(t, map[string]string{
		"README.md":         "[gone](pictures/none.png) [here](mesh/doc.go) [far](https://example.org/x)\n",
		"mesh/doc.go":       "// Package mesh is.\npackage mesh\n",
		"mesh/long.go":      "package mesh\n" + strings.Repeat("\n", longestFile),
		"mesh/util/x.go":    "package util\n",
		"mesh/mesh_test.go": "package mesh\nfunc TestX(t *testing.T) { " + skip + " }\n",
		"docs/page.txt":     "x",
	})
	found, err := layout(h, files)
	expect(t, found, err, "README.md:1: links to pictures/none.png", "mesh/long.go: 601 lines",
		`mesh/util: "util"`, "mesh/mesh_test.go: a test is skipped", "docs: not among")
}

func TestCopiesOfShared(t *testing.T) {
	h, files := clone(t, map[string]string{"testdata/tooth.ply": "ply of a tooth", "testdata/other.ply": "ply of a cube!"})
	beside := filepath.Join(filepath.Dir(h.root), "shared", "data", "bone")
	if err := os.MkdirAll(beside, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(beside, "scan.ply"), []byte("ply of a tooth"), 0o600); err != nil {
		t.Fatal(err)
	}
	found, err := copiesOfShared(h, files)
	expect(t, found, err, "testdata/tooth.ply: a copy of scan.ply")
}

func TestUndocumented(t *testing.T) {
	h, _ := clone(t, map[string]string{
		"mesh/a.go": "// Package mesh is.\npackage mesh\n\nfunc Bare() {}\n\n// Said does.\nfunc Said() {}\n\nfunc inside() {}\n" +
			"\n// T is.\ntype T struct{}\n\nfunc (*T) Bald() {}\n\ntype u struct{}\n\nfunc (u) Hidden() {}\n" +
			"\n// Kinds.\nconst (\n\tOne = 1\n\tTwo = 2\n)\n\nvar Loose int\n",
		"mesh/bare/b.go":     "package bare\n",
		"mesh/a_test.go":     "package mesh\n\nfunc TestBare() {}\n",
		"mesh/testdata/c.go": "package c\n\nfunc C() {}\n",
	})
	found, err := undocumented(h.root)
	expect(t, found, err, "a.go:4: Bare", "a.go:14: Bald", "Loose", "mesh/bare: the package")
}

func TestUnformatted(t *testing.T) {
	h, _ := clone(t, map[string]string{"mesh/a.go": "package mesh\n", "mesh/b.go": "package  mesh\n"})
	found, err := unformatted(h.root)
	expect(t, found, err, "mesh/b.go")
	h, _ = clone(t, map[string]string{"mesh/a.go": "package mesh\nfunc {\n"})
	if _, err := unformatted(h.root); err == nil || !strings.Contains(err.Error(), "mesh/a.go") {
		t.Errorf("a file that is no Go: %v", err)
	}
}
