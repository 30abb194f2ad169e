package terms

import "image/color"

// Colours that belong to no single word and are the same in light and dark.
var (
	Outline   = hex("#1A1714") // round every region, 1.5 px
	Stone     = hex(stone)     // original surface in the map; below overlays on the shelf
	White     = hex("#FFFFFF") // halo and casing
	Unchanged = hex("#B6B3AE") // change below the smallest that can be shown
	// Contour is the colour of thickness lines in what was removed; AddedRim
	// that of the thick edge round what was added.
	Contour  = hex("#12263A")
	AddedRim = hex("#4A2200")
	// BackFace is the warning tint on the inside of an open surface.
	BackFace = hex("#C9A9A0")
)

// Flat returns the colour of a swatch at (u, v) mm, on a tile of TileMM:
// paper and ink for a substance, ink and halo on stone for an overlay.
func (l *Look) Flat(u, v float64) color.RGBA {
	ink, halo := l.Cover(u, v)
	switch {
	case ink:
		return l.Ink
	case halo:
		return White
	case l.Paper.A == 0:
		return Stone
	}
	return l.Paper
}
