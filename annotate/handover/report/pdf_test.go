package report

import (
	"reflect"
	"testing"
)

// Bold words keep the sign that touches them; a no-break space holds a number
// and its unit together (ISO 80000-1, 7.1.4 asks for a space, we ask that it
// does not break).
func TestWords(t *testing.T) {
	for _, row := range []struct {
		text string
		want []word
	}{
		{"press **Done**. then", []word{{"press", false, false}, {"Done", true, false}, {".", false, true}, {"then", false, false}}},
		{"**all bold** plain", []word{{"all", true, false}, {"bold", true, false}, {"plain", false, false}}},
		{"7.4\u00a0% of", []word{{"7.4\u00a0%", false, false}, {"of", false, false}}},
		{"(**x**)", []word{{"(", false, false}, {"x", true, true}, {")", false, true}}},
	} {
		if got := words(row.text); !reflect.DeepEqual(got, row.want) {
			t.Errorf("%q: got %v, wanted %v", row.text, got, row.want)
		}
	}
}

// Nothing may run over the edge of its column, whatever a name looks like.
func TestLinesFit(t *testing.T) {
	p := newPaper(document{title: "t"})
	p.page()
	long := "SHA-256 7c1e40b952d37c1e40b952d37c1e40b952d37c1e40b952d37c1e40b952d37c1e40b952d37c1e and Donaudampfschifffahrtsgesellschaftskapitän"
	for _, wide := range []float64{20, 40, 170} {
		lines := p.lines(long, sizeText, wide)
		if len(lines) < 2 {
			t.Errorf("%v mm: %d lines", wide, len(lines))
		}
		for _, l := range lines {
			if w := p.lineWide(l, sizeText); w > wide+0.01 {
				t.Errorf("%v mm: a line is %.2f mm wide", wide, w)
			}
		}
	}
}
