package render

import (
	"context"
	"errors"
	"fmt"
	"math"
	"runtime"
	"sync"
	"sync/atomic"
)

// Quality says how much work goes into a frame.
type Quality int

const (
	// Moving pictures are drawn while the view changes: one shade a triangle
	// unless there is time for more, the proxy of a mesh too big to draw whole in
	// time, and a sample for two by two pixels where a body fills a large picture.
	Moving Quality = iota
	// Settled pictures show every triangle, smoothly shaded.
	Settled
	// Fine pictures are settled ones at two by two samples a pixel.
	Fine
)

// Renderer draws frames on threads of its own. It draws one frame at a time;
// several renderers may draw the same bodies at once.
type Renderer struct {
	threads int
	mu      sync.Mutex
	closed  bool

	// The job under way.
	frame   *Frame
	ctx     context.Context
	do      stage
	parts   int64
	next    atomic.Int64
	stopped atomic.Bool
	wake    chan struct{}
	done    sync.WaitGroup

	visible []visibleCluster
	count   atomic.Int64
	bands   []int // first rows of the bands, and the height at the end
	rows    []int // triangles that begin in each block of rows
	scratch []scratch
}

// stage is one step of drawing that is cut into parts.
type stage uint8

const (
	doCull stage = iota
	doRaster
	doShade
	doEdges
	doReduce
)

// NewRenderer starts a renderer with so many threads, 0 for as many as Go uses
// processors. Close stops them.
func NewRenderer(threads int) *Renderer {
	if threads <= 0 {
		threads = runtime.GOMAXPROCS(0)
	}
	r := &Renderer{threads: threads, wake: make(chan struct{}, threads), scratch: make([]scratch, threads)}
	for i := 1; i < threads; i++ {
		go r.serve(i)
	}
	return r
}

// Close stops the renderer's threads once the frame under way is done.
func (r *Renderer) Close() {
	r.mu.Lock()
	defer r.mu.Unlock()
	if !r.closed {
		r.closed = true
		close(r.wake)
	}
}

func (r *Renderer) serve(thread int) {
	for range r.wake {
		r.work(thread)
		r.done.Done()
	}
}

// run does all parts of a stage and returns when they are done.
func (r *Renderer) run(do stage, parts int) {
	r.do, r.parts = do, int64(parts)
	r.next.Store(0)
	helpers := min(r.threads, parts) - 1
	if helpers > 0 {
		r.done.Add(helpers)
		for range helpers {
			r.wake <- struct{}{}
		}
	}
	r.work(0)
	r.done.Wait()
}

func (r *Renderer) work(thread int) {
	for {
		part := r.next.Add(1) - 1
		if part >= r.parts || r.stop() {
			return
		}
		switch r.do {
		case doCull:
			r.cull(int(part), &r.scratch[thread])
		case doRaster:
			r.raster(int(part), &r.scratch[thread])
		case doShade:
			r.frame.shadeRows(r.frame.room.Min.Y&^1 + int(part)*rowBlock)
		case doEdges:
			r.frame.edgeRows(r.frame.room.Min.Y + int(part)*rowBlock)
		case doReduce:
			r.frame.reduceRows(r.frame.scene.Clip.Min.Y + int(part)*rowBlock)
		}
	}
}

// stop says whether the frame was called off.
func (r *Renderer) stop() bool {
	if r.stopped.Load() {
		return true
	}
	if r.ctx.Err() != nil {
		r.stopped.Store(true)
		return true
	}
	return false
}

// rowBlock is the number of rows shaded in one part.
const rowBlock = 16

// Limits of a picture.
const maxSide = 16384

// Draw draws the scene into the frame, whose size must have been set. It
// allocates nothing once the frame and the renderer have seen a scene of that
// size. When ctx is done it stops within a few milliseconds and returns its
// error; the frame then holds nothing of use.
func (r *Renderer) Draw(ctx context.Context, f *Frame, s *Scene, q Quality) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.closed {
		return errors.New("the renderer was closed")
	}
	if f.w <= 0 || f.h <= 0 || f.w > maxSide || f.h > maxSide {
		return fmt.Errorf("a picture of %d × %d pixels cannot be drawn: each side must be from 1 to %d", f.w, f.h, maxSide)
	}
	if len(s.Bodies) > maxBodies {
		return fmt.Errorf("a picture cannot hold %d bodies: the limit is %d", len(s.Bodies), maxBodies)
	}
	r.frame, r.ctx = f, ctx
	r.stopped.Store(false)
	defer func() { r.frame, r.ctx = nil, nil }()

	samples := 1
	if q == Fine && 2*max(f.w, f.h) <= maxSide {
		samples = 2
	}
	f.begin(s, samples, false)
	if q == Moving && f.pixelsInSight() > halfPixels {
		f.begin(s, samples, true)
	}
	r.cullAll(false)
	if q == Moving && f.wantsProxies(r.triangles()) {
		r.cullAll(true)
	}
	f.setSmooth(q != Moving || f.smoothInTime(r.triangles()))
	f.settled = q != Moving
	f.blocks = q == Moving && !f.half && !f.allFlat() && f.pixelsInSight() > blockPixels
	r.setBands()
	r.run(doRaster, len(r.bands)-1)
	blocks := (f.room.Dy() + rowBlock) / rowBlock
	r.run(doShade, blocks)
	if f.anyEdges {
		r.run(doEdges, blocks)
	}
	if f.apart() {
		r.run(doReduce, (f.scene.Clip.Dy()+rowBlock-1)/rowBlock)
	}
	if r.stop() {
		f.ready = false
		return ctx.Err()
	}
	f.ready = true
	f.drawOver(f.scene.Clip)
	return nil
}

// wantsProxies says whether a moving picture with so many triangles in sight
// takes the proxies: when there are too many to draw in time, or rather many
// and the proxy's are hardly larger than pixels.
func (f *Frame) wantsProxies(triangles int) bool {
	var full, coarse float64
	for i := range f.bodies {
		b := f.bodies[i].Body
		full += float64(b.full.drawn)
		if b.proxy != nil {
			coarse += float64(b.proxy.drawn)
		} else {
			coarse += float64(b.full.drawn)
		}
	}
	if coarse == full || triangles < manyTriangles {
		return false
	}
	if f.half { // seen from near, those before the eye are large
		return triangles > mostTriangles
	}
	return triangles > mostTriangles || f.pixelsInSight() < 4*coarse/full*float64(triangles)
}

// smoothInTime says whether a moving picture with so many triangles in sight can
// be shaded pixel by pixel all the same: few triangles on few pixels, or
// triangles so large in the picture that one shade each would look like another
// body. At half the resolution there always is time.
func (f *Frame) smoothInTime(triangles int) bool {
	if f.half {
		return true
	}
	if triangles > smoothTriangles {
		return false
	}
	pixels := f.pixelsInSight()
	return pixels <= smoothPixels || pixels > largeTriangle*float64(triangles)
}

// allFlat says whether every body is shaded by whole triangles.
func (f *Frame) allFlat() bool {
	for i := range f.bodies {
		if !f.bodies[i].flat {
			return false
		}
	}
	return true
}

// pixelsInSight is about how many samples the bodies cover. It goes by the
// bounding spheres, not by the clock or the last frame, so that equal scenes
// give equal pictures.
func (f *Frame) pixelsInSight() float64 {
	pixels := 0.0
	for i := range f.bodies {
		p := &f.bodies[i]
		centre := p.toScene().Apply(p.Body.centre)
		_, _, depth, ok := f.scene.Camera.Project(centre, f.vw, f.vh)
		scale := f.view.scale
		if !f.view.ortho {
			if !ok {
				depth = f.view.near
			}
			scale /= depth
		}
		r := p.Body.radius * scale
		pixels += 0.6 * math.Pi * r * r
	}
	return min(pixels, float64(f.room.Dx()*f.room.Dy()))
}

// What a moving picture has time for, about 25 ms of work on two threads.
const (
	manyTriangles   = 600_000
	mostTriangles   = 1_000_000
	smoothTriangles = 400_000
	smoothPixels    = 400_000
	largeTriangle   = 10 // pixels, back faces and hidden ones counted in
	blockPixels     = 200_000
	halfPixels      = 750_000
)

// triangles is about how many triangles the last cull left.
func (r *Renderer) triangles() int { return int(r.count.Load()) * slots }
