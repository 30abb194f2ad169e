package render

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Camera is a place to look from. Its methods return changed copies.
type Camera struct {
	// Right, Up and Back are orthogonal unit vectors of the scene; Back points
	// from Target to the eye.
	Right, Up, Back r3.Vec
	Target          r3.Vec  // mm; what turning turns about
	DistanceMM      float64 // from the eye to Target
	FieldOfView     float64 // of the picture's height, radians
	// Orthographic cameras see as much at every depth as a perspective one sees
	// at Target, so the switch keeps the size of what is looked at.
	Orthographic bool
}

// DefaultFieldOfView is 30 degrees: little foreshortening, as in a photograph
// taken from some way off.
const DefaultFieldOfView = math.Pi / 6

// LookFrom returns a camera that looks at zero from the direction back, with up
// as near to the top of the picture as can be.
func LookFrom(back, up r3.Vec) Camera {
	b, ok := unit(back)
	if !ok {
		b = r3.Vec{Z: 1}
	}
	right, ok := unit(r3.Cross(up, b))
	if !ok {
		// Up and back are parallel: any direction across will do.
		across := r3.Vec{X: 1}
		if math.Abs(b.X) > 0.9 {
			across = r3.Vec{Y: 1}
		}
		right, _ = unit(r3.Cross(r3.Cross(b, across), b))
	}
	return Camera{
		Right: right, Up: r3.Cross(b, right), Back: b,
		DistanceMM: 1, FieldOfView: DefaultFieldOfView,
	}
}

func unit(v r3.Vec) (r3.Vec, bool) {
	l := r3.Norm(v)
	if !(l > 0) || math.IsInf(l, 0) {
		return r3.Vec{}, false
	}
	return r3.Scale(1/l, v), true
}

// Eye is the place looked from.
func (c Camera) Eye() r3.Vec { return r3.Add(c.Target, r3.Scale(c.DistanceMM, c.Back)) }

// Turned goes round the target: by yaw radians to the right round Up, by pitch
// radians upwards round Right. The specimen seems to turn the other way.
func (c Camera) Turned(yaw, pitch float64) Camera {
	turn := func(v, axis r3.Vec, angle float64) r3.Vec {
		s, k := math.Sincos(angle)
		return r3.Add(r3.Add(r3.Scale(k, v), r3.Scale(s, r3.Cross(axis, v))), r3.Scale((1-k)*r3.Dot(axis, v), axis))
	}
	back := turn(c.Back, c.Up, yaw)
	right := turn(c.Right, c.Up, yaw)
	up := turn(c.Up, right, -pitch)
	back = turn(back, right, -pitch)
	// Many small turns must not skew the axes.
	c.Back, _ = unit(back)
	c.Right, _ = unit(r3.Cross(up, c.Back))
	c.Up = r3.Cross(c.Back, c.Right)
	return c
}

// Rolled turns the picture by angle radians, anticlockwise as seen.
func (c Camera) Rolled(angle float64) Camera {
	s, k := math.Sincos(angle)
	right := r3.Sub(r3.Scale(k, c.Right), r3.Scale(s, c.Up))
	c.Up = r3.Add(r3.Scale(s, c.Right), r3.Scale(k, c.Up))
	c.Right = right
	return c
}

// Nearer divides the distance to the target by factor; below 1 goes farther.
func (c Camera) Nearer(factor float64) Camera {
	c.DistanceMM = min(max(c.DistanceMM/factor, 1e-3), 1e7)
	return c
}

// Moved shifts what is looked at by mm along the picture's right and up.
func (c Camera) Moved(rightMM, upMM float64) Camera {
	c.Target = r3.Add(c.Target, r3.Add(r3.Scale(rightMM, c.Right), r3.Scale(upMM, c.Up)))
	return c
}

// Facing looks straight at a place from the side its normal points to, at the
// same distance, and turns about it from then on.
func (c Camera) Facing(place, normal r3.Vec) Camera {
	if _, ok := unit(normal); !ok {
		return c
	}
	d := LookFrom(normal, c.Up)
	d.Target, d.DistanceMM, d.FieldOfView, d.Orthographic = place, c.DistanceMM, c.FieldOfView, c.Orthographic
	return d
}

// Whole moves back until a sphere fills a picture of w by h pixels.
func (c Camera) Whole(centre r3.Vec, radiusMM float64, w, h int) Camera {
	c.Target = centre
	half := c.FieldOfView / 2
	if w < h && h > 0 {
		half = math.Atan(math.Tan(half) * float64(w) / float64(h))
	}
	if radiusMM <= 0 {
		radiusMM = 1
	}
	c.DistanceMM = 1.02 * radiusMM / math.Sin(half)
	return c
}

// PixelsPerMM is the scale at the target in a picture h pixels high.
func (c Camera) PixelsPerMM(h int) float64 {
	return float64(h) / (2 * c.DistanceMM * math.Tan(c.FieldOfView/2))
}

// near is the nearest depth that a perspective camera draws.
func (c Camera) near() float64 { return c.DistanceMM * 1e-3 }

// Project returns where a point of the scene lies in a picture of w by h
// pixels and how far it is in front of the eye, mm along the line of sight. ok
// is false for points behind the eye or nearer than anything is drawn.
func (c Camera) Project(p r3.Vec, w, h int) (x, y, depthMM float64, ok bool) {
	d := r3.Sub(p, c.Eye())
	depthMM = -r3.Dot(d, c.Back)
	s := c.PixelsPerMM(h)
	if !c.Orthographic {
		if depthMM < c.near() {
			return 0, 0, depthMM, false
		}
		s *= c.DistanceMM / depthMM
	}
	return float64(w)/2 + s*r3.Dot(d, c.Right), float64(h)/2 - s*r3.Dot(d, c.Up), depthMM, true
}

// Ray returns the line of sight through a place in a picture of w by h pixels.
// dir is not of unit length: origin + t·dir lies at depth t.
func (c Camera) Ray(x, y float64, w, h int) (origin, dir r3.Vec) {
	s := c.PixelsPerMM(h)
	across := r3.Add(r3.Scale((x-float64(w)/2)/s, c.Right), r3.Scale((float64(h)/2-y)/s, c.Up))
	ahead := r3.Scale(-1, c.Back)
	if c.Orthographic {
		return r3.Add(c.Eye(), across), ahead
	}
	return c.Eye(), r3.Add(ahead, r3.Scale(1/c.DistanceMM, across))
}
