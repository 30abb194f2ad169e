package render

import (
	"image"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// Picked is what a pixel shows.
type Picked struct {
	Body   int               // index into Scene.Bodies
	Face   uint32            // scan face
	Place  mesh.SurfacePoint // on the body's mesh: Face there is the mesh's own number
	Point  r3.Vec            // mm, the scene's frame
	Normal r3.Vec            // of the face, unit, the scene's frame
	Depth  float64           // mm along the line of sight
	// Inside is set where the surface is seen from its back, as through a hole.
	Inside bool
	// Coarse is set where the frame shows the proxy: the place is then only near
	// the one seen.
	Coarse bool
}

// Pick says what lies at a place of the picture, pixels from its upper left
// corner. It is false over the background and before the frame is drawn.
func (f *Frame) Pick(x, y float64) (Picked, bool) {
	sx, sy := x*f.perPixel(), y*f.perPixel()
	i, j := int(math.Floor(sx)), int(math.Floor(sy))
	if !f.ready || !image.Pt(i, j).In(f.room) {
		return Picked{}, false
	}
	d := f.depth[j*f.vw+i]
	if d == 0 {
		return Picked{}, false
	}
	id := uint32(d)
	p := f.bodyOf(id)
	l := p.level
	slot := id - p.base
	origin := p.Body.mesh.Origin
	g := p.toScene()
	eye, dir := f.sight(i, j)
	back := g.Inverse()
	from, along := r3.Sub(back.Apply(eye), origin), back.Turn(dir)

	a, b, c := l.corners(slot)
	w, t := onRay(from, along, a, b, c)
	n, _ := unit(r3.Cross(r3.Sub(b, a), r3.Sub(c, a)))
	out := Picked{
		Body: f.indexOf(p), Depth: t, Point: r3.Add(eye, r3.Scale(t, dir)), Normal: g.Turn(n),
		Inside: r3.Dot(n, along) > 0, Coarse: l.proxy,
	}
	face := l.face[slot]
	if l.proxy {
		w = [3]float64{1.0 / 3, 1.0 / 3, 1.0 / 3}
	} else {
		// The cluster's corners are the face's, in its order.
		out.Point = g.Apply(p.Body.mesh.At(mesh.SurfacePoint{Face: face, Weights: w}))
	}
	out.Place = mesh.SurfacePoint{Face: face, Weights: w}
	out.Face = p.Body.mesh.SourceFace(face)
	return out, true
}

// onRay returns the weights of the place where a line meets a triangle's plane,
// moved into the triangle where rounding put it outside, and the line's
// parameter there (Möller and Trumbore, J. Graphics Tools 2(1), 1997).
func onRay(from, dir, a, b, c r3.Vec) (w [3]float64, t float64) {
	e1, e2 := r3.Sub(b, a), r3.Sub(c, a)
	p := r3.Cross(dir, e2)
	det := r3.Dot(e1, p)
	s := r3.Sub(from, a)
	if det == 0 {
		return [3]float64{1, 0, 0}, -r3.Dot(s, dir) / r3.Norm2(dir)
	}
	q := r3.Cross(s, e1)
	u, v := r3.Dot(s, p)/det, r3.Dot(dir, q)/det
	u, v = min(max(u, 0), 1), min(max(v, 0), 1)
	if u+v > 1 {
		u, v = u/(u+v), v/(u+v)
	}
	w = [3]float64{1 - u - v, u, v}
	at := r3.Add(a, r3.Add(r3.Scale(u, e1), r3.Scale(v, e2)))
	return w, r3.Dot(r3.Sub(at, from), dir) / r3.Norm2(dir)
}

// Reshade colours a rectangle of the picture again, from what the frame knows
// is there, after marks, values, light or the ring have changed; camera,
// bodies and their places must be those of the last Draw. It takes about 60 ns
// a pixel and allocates nothing. It returns the rectangle that was coloured, a
// little more than the one asked for: outlines look a few pixels around.
func (f *Frame) Reshade(s *Scene, rect image.Rectangle) image.Rectangle {
	rect = rect.Intersect(f.scene.Clip)
	if !f.ready || rect.Empty() || len(s.Bodies) != len(f.bodies) {
		return image.Rectangle{}
	}
	camera, clip := f.scene.Camera, f.scene.Clip
	light := f.scene.Light
	f.scene = *s
	f.scene.Camera, f.scene.Clip = camera, clip
	if f.scene.PixelScale <= 0 {
		f.scene.PixelScale = 1
	}
	if f.scene.Light == (Light{}) {
		f.scene.Light = DefaultLight()
	}
	had := f.anyEdges
	f.anyEdges = false
	for i := range f.bodies {
		p := &f.bodies[i]
		p.Placed.Plain, p.Placed.Marks, p.Placed.Change = s.Bodies[i].Plain, s.Bodies[i].Marks, s.Bodies[i].Change
		p.setFlat(f.smooth)
		f.anyEdges = f.anyEdges || p.edges()
		if f.scene.Light != light {
			f.place(p)
		}
	}
	if f.anyEdges && !had {
		rect = clip // nothing was known of outlines before
	}
	wide := rect.Inset(-int(math.Ceil(rimWidth*f.scene.PixelScale)) - 1).Intersect(clip)
	if f.blocks || f.half { // coloured in blocks on even places
		wide = image.Rect(wide.Min.X&^1, wide.Min.Y&^1, (wide.Max.X+1)&^1, (wide.Max.Y+1)&^1).Intersect(clip)
	}
	fine := f.samplesOf(wide)
	f.shadeRect(fine.Min.X, fine.Min.Y, fine.Max.X, fine.Max.Y)
	if f.anyEdges {
		f.edgeRect(fine.Min.X, fine.Min.Y, fine.Max.X, fine.Max.Y)
	}
	if f.apart() {
		f.reduceRect(wide.Min.X, wide.Min.Y, wide.Max.X, wide.Max.Y)
	}
	f.drawOver(wide)
	return wide
}
