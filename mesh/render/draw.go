package render

import (
	"image"
	"image/color"
	"math"
	"strconv"
)

// Fill paints a rectangle.
func Fill(dst *image.RGBA, r image.Rectangle, c color.RGBA) {
	r = r.Intersect(dst.Rect)
	for y := r.Min.Y; y < r.Max.Y; y++ {
		row := dst.Pix[dst.PixOffset(r.Min.X, y):][:4*r.Dx()]
		for i := 0; i < len(row); i += 4 {
			row[i], row[i+1], row[i+2], row[i+3] = c.R, c.G, c.B, c.A
		}
	}
}

// Outline draws the inner edge of a rectangle, so many pixels wide.
func Outline(dst *image.RGBA, r image.Rectangle, width int, c color.RGBA) {
	Fill(dst, image.Rect(r.Min.X, r.Min.Y, r.Max.X, r.Min.Y+width), c)
	Fill(dst, image.Rect(r.Min.X, r.Max.Y-width, r.Max.X, r.Max.Y), c)
	Fill(dst, image.Rect(r.Min.X, r.Min.Y, r.Min.X+width, r.Max.Y), c)
	Fill(dst, image.Rect(r.Max.X-width, r.Min.Y, r.Max.X, r.Max.Y), c)
}

// Segment draws a straight line with round ends; of no length it is a disc.
func Segment(dst *image.RGBA, x0, y0, x1, y1, width float64, c color.RGBA) {
	r := width / 2
	dx, dy := x1-x0, y1-y0
	l2 := dx*dx + dy*dy
	box := image.Rect(int(clampPx(min(x0, x1)-r))-1, int(clampPx(min(y0, y1)-r))-1,
		int(clampPx(max(x0, x1)+r))+2, int(clampPx(max(y0, y1)+r))+2).Intersect(dst.Rect)
	for y := box.Min.Y; y < box.Max.Y; y++ {
		for x := box.Min.X; x < box.Max.X; x++ {
			px, py := float64(x)+0.5-x0, float64(y)+0.5-y0
			t := 0.0
			if l2 > 0 {
				t = min(max((px*dx+py*dy)/l2, 0), 1)
			}
			blend(dst, x, y, c, r+0.5-math.Hypot(px-t*dx, py-t*dy))
		}
	}
}

// Circle draws a circle line of the given radius and width.
func Circle(dst *image.RGBA, cx, cy, radius, width float64, c color.RGBA) {
	reach := clampPx(radius + width)
	box := image.Rect(int(clampPx(cx)-reach)-1, int(clampPx(cy)-reach)-1, int(clampPx(cx)+reach)+2, int(clampPx(cy)+reach)+2).Intersect(dst.Rect)
	for y := box.Min.Y; y < box.Max.Y; y++ {
		for x := box.Min.X; x < box.Max.X; x++ {
			d := math.Hypot(float64(x)+0.5-cx, float64(y)+0.5-cy)
			blend(dst, x, y, c, width/2+0.5-math.Abs(d-radius))
		}
	}
}

// BarLength is the longest of 1, 2, 5, 10, 20, 50 … mm that takes at most so
// many pixels.
func BarLength(pixelsPerMM, maxPixels float64) float64 {
	if !(pixelsPerMM > 0) || !(maxPixels > 0) || math.IsInf(pixelsPerMM, 0) || math.IsInf(maxPixels, 0) {
		return 0
	}
	most := maxPixels / pixelsPerMM
	ten := math.Pow(10, math.Floor(math.Log10(most)))
	for _, k := range []float64{5, 2} {
		if k*ten <= most {
			return k * ten
		}
	}
	return ten
}

// BarText is the length of a scale bar in words, with a no-break space.
func BarText(mm float64) string {
	return strconv.FormatFloat(mm, 'g', 6, 64) + "\u00a0mm"
}

// ScaleBar draws a bar of so many mm with its left end at (x, y), the first
// half filled, and its length written above the middle. It returns the room it
// took.
func ScaleBar(dst *image.RGBA, x, y, mm, pixelsPerMM float64, text TextStyle, paper color.RGBA) image.Rectangle {
	length := int(math.Round(mm * pixelsPerMM))
	height := max(int(math.Round(text.Size/2.4)), 4)
	line := max(int(math.Round(text.Size/12)), 1)
	bar := image.Rect(int(x), int(y)-height, int(x)+length, int(y))
	Fill(dst, bar, paper)
	Outline(dst, bar, line, text.Colour)
	half := bar
	half.Max.X = bar.Min.X + length/2
	Fill(dst, half, text.Colour)
	words := BarText(mm)
	w := text.Width(words)
	base := float64(bar.Min.Y) - text.Size*0.4
	left := x + (float64(length)-w)/2
	text.Draw(dst, left, base, words)
	return image.Rect(min(bar.Min.X, int(left)), int(base-text.Size), max(bar.Max.X, int(left+w)+1), bar.Max.Y)
}
