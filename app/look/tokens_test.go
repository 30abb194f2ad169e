package look

import (
	"image/color"
	"math"
	"testing"
)

// luminance is relative luminance as WCAG 2.2 defines it.
func luminance(c color.NRGBA) float64 {
	lin := func(v uint8) float64 {
		x := float64(v) / 255
		if x <= 0.04045 {
			return x / 12.92
		}
		return math.Pow((x+0.055)/1.055, 2.4)
	}
	return 0.2126*lin(c.R) + 0.7152*lin(c.G) + 0.0722*lin(c.B)
}

func ratio(a, b color.NRGBA) float64 {
	x, y := luminance(a), luminance(b)
	return (math.Max(x, y) + 0.05) / (math.Min(x, y) + 0.05)
}

// WCAG 2.2, 1.4.3 (text 4.5:1) and 1.4.11 (parts of controls 3:1).
func TestContrast(t *testing.T) {
	if got := ratio(rgb(0xFFFFFF), rgb(0x000000)); math.Abs(got-21) > 1e-9 {
		t.Fatalf("white on black is 21:1 by definition, got %v", got)
	}
	for name, c := range map[string]Tokens{"light": light, "dark": dark, "high contrast": contrast} {
		pairs := []struct {
			what    string
			fg, bg  color.NRGBA
			atLeast float64
		}{
			{"ink on page", c.Ink, c.Page, 4.5}, {"ink on card", c.Ink, c.Card, 4.5},
			{"ink on ground", c.Ink, c.Ground, 4.5}, {"ink on band", c.Ink, c.Band, 4.5},
			{"soft on page", c.Soft, c.Page, 4.5}, {"soft on card", c.Soft, c.Card, 4.5},
			{"edge on page", c.Edge, c.Page, 3}, {"edge on card", c.Edge, c.Card, 3},
			{"accent on page", c.Accent, c.Page, 4.5}, {"accent on band", c.Accent, c.Band, 4.5},
			{"accent text on accent", c.AccentText, c.Accent, 4.5},
			{"warning on its ground", c.Warning, c.WarningGround, 4.5},
			{"refused on its ground", c.Refused, c.RefusedGround, 4.5},
			{"accepted on card", c.Accepted, c.Card, 4.5},
			{"card on ink (chosen button)", c.Card, c.Ink, 4.5},
		}
		for _, p := range pairs {
			if got := ratio(p.fg, p.bg); got < p.atLeast {
				t.Errorf("%s: %s is %.2f:1, wanted %.1f:1", name, p.what, got, p.atLeast)
			}
		}
	}
}
