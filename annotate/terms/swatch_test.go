package terms

import "testing"

// A swatch of whole tiles holds as much ink as the pattern's cover, which is
// counted on the formula itself, and repeats without a break.
func TestSwatchRepeatsAndCovers(t *testing.T) {
	fill, _ := Get(Substance, "fill")
	img := Swatch(fill.Look, nil, 128, 128, 16, TileMM)
	ink := 0
	for y := range 128 {
		for x := range 128 {
			if img.RGBAAt(x, y) != img.RGBAAt((x+64)%128, y) {
				t.Fatalf("the tile does not repeat at %d, %d", x, y)
			}
			if img.RGBAAt(x, y) == fill.Look.Ink {
				ink++
			}
		}
	}
	// diagonal lines m(u+v,2) < .62 cover 0.31; pixels cut by an edge are mixed.
	if share := float64(ink) / (128 * 128); share < 0.22 || share > 0.32 {
		t.Errorf("pure ink covers %.2f of the swatch, the formula 0.31 with its edges", share)
	}
	half := Swatch(fill.Look, nil, 64, 64, 16, TileMM/2)
	if half.RGBAAt(3, 5) != half.RGBAAt(3+32, 5) {
		t.Error("a tile of half the size does not repeat at half the distance")
	}
}
