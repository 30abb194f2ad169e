package main

import (
	"bytes"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"sort"
	"strings"
)

// topLevel is all that the repository shows at its top, beside hidden files.
var topLevel = map[string]bool{
	"cmd": true, "app": true, "mesh": true, "annotate": true, "assets": true, "testdata": true,
	"go.mod": true, "go.sum": true, "README.md": true, "DEVELOPERS.md": true,
}

// namelessRooms are package names that say nothing of what is inside.
var namelessRooms = map[string]bool{
	"util": true, "utils": true, "common": true, "helpers": true, "helper": true, "types": true, "misc": true, "base": true,
}

// longestFile is the number of lines at which a Go file should be two.
const longestFile = 600

var bareSkip = regexp.MustCompile(`\b[tb]\.(Skip\(\)|SkipNow\(\))`)

// layout returns what breaks the agreed shape of the repository.
func layout(h house, files []string) ([]string, error) {
	var found []string
	say := func(format string, args ...any) { found = append(found, fmt.Sprintf(format, args...)) }
	tops, dirs := map[string]bool{}, map[string]bool{}
	for _, rel := range files {
		top := firstElement(rel)
		if !strings.HasPrefix(top, ".") && !topLevel[top] && !tops[top] {
			tops[top] = true
			say("%s: not among what the top level holds", top)
		}
		if name := path.Base(path.Dir(rel)); namelessRooms[name] && !dirs[path.Dir(rel)] {
			dirs[path.Dir(rel)] = true
			say("%s: %q says nothing of what is inside", path.Dir(rel), name)
		}
		switch {
		case strings.HasSuffix(rel, ".go"):
			text, err := os.ReadFile(h.path(rel))
			if err != nil {
				return nil, err
			}
			if lines := bytes.Count(text, []byte("\n")); lines > longestFile {
				say("%s: %d lines, more than %d: it holds more than one thing", rel, lines, longestFile)
			}
			if strings.HasSuffix(rel, "_test.go") && bareSkip.Match(text) {
				say("%s: a test is skipped without a reason", rel)
			}
		case strings.HasSuffix(rel, ".md"):
			dead, err := deadLinks(h, rel)
			if err != nil {
				return nil, err
			}
			found = append(found, dead...)
		}
	}
	copies, err := copiesOfShared(h, files)
	return append(found, copies...), err
}

var markdownLink = regexp.MustCompile(`\]\(([^)#\s]+)[^)]*\)`)

// deadLinks returns the links of a page to files that are not there.
func deadLinks(h house, rel string) ([]string, error) {
	text, err := os.ReadFile(h.path(rel))
	if err != nil {
		return nil, err
	}
	var dead []string
	for number, line := range strings.Split(string(text), "\n") {
		for _, m := range markdownLink.FindAllStringSubmatch(line, -1) {
			if strings.Contains(m[1], ":") {
				continue // an address elsewhere
			}
			if _, err := os.Stat(h.path(path.Join(path.Dir(rel), m[1]))); err != nil {
				dead = append(dead, fmt.Sprintf("%s:%d: links to %s, which is not there", rel, number+1, m[1]))
			}
		}
	}
	return dead, nil
}

// copiesOfShared returns the files that are copies of scans or samples beside
// the repository whose licences do not let them be in it.
func copiesOfShared(h house, files []string) ([]string, error) {
	bySize := map[int64][]string{}
	for _, folder := range []string{"data", "samples/third-party"} {
		top := filepath.Join(filepath.Dir(h.root), "shared", filepath.FromSlash(folder))
		if _, err := os.Stat(top); err != nil {
			continue // nothing beside this clone to compare with
		}
		err := filepath.WalkDir(top, func(at string, entry fs.DirEntry, err error) error {
			if err != nil || entry.IsDir() {
				return err
			}
			info, err := entry.Info()
			if err == nil && info.Size() > 0 {
				bySize[info.Size()] = append(bySize[info.Size()], at)
			}
			return err
		})
		if err != nil {
			return nil, err
		}
	}
	var found []string
	for _, rel := range files {
		info, err := os.Stat(h.path(rel))
		if err != nil || info.IsDir() {
			continue
		}
		for _, other := range bySize[info.Size()] {
			ours, err := os.ReadFile(h.path(rel))
			if err != nil {
				return nil, err
			}
			theirs, err := os.ReadFile(other)
			if err != nil {
				return nil, err
			}
			if bytes.Equal(ours, theirs) {
				found = append(found, fmt.Sprintf("%s: a copy of %s, which may not be in the repository", rel, filepath.Base(other)))
			}
		}
	}
	return found, nil
}

// undocumented returns the exported names without a doc comment and the
// packages without one.
func undocumented(root string) ([]string, error) {
	var found []string
	packages := map[string]bool{} // folder: has a package comment
	files := token.NewFileSet()
	err := eachGoFile(root, func(rel string) error {
		if strings.HasSuffix(rel, "_test.go") {
			return nil
		}
		parsed, err := parser.ParseFile(files, house{root}.path(rel), nil, parser.ParseComments|parser.SkipObjectResolution)
		if err != nil {
			return fmt.Errorf("read the doc comments of %s: %w", rel, err)
		}
		dir := path.Dir(rel)
		packages[dir] = packages[dir] || parsed.Doc != nil
		for _, decl := range parsed.Decls {
			for _, name := range bareNames(decl) {
				found = append(found, fmt.Sprintf("%s:%d: %s has no doc comment", rel, files.Position(name.Pos()).Line, name.Name))
			}
		}
		return nil
	})
	for dir, has := range packages {
		if !has {
			found = append(found, dir+": the package has no doc comment")
		}
	}
	sort.Strings(found)
	return found, err
}

// bareNames returns the exported names that a declaration makes without a word.
// A comment over a group of constants or variables counts for all in it.
func bareNames(decl ast.Decl) []*ast.Ident {
	switch d := decl.(type) {
	case *ast.FuncDecl:
		if d.Doc == nil && d.Name.IsExported() && (d.Recv == nil || exportedReceiver(d.Recv)) {
			return []*ast.Ident{d.Name}
		}
	case *ast.GenDecl:
		var bare []*ast.Ident
		for _, spec := range d.Specs {
			switch s := spec.(type) {
			case *ast.TypeSpec:
				if d.Doc == nil && s.Doc == nil && s.Name.IsExported() {
					bare = append(bare, s.Name)
				}
			case *ast.ValueSpec:
				for _, name := range s.Names {
					if d.Doc == nil && s.Doc == nil && s.Comment == nil && name.IsExported() {
						bare = append(bare, name)
					}
				}
			}
		}
		return bare
	}
	return nil
}

func exportedReceiver(list *ast.FieldList) bool {
	at := list.List[0].Type
	for {
		switch t := at.(type) {
		case *ast.StarExpr:
			at = t.X
		case *ast.IndexExpr:
			at = t.X
		case *ast.Ident:
			return t.IsExported()
		default:
			return false
		}
	}
}
