package terms

import "image/color"

// LineLook is how a line is drawn on the specimen: mm on the surface, with a
// white casing. On screen the casing is never under 1 px, the line never under
// 1.5 px. The stitch is the fit: fewer stitches, looser fit.
type LineLook struct {
	Kind     string // in words
	Ink      color.RGBA
	WidthMM  float64
	CasingMM float64
	DashMM   []float64 // drawn and left out in turn from the start; nil for solid. A drawn length of 0 is a dot
	DotMM    float64   // across, for dots
	TickMM   float64   // length of the stitch across the line; 0 for none
	TickAtMM float64   // from stitch to stitch; 0 with dashes: one in the middle of each dash
	GapMM    float64   // between the middles of two parallel lines; 0 for one line
	EndMM    float64   // ring at each end, across; 0 for none
	Through  bool      // seen through the specimen
}

var joinInk = hex("#00466E")

// JoinLook returns how a join of the given fit is drawn; unknown fits are drawn
// as the loosest.
func JoinLook(fit string) LineLook {
	switch fit {
	case "close":
		return LineLook{Kind: "solid line with stitches", Ink: joinInk, WidthMM: 0.84, CasingMM: 0.5, TickMM: 3.8, TickAtMM: 8}
	case "part":
		return LineLook{Kind: "dashes with a stitch each", Ink: joinInk, WidthMM: 0.84, CasingMM: 0.5, DashMM: []float64{5, 3}, TickMM: 3.8}
	}
	return LineLook{Kind: "dots", Ink: joinInk, WidthMM: 0.84, CasingMM: 0.5, DashMM: []float64{0, 3.2}, DotMM: 1.5}
}

// LineLookOf returns how a line of the given kind and fit is drawn.
func LineLookOf(kind, fit string) LineLook {
	switch kind {
	case "contact_lost":
		return LineLook{Kind: "two parallel lines", Ink: hex("#7A3600"), WidthMM: 0.35, CasingMM: 0.5, GapMM: 1.2}
	case "pin":
		return LineLook{
			Kind: "dash, dot, dash with a ring at each end", Ink: hex("#000000"), WidthMM: 0.5, CasingMM: 0.4,
			DashMM: []float64{4, 1, 0, 1}, DotMM: 0.8, EndMM: 2, Through: true,
		}
	}
	return JoinLook(fit)
}

var lines = []Term{
	{ID: "join", Label: "Join", Definition: "Two broken faces brought together and glued. It has a length, no area.", Source: Common},
	{ID: "contact_lost", Label: "Contact lost", Definition: "Edge where pieces belong together without touching.", Source: Common},
	{ID: "pin", Label: "Pin", Definition: "Rod or dowel inside the specimen that crosses a join, known from an X-ray or from notes.", Source: Common},
}

var fits = []Term{
	{ID: "close", Label: "Close fit", Definition: "The broken faces meet along the whole join.", Source: Own},
	{ID: "part", Label: "Part fit", Definition: "The broken faces meet along part of the join; the rest is worn or gone.", Source: Own},
	{ID: "placed", Label: "Placed", Definition: "Put where it is thought to belong; no broken faces meet. Do not measure across it.", Source: Own},
}
