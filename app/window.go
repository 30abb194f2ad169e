package app

import (
	"context"
	"errors"
	"image"
	"image/color"
	"path/filepath"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/dialog"
	"fyne.io/fyne/v2/layout"
	"fyne.io/fyne/v2/widget"

	"rigatino/annotate"
	"rigatino/annotate/terms"
	"rigatino/app/eventlog"
	"rigatino/app/job"
	"rigatino/app/look"
	"rigatino/app/part"
	"rigatino/app/session"
	"rigatino/app/tool"
	"rigatino/app/view"
	"rigatino/mesh/render"
)

// Tasks, the same words as the commands.
const (
	taskAdd      = "Add"
	taskScale    = "Scale"
	taskAlign    = "Align"
	taskChange   = "Change"
	taskMap      = "Map"
	taskTally    = "Tally"
	taskHandOver = "Hand over"
)

var tasks = []string{taskAdd, taskScale, taskAlign, taskChange, taskMap, taskTally, taskHandOver}

// autosave is how often what was done is saved by itself.
const autosave = 2 * time.Minute

// Options of the window.
type Options struct {
	Log *eventlog.Log
	// MakeDemo makes the demo project in a folder and returns the project's; nil
	// leaves the offer out.
	MakeDemo func(ctx context.Context, dir string, progress func(float64, string)) (string, error)
}

// Window is the program's window. Everything happens on the toolkit's goroutine
// but where jobs and the painter are named.
type Window struct {
	win   fyne.Window
	theme *look.Theme
	opt   Options
	jobs  *job.Runner

	desk *session.Desk
	task string

	painter   *view.Painter
	specimen  *view.Specimen
	camera    render.Camera
	fitted    render.Camera                     // that shows it whole
	placed    bool                              // the camera fits what is in view
	first     *render.Placed                    // a coarse copy of the scan that is being opened, shown meanwhile; else nil
	sketched  *render.Body                      // shown until the first picture of the whole is
	pickViews map[annotate.UseKey]render.Camera // of each date, while pairs are picked
	frames    []*render.Frame                   // shown last, and the one before

	pointer struct {
		x, y float64
		on   bool
	}
	glass, edge bool
	edgeAt      float64 // share of the picture's width
	raking      bool
	lightFrom   float64 // of the raking light: anticlockwise from the picture's right, radians
	lightHeight float64 // above the picture's plane, radians

	title      *titleBar
	bench      *part.BenchLine
	slip       *fyne.Container
	slipRoom   fyne.CanvasObject // the slip on its ground
	slipOpen   bool              // with large text, while mapping
	shelf      *fyne.Container
	shelfRoom  *fyne.Container // the shelf on its ground
	next       *part.NextBar
	tools      *fyne.Container // over the specimen
	toolsWide  float32         // the width that they were laid out for
	empty      *fyne.Container // in its place while nothing is open
	swatch     map[string]*part.Swatch
	brush      *part.Sentence
	hand       hand
	playing    playback
	cut        cutting
	drift      drifting
	labels     labelling
	below      float32 // where the room below the buttons at the top begins
	named      bool    // regions have their names beside them
	sizeSlider *widget.Slider
	ring       *render.Ring // as it is drawn on the picture shown
	closing    chan struct{}

	looking looking  // at the scan in view, in the task Add
	walk    changing // through what the two dates differ by, in the task Change

	reckoning int               // turns of the live tally
	areas     map[string]string // of the regions of the use in view, as last reckoned
	tallying  bool              // the sheet of values is being reckoned

	typed       session.Typed // about the scale bar in hand
	lengthField *widget.Entry // where its length is written
}

// New fills a window; nothing is open yet.
func New(win fyne.Window, theme *look.Theme, opt Options) *Window {
	w := &Window{win: win, theme: theme, opt: opt, task: taskMap, edgeAt: 0.5, lightFrom: 2.4, lightHeight: 0.2, hand: hand{kind: tool.Brush, grabbed: -1}, closing: make(chan struct{}), swatch: map[string]*part.Swatch{}}
	w.jobs = &job.Runner{Back: fyne.Do, Progress: w.progress}
	w.specimen = view.New(w)
	w.specimen.OnShown = func() {
		if w.first != nil { // it can be turned, no more
			w.log("sketched", nil)
			return
		}
		w.log("ready", nil)
	}
	w.painter = view.NewPainter(w.painted)
	w.build()
	win.SetOnDropped(func(_ fyne.Position, uris []fyne.URI) {
		var paths []string
		for _, u := range uris {
			paths = append(paths, u.Path())
		}
		fyne.Do(func() { w.Open(paths, "") })
	})
	win.SetCloseIntercept(w.Close)
	w.shortcuts()
	go w.autosave()
	return w
}

// build makes the rooms.
func (w *Window) build() {
	w.title = newTitleBar(w)
	w.bench = part.NewBenchLine(w.viewStage, w.holdStage)
	w.next = part.NewNextBar(tasks, w.Choose)
	w.slip = container.NewVBox()
	w.shelf = container.NewHBox()
	w.tools = container.New(&corners{})
	w.empty = container.NewVBox()
	w.shelfRoom = container.NewStack(part.NewGround(pageGround), container.New(pad(8, 8, 16, 16), w.shelf))
	w.slipRoom = onGround(cardGround, container.NewVScroll(container.New(pad(12, 12, 16, 16), w.slip)))
	r := &rooms{
		title:    w.title.room,
		bench:    onGround(cardGround, benchRoom(w)),
		specimen: container.NewStack(w.specimen, w.tools, w.empty),
		slip:     w.slipRoom,
		shelf:    w.shelfRoom,
		next:     w.next,
	}
	w.win.SetContent(container.New(r, r.objects()...))
	w.refresh()
}

// Open opens a project, or one or two scans; unit is for scans whose format has
// none.
func (w *Window) Open(paths []string, unit string) {
	var desk *session.Desk
	w.run("Opening "+filepath.Base(paths[0]), func(ctx context.Context, report job.Report) (err error) {
		if len(paths) == 1 && session.IsProject(paths[0]) {
			desk, err = session.Open(paths[0])
		} else {
			desk, err = session.OpenScans(ctx, paths, unit, w.showFirst, report)
		}
		return err
	}, func() {
		if w.desk != nil {
			w.log("closed", nil)
			if err := w.desk.Close(); err != nil {
				w.fail(err)
			}
		}
		w.desk = desk
		w.areas = nil
		w.cut = cutting{}
		w.looking, w.walk = looking{}, changing{area: -1}
		w.opt.Log.Write("opened", map[string]any{"project": desk.Project.Dir(), "view": desk.View.String()})
		w.placed = w.first != nil // it lies where the scan will
		w.refresh()
		w.load(desk.View, func() {
			if desk.Other != (annotate.UseKey{}) {
				w.load(desk.Other, w.repaint)
			}
		})
	})
}

const waitWords = "Wait until the work under way has ended, or press **Stop**."

// run does a job beside the window; done is called when it succeeded.
func (w *Window) run(words string, work func(context.Context, job.Report) error, done func()) {
	err := w.jobs.Start(work, func(err error) {
		if err != nil {
			w.dropFirst()
		}
		switch {
		case errors.Is(err, context.Canceled) && w.tallying:
			w.tallying = false
			w.refresh()
		case errors.Is(err, context.Canceled):
			w.next.Say("Stopped. Nothing was changed.", part.Ink)
			w.log("stopped", map[string]any{"what": words})
		case err != nil:
			w.fail(err)
		default:
			done()
		}
	})
	if err != nil {
		w.next.Say(waitWords, part.Warning)
		return
	}
	w.next.Say(words+" …", part.Ink)
}

func (w *Window) progress(done float64, words string) {
	w.next.Progress(done, w.jobs.Stop)
	if done < 0 {
		w.endDrift()
	}
	if done >= 0 && words != "" {
		w.next.Say(title(words)+" … You can go on turning the specimen.", part.Ink)
	}
}

// fail says what went wrong in the Next bar, and in a dialog where it is long.
func (w *Window) fail(err error) {
	w.log("failed", map[string]any{"error": err.Error()})
	text := sentence(err.Error())
	w.next.Say(text, part.Refused)
	if len(text) > 190 {
		d := dialog.NewInformation("That did not work", text, w.win)
		d.Resize(fyne.NewSize(560, 240))
		d.Show()
	}
}

func (w *Window) log(event string, fields map[string]any) { w.opt.Log.Write(event, fields) }

// mapSum is the SHA-256 of the map in view for the log; empty where none is kept.
func (w *Window) mapSum() (string, error) {
	if !w.opt.Log.On() {
		return "", nil
	}
	return w.desk.MapSum()
}

// load makes a use ready to be shown, then calls done.
func (w *Window) load(key annotate.UseKey, done func()) {
	if key == (annotate.UseKey{}) || w.desk.Body(key) != nil {
		done()
		return
	}
	desk := w.desk
	show := w.showFirst
	if key != desk.View {
		show = nil // another date is in view
	}
	var body *session.Body
	w.run("Preparing the scan of "+w.stageWords(key.Stage), func(ctx context.Context, report job.Report) (err error) {
		body, err = desk.Load(ctx, key, show, report)
		return err
	}, func() {
		if w.first != nil {
			w.first, w.sketched = nil, w.first.Body
		}
		if desk != w.desk {
			return
		}
		var err error
		w.painter.Hold(func() { err = desk.Keep(body) })
		if err != nil {
			w.fail(err)
			return
		}
		w.log("loaded", map[string]any{"use": key.String(), "triangles": body.Surface.Mesh.FaceCount()})
		for _, n := range body.Notes {
			w.log("note", map[string]any{"id": n.ID, "reason": n.Reason})
		}
		w.refresh()
		done()
	})
}

// showFirst shows a coarse copy of the scan that is being opened, until the whole is
// there. It is called by the job that opens it.
func (w *Window) showFirst(p render.Placed) {
	w.jobs.Back(func() {
		if !w.jobs.Busy() { // stopped, or done already
			return
		}
		if w.first == nil {
			w.placed = false
			w.specimen.Await()
			w.empty.RemoveAll()
			w.empty.Refresh()
		} else if w.first.Body != p.Body {
			w.placed = false // of two scans the second may lie elsewhere
		}
		w.first = &p
		w.log("sketch", map[string]any{"triangles": p.Body.Mesh().FaceCount()})
		w.repaint()
	})
}

// dropFirst takes it away where the scan could not be opened.
func (w *Window) dropFirst() {
	if w.first == nil {
		return
	}
	w.first, w.placed = nil, false
	w.specimen.Present(nil)
	w.refresh()
}

// readyOther makes the other date ready where that was put off by other work.
func (w *Window) readyOther() {
	if key := w.desk.Other; key != (annotate.UseKey{}) && w.desk.Body(key) == nil && !w.jobs.Busy() {
		w.load(key, w.repaint)
	}
}

// viewStage puts a stage in view.
func (w *Window) viewStage(stage string) {
	if w.desk == nil {
		return
	}
	key, ok := w.desk.UseAt(stage)
	if !ok {
		w.next.Say("No scan was made at this stage. Add one, or choose another date.", part.Warning)
		return
	}
	w.putDown()
	w.desk.View = key
	w.areas = nil
	w.desk.Changed = nil
	w.desk.DropBar()
	w.desk.PointAt(nil)
	w.looking.at, w.walk = 0, changing{area: -1}
	if w.desk.Other == key {
		w.desk.Other = annotate.UseKey{}
		w.glass, w.edge = false, false
	}
	w.log("view", map[string]any{"use": key.String()})
	w.load(key, w.refresh)
}

// holdStage takes a second date in hand, or puts it down again.
func (w *Window) holdStage(stage string) {
	if w.desk == nil {
		return
	}
	key, ok := w.desk.UseAt(stage)
	w.putDown()
	if !ok || key == w.desk.View {
		w.refresh()
		return
	}
	w.desk.Changed = nil
	w.desk.PointAt(nil)
	w.walk = changing{area: -1}
	if w.desk.Other == key {
		w.desk.Other = annotate.UseKey{}
		w.glass, w.edge = false, false
		w.refresh()
		return
	}
	w.desk.Other = key
	w.glass, w.edge = true, false
	w.log("hold", map[string]any{"use": key.String()})
	w.load(key, w.refresh)
}

// putDown ends what was begun with the two dates in hand.
func (w *Window) putDown() {
	w.desk.EndPicking()
	w.desk.BrushFit(session.NoFitStroke, annotate.UseKey{})
	w.desk.LetScaleDiffer = false
	w.desk.ShowLeftover(false)
	w.desk.EndDryFit()
}

// Choose takes up a task.
func (w *Window) Choose(task string) {
	if w.tallying { // nobody waits for it any more
		w.jobs.Stop()
	}
	w.task = task
	w.playing.on = false
	w.hand = hand{kind: w.hand.kind, fit: w.hand.fit, grabbed: -1}
	if w.desk != nil {
		w.putDown()
		w.desk.DropBar()
		w.desk.Leaving, w.desk.Bare = session.NotLeaving, false
		w.desk.PointAt(nil)
	}
	w.looking, w.walk = looking{}, changing{area: -1}
	w.log("task", map[string]any{"task": task})
	if task == taskChange && w.desk != nil && w.desk.Other == (annotate.UseKey{}) {
		if key, ok := w.desk.Before(); ok {
			w.desk.Other = key
			w.log("hold", map[string]any{"use": key.String()})
		}
	}
	w.refresh()
}

// refresh shows everything as it stands.
func (w *Window) refresh() {
	w.title.refresh()
	w.refreshBench()
	w.next.Choose(w.task)
	w.next.Offer("", nil)
	w.next.OfferBack("", nil)
	if _, writing := w.win.Canvas().Focused().(*widget.Entry); writing {
		w.win.Canvas().Unfocus() // a field that is gone would go on swallowing keys
	}
	w.slip.RemoveAll()
	w.shelf.RemoveAll()
	w.shelf.Layout = layout.NewCustomPaddedHBoxLayout(look.Gap)
	w.tools.RemoveAll()
	w.empty.RemoveAll()
	w.swatch = map[string]*part.Swatch{}
	if w.desk == nil {
		w.startRoom()
	} else {
		w.viewTools()
		switch w.task {
		case taskAdd:
			w.addTask()
		case taskScale:
			w.scaleTask()
		case taskAlign:
			w.alignTask()
		case taskChange:
			w.changeTask()
		case taskMap:
			w.mapTask()
		case taskTally:
			w.tallyTask()
		case taskHandOver:
			w.handOverTask()
		}
	}
	if w.slipYields() && !w.slipOpen {
		w.slipRoom.Hide()
	} else {
		w.slipRoom.Show()
	}
	w.shelfRoom.Hidden = len(w.shelf.Objects) == 0
	w.win.Content().Refresh()
	w.repaint()
}

// refreshBench shows the stages as beads.
func (w *Window) refreshBench() {
	var beads []part.Bead
	if w.desk != nil {
		r := w.desk.Project.Record()
		for _, s := range r.Stages {
			b := part.Bead{Stage: s.ID, Date: shortDate(s.Date), Word: lower(terms.Label(terms.StageKind, s.Kind))}
			switch s.ID {
			case w.desk.View.Stage:
				b.Held = 1
			case w.desk.Other.Stage:
				b.Held = 2
			}
			_, scanned := w.desk.UseAt(s.ID)
			b.Unscanned = !scanned
			beads = append(beads, b)
		}
	}
	w.bench.SetBeads(beads)
}

// useWords names a scan by its stage, and by its piece where that is not the body.
func (w *Window) useWords(key annotate.UseKey) string {
	if key.Piece == annotate.Body {
		return w.stageWords(key.Stage)
	}
	return key.Piece + ", " + w.stageWords(key.Stage)
}

func (w *Window) stageWords(id string) string {
	r := w.desk.Project.Record()
	if s, ok := r.Stage(id); ok {
		return lower(terms.Label(terms.StageKind, s.Kind)) + ", " + shortDate(s.Date)
	}
	return id
}

// painted gets a finished picture on the painter's goroutine.
func (w *Window) painted(img *image.RGBA, f *render.Frame, q render.Quality, took time.Duration) {
	fyne.Do(func() {
		if w.sketched != nil && !f.Holds(w.sketched) {
			w.sketched = nil
			w.specimen.Await()
		}
		w.frames = append(w.frames, f)
		w.specimen.Present(img)
		w.driftOn()
		if len(w.frames) > 2 {
			w.painter.Free(w.frames[0])
			w.frames = w.frames[1:]
		}
		w.ring = nil
		w.touchRing()
		w.log("frame", map[string]any{"settled": q != render.Moving, "took_ms": took.Milliseconds(), "width": img.Rect.Dx(), "height": img.Rect.Dy()})
	})
}

// shown is the frame that is on screen, nil if none is.
func (w *Window) shown() *render.Frame {
	if len(w.frames) == 0 {
		return nil
	}
	return w.frames[len(w.frames)-1]
}

// Save saves the project, beside the window.
func (w *Window) Save() {
	if w.desk == nil || w.desk.Project.Unsaved() == 0 {
		return
	}
	p := w.desk.Project
	w.run("Saving", func(context.Context, job.Report) error { return p.Save() }, func() {
		sum, err := w.mapSum()
		w.log("saved", map[string]any{"map": sum, "error": text(err)})
		w.next.Say("Saved.", part.Accepted)
		w.title.refresh()
	})
}

func (w *Window) autosave() {
	t := time.NewTicker(autosave)
	defer t.Stop()
	for {
		select {
		case <-w.closing:
			return
		case <-t.C:
			fyne.Do(func() {
				if w.desk != nil && !w.desk.Stroking() && !w.jobs.Busy() {
					w.Save()
				}
			})
		}
	}
}

// Close lets go of the project and closes the window.
func (w *Window) Close() {
	w.LetGo()
	w.win.Close()
}

// LetGo stops what runs and closes the project, so that its lock does not
// outlive the program; it may be called again. What was not saved stays in the
// project's journal and is there when it is opened again.
func (w *Window) LetGo() {
	select {
	case <-w.closing:
		return
	default:
		close(w.closing)
	}
	w.jobs.Stop()
	w.painter.Close()
	if w.desk != nil {
		if err := w.desk.Close(); err != nil {
			w.log("failed", map[string]any{"error": err.Error()})
		}
	}
	w.log("closed", nil)
}

// ground returns the background of the specimen as the renderer takes it.
func ground() color.RGBA {
	c := look.Current().Colours().Ground
	return color.RGBA{c.R, c.G, c.B, 255}
}

func toRGBA(c color.NRGBA) color.RGBA { return color.RGBA{c.R, c.G, c.B, 255} }
