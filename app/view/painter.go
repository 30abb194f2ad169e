package view

import (
	"context"
	"image"
	"image/color"
	"sync"
	"time"

	"rigatino/mesh/render"
)

// Picture is what the painter is asked for: a scene, and where two dates are
// shown the other one under the same camera.
type Picture struct {
	Width, Height int
	Scene         render.Scene
	Other         *render.Scene // nil for one date
	Glass         *render.Glass // shows Other in a round glass
	EdgeX         float64       // else Other lies right of this place
	Over          func(img *image.RGBA, f *render.Frame)
	Line, Casing  color.RGBA // of the date edge
}

// settle is how long nothing must have moved before the full picture is drawn.
const settle = 120 * time.Millisecond

// Painter draws pictures beside the window. It always draws the newest picture
// asked for; a full-quality one is called off as soon as another is wanted.
type Painter struct {
	// Done gets a finished picture on the painter's goroutine; frame is what lies
	// behind it, good until the next picture but one is done.
	Done func(img *image.RGBA, frame *render.Frame, q render.Quality, took time.Duration)

	mu       sync.Mutex
	want     *Picture
	moving   bool
	cancel   context.CancelFunc // of the picture being drawn …
	settling bool               // … and whether that is one in full
	wake     chan struct{}
	closed   chan struct{}
	end      sync.Once
	busy     sync.Mutex // held while drawing

	free []*render.Frame
}

// NewPainter starts a painter.
func NewPainter(done func(*image.RGBA, *render.Frame, render.Quality, time.Duration)) *Painter {
	p := &Painter{Done: done, wake: make(chan struct{}, 1), closed: make(chan struct{})}
	go p.work()
	return p
}

// Ask wants a picture; moving ones are drawn quickly first and in full when
// nothing more is asked for a while.
func (p *Painter) Ask(pic Picture, moving bool) {
	p.mu.Lock()
	p.want, p.moving = &pic, moving
	// A moving picture is drawn to the end: called off by every move of the
	// pointer, none would ever be seen where a picture takes longer than that.
	if p.cancel != nil && p.settling {
		p.cancel()
	}
	p.mu.Unlock()
	select {
	case p.wake <- struct{}{}:
	default:
	}
}

// Hold runs change while nothing is being drawn, for changing what is drawn.
func (p *Painter) Hold(change func()) {
	p.mu.Lock()
	if p.cancel != nil {
		p.cancel()
	}
	p.mu.Unlock()
	p.busy.Lock()
	defer p.busy.Unlock()
	change()
}

// Close ends the painter.
func (p *Painter) Close() {
	p.end.Do(func() { close(p.closed) })
	p.mu.Lock()
	if p.cancel != nil {
		p.cancel()
	}
	p.mu.Unlock()
}

func (p *Painter) work() {
	r := render.NewRenderer(0)
	defer r.Close()
	other := render.NewRenderer(0)
	defer other.Close()
	otherFrame := render.NewFrame(8, 8)
	timer := time.NewTimer(time.Hour)
	defer timer.Stop()
	full := false
	for {
		select {
		case <-p.closed:
			return
		case <-p.wake:
			full = false
		case <-timer.C:
			full = true
		}
		p.mu.Lock()
		pic, moving := p.want, p.moving
		if pic == nil {
			p.mu.Unlock()
			continue
		}
		q := render.Moving
		if full || !moving {
			q = render.Settled
		}
		ctx, cancel := context.WithCancel(context.Background())
		p.cancel, p.settling = cancel, q == render.Settled
		p.mu.Unlock()
		p.paint(ctx, r, other, otherFrame, pic, q)
		cancel()
		if q == render.Moving {
			timer.Reset(settle)
		} else {
			timer.Reset(time.Hour)
		}
	}
}

func (p *Painter) paint(ctx context.Context, r, other *render.Renderer, otherFrame *render.Frame, pic *Picture, q render.Quality) {
	p.busy.Lock()
	defer p.busy.Unlock()
	start := time.Now()
	f := p.frame(pic.Width, pic.Height)
	if err := r.Draw(ctx, f, &pic.Scene, q); err != nil {
		p.Free(f)
		return // called off: a newer picture is wanted
	}
	if pic.Other != nil {
		if w, h := otherFrame.Size(); w != pic.Width || h != pic.Height {
			otherFrame.Resize(pic.Width, pic.Height)
		}
		second := *pic.Other
		if pic.Glass != nil {
			second.Clip = pic.Glass.Rect() // nothing else of it is seen
		} else {
			second.Clip = image.Rect(int(pic.EdgeX), 0, pic.Width, pic.Height)
		}
		if err := other.Draw(ctx, otherFrame, &second, q); err != nil {
			p.Free(f)
			return
		}
		if pic.Glass != nil {
			render.Loupe(f.Picture, otherFrame.Picture, *pic.Glass)
		} else {
			render.DateEdge(f.Picture, otherFrame.Picture, pic.EdgeX, pic.Line, pic.Casing, pic.Scene.PixelScale)
		}
	}
	if pic.Over != nil {
		pic.Over(f.Picture, f)
	}
	p.Done(f.Picture, f, q, time.Since(start))
}

// frame takes a frame that nobody shows.
func (p *Painter) frame(w, h int) *render.Frame {
	p.mu.Lock()
	defer p.mu.Unlock()
	if n := len(p.free); n > 0 {
		f := p.free[n-1]
		p.free = p.free[:n-1]
		if a, b := f.Size(); a != w || b != h {
			f.Resize(w, h)
		}
		return f
	}
	return render.NewFrame(w, h)
}

// Free gives a frame back that is no longer shown nor picked from.
func (p *Painter) Free(f *render.Frame) {
	if f == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.free) < 3 {
		p.free = append(p.free, f)
	}
}
