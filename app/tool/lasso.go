package tool

import (
	"image"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh/frame"
	"rigatino/mesh/render"
)

// Point is a place in a picture, pixels.
type Point struct{ X, Y float64 }

// Lasso is a closed line drawn on a picture; its last point is joined to the
// first.
type Lasso struct {
	points []Point
	box    [2]Point
}

// nearest is how far, in pixels, a new point must lie from the last.
const nearest = 1.5

// Add draws on to a place; places next to the last one are left out.
func (l *Lasso) Add(x, y float64) {
	if n := len(l.points); n > 0 && math.Hypot(x-l.points[n-1].X, y-l.points[n-1].Y) < nearest {
		return
	}
	if len(l.points) == 0 {
		l.box = [2]Point{{x, y}, {x, y}}
	}
	l.box[0] = Point{min(l.box[0].X, x), min(l.box[0].Y, y)}
	l.box[1] = Point{max(l.box[1].X, x), max(l.box[1].Y, y)}
	l.points = append(l.points, Point{x, y})
}

// Points are the corners of the line. Do not change them.
func (l *Lasso) Points() []Point { return l.points }

// Encloses says whether the line is long and wide enough to hold anything: a
// press without a drag is no loop.
func (l *Lasso) Encloses() bool {
	const few = 6 // pixels
	return len(l.points) >= 3 && l.box[1].X-l.box[0].X >= few && l.box[1].Y-l.box[0].Y >= few
}

// Rect is the part of the picture that the line may touch, so many pixels wide.
func (l *Lasso) Rect(wide int) image.Rectangle {
	if len(l.points) == 0 {
		return image.Rectangle{}
	}
	return image.Rect(int(l.box[0].X)-wide, int(l.box[0].Y)-wide, int(l.box[1].X)+wide+1, int(l.box[1].Y)+wide+1)
}

// Holds says whether a place lies inside the line: a ray from it crosses the
// line an odd number of times, so that where the line crosses itself every
// second field is outside.
func (l *Lasso) Holds(x, y float64) bool {
	if len(l.points) < 3 || x < l.box[0].X || x > l.box[1].X || y < l.box[0].Y || y > l.box[1].Y {
		return false
	}
	in := false
	b := l.points[len(l.points)-1]
	for _, a := range l.points {
		if (a.Y > y) != (b.Y > y) && x < a.X+(y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
			in = !in
		}
		b = a
	}
	return in
}

// Over returns which places of a scan lie inside the line as the camera sees
// them in a picture of w by h pixels; what is not before the camera does not.
// Places are mm in the scan's frame, factor is the scan's scale, scanToScene
// where it lies.
func (l *Lasso) Over(c render.Camera, w, h int, factor float64, scanToScene *frame.Rigid) func(p r3.Vec) bool {
	return func(p r3.Vec) bool {
		x, y, _, ok := c.Project(scanToScene.Apply(r3.Scale(factor, p)), w, h)
		return ok && l.Holds(x, y)
	}
}
