package terms

import (
	"image/color"
	"math"
	"testing"
)

// What the design of the patterns states of each: share of ink on a tile
// without halo, relative luminance of the paper and contrast of the ink on it
// (for overlays: of the ink on stone), the last two by WCAG 2.
var stated = []struct {
	list                   List
	id                     string
	cover, paper, contrast float64
}{
	{Substance, "original", 0, 0.76, 0},
	{Substance, "original_abraded", 0.15, 0.76, 11.8},
	{Substance, "matrix", 0.50, 0.42, 7.2},
	{Substance, "fill", 0.31, 0.57, 8.4},
	{Substance, "reconstruction", 0.40, 0.39, 6.9},
	{Substance, "support", 0.30, 0.33, 6.3},
	{Substance, "uncertain", 0.33, 0.57, 8.4},
	{Substance, "unassigned", 0.18, 0.51, 8.0},
	{Applied, "consolidant", 0.24, 0, 5.1},
	{Applied, "adhesive_residue", 0.20, 0, 4.0},
	{Applied, "retouch", 0.36, 0, 5.3},
	{Applied, "varnish_or_barrier", 0.33, 0, 4.5},
	{Applied, "mould_residue", 0.22, 0, 6.0},
	{Applied, "label", 0.27, 0, 16.3},
	{Condition, "tool_mark", 0.19, 0, 16.3},
	{Condition, "surface_lowered", 0.14, 0, 16.3},
	{Condition, "over_prepared", 0.24, 0, 16.3},
	{Condition, "damage_ancient", 0.18, 0, 16.3},
	{Condition, "deformed", 0.21, 0, 16.3},
	{Condition, "crack", 0.12, 0, 16.3},
	{Condition, "flaking", 0.19, 0, 16.3},
	{Condition, "decay", 0.16, 0, 16.3},
	{Condition, "damage_handling", 0.17, 0, 16.3},
	{Condition, "sampled", 0.18, 0, 16.3},
	// Area of the strokes and rings, and WCAG 2 of the two papers.
	{FitFaces, "trust", (1.9*0.34 + 2*0.3*(1.4-0.34)) / 8, 0.82, 9.7},
	{FitFaces, "break", 0.22, 0.82, 9.7},
	{FitFaces, "never", (math.Pi*(1.1*1.1-0.78*0.78) + 0.36*1.56) / 8, 0.48, 7.7},
}

// onPaper says of a list that its words have a paper of their own; the others are
// ink with a halo on whatever lies below.
func onPaper(l List) bool { return l == Substance || l == FitFaces }

func TestCoverOfPatterns(t *testing.T) {
	const n = 800
	for _, s := range stated {
		look := lookOf(t, s.list, s.id)
		ink := 0
		for i := range n {
			for j := range n {
				if look.InkAt((float64(i)+0.5)*TileMM/n, (float64(j)+0.5)*TileMM/n) {
					ink++
				}
			}
		}
		if got := float64(ink) / n / n; math.Abs(got-s.cover) > 0.02 {
			t.Errorf("%s: ink on %.3f of the tile, stated %.2f", s.id, got, s.cover)
		}
	}
}

func TestPatternsRepeatOnTheTile(t *testing.T) {
	for _, s := range stated {
		look := lookOf(t, s.list, s.id)
		for i := range 97 {
			for j := range 89 {
				u, v := float64(i)*0.0417+0.0013, float64(j)*0.0453+0.0017
				here := look.InkAt(u, v)
				for _, d := range [][2]float64{{4, 0}, {0, 4}, {-8, 0}, {0, -4}, {400, -80}} {
					if look.InkAt(u+d[0], v+d[1]) != here {
						t.Fatalf("%s differs at %.3f,%.3f after %v mm", s.id, u, v, d)
					}
				}
			}
		}
	}
}

// A halo never lies on ink, is absent from substances, and is as wide as said:
// just outside a straight edge of the ruled lines it ends after 0.22 mm.
func TestHalo(t *testing.T) {
	for _, s := range stated {
		look := lookOf(t, s.list, s.id)
		halo := 0
		for i := range 60 {
			for j := range 60 {
				in, around := look.Cover(float64(i)/15, float64(j)/15)
				if in && around {
					t.Fatalf("%s: halo on ink", s.id)
				}
				if around {
					halo++
				}
			}
		}
		if (halo > 0) != !onPaper(s.list) {
			t.Errorf("%s has %d places of halo", s.id, halo)
		}
	}
	ruled := lookOf(t, Condition, "over_prepared")
	for _, r := range []struct {
		v    float64
		want bool
	}{{0.24 + 0.02, true}, {0.24 + 0.20, true}, {0.24 + 0.24, false}, {1 - 0.20, true}, {1 - 0.24, false}} {
		if _, halo := ruled.Cover(1.3, r.v); halo != r.want {
			t.Errorf("halo at v = %.2f is %v", r.v, halo)
		}
	}
}

func TestLuminanceAndContrast(t *testing.T) {
	if len(stated) != 27 {
		t.Fatalf("%d patterns", len(stated))
	}
	for _, s := range stated {
		look := lookOf(t, s.list, s.id)
		below := Stone
		if onPaper(s.list) {
			below = look.Paper
			if y := luminance(look.Paper); math.Abs(y-s.paper) > 0.006 {
				t.Errorf("%s: paper has luminance %.3f, stated %.2f", s.id, y, s.paper)
			}
		}
		if s.contrast == 0 {
			continue
		}
		if c := contrast(look.Ink, below); math.Abs(c-s.contrast) > 0.06 {
			t.Errorf("%s: contrast %.2f, stated %.1f", s.id, c, s.contrast)
		}
	}
	for _, l := range []struct {
		kind, fit    string
		stone, white float64
	}{{"join", "close", 7.7, 10.0}, {"join", "part", 7.7, 10.0}, {"join", "placed", 7.7, 10.0}, {"contact_lost", "", 6.9, 8.9}} {
		ink := LineLookOf(l.kind, l.fit).Ink
		if a, b := contrast(ink, Stone), contrast(ink, White); math.Abs(a-l.stone) > 0.06 || math.Abs(b-l.white) > 0.06 {
			t.Errorf("%s %s: %.2f on stone, %.2f on white", l.kind, l.fit, a, b)
		}
	}
}

// Papers are the colours of Okabe and Ito 35 % toward white, inks a quarter of
// them (colours as published, jfly.uni-koeln.de/color, from memory).
func TestPapersComeFromOkabeIto(t *testing.T) {
	for id, base := range map[string]string{
		"matrix": "#009E73", "fill": "#E69F00", "reconstruction": "#D55E00",
		"support": "#0072B2", "uncertain": "#56B4E9", "unassigned": "#999999",
	} {
		look, b := lookOf(t, Substance, id), hex(base)
		near := func(got uint8, want float64) bool { return math.Abs(float64(got)-want) <= 1 }
		for _, c := range [][3]uint8{{look.Paper.R, look.Ink.R, b.R}, {look.Paper.G, look.Ink.G, b.G}, {look.Paper.B, look.Ink.B, b.B}} {
			base := float64(c[2])
			if !near(c[0], base+0.35*(255-base)) || !near(c[1], base/4) {
				t.Errorf("%s: paper %v ink %v do not come from %s", id, look.Paper, look.Ink, base16(b))
				break
			}
		}
	}
}

func base16(c color.RGBA) [3]uint8 { return [3]uint8{c.R, c.G, c.B} }

// Tiles as the annotated model uses them: the largest of 1, 2, 5 and 10 mm
// that is at most a fortieth of the longest extent.
func TestTileFor(t *testing.T) {
	for _, r := range []struct{ extent, tile float64 }{{12, 1}, {79.9, 1}, {80, 2}, {199, 2}, {212, 5}, {400, 10}, {3000, 10}} {
		if got := TileFor(r.extent); got != r.tile {
			t.Errorf("%g mm: tile %g, want %g", r.extent, got, r.tile)
		}
	}
}

func lookOf(t *testing.T, list List, id string) *Look {
	t.Helper()
	w, ok := Get(list, id)
	if !ok || w.Look == nil {
		t.Fatalf("%s/%s has no look", list, id)
	}
	return w.Look
}

// luminance and contrast of WCAG 2, written apart from mesh/colour, which this
// package may not know.
func luminance(c color.RGBA) float64 {
	lin := func(b uint8) float64 {
		x := float64(b) / 255
		if x <= 0.04045 {
			return x / 12.92
		}
		return math.Pow((x+0.055)/1.055, 2.4)
	}
	return 0.2126*lin(c.R) + 0.7152*lin(c.G) + 0.0722*lin(c.B)
}

func contrast(a, b color.RGBA) float64 {
	x, y := luminance(a), luminance(b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}
