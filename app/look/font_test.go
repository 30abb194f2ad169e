package look

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"unicode"

	"go/ast"
	"go/parser"
	"go/token"

	"fyne.io/fyne/v2"
	"golang.org/x/image/font/sfnt"
)

// Every sign that the program's own words hold (the texts of its Go files) has a
// glyph in the fonts that the window is given, so that nothing hangs on the fonts
// of the machine.
func TestFontsHoldEverySign(t *testing.T) {
	used := map[rune]string{}
	for _, dir := range []string{"../../app", "../../annotate", "../../mesh/quantity", "../../mesh/scan", "../../mesh/register", "../../mesh/change", "../../mesh/volume"} {
		err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return err
			}
			file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
			if err != nil {
				return err
			}
			ast.Inspect(file, func(n ast.Node) bool {
				lit, ok := n.(*ast.BasicLit)
				if !ok || lit.Kind != token.STRING {
					return true
				}
				s, err := strconv.Unquote(lit.Value)
				if err != nil {
					return true
				}
				for _, r := range s {
					if unicode.IsPrint(r) {
						used[r] = path
					}
				}
				return true
			})
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if used['−'] == "" || used['²'] == "" {
		t.Fatal("no minus or square found: nothing was read")
	}
	th := &Theme{Scale: 1}
	for _, style := range []fyne.TextStyle{{}, {Bold: true}, {Italic: true}, {Bold: true, Italic: true}, {Monospace: true}} {
		font, err := sfnt.Parse(th.Font(style).Content())
		if err != nil {
			t.Fatal(err)
		}
		var b sfnt.Buffer
		for r, path := range used {
			if i, err := font.GlyphIndex(&b, r); err != nil || i == 0 {
				t.Errorf("%+v has no glyph for %q (%U) of %s", style, r, r, path)
			}
		}
	}
}
