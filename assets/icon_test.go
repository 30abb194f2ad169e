package assets

import (
	"image/color"
	"testing"
)

// The icon as the design describes it: stone at both sides, filled hatching in
// the gap, nothing outside the rounded tile.
func TestIcon(t *testing.T) {
	for _, size := range []int{16, 32, 48, 128, 256} {
		img := Icon(size)
		at := func(u, v float64) color.NRGBA {
			return img.NRGBAAt(int(u/32*float64(size)), int(v/32*float64(size)))
		}
		if got := at(4, 10); got != iconStone {
			t.Errorf("%d px: left of the break is %v, wanted stone", size, got)
		}
		if got := at(29, 20); got != iconStone {
			t.Errorf("%d px: right of the break is %v, wanted stone", size, got)
		}
		if got := img.NRGBAAt(0, 0); got.A > 140 {
			t.Errorf("%d px: the corner is covered (%v)", size, got)
		}
		paper, ink := 0, 0
		for v := 2; v < 30; v++ {
			for u := 13; u < 21; u++ {
				switch at(float64(u), float64(v)) {
				case iconPaper:
					paper++
				case iconInk:
					ink++
				}
			}
		}
		if paper == 0 || ink == 0 {
			t.Errorf("%d px: the gap holds %d paper and %d ink samples", size, paper, ink)
		}
	}
}
