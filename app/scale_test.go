package app

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"image"
	"image/png"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/driver/desktop"
	fynetest "fyne.io/fyne/v2/test"
	"fyne.io/fyne/v2/widget"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/app/look"
	"rigatino/app/part"
	"rigatino/mesh"
	"rigatino/mesh/ply"
	"rigatino/mesh/render"
	"rigatino/mesh/solid"
)

// bench is a window on the toolkit's own driver. What jobs and painter bring
// back is done by the test, one thing after another.
type bench struct {
	*testing.T
	*Window
	back chan func()
}

// openBall opens a window on a scan of a ball of radius 40 mm.
func openBall(t *testing.T, width, height float32) *bench {
	t.Helper()
	return openWindow(t, width, height, scanFile(t, solid.Icosphere(5, 40)))
}

// scanFile writes a mesh in mm as a scan and returns its path.
func scanFile(t *testing.T, m *mesh.Mesh) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "scan.ply")
	var buf bytes.Buffer
	if err := ply.Write(&buf, m, ply.WriteOptions{}); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, buf.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	return file
}

// openWindow opens a window on a project, or on one or two scans in mm.
func openWindow(t *testing.T, width, height float32, path ...string) *bench {
	t.Helper()
	b := emptyWindow(t, width, height)
	b.Open(path, "mm")
	b.until("the scan is loaded", func() bool { return b.desk != nil && b.desk.Body(b.desk.View) != nil })
	b.win.Canvas().Capture() // tells the specimen its size
	b.repaint()
	b.until("the scan is shown", func() bool { return b.shown() != nil })
	return b
}

// emptyWindow opens a window on nothing.
func emptyWindow(t *testing.T, width, height float32) *bench {
	t.Helper()
	t.Setenv("XDG_CACHE_HOME", t.TempDir())
	a := fynetest.NewTempApp(t)
	theme := &look.Theme{Scale: 1}
	a.Settings().SetTheme(theme)
	win := a.NewWindow("Rigatino")
	win.SetPadded(false)
	b := &bench{T: t, back: make(chan func(), 4096)}
	b.Window = New(win, theme, Options{})
	b.jobs.Back = func(f func()) { b.back <- f }
	b.painter.Done = func(img *image.RGBA, f *render.Frame, q render.Quality, took time.Duration) {
		b.back <- func() { b.painted(img, f, q, took) }
	}
	t.Cleanup(func() {
		b.jobs.Wait()
		b.Close()
	})
	win.Resize(fyne.NewSize(width, height))
	return b
}

// until does what comes back until something holds.
func (b *bench) until(what string, holds func() bool) {
	b.Helper()
	deadline := time.After(60 * time.Second)
	for !holds() {
		select {
		case f := <-b.back:
			f()
		case <-deadline:
			b.Fatalf("never: %s; the Next bar says %q", what, b.next.Text())
		}
	}
}

// calm waits until no job is under way and its end was done.
func (b *bench) calm() {
	b.Helper()
	b.jobs.Wait()
	for {
		select {
		case f := <-b.back:
			f()
			b.jobs.Wait()
			continue
		default:
		}
		return
	}
}

// each visits everything that is shown.
func each(o fyne.CanvasObject, visit func(fyne.CanvasObject)) {
	if o == nil || !o.Visible() {
		return
	}
	visit(o)
	switch x := o.(type) {
	case *fyne.Container:
		for _, c := range x.Objects {
			each(c, visit)
		}
	case fyne.Widget:
		for _, c := range fynetest.WidgetRenderer(x).Objects() {
			each(c, visit)
		}
	}
}

// press presses the button with a word.
func (b *bench) press(word string) {
	b.Helper()
	var found *part.Button
	each(b.win.Content(), func(o fyne.CanvasObject) {
		if x, ok := o.(*part.Button); ok && x.Word == word {
			found = x
		}
	})
	if found == nil {
		b.Fatalf("there is no button %q", word)
	}
	fynetest.Tap(found)
	b.calm()
}

// write types into the field with a hint, in place of what stood there.
func (b *bench) write(hint, text string) {
	b.Helper()
	var found *widget.Entry
	each(b.win.Content(), func(o fyne.CanvasObject) {
		if x, ok := o.(*widget.Entry); ok && x.PlaceHolder == hint {
			found = x
		}
	})
	if found == nil {
		b.Fatalf("there is no field %q", hint)
	}
	found.SetText("")
	fynetest.Type(found, text)
}

// words is everything written in a part of the window.
func words(o fyne.CanvasObject) string {
	var out []string
	each(o, func(o fyne.CanvasObject) {
		if x, ok := o.(*canvas.Text); ok && x.Text != "" {
			out = append(out, x.Text)
		}
	})
	return strings.ReplaceAll(strings.Join(out, " "), "\u00a0", " ")
}

// touch presses on the specimen where a place of it is seen, and returns the
// place of the scan that was hit.
func (b *bench) touch(at r3.Vec) {
	b.Helper()
	b.until("the picture shows the camera", func() bool {
		f := b.shown()
		return f != nil && f.Camera() == b.camera
	})
	pw, ph := b.specimen.Pixels()
	x, y, _, ok := b.camera.Project(at, pw, ph)
	if !ok {
		b.Fatalf("%v is not in the picture", at)
	}
	e := &desktop.MouseEvent{Button: desktop.MouseButtonPrimary}
	e.Position = b.specimen.Place(x, y)
	b.specimen.MouseDown(e)
	b.specimen.MouseUp(e)
}

// bar picks a bar between two places and returns its length in the scan.
func (b *bench) bar(from, to r3.Vec) float64 {
	b.Helper()
	b.touch(from)
	if in := b.desk.Bar(); in.First == nil || !strings.Contains(b.next.Text(), "other end") {
		b.Fatalf("after the first end: %+v, %q", in, b.next.Text())
	}
	b.touch(to)
	in := b.desk.Bar()
	if !in.On {
		b.Fatalf("after the second end: %+v, %q", in, b.next.Text())
	}
	return in.Bar.MeasuredMM()
}

func (b *bench) scale() annotate.Scale {
	r := b.desk.Project.Record()
	return r.Use(b.desk.View).Scale
}

// facing are places of the ball on the side that the window shows first, by the
// picture's right and up, in radii.
func (b *bench) facing(right, up float64) r3.Vec {
	c := b.camera
	out := r3.Add(r3.Scale(right, c.Right), r3.Scale(up, c.Up))
	return r3.Scale(40, r3.Add(out, r3.Scale(math.Sqrt(1-right*right-up*up), c.Back)))
}

// Bars are picked with the pointer and written with keys; the verdict follows
// from none to three, undo and redo step through them, a bar in doubt and a wrong
// unit are told, and nothing typed wrong changes anything.
func TestScaleTask(t *testing.T) {
	b := openBall(t, 1280, 800)
	b.press("Scale")
	if !strings.Contains(b.next.Text(), "both ends of one scale bar") || !strings.Contains(words(b.slip), "no scale bar counts") {
		t.Fatalf("at first: %q; %q", b.next.Text(), words(b.slip))
	}
	ends := [][2]r3.Vec{{b.facing(-0.7, 0), b.facing(0.7, 0.1)}, {b.facing(0, -0.7), b.facing(0.1, 0.7)}, {b.facing(-0.5, -0.5), b.facing(0.5, 0.5)}}
	const larger = 1.02
	for i, verdict := range []string{annotate.ScaleUnverified, annotate.ScaleDifferenceOnly, annotate.ScaleVerified} {
		l := b.bar(ends[i][0], ends[i][1])
		if want := r3.Norm(r3.Sub(ends[i][0], ends[i][1])); i == 0 && math.Abs(l-want) > 0.5 {
			t.Fatalf("the bar is %.3f mm long in the scan, want %.3f", l, want)
		}
		if b.win.Canvas().Focused() != b.lengthField {
			t.Error("the length cannot be typed at once")
		}
		b.write("100.02", fmt.Sprintf("%.3f", l*larger))
		b.write("0.02", "0,02")
		b.press("Keep this bar")
		if f := b.win.Canvas().Focused(); f != nil {
			t.Errorf("keys still go to %T, which is gone", f)
		}
		if s := b.scale(); s.Verdict != verdict || len(s.Bars) != i+1 || math.Abs(s.Factor/larger-1) > 1e-4 {
			t.Fatalf("after %d bars: %+v; %q", i+1, s, b.next.Text())
		}
		if got := b.desk.Body(b.desk.View); got == nil || got.Use.Scale.Factor != b.scale().Factor {
			t.Fatal("the specimen is not shown in its new size")
		}
		// The specimen is larger now; places on it are too.
		for k := range ends {
			for e := range ends[k] {
				if i == 0 {
					ends[k][e] = r3.Scale(larger, ends[k][e])
				}
			}
		}
	}
	slip := words(b.slip)
	for _, want := range []string{"Verified", "by 3 scale bars", "lengths are known to", "areas to", "volumes to", "(k = 2)", "B1", "B2", "B3", "residual"} {
		if !strings.Contains(slip, want) {
			t.Errorf("the slip does not say %q: %s", want, slip)
		}
	}
	if n := strings.Count(slip, "lengths are known to"); n != 1 {
		t.Errorf("what the scale is worth is said %d times", n)
	}
	if drawn, _ := b.desk.BarsDrawn(); len(drawn) != 3 || !drawn[0].Checked {
		t.Errorf("drawn are %+v", drawn)
	}

	b.Undo()
	b.calm()
	if s := b.scale(); len(s.Bars) != 2 || s.Verdict != annotate.ScaleDifferenceOnly {
		t.Errorf("after undo: %+v", s)
	}
	b.Redo()
	b.calm()
	if s := b.scale(); len(s.Bars) != 3 || s.Verdict != annotate.ScaleVerified {
		t.Errorf("after redo: %+v", s)
	}

	// A bar that is wrong is in doubt, and is put right.
	b.press("B2")
	right := b.typed.Length
	b.write("100.02", "90")
	b.press("Keep this bar")
	if s := b.scale(); s.Verdict != annotate.ScaleUnverified || !strings.Contains(b.next.Text(), "ar B2 is") {
		t.Errorf("with a wrong bar: %s, %q", s.Verdict, b.next.Text())
	}
	if drawn, _ := b.desk.BarsDrawn(); len(drawn) != 3 || !drawn[1].Doubted {
		t.Errorf("drawn are %+v", drawn)
	}
	b.press("B2")
	b.write("100.02", right)
	b.press("Keep this bar")
	if s := b.scale(); s.Verdict != annotate.ScaleVerified {
		t.Errorf("put right: %s, %q", s.Verdict, b.next.Text())
	}

	// Nonsense is said in words and changes nothing.
	before := b.scale()
	b.press("B1")
	b.write("100.02", "long")
	b.press("Keep this bar")
	if !strings.Contains(b.next.Text(), "“") && !strings.Contains(b.next.Text(), `"long"`) {
		t.Errorf("nonsense: %q", b.next.Text())
	}
	if after := b.scale(); after.Factor != before.Factor || len(after.Bars) != 3 {
		t.Errorf("nonsense changed the scale: %+v", after)
	}
	b.press("Leave it")

	// Bars are taken away; one that is left with its length in cm is a wrong unit,
	// until somebody says that it is right.
	for _, name := range []string{"B3", "B2"} {
		b.press(name)
		b.press("Take this bar away")
	}
	b.press("B1")
	var l float64
	if _, err := fmt.Sscan(b.typed.Length, &l); err != nil {
		t.Fatal(err)
	}
	b.write("100.02", fmt.Sprint(l/larger/10))
	b.press("Keep this bar")
	if s := b.scale(); s.Factor != 1 || s.Verdict != annotate.ScaleAsStated || len(s.Bars) != 1 || !strings.Contains(b.next.Text(), "wrong unit") {
		t.Errorf("a length in cm: %+v, %q", s, b.next.Text())
	}
	b.press("The lengths are right")
	if s := b.scale(); math.Abs(s.Factor-0.1) > 1e-4 || s.Verdict != annotate.ScaleUnverified {
		t.Errorf("a length that was checked: %+v, %q", s, b.next.Text())
	}

	// A bar may be typed.
	b.press("Type a bar")
	b.write("100.02", "20")
	b.write("0.02", "0.02")
	b.write("99.87", "200")
	b.press("Keep this bar")
	if s := b.scale(); len(s.Bars) != 2 || s.Bars[1].From != nil || s.Bars[1].Measured != 200 {
		t.Errorf("a typed bar: %+v, %q", s, b.next.Text())
	}
}

// No word of the task is cut off: buttons are as wide as their words, everything
// written lies in its room, at every size of text and in the smallest window.
func TestScaleTaskShowsEveryWord(t *testing.T) {
	for _, size := range []fyne.Size{{Width: 1280, Height: 800}, {Width: 1100, Height: 720}} {
		b := openBall(t, size.Width, size.Height)
		b.press("Scale")
		for i, e := range [][2]r3.Vec{{b.facing(-0.7, 0), b.facing(0.7, 0.1)}, {b.facing(0, -0.7), b.facing(0.1, 0.7)}, {b.facing(-0.5, -0.5), b.facing(0.5, 0.5)}} {
			b.write2(b.bar(e[0], e[1])*(1+0.00001*float64(i*i)), "0.02")
		}
		b.press("B2")
		for _, scale := range look.Sizes {
			b.theme.Scale = scale
			b.restyle()
			b.calm()
			b.fits(fmt.Sprintf("%g x %g at size %g", size.Width, size.Height, scale))
			if dir := os.Getenv("RIGATINO_PICTURES"); dir != "" {
				b.picture(filepath.Join(dir, fmt.Sprintf("scale-%gx%g-%g.png", size.Width, size.Height, scale)))
			}
		}
	}
}

func (b *bench) write2(length float64, u string) {
	b.Helper()
	b.write("100.02", fmt.Sprintf("%.3f", length))
	b.write("0.02", u)
	b.press("Keep this bar")
}

// fits holds every word against the window and, in the slip, against its room.
func (b *bench) fits(when string) {
	b.Helper()
	driver := fyne.CurrentApp().Driver()
	within := func(o fyne.CanvasObject, left, right float32) {
		x, ok := o.(*canvas.Text)
		if !ok || x.Text == "" {
			return
		}
		at := driver.AbsolutePositionForObject(x).X
		if end := at + x.MinSize().Width; at < left-0.5 || end > right+0.5 {
			b.Errorf("%s: %q runs from %.0f to %.0f, its room from %.0f to %.0f", when, x.Text, at, end, left, right)
		}
	}
	each(b.win.Content(), func(o fyne.CanvasObject) {
		within(o, 0, b.win.Canvas().Size().Width)
		if x, ok := o.(*part.Button); ok && x.MinSize().Width > x.Size().Width+0.5 {
			b.Errorf("%s: button %q needs %.0f and has %.0f", when, x.Word, x.MinSize().Width, x.Size().Width)
		}
	})
	left := driver.AbsolutePositionForObject(b.slip).X
	each(b.slip, func(o fyne.CanvasObject) { within(o, left, left+b.slip.Size().Width) })
}

func (b *bench) picture(path string) {
	b.Helper()
	var buf bytes.Buffer
	if err := png.Encode(&buf, b.win.Canvas().Capture()); err != nil {
		b.Fatal(err)
	}
	if err := os.WriteFile(path, buf.Bytes(), 0o644); err != nil {
		b.Fatal(err)
	}
}
