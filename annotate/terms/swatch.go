package terms

import (
	"image"
	"image/color"
)

// swatchSamples is the number of samples a side that a pixel of a swatch is
// averaged from.
const swatchSamples = 4

// Swatch paints a flat field of w by h pixels with a substance's pattern and, if
// over is not nil, an overlay's pattern on top. pixelsPerMM is the scale; tile is
// the side of the repeating tile in mm (TileMM as drawn, else all scales with
// it). Shelf, legend, report and annotated model all show this.
func Swatch(substance, over *Look, w, h int, pixelsPerMM, tile float64) *image.RGBA {
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	mm := TileMM / tile / pixelsPerMM // pattern mm a pixel
	for y := range h {
		for x := range w {
			var r, g, b int
			for s := range swatchSamples * swatchSamples {
				u := (float64(x) + (float64(s%swatchSamples)+0.5)/swatchSamples) * mm
				v := (float64(y) + (float64(s/swatchSamples)+0.5)/swatchSamples) * mm
				c := flatOver(substance, over, u, v)
				r, g, b = r+int(c.R), g+int(c.G), b+int(c.B)
			}
			const n = swatchSamples * swatchSamples
			img.SetRGBA(x, y, color.RGBA{uint8((r + n/2) / n), uint8((g + n/2) / n), uint8((b + n/2) / n), 255})
		}
	}
	return img
}

func flatOver(substance, over *Look, u, v float64) color.RGBA {
	if over != nil {
		switch ink, halo := over.Cover(u, v); {
		case ink:
			return over.Ink
		case halo:
			return White
		}
	}
	if substance == nil {
		return Stone
	}
	return substance.Flat(u, v)
}
