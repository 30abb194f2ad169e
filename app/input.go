package app

import (
	"image"
	"image/color"
	"math"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/driver/desktop"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/terms"
	"rigatino/app/look"
	"rigatino/app/part"
	"rigatino/app/session"
	"rigatino/app/tool"
	"rigatino/app/view"
	"rigatino/mesh/render"
)

// turnPerPixel is how far a pixel of dragging turns, radians.
const turnPerPixel = 0.008

// Resized draws again in the new size, with the buttons in as many rows as that
// needs.
func (w *Window) Resized(int, int) {
	fyne.Do(func() {
		if w.desk != nil && w.toolsWide != w.specimen.Size().Width {
			w.tools.RemoveAll()
			w.viewTools()
		}
		if w.camera == w.fitted {
			w.placed = false // shown whole, and whole it stays in the new room
		}
		w.repaint()
	})
}

// Turn turns the specimen with the pointer.
func (w *Window) Turn(dx, dy float64) {
	w.camera = w.camera.Turned(-dx*turnPerPixel, dy*turnPerPixel)
	w.moving()
}

// Nearer comes nearer or goes farther.
func (w *Window) Nearer(steps float64) {
	w.camera = w.camera.Nearer(math.Pow(1.12, steps))
	w.moving()
}

// Brush changes the size of the brush.
func (w *Window) Brush(steps float64) {
	if w.desk == nil || steps == 0 {
		return
	}
	sizes := w.sizes()
	if len(sizes) == 0 {
		return
	}
	i := nearestSize(sizes, *w.size()) + int(math.Copysign(1, steps))
	*w.size() = sizes[min(max(i, 0), len(sizes)-1)]
	w.log("brush", map[string]any{"radius_mm": w.desk.RadiusMM, "reach_mm": w.desk.ReachMM})
	w.brushWords()
	if w.sizeSlider != nil {
		w.sizeSlider.Value = float64(nearestSize(sizes, *w.size()))
		w.sizeSlider.Refresh()
	}
	w.touchRing()
}

// Point follows the pointer with brush ring and loupe.
func (w *Window) Point(x, y float64) {
	w.pointer.x, w.pointer.y, w.pointer.on = x, y, true
	if w.desk == nil {
		return
	}
	switch {
	case w.glass:
		w.moving()
	case w.marking():
		w.touchRing()
	}
}

// Leave takes ring and loupe away.
func (w *Window) Leave() {
	w.pointer.on = false
	switch {
	case w.desk == nil || w.desk.Stroking():
	case w.glass:
		w.repaint()
	default:
		w.touchRing()
	}
}

// pick returns what the picture on screen shows at a place.
func (w *Window) pick(x, y float64) (render.Picked, bool) {
	f := w.shown()
	if f == nil || w.desk == nil {
		return render.Picked{}, false
	}
	p, ok := f.Pick(x, y)
	if !ok || p.Body > 0 { // another body is drawn with the one in view
		return p, false
	}
	if p.Coarse { // the picture shows a coarser copy: ask the whole mesh
		if b := w.desk.Body(w.inSight()); b != nil {
			fw, fh := f.Size()
			if place, ok := w.desk.PlaceOnRay(b, f.Camera(), x, y, fw, fh); ok {
				p.Place = place
			}
		}
	}
	return p, true
}

// inSight is the use that the picture shows: the one in view, or the other while
// a place on it is wanted.
func (w *Window) inSight() annotate.UseKey {
	if on, _, next := w.desk.Picking(); on {
		return next
	}
	if do, on := w.desk.FitBrush(); do != session.NoFitStroke {
		return on
	}
	return w.desk.View
}

// Press puts the tool down: a stroke in Map, a place while picking pairs.
func (w *Window) Press(x, y float64) {
	w.pointer.x, w.pointer.y, w.pointer.on = x, y, true
	if w.desk == nil || w.jobs.Busy() {
		return
	}
	if w.playing.on {
		w.play() // a press stops it
	}
	p, ok := w.pick(x, y)
	if on, _, _ := w.desk.Picking(); on {
		if ok {
			w.picked(p)
		}
		return
	}
	if w.task == taskScale && ok && !p.Inside {
		w.barEnd(p)
		return
	}
	if w.walk.trimming { // the line may begin beside the specimen
		w.hand.lasso = &tool.Lasso{}
		w.hand.lasso.Add(x, y)
		return
	}
	if !w.marking() || !ok || p.Inside {
		if ok && !w.pointOut(p) && !w.sayLeftover(p) {
			w.say(p)
		}
		return
	}
	if w.pressTool(x, y, p) {
		return
	}
	f := w.shown()
	var err error
	w.painter.Hold(func() { err = w.desk.BeginStroke(f.Camera(), p.Place) })
	if err != nil {
		w.next.Say(sentence(err.Error()), part.Warning)
		return
	}
	w.touchRing()
}

// Drag moves it; places that the pointer skipped are filled in.
func (w *Window) Drag(x, y float64) {
	w.pointer.x, w.pointer.y = x, y
	if w.desk == nil || w.dragTool(x, y) || !w.desk.Stroking() {
		return
	}
	p, ok := w.pick(x, y)
	if !ok || p.Inside {
		return
	}
	var err error
	w.painter.Hold(func() { err = w.desk.ExtendStroke(p.Place) })
	if err != nil {
		w.fail(err)
		return
	}
	w.touchRing()
}

// Release makes the stroke one action.
func (w *Window) Release() {
	if w.desk == nil || w.releaseTool() || !w.desk.Stroking() {
		return
	}
	if w.brushesFit() {
		w.fitMarked("fit stroke", w.desk.EndFit)
		return
	}
	done, err := w.desk.EndStroke()
	if err != nil {
		w.fail(err)
		return
	}
	sum, err := w.mapSum()
	w.log("stroke", map[string]any{"use": w.desk.View.String(), "region": done.Region.ID, "kind": done.Region.Kind, "faces": done.Taken, "skipped": done.Skipped, "map": sum, "error": text(err)})
	w.afterMarking(done.Skipped)
}

// Key answers keys on the specimen.
func (w *Window) Key(k *fyne.KeyEvent) bool {
	const step = 0.12
	switch k.Name {
	case fyne.KeyLeft:
		w.turn(-step, 0)
	case fyne.KeyRight:
		w.turn(step, 0)
	case fyne.KeyUp:
		w.turn(0, -step)
	case fyne.KeyDown:
		w.turn(0, step)
	case fyne.KeyReturn, fyne.KeyEnter:
		w.next.PressNext()
	case fyne.KeyHome:
		w.whole()
	default:
		return false
	}
	return true
}

// Rune answers signs typed on the specimen.
func (w *Window) Rune(r rune) bool {
	if w.desk == nil {
		return false
	}
	switch {
	case w.walkKey(r):
	case r >= '0' && r <= '9' && w.task == taskMap:
		w.chooseKey(int(r - '0'))
	case w.task == taskMap && w.toolKey(r):
	case r == '[':
		w.Brush(-1)
	case r == ']':
		w.Brush(1)
	case r == 'n':
		w.nameRegions()
	case r == 'k':
		w.toggleCut()
	case r == 'p':
		w.play()
	case r == ',':
		w.stepStage(-1)
	case r == '.':
		w.stepStage(1)
	case r == '+':
		w.Nearer(2)
	case r == '-':
		w.Nearer(-2)
	case r == 'w' || r == 'W':
		w.whole()
	case r == 'f' || r == 'F':
		w.facing()
	case r == 'l' || r == 'L':
		w.toggleRaking()
	default:
		return false
	}
	return true
}

// toolKey answers the keys of the tools.
func (w *Window) toolKey(r rune) bool {
	if k, ok := tool.ByKey(r); ok {
		w.chooseTool(k)
		return true
	}
	switch r {
	case 'x':
		w.rubOut()
	case 'e':
		w.desk.StopAtEdges = !w.desk.StopAtEdges
		w.log("stop at edges", map[string]any{"on": w.desk.StopAtEdges})
		w.refresh()
	case 't':
		w.desk.Through = !w.desk.Through
		w.log("through", map[string]any{"on": w.desk.Through})
		w.refresh()
	default:
		return false
	}
	return true
}

func (w *Window) turn(yaw, pitch float64) {
	w.camera = w.camera.Turned(-yaw, pitch)
	w.log("turned", nil)
	w.moving()
}

// whole shows the whole specimen from the side it is seen from.
func (w *Window) whole() {
	w.placed = false
	w.log("whole", nil)
	w.repaint()
}

// facing looks straight at the place under the pointer, or in the middle.
func (w *Window) facing() {
	x, y := w.pointer.x, w.pointer.y
	if !w.pointer.on {
		pw, ph := w.specimen.Pixels()
		x, y = float64(pw)/2, float64(ph)/2
	}
	if p, ok := w.pick(x, y); ok {
		w.camera = w.camera.Facing(p.Point, p.Normal)
		w.log("facing", nil)
		w.moving()
	}
}

func (w *Window) moving()  { w.paint(true) }
func (w *Window) repaint() { w.paint(false) }

// paint asks for a picture of what is in view.
func (w *Window) paint(moving bool) {
	if pic, ok := w.compose(); ok {
		w.painter.Ask(pic, moving)
	}
}

// compose puts together what is in view, but for the ring of the brush, which
// is drawn on the finished picture.
func (w *Window) compose() (pic view.Picture, ok bool) {
	pw, ph := w.specimen.Pixels()
	if pw < 16 || ph < 16 {
		return pic, false
	}
	if w.first != nil {
		return w.composeFirst(pw, ph), true
	}
	if w.desk == nil {
		return pic, false
	}
	if pic, ok := w.composeDrift(pw, ph); ok {
		return pic, true
	}
	key := w.inSight()
	body, ok := w.desk.Placed(key, w.showsChange())
	if !ok {
		return pic, false
	}
	if !w.placed {
		whole := body
		if other, ok := w.desk.Placed(w.desk.Other, false); ok && w.desk.Together() {
			whole = other
		}
		w.place(whole, pw, ph)
	}
	th := look.Current()
	c := th.Colours()
	scale := float64(w.win.Canvas().Scale())
	scene := render.Scene{Camera: w.camera, Background: ground(), BackFace: terms.BackFace, Bodies: []render.Placed{body}, PixelScale: scale}
	if w.raking {
		scene.Light = render.RakingLight(w.lightFrom, w.lightHeight)
	}
	if w.task != taskChange {
		scene.Lines = w.desk.Lines(key)
	}
	if on, _, _ := w.desk.Picking(); on {
		scene.Bodies[0].Marks = nil // places are known by how the surface looks
		scene.Lines = nil
	}
	var picks []session.PickMark
	var alignLines []render.Line
	slide, slides := w.slideNow(key, scene.Camera)
	if w.task == taskAlign {
		w.showFit(&scene, key)
		picks = w.desk.PickMarks(key)
		alignLines = w.pickLines(picks, scene.Camera)
		if slides {
			alignLines = append(alignLines, slideLines(slide, scene.Camera)...)
		}
		scene.Lines = append(scene.Lines, alignLines...)
	}
	var bars []session.BarDrawn
	if w.task == taskScale {
		var first *r3.Vec
		bars, first = w.desk.BarsDrawn()
		scene.Lines = w.desk.BarLines(bars, session.Magnified(bars), barLook(c))
		if first != nil {
			scene.Ring = &render.Ring{Centre: *first, RadiusMM: w.desk.Body(key).TileMM / 4, Inner: toRGBA(look.Of(look.Light).Ink), Outer: toRGBA(look.Of(look.Light).AccentText)}
		}
	}
	over := func(*image.RGBA, *render.Frame) {}
	if w.marking() || w.walk.trimming {
		scene.Lines = append(scene.Lines, w.handLines()...)
		over = w.overHand()
	}
	if key == w.desk.View {
		scene.Lines = append(scene.Lines, w.pointedLines()...)
	}
	if nameAt := w.namesShown(); nameAt != nil && key == w.desk.View {
		hand, names := over, w.overLabels(nameAt)
		over = func(img *image.RGBA, f *render.Frame) {
			names(img, f)
			hand(img, f)
		}
	}
	w.addTogether(&scene)
	if w.cut.on {
		scene.Lines = append(scene.Lines, w.cutLines()...)
		hand, cut := over, w.overCut()
		over = func(img *image.RGBA, f *render.Frame) {
			hand(img, f)
			cut(img, f)
		}
	}
	pic = view.Picture{Width: pw, Height: ph, Scene: scene, EdgeX: w.edgeAt * float64(pw), Line: toRGBA(c.Accent), Casing: ground()}
	if other, ok := w.desk.Placed(w.desk.Other, false); ok && (w.glass && w.pointer.on || w.edge) && key == w.desk.View {
		if w.task == taskAlign || w.task == taskChange {
			other.Marks = nil // the other date as the scan shows it
		}
		if w.task == taskAlign {
			body.Marks = nil
			pic.Scene.Bodies = []render.Placed{body}
			pic.Scene.Lines = alignLines
		}
		second := scene
		second.Bodies, second.Lines = []render.Placed{other}, nil
		pic.Other = &second
		if w.glass {
			pic.Glass = &render.Glass{X: w.pointer.x, Y: w.pointer.y, Radius: 65 * scale, Rim: toRGBA(c.Accent), Casing: ground(), Scale: scale}
		}
	}
	paper := toRGBA(c.Card)
	left, right := w.stageWords(w.desk.View.Stage), ""
	if pic.Other != nil {
		right = w.stageWords(w.desk.Other.Stage)
	}
	words := render.TextStyle{Size: float64(th.Px(look.TextRow)) * scale, Bold: true, Colour: toRGBA(c.Ink)}
	bar := w.overScale()
	pic.Over = func(img *image.RGBA, f *render.Frame) {
		if pic.Other != nil {
			y := 66 * scale
			if pic.Glass != nil {
				label(img, words, paper, pic.Glass.X-words.Width(right)/2, pic.Glass.Y+pic.Glass.Radius+24*scale, right)
			} else {
				label(img, words, paper, pic.EdgeX-words.Width(left)-16*scale, y, left)
				label(img, words, paper, pic.EdgeX+16*scale, y, right)
			}
		}
		over(img, f)
		overPicks(img, f, picks, words, paper, scale)
		if slides {
			overSlide(img, f, slide, words, paper, scale)
		}
		nameBars(img, f, bars, words, paper)
		bar(img, f)
	}
	return pic, true
}

// composeFirst shows the coarse copy of the scan that is being opened, alone. Which
// way its faces look is not known yet, so none is called a back face.
func (w *Window) composeFirst(pw, ph int) view.Picture {
	if !w.placed {
		w.place(*w.first, pw, ph)
	}
	scene := render.Scene{Camera: w.camera, Background: ground(), Bodies: []render.Placed{*w.first}, PixelScale: float64(w.win.Canvas().Scale())}
	return view.Picture{Width: pw, Height: ph, Scene: scene, Over: w.overScale()}
}

// overScale returns what draws the scale bar.
func (w *Window) overScale() func(img *image.RGBA, f *render.Frame) {
	th := look.Current()
	c := th.Colours()
	scale := float64(w.win.Canvas().Scale())
	style, paper := render.TextStyle{Size: float64(th.Px(look.TextRow)) * scale, Colour: toRGBA(c.Ink)}, toRGBA(c.Card)
	return func(img *image.RGBA, f *render.Frame) {
		fw, fh := f.Size()
		perMM := f.Camera().PixelsPerMM(fh)
		bar := render.BarLength(perMM, float64(fw)/6)
		length := bar * perMM
		x, y, pad := float64(fw)-length-20*scale, float64(fh)-14*scale, 7*scale
		over := max(0, style.Width(render.BarText(bar))-length) / 2 // of the words beside the bar
		// On a card of its own: near the specimen a dark bone lies behind it.
		render.Fill(img, image.Rect(int(x-over-pad), int(y-2*style.Size-pad), int(x+length+over+pad), int(y+pad)), paper)
		render.ScaleBar(img, x, y, bar, perMM, style, paper)
	}
}

// touch colours parts of the picture on screen anew, from what it knows of
// every pixel: after a dab, or where the ring goes or comes. It is done on the
// window's goroutine, which alone uses the picture that is shown. Where the
// picture shows something else by now, a new one is asked for.
func (w *Window) touch(parts ...image.Rectangle) {
	f := w.shown()
	pic, ok := w.compose()
	if f == nil || !ok {
		return
	}
	if fw, fh := f.Size(); fw != pic.Width || fh != pic.Height || f.Camera() != pic.Scene.Camera || pic.Other != nil {
		w.moving()
		return
	}
	pic.Scene.Ring = w.ring
	for _, r := range parts {
		r = r.Intersect(f.Picture.Rect)
		if r.Empty() {
			continue
		}
		if part, ok := f.Picture.SubImage(f.Reshade(&pic.Scene, r)).(*image.RGBA); ok {
			pic.Over(part, f)
		}
	}
	w.specimen.Touched()
}

// touchRing draws the ring of the brush where the pointer is now, with what the
// brush has changed.
func (w *Window) touchRing() {
	f := w.shown()
	if f == nil || w.first != nil || w.desk == nil {
		return
	}
	var parts []image.Rectangle
	if w.ring != nil {
		parts = append(parts, f.RingRect(w.ring))
	}
	w.ring = nil
	if w.marking() && w.hand.kind == tool.Brush && w.pointer.on {
		if p, ok := f.Pick(w.pointer.x, w.pointer.y); ok {
			w.ring = &render.Ring{Centre: p.Point, RadiusMM: w.desk.RadiusMM, Inner: toRGBA(look.Of(look.Light).Ink), Outer: toRGBA(look.Of(look.Light).AccentText)}
			parts = append(parts, f.RingRect(w.ring))
		}
	}
	if len(parts) == 2 && parts[0].Overlaps(parts[1]) {
		parts = []image.Rectangle{parts[0].Union(parts[1])}
	}
	if len(parts) > 0 {
		w.touch(parts...)
	}
}

// label writes words on a ground of their own; y is their base line.
func label(img *image.RGBA, style render.TextStyle, paper color.RGBA, x, y float64, words string) {
	wide := style.Width(words)
	render.Fill(img, image.Rect(int(x-6), int(y-style.Size*1.1), int(x+wide+7), int(y+style.Size*0.45)), paper)
	style.Draw(img, x, y, words)
}

// place moves the camera so that the specimen fills the picture.
func (w *Window) place(body render.Placed, pw, ph int) {
	if w.camera.Back.X == 0 && w.camera.Back.Y == 0 && w.camera.Back.Z == 0 {
		var axes *render.Axes
		if w.desk != nil {
			axes = w.desk.Axes()
		}
		w.camera = render.NamedViews(axes)[0].Camera
	}
	// Between the rows of buttons, as long as that leaves it room enough.
	margin := max(60, min(float64(w.below*w.win.Canvas().Scale()), float64(ph)/4))
	w.camera = w.camera.Fitted([]render.Placed{body}, pw, ph, margin)
	w.fitted = w.camera
	w.placed = true
}

// shortcuts are the keys that work wherever the focus is.
func (w *Window) shortcuts() {
	add := func(key fyne.KeyName, mod fyne.KeyModifier, do func()) {
		w.win.Canvas().AddShortcut(&desktop.CustomShortcut{KeyName: key, Modifier: mod}, func(fyne.Shortcut) { do() })
	}
	add(fyne.KeyS, fyne.KeyModifierControl, w.Save)
	add(fyne.KeyZ, fyne.KeyModifierControl, w.Undo)
	add(fyne.KeyY, fyne.KeyModifierControl, w.Redo)
	add(fyne.KeyZ, fyne.KeyModifierControl|fyne.KeyModifierShift, w.Redo)
	// The toolkit has types of its own for the usual keys of undo and redo.
	w.win.Canvas().AddShortcut(&fyne.ShortcutUndo{}, func(fyne.Shortcut) { w.Undo() })
	w.win.Canvas().AddShortcut(&fyne.ShortcutRedo{}, func(fyne.Shortcut) { w.Redo() })
	w.win.Canvas().SetOnTypedRune(func(r rune) { w.Rune(r) })
	w.win.Canvas().SetOnTypedKey(func(k *fyne.KeyEvent) {
		if k.Name == fyne.KeyF1 {
			w.help()
			return
		}
		w.Key(k)
	})
}
