package picture

import (
	"image"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/annotate/terms"
	"rigatino/mesh/render"
)

// Entry is one line of a legend.
type Entry struct {
	List  terms.List
	ID    string
	Words string // label, or label and value
}

// Used lists the words that a map shows, in their order: substances, then
// applied, then condition. "Not examined" is among them where a face is.
func Used(labels *facemap.Map, regions []annotate.Region) []Entry {
	present := map[terms.List]map[string]bool{terms.Substance: {}, terms.Applied: {}, terms.Condition: {}}
	kinds := map[uint16]annotate.Region{}
	for _, r := range regions {
		kinds[r.Number] = r
	}
	seen := map[uint16]bool{}
	for _, n := range labels.Labels() {
		seen[n] = true
	}
	for _, f := range labels.SplitFaces() {
		for _, n := range labels.Sub(f).Substance {
			seen[n] = true
		}
	}
	for _, o := range labels.OverlayRegions() {
		seen[o.Number] = true
	}
	for n := range seen {
		r, ok := kinds[n]
		if !ok {
			present[terms.Substance]["unassigned"] = true
			continue
		}
		if list := present[terms.List(r.Layer)]; list != nil {
			list[r.Kind] = true
		}
	}
	var out []Entry
	for _, list := range []terms.List{terms.Substance, terms.Applied, terms.Condition} {
		for _, t := range terms.All(list) {
			if present[list][t.ID] {
				out = append(out, Entry{list, t.ID, t.Label})
			}
		}
	}
	return out
}

// WithLegend puts a legend below a picture: swatches in columns, and how long
// the side of a hatch tile is.
func WithLegend(picture *image.RGBA, entries []Entry, tileMM, textPixels float64) *image.RGBA {
	text := render.TextStyle{Size: textPixels, Colour: terms.Outline}
	pad := int(textPixels)
	swatchW, swatchH := int(5*textPixels), int(1.8*textPixels)
	tile := "Hatch repeats every " + render.BarText(tileMM)
	widest := text.Width(tile)
	for _, e := range entries {
		widest = max(widest, text.Width(e.Words)+float64(swatchW+pad))
	}
	w := picture.Rect.Dx()
	columnW := int(widest) + 2*pad
	columns := max(1, (w-pad)/columnW)
	rows := (len(entries) + columns - 1) / columns
	rowH := swatchH + pad/2
	high := rows*rowH + 2*pad + int(1.4*textPixels)
	out := image.NewRGBA(image.Rect(0, 0, w, picture.Rect.Dy()+high))
	render.Fill(out, out.Rect, terms.White)
	for y := range picture.Rect.Dy() {
		copy(out.Pix[out.PixOffset(0, y):][:4*w], picture.Pix[picture.PixOffset(picture.Rect.Min.X, picture.Rect.Min.Y+y):])
	}
	top := picture.Rect.Dy() + pad
	for i, e := range entries {
		// Down the columns, so that the order reads top to bottom.
		x, y := pad+i/rows*columnW, top+i%rows*rowH
		box := image.Rect(x, y, x+swatchW, y+swatchH)
		if t, ok := terms.Get(e.List, e.ID); ok && t.Look != nil {
			below, over := t.Look, (*terms.Look)(nil)
			if e.List != terms.Substance {
				below, over = nil, t.Look
			}
			swatch := terms.Swatch(below, over, swatchW, swatchH, textPixels*0.5, terms.TileMM)
			for j := range swatchH {
				copy(out.Pix[out.PixOffset(x, y+j):], swatch.Pix[swatch.PixOffset(0, j):][:4*swatchW])
			}
		}
		render.Outline(out, box, max(1, pad/12), terms.Outline)
		text.Draw(out, float64(x+swatchW+pad/2), float64(y)+float64(swatchH)/2+textPixels*0.35, e.Words)
	}
	text.Draw(out, float64(pad), float64(top+rows*rowH)+textPixels, tile)
	return out
}
