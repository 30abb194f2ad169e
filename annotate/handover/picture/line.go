package picture

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate/terms"
	"rigatino/mesh/render"
)

// Line makes a line of the record drawable: kind and fit are its words, way the
// places it runs through, in the scene's frame (a join traced over the surface,
// or the two ends of a pin).
func Line(kind, fit string, way []r3.Vec) render.Line {
	l := terms.LineLookOf(kind, fit)
	return render.Line{
		Points: way, Ink: l.Ink, Casing: terms.White, WidthMM: l.WidthMM, CasingMM: l.CasingMM,
		DashMM: l.DashMM, DotMM: l.DotMM, TickMM: l.TickMM, TickAtMM: l.TickAtMM,
		GapMM: l.GapMM, EndMM: l.EndMM, Through: l.Through,
	}
}

// Change makes a scalar per vertex drawable as thickness: below zero removed,
// above zero added, not a number where the other date shows nothing. fullMM is
// where the ramps end (FullScale), tileMM the hatch tile of what is undefined.
func Change(values []float32, smallestMM, fullMM, tileMM float64) *render.Change {
	unknown, _ := terms.Get(terms.Substance, "unassigned")
	return &render.Change{
		Values: values, SmallestMM: smallestMM, FullMM: fullMM,
		Removed: (*[256]rgba)(terms.RemovedRamp()), Added: (*[256]rgba)(terms.AddedRamp()),
		Unchanged: terms.Unchanged, StepMM: StepOf(fullMM), Contour: terms.Contour, Rim: terms.AddedRim,
		Undefined: render.Look{Paper: unknown.Look.Paper, Opacity: 1, Inks: []render.Ink{InkOf(unknown.Look)}},
		TileMM:    tileMM,
	}
}

// ReadableTile is the smallest round hatch tile (1, 2, 5, 10 … mm) of which a
// step, a quarter, takes at least five pixels at the given scale, so that no
// kind fades to plain paper in that picture. It is printed in the legend.
func ReadableTile(pixelsPerMM float64) float64 {
	const pixels = 5
	for _, t := range []float64{1, 2, 5, 10, 20, 50, 100, 200} {
		if t/terms.TileMM*pixelsPerMM >= pixels {
			return t
		}
	}
	return 500
}

// FullScale is the end of the scale for changes up to mostMM: one round number
// for both signs.
func FullScale(mostMM float64) float64 {
	if !(mostMM > 0) || math.IsInf(mostMM, 0) {
		return 1
	}
	ten := math.Pow(10, math.Floor(math.Log10(mostMM)))
	for _, k := range []float64{1, 2, 3, 4, 5, 6, 8, 10} {
		if k*ten >= mostMM*(1-1e-9) {
			return k * ten
		}
	}
	return 10 * ten
}

// StepOf is the thickness from contour to contour: a round number that gives
// three to eight steps up to the end of the scale.
func StepOf(fullMM float64) float64 {
	if !(fullMM > 0) || math.IsInf(fullMM, 0) {
		return 1
	}
	ten := math.Pow(10, math.Floor(math.Log10(fullMM)))
	switch n := fullMM / ten; {
	case n < 1.5:
		return ten / 5
	case n < 3.5:
		return ten / 2
	default:
		return ten
	}
}
