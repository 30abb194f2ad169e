package app

import (
	"strings"
	"testing"

	"rigatino/annotate"
	"rigatino/mesh/solid"
)

// A scan of a million triangles is seen and can be turned before it is worked out:
// a coarse copy stands for it. Stopped, all is as it was; opened to the end, the
// whole stands where the copy stood and as it was turned. Source: the sphere, whose
// outline is a circle from every side.
func TestLargeScanIsSeenWhileItIsOpened(t *testing.T) {
	file := scanFile(t, solid.Icosphere(8, 40)) // 1 310 720 faces
	b := emptyWindow(t, 900, 720)
	b.back = make(chan func()) // so that the job waits until what it says is heard
	b.win.Canvas().Capture()   // tells the specimen its size

	b.Open([]string{file}, "mm")
	b.until("a coarse copy is there", func() bool { return b.first != nil })
	b.jobs.Stop()
	b.until("the job has ended", func() bool { return !b.jobs.Busy() && strings.HasPrefix(b.next.Text(), "Stopped") })
	if b.first != nil || b.desk != nil || len(b.empty.Objects) == 0 {
		t.Error("something is left of a scan that was not opened")
	}

	b.Open([]string{file}, "mm")
	b.until("a coarse copy is there", func() bool { return b.first != nil })
	copied := b.first.Body
	b.until("it is shown", func() bool { f := b.shown(); return f != nil && f.Holds(copied) })
	if b.desk != nil || len(b.empty.Objects) > 0 {
		t.Error("it is shown late, or behind something")
	}
	seen := b.circle()
	was := b.camera
	b.Turn(80, 30)
	if b.camera == was {
		t.Error("it cannot be turned")
	}
	turned := b.camera
	b.until("the scan is loaded", func() bool { return b.desk != nil && b.desk.Body(b.desk.View) != nil })
	b.until("the whole is shown", func() bool { f := b.shown(); return !f.Holds(copied) && f.Settled() })
	if b.first != nil || b.camera != turned {
		t.Error("the whole is not seen as the copy was")
	}
	if now := b.circle(); now < seen*98/100 || now > seen*102/100 {
		t.Errorf("the copy covered %d pixels, the whole %d", seen, now)
	}
	w, h := b.shown().Size()
	if p, ok := b.shown().Pick(float64(w)/2, float64(h)/2); !ok || p.Coarse {
		t.Error("what is picked is not of the whole")
	}
	if b.desk.View == (annotate.UseKey{}) {
		t.Error("nothing is in view")
	}
}

// circle counts the pixels in the picture that show something.
func (b *bench) circle() int {
	w, h := b.shown().Size()
	n := 0
	for y := range h {
		for x := range w {
			if _, ok := b.shown().Pick(float64(x)+0.5, float64(y)+0.5); ok {
				n++
			}
		}
	}
	return n
}
