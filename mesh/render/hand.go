package render

import (
	"image"
	"image/color"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Shows says whether a place of the scene is in the picture and not behind the
// surface there by more than slackMM.
func (f *Frame) Shows(p r3.Vec, slackMM float64) bool {
	if !f.ready {
		return false
	}
	x, y, depth, ok := f.scene.Camera.Project(p, f.w, f.h)
	if !ok || !(x >= 0 && y >= 0 && x < float64(f.w) && y < float64(f.h)) {
		return false
	}
	q, ok := f.pointAt(int(x), int(y))
	if !ok {
		return true // over the background: beside the specimen, not behind it
	}
	_, _, surface, _ := f.scene.Camera.Project(q, f.w, f.h)
	return depth <= surface+slackMM
}

// Dot draws a full round dot; x, y and radius are pixels.
func Dot(dst *image.RGBA, x, y, radius float64, c color.RGBA) { Stretch(dst, x, y, x, y, 2*radius, c) }

// Stretch draws a straight line with round ends over a picture; everything is
// in pixels.
func Stretch(dst *image.RGBA, x0, y0, x1, y1, width float64, c color.RGBA) {
	x0, y0, x1, y1 = clampPx(x0), clampPx(y0), clampPx(x1), clampPx(y1)
	r := width/2 + 1
	box := image.Rect(int(math.Floor(min(x0, x1)-r)), int(math.Floor(min(y0, y1)-r)),
		int(math.Ceil(max(x0, x1)+r)), int(math.Ceil(max(y0, y1)+r))).Intersect(dst.Rect)
	dx, dy := x1-x0, y1-y0
	l2 := dx*dx + dy*dy
	for y := box.Min.Y; y < box.Max.Y; y++ {
		for x := box.Min.X; x < box.Max.X; x++ {
			qx, qy := float64(x)+0.5-x0, float64(y)+0.5-y0
			t := 0.0
			if l2 > 0 {
				t = min(max((qx*dx+qy*dy)/l2, 0), 1)
			}
			blend(dst, x, y, c, width/2-math.Hypot(qx-t*dx, qy-t*dy)+0.5)
		}
	}
}
