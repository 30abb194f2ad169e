package view

import (
	"image"
	"runtime"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh/render"
	"rigatino/mesh/solid"
)

// While the specimen is turned without a pause, one moving picture after the other
// is finished, however quickly the next is asked for, and none in full; when
// nothing more is asked for, the last camera is drawn in full.
func TestTurningShowsPictures(t *testing.T) {
	body, err := render.Prepare(t.Context(), solid.Icosphere(7, 50), render.Options{})
	if err != nil {
		t.Fatal(err)
	}
	type picture struct {
		camera  render.Camera
		quality render.Quality
	}
	done := make(chan picture, 1000)
	var p *Painter
	p = NewPainter(func(_ *image.RGBA, f *render.Frame, q render.Quality, _ time.Duration) {
		done <- picture{f.Camera(), q}
		p.Free(f)
	})
	defer p.Close()
	const w, h = 1280, 800
	pic := Picture{Width: w, Height: h, Scene: render.Scene{Bodies: []render.Placed{{Body: body}}}}
	pic.Scene.Camera = render.LookFrom(r3.Vec{Z: 1}, r3.Vec{Y: 1}).Whole(r3.Vec{}, 50, w, h)
	deadline := time.After(time.Minute)
	for moving := 0; moving < 8; {
		pic.Scene.Camera = pic.Scene.Camera.Turned(1e-5, 0)
		p.Ask(pic, true)
		select {
		case got := <-done:
			if moving++; got.quality != render.Moving {
				t.Fatal("a picture in full was finished while the specimen turned")
			}
		case <-deadline:
			t.Fatalf("%d moving pictures in a minute", moving)
		default:
			runtime.Gosched()
		}
	}
	for {
		select {
		case got := <-done:
			if got.quality != render.Settled {
				continue
			}
			if got.camera != pic.Scene.Camera {
				t.Error("the picture in full is not of the last camera")
			}
			return
		case <-deadline:
			t.Fatal("no picture in full came")
		}
	}
}
