package render

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Axes give directions of the scene their names: the specimen's long axis
// points to LongName, one of its faces to FaceName.
type Axes struct {
	Long     r3.Vec
	LongName string
	Face     r3.Vec
	FaceName string
}

// View is a named direction to look from.
type View struct {
	Name   string
	Camera Camera
}

// NamedViews returns the six views along the axes, each with the long axis to
// the right where it can be: face, its opposite, the two edges above and below
// in the first view, the end of the long axis and the other end. Without axes
// the names are front, back, top, bottom, right and left, with y up and z to
// the front.
func NamedViews(axes *Axes) [6]View {
	long, face := r3.Vec{X: 1}, r3.Vec{Z: 1}
	names := [6]string{"front", "back", "top", "bottom", "right", "left"}
	if axes != nil {
		l, ok := unit(axes.Long)
		// What of the face direction runs along the long axis is left out.
		f, ok2 := unit(r3.Sub(axes.Face, r3.Scale(r3.Dot(axes.Face, l), l)))
		if ok && ok2 {
			long, face = l, f
			names = [6]string{
				axes.FaceName, opposite(axes.FaceName), "upper edge", "lower edge",
				axes.LongName + " end", opposite(axes.LongName) + " end",
			}
		}
	}
	up := r3.Cross(face, long)
	minus := func(v r3.Vec) r3.Vec { return r3.Scale(-1, v) }
	return [6]View{
		{names[0], LookFrom(face, up)},
		{names[1], LookFrom(minus(face), up)},
		{names[2], LookFrom(up, minus(face))},
		{names[3], LookFrom(minus(up), face)},
		{names[4], LookFrom(long, up)},
		{names[5], LookFrom(minus(long), up)},
	}
}

// opposite is the other word of a pair of anatomical directions.
func opposite(name string) string {
	for _, p := range [][2]string{
		{"dorsal", "ventral"}, {"anterior", "posterior"}, {"cranial", "caudal"}, {"proximal", "distal"},
		{"medial", "lateral"}, {"rostral", "occipital"}, {"left", "right"}, {"top", "bottom"}, {"upper", "lower"},
		{"front", "back"}, {"inner", "outer"},
	} {
		switch name {
		case p[0]:
			return p[1]
		case p[1]:
			return p[0]
		}
	}
	return "opposite of " + name
}

// Fitted keeps the camera's direction and moves it so that the bodies just fit
// into a picture of w by h pixels with a margin, in pixels, left on all sides.
func (c Camera) Fitted(bodies []Placed, w, h int, margin float64) Camera {
	tan := math.Tan(c.FieldOfView / 2)
	roomX, roomY := max(float64(w)/2-margin, 1), max(float64(h)/2-margin, 1)
	// Slopes of the lines of sight at the margin.
	slopeX, slopeY := tan*roomX/(float64(h)/2), tan*roomY/(float64(h)/2)
	lo := [3]float64{math.Inf(1), math.Inf(1), math.Inf(1)}
	hi := [3]float64{math.Inf(-1), math.Inf(-1), math.Inf(-1)}
	each := func(visit func(x, y, z float64)) {
		for i := range bodies {
			b := bodies[i].Body
			g := bodies[i].toScene()
			l := b.full
			if b.proxy != nil {
				l = b.proxy
			}
			back := g.Inverse()
			right, up, out := back.Turn(c.Right), back.Turn(c.Up), back.Turn(c.Back)
			o := g.Apply(b.mesh.Origin)
			ox, oy, oz := r3.Dot(o, c.Right), r3.Dot(o, c.Up), r3.Dot(o, c.Back)
			for v := 0; v+2 < len(l.xyz); v += 3 {
				x, y, z := float64(l.xyz[v]), float64(l.xyz[v+1]), float64(l.xyz[v+2])
				visit(ox+right.X*x+right.Y*y+right.Z*z, oy+up.X*x+up.Y*y+up.Z*z, oz+out.X*x+out.Y*y+out.Z*z)
			}
		}
	}
	each(func(x, y, z float64) {
		for k, v := range [3]float64{x, y, z} {
			lo[k], hi[k] = min(lo[k], v), max(hi[k], v)
		}
	})
	if !(lo[0] <= hi[0]) {
		return c
	}
	mid := [3]float64{(lo[0] + hi[0]) / 2, (lo[1] + hi[1]) / 2, (lo[2] + hi[2]) / 2}
	c.Target = r3.Add(r3.Add(r3.Scale(mid[0], c.Right), r3.Scale(mid[1], c.Up)), r3.Scale(mid[2], c.Back))
	if c.Orthographic {
		c.DistanceMM = max((hi[0]-mid[0])/slopeX, (hi[1]-mid[1])/slopeY, 1e-3)
		return c
	}
	dist := 1e-3
	each(func(x, y, z float64) {
		dist = max(dist, z-mid[2]+max(math.Abs(x-mid[0])/slopeX, math.Abs(y-mid[1])/slopeY))
	})
	c.DistanceMM = dist
	return c
}

// Over keeps the direction of a camera without perspective and moves it so that
// places fill a picture of w by h pixels with a margin, in pixels, left on all
// sides. It never comes so near that a millimetre fills the picture.
func (c Camera) Over(places []r3.Vec, w, h int, margin float64) Camera {
	lo := r3.Vec{X: math.Inf(1), Y: math.Inf(1), Z: math.Inf(1)}
	hi := r3.Scale(-1, lo)
	for _, p := range places {
		q := r3.Vec{X: r3.Dot(p, c.Right), Y: r3.Dot(p, c.Up), Z: r3.Dot(p, c.Back)}
		lo = r3.Vec{X: min(lo.X, q.X), Y: min(lo.Y, q.Y), Z: min(lo.Z, q.Z)}
		hi = r3.Vec{X: max(hi.X, q.X), Y: max(hi.Y, q.Y), Z: max(hi.Z, q.Z)}
	}
	if !(lo.X <= hi.X) {
		return c
	}
	mid := r3.Scale(0.5, r3.Add(lo, hi))
	c.Target = r3.Add(r3.Add(r3.Scale(mid.X, c.Right), r3.Scale(mid.Y, c.Up)), r3.Scale(mid.Z, c.Back))
	tan := math.Tan(c.FieldOfView / 2)
	slopeX, slopeY := tan*max(float64(w)/2-margin, 1)/(float64(h)/2), tan*max(float64(h)/2-margin, 1)/(float64(h)/2)
	c.DistanceMM = max((hi.X-mid.X)/slopeX, (hi.Y-mid.Y)/slopeY, 0.5/tan)
	return c
}
