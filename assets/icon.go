package assets

import (
	"image"
	"image/color"
	"math"
)

// Icon draws the program's icon at a size in pixels: a stone tile, two broken
// edges, and between them the gap filled with diagonal lines.
func Icon(size int) *image.NRGBA {
	img := image.NewNRGBA(image.Rect(0, 0, size, size))
	const sub = 4
	unit := 32 / float64(size)
	fine := size > 16
	for y := range size {
		for x := range size {
			var r, g, b, a float64
			for s := range sub * sub {
				u := (float64(x) + (float64(s%sub)+0.5)/sub) * unit
				v := (float64(y) + (float64(s/sub)+0.5)/sub) * unit
				c, inside := iconAt(u, v, fine)
				if !inside {
					continue
				}
				r, g, b, a = r+float64(c.R), g+float64(c.G), b+float64(c.B), a+1
			}
			if a == 0 {
				continue
			}
			img.SetNRGBA(x, y, color.NRGBA{uint8(r/a + 0.5), uint8(g/a + 0.5), uint8(b/a + 0.5), uint8(255*a/(sub*sub) + 0.5)})
		}
	}
	return img
}

var (
	iconStone = color.NRGBA{0xE9, 0xE2, 0xD3, 0xFF}
	iconPaper = color.NRGBA{0xEF, 0xC1, 0x59, 0xFF}
	iconInk   = color.NRGBA{0x3A, 0x28, 0x00, 0xFF}

	// The two edges of the break, on a tile of 32 by 32.
	iconLeft  = [][2]float64{{14, 1}, {12, 9}, {7, 17}, {11, 23}, {9, 31}}
	iconRight = [][2]float64{{25, 1}, {23, 8}, {26, 14}, {21, 21}, {22, 31}}
)

// iconAt is the colour of the icon at a place of its 32 by 32 tile.
func iconAt(u, v float64, fine bool) (c color.NRGBA, inside bool) {
	const round = 4
	edge := roundedDistance(u, v, 0.5, 31.5, round)
	if edge > 0.5 {
		return c, false
	}
	if edge > -0.5 {
		return iconInk, true
	}
	if fine && (nearLine(u, v, iconLeft) < 0.7 || nearLine(u, v, iconRight) < 0.7) {
		return iconInk, true
	}
	if v < 1 || v > 31 || u < crossing(v, iconLeft) || u > crossing(v, iconRight) {
		return iconStone, true
	}
	pitch, half := 8.0, 1.1*math.Sqrt2
	if !fine { // three lines are all that sixteen pixels can hold
		pitch, half = 11, 2*math.Sqrt2
	}
	m := math.Mod(u+v, pitch)
	if m < half || m > pitch-half {
		return iconInk, true
	}
	return iconPaper, true
}

// roundedDistance is the signed distance to a square with round corners.
func roundedDistance(u, v, low, high, radius float64) float64 {
	half := (high - low) / 2
	mid := (high + low) / 2
	x := math.Abs(u-mid) - half + radius
	y := math.Abs(v-mid) - half + radius
	return math.Hypot(math.Max(x, 0), math.Max(y, 0)) + math.Min(math.Max(x, y), 0) - radius
}

func crossing(v float64, line [][2]float64) float64 {
	for i := 0; i+1 < len(line); i++ {
		a, b := line[i], line[i+1]
		if v >= a[1] && v <= b[1] {
			return a[0] + (b[0]-a[0])*(v-a[1])/(b[1]-a[1])
		}
	}
	return line[0][0]
}

func nearLine(u, v float64, line [][2]float64) float64 {
	best := math.Inf(1)
	for i := 0; i+1 < len(line); i++ {
		a, b := line[i], line[i+1]
		dx, dy := b[0]-a[0], b[1]-a[1]
		t := ((u-a[0])*dx + (v-a[1])*dy) / (dx*dx + dy*dy)
		t = math.Min(math.Max(t, 0), 1)
		best = math.Min(best, math.Hypot(u-a[0]-t*dx, v-a[1]-t*dy))
	}
	return best
}
