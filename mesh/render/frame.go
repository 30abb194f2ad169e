package render

import (
	"image"
	"image/color"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh/frame"
)

// maxBodies is how many bodies a scene may hold.
const maxBodies = 64

// Frame is one picture and the buffer behind it, which knows what surface each
// pixel shows. It is drawn by a Renderer and may be drawn again and again. A
// frame that is not being drawn may be picked from on any goroutine.
type Frame struct {
	// Picture is the finished picture.
	Picture *image.RGBA

	w, h    int
	samples int  // per pixel and direction
	half    bool // a sample for two by two pixels instead
	vw, vh  int  // size of the buffers: w, h times samples, or half of them rounded up
	// Where the picture's middle lies on the grid of corners, on which the
	// middle of sample (x, y) is (x, y) times subOne.
	originX, originY int32

	room image.Rectangle // the samples drawn

	depth  []uint64  // of each sample: bits of its nearness, then the triangle
	keys   []uint32  // of each sample: what an outline runs between
	mask   []uint8   // of each pixel, by turns casing and ink of the line being drawn
	ringMM []float64 // of the pixels about the ring, how far they are from its centre
	fine   []uint8   // RGBA of each sample, where it is not one a pixel

	scene    Scene
	bodies   []placed
	view     view
	smooth   bool
	settled  bool // not drawn as a moving picture
	blocks   bool // two by two samples of a triangle are coloured alike
	ready    bool
	anyEdges bool
}

// NewFrame returns a frame of w by h pixels, transparent until it is drawn.
func NewFrame(w, h int) *Frame {
	f := &Frame{}
	f.Resize(w, h)
	return f
}

// Resize gives the frame a new size and a new Picture; what was drawn is gone.
func (f *Frame) Resize(w, h int) {
	f.ready = false
	if f.Picture != nil && w == f.w && h == f.h {
		return
	}
	f.w, f.h = w, h
	f.Picture = image.NewRGBA(image.Rect(0, 0, max(w, 0), max(h, 0)))
}

// Size is the size of the picture in pixels.
func (f *Frame) Size() (w, h int) { return f.w, f.h }

// Camera is the camera the frame was drawn with last.
func (f *Frame) Camera() Camera { return f.scene.Camera }

// Holds says whether the frame was drawn with this body in the scene.
func (f *Frame) Holds(b *Body) bool {
	return f.ready && slices.ContainsFunc(f.scene.Bodies, func(p Placed) bool { return p.Body == b })
}

// Settled says whether the frame was drawn in full, not as a moving picture.
func (f *Frame) Settled() bool { return f.ready && f.settled }

// view is the camera as the drawing loops use it.
type view struct {
	right, up, ahead, eye r3.Vec
	ortho                 bool
	scale                 float64 // perspective: pixels at depth 1; orthographic: pixels per mm
	cx, cy                float64 // middle of the picture, samples
	near, far             float64
	halfW, halfH          float64 // half the picture at depth 1, or in mm
}

// placed is a body in one frame.
type placed struct {
	Placed
	level     *level
	base, end uint32 // numbers of its triangles
	// Position p, about the mesh's origin, lies at turn·p + shift in the
	// camera's axes: right, up, ahead.
	turn  [9]float32
	shift [3]float32
	// The same with right and down in steps of the grid of corners at depth 1,
	// or without perspective in steps a mm.
	grid      [9]float32
	gridShift [3]float32
	// The sample (x, y) sees along base + x·baseX + y·baseY + z·(dir + x·dirX +
	// y·dirY) for depths z, about the mesh's origin.
	from, fromX, fromY [3]float32
	dir, dirX, dirY    [3]float32
	light, back        [3]float32
	eye                [3]float32
	ahead              [3]float32
	cullBack           bool
	textures           []*texture
	tint               []uint32
	flat               bool // one colour and normal a triangle will do
	unlit              bool // the scan's materials ask for no light
}

// begin sets the frame up for a scene.
func (f *Frame) begin(s *Scene, samples int, half bool) {
	f.scene, f.ready = *s, false
	if f.scene.Light == (Light{}) {
		f.scene.Light = DefaultLight()
	}
	if f.scene.PixelScale <= 0 {
		f.scene.PixelScale = 1
	}
	f.samples, f.half = samples, half
	f.vw, f.vh = f.w*samples, f.h*samples
	if half {
		f.vw, f.vh = (f.w+1)/2, (f.h+1)/2
	}
	n := f.vw * f.vh
	f.depth = grow(f.depth, n)
	f.keys = grow(f.keys, n)
	if f.apart() {
		f.fine = grow(f.fine, 4*n)
	}

	c := s.Camera
	v := view{right: c.Right, up: c.Up, ahead: r3.Scale(-1, c.Back), eye: c.Eye(), ortho: c.Orthographic}
	v.cx, v.cy = float64(f.w)/2*f.perPixel(), float64(f.h)/2*f.perPixel()
	whole := image.Rect(0, 0, f.w, f.h)
	if f.scene.Clip == (image.Rectangle{}) {
		f.scene.Clip = whole
	}
	f.scene.Clip = f.scene.Clip.Intersect(whole)
	f.room = f.samplesOf(f.scene.Clip)
	f.originX, f.originY = int32((v.cx-0.5)*subOne), int32((v.cy-0.5)*subOne)
	v.scale = c.PixelsPerMM(f.h) * f.perPixel()
	v.near = c.near()
	if !v.ortho {
		v.scale *= c.DistanceMM
	}
	v.halfW, v.halfH = v.cx/v.scale, v.cy/v.scale

	f.bodies = grow(f.bodies, len(s.Bodies))[:0]
	base := uint32(0)
	f.anyEdges = false
	if v.ortho {
		// Depth is counted from the farthest point of all, so that it is positive.
		v.far = -math.MaxFloat64
		for i := range s.Bodies {
			b := s.Bodies[i].Body
			centre := s.Bodies[i].toScene().Apply(b.centre)
			v.far = max(v.far, r3.Dot(r3.Sub(centre, v.eye), v.ahead)+1.01*b.radius+1e-3)
		}
	}
	f.view = v
	for i := range s.Bodies {
		f.bodies = append(f.bodies, placed{})
		p := &f.bodies[i]
		p.Placed = s.Bodies[i]
		f.place(p)
		p.setLevel(p.Body.full, &base)
		f.anyEdges = f.anyEdges || p.edges()
	}
}

// perPixel is how many samples a pixel has in each direction.
func (f *Frame) perPixel() float64 {
	if f.half {
		return 0.5
	}
	return float64(f.samples)
}

// apart says whether samples are coloured in a buffer of their own.
func (f *Frame) apart() bool { return f.half || f.samples > 1 }

// samplesOf is the samples that pixels are made of.
func (f *Frame) samplesOf(pixels image.Rectangle) image.Rectangle {
	if f.half {
		return image.Rect(pixels.Min.X/2, pixels.Min.Y/2, (pixels.Max.X+1)/2, (pixels.Max.Y+1)/2)
	}
	return image.Rectangle{Min: pixels.Min.Mul(f.samples), Max: pixels.Max.Mul(f.samples)}
}

// middle is the sample in the middle of a pixel.
func (f *Frame) middle(x, y int) (i, j int) {
	if f.half {
		return x / 2, y / 2
	}
	n := f.samples
	return x*n + n/2, y*n + n/2
}

// sight is the line of sight of a sample.
func (f *Frame) sight(i, j int) (eye, dir r3.Vec) {
	n := f.perPixel()
	return f.scene.Camera.Ray((float64(i)+0.5)/n, (float64(j)+0.5)/n, f.w, f.h)
}

// setLevel chooses the resolution and numbers its triangles from base on.
func (p *placed) setLevel(l *level, base *uint32) {
	p.level, p.base = l, *base
	*base += uint32(len(l.face))
	p.end = *base
	p.tint = nil
	if t := l.tint.Load(); t != nil {
		p.tint = *t
	}
}

// toScene is the motion of a placed body.
func (p *Placed) toScene() frame.Rigid {
	if p.BodyToScene == nil {
		return frame.Identity()
	}
	return *p.BodyToScene
}

// place works out everything about a body that depends on the camera. Sums are
// made in float64; what is left is small numbers about the mesh's origin.
func (f *Frame) place(p *placed) {
	v := &f.view
	g := p.toScene()
	back := g.Inverse()
	origin := p.Body.mesh.Origin
	local := func(d r3.Vec) r3.Vec { return back.Turn(d) }
	right, up, ahead := local(v.right), local(v.up), local(v.ahead)
	eye := r3.Sub(back.Apply(v.eye), origin)
	for i, row := range [3]r3.Vec{right, up, ahead} {
		p.turn[3*i], p.turn[3*i+1], p.turn[3*i+2] = float32(row.X), float32(row.Y), float32(row.Z)
		p.shift[i] = float32(-r3.Dot(row, eye))
	}
	steps := v.scale * subOne
	for i, row := range [3]r3.Vec{r3.Scale(steps, right), r3.Scale(-steps, up), ahead} {
		p.grid[3*i], p.grid[3*i+1], p.grid[3*i+2] = float32(row.X), float32(row.Y), float32(row.Z)
		p.gridShift[i] = float32(-r3.Dot(row, eye))
	}
	// The middle of sample (0, 0) lies at 0.5 - cx, cy - 0.5.
	x0, y0 := (0.5-v.cx)/v.scale, (v.cy-0.5)/v.scale
	corner := r3.Add(r3.Scale(x0, right), r3.Scale(y0, up))
	stepX, stepY := r3.Scale(1/v.scale, right), r3.Scale(-1/v.scale, up)
	zero := r3.Vec{}
	if v.ortho {
		p.from, p.fromX, p.fromY = vec32(r3.Add(eye, corner)), vec32(stepX), vec32(stepY)
		p.dir, p.dirX, p.dirY = vec32(ahead), vec32(zero), vec32(zero)
	} else {
		p.from, p.fromX, p.fromY = vec32(eye), vec32(zero), vec32(zero)
		p.dir, p.dirX, p.dirY = vec32(r3.Add(ahead, corner)), vec32(stepX), vec32(stepY)
	}
	toward, ok := unit(f.scene.Light.Toward)
	if !ok {
		toward = r3.Vec{Z: 1}
	}
	light := r3.Sub(r3.Add(r3.Scale(toward.X, right), r3.Scale(toward.Y, up)), r3.Scale(toward.Z, ahead))
	p.light, p.back = vec32(light), vec32(r3.Scale(-1, ahead))
	p.eye, p.ahead = vec32(eye), vec32(ahead)

	// Faces that look away can be seen only from inside the body.
	outside := v.ortho || r3.Norm(r3.Sub(v.eye, g.Apply(p.Body.centre))) > p.Body.radius+v.near
	p.cullBack = p.Body.solid && outside
	p.textures = nil
	if t := p.Body.textures.Load(); t != nil {
		p.textures = *t
	}
}

// edges says whether outlines are drawn on the body.
func (p *placed) edges() bool {
	return p.Marks != nil || (p.Change != nil && (p.Change.StepMM > 0 || opaque(p.Change.Rim)))
}

func vec32(v r3.Vec) [3]float32 { return [3]float32{float32(v.X), float32(v.Y), float32(v.Z)} }

// useProxies takes the coarse copies where there are any.
func (f *Frame) useProxies() {
	base := uint32(0)
	for i := range f.bodies {
		p := &f.bodies[i]
		l := p.Body.full
		if p.Body.proxy != nil {
			l = p.Body.proxy
		}
		p.setLevel(l, &base)
	}
}

// setSmooth says whether pixels are shaded one by one or by whole triangles.
func (f *Frame) setSmooth(smooth bool) {
	f.smooth = smooth
	for i := range f.bodies {
		f.bodies[i].setFlat(smooth)
	}
}

func (p *placed) setFlat(smooth bool) {
	p.unlit = true
	for _, m := range p.Body.materials {
		p.unlit = p.unlit && m.unlit
	}
	p.flat = !smooth && p.Marks == nil && p.Change == nil && (p.Plain.A > 0 || p.tint != nil || p.Body.colourless())
}

// depthOf returns the depth, mm along the line of sight, of a nearness.
func (v *view) depthOf(q float32) float32 {
	if v.ortho {
		return float32(v.far) - q
	}
	return 1 / q
}

// pixelMM is the size of a sample on a surface that faces the eye at depth z.
func (v *view) pixelMM(z float32) float32 {
	if v.ortho {
		return float32(1 / v.scale)
	}
	return z / float32(v.scale)
}

// grow returns a slice of n elements, the old one where it is long enough.
func grow[T any](s []T, n int) []T {
	if cap(s) >= n {
		return s[:n]
	}
	return make([]T, n)
}

func rgb32(c color.RGBA) [3]float32 { return [3]float32{float32(c.R), float32(c.G), float32(c.B)} }
