package tool

import (
	"cmp"
	"image"
	"slices"
)

// Label is words that belong to a place in the picture.
type Label struct {
	Words string
	At    Point   // the place
	Wide  float64 // of the words with their margin, pixels
	// Box is where LayLabels puts the words.
	Box image.Rectangle
}

// LayLabels puts labels of one height beside the specimen, in room: each at the
// side that its place is nearer to, in the order of their places from the top
// down, none over another. Those for which there is no room are left out; the
// others come back from the top down, left side first.
func LayLabels(labels []Label, room image.Rectangle, height, gap int) []Label {
	var out []Label
	middle := float64(room.Min.X+room.Max.X) / 2
	for _, right := range []bool{false, true} {
		var side []Label
		for _, l := range labels {
			if (l.At.X >= middle) == right {
				side = append(side, l)
			}
		}
		slices.SortStableFunc(side, func(a, b Label) int { return cmp.Compare(a.At.Y, b.At.Y) })
		if most := (room.Dy() + gap) / (height + gap); len(side) > most {
			side = side[:max(most, 0)]
		}
		// Down as far as each must, then up again from the bottom edge.
		at := room.Min.Y
		for i := range side {
			y := max(at, int(side[i].At.Y)-height/2)
			side[i].Box.Min.Y = y
			at = y + height + gap
		}
		end := room.Max.Y
		for i := len(side) - 1; i >= 0; i-- {
			y := min(side[i].Box.Min.Y, end-height)
			x := room.Min.X
			if right {
				x = room.Max.X - int(side[i].Wide)
			}
			side[i].Box = image.Rect(x, y, x+int(side[i].Wide), y+height)
			end = y - gap
		}
		out = append(out, side...)
	}
	return out
}
