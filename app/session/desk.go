package session

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/annotate/handover/picture"
	"rigatino/annotate/project"
	"rigatino/annotate/tally"
	"rigatino/annotate/terms"
	"rigatino/mesh"
	"rigatino/mesh/change"
	"rigatino/mesh/frame"
	"rigatino/mesh/quantity"
	"rigatino/mesh/render"
)

// Desk is an open project with what lies on the bench. It is used on the
// window's goroutine, except where a method says otherwise.
type Desk struct {
	Project *project.Project

	View  annotate.UseKey // the use in view
	Other annotate.UseKey // the other date in hand, zero for none
	Show  picture.Show

	Layer    string // of the shelf: substance, applied or condition
	Kind     string // chosen on the shelf; empty for none
	RubOut   bool
	RadiusMM float64
	// StopAtEdges keeps the brush from running round sharp edges, Through lets
	// tools take what is not seen too.
	StopAtEdges, Through bool
	ReachMM              float64         // how far growing and picking by colour go
	AlikeDE              float64         // how alike colours must be to be the same, ΔE00
	Slip                 annotate.Region // what the next entry says: material, who, when, note …

	bodies   map[annotate.UseKey]*Body
	sketches map[annotate.UseKey]*render.Body // of scans that were read and are not ready yet
	stroke   *stroke
	// Changed is the comparison in view, nil for none.
	Changed *project.Comparison
	shownOf *change.Change // what shown and gaps were made for
	shown   []float32      // its gaps, where there is change
	gaps    *Histogram
	// Proposed is what the comparison in view proposes, nil where nobody asked.
	Proposed *project.Proposed
	areas    []int32 // per face of the later scan its change area from 1, 0 for none
	areasOf  *change.Change
	picks    picking
	fit      fitting
	leftover leftover
	// LetScaleDiffer lets the next fit of two dates change the size of the one in view.
	LetScaleDiffer bool
	dry            drying
	bar            BarInHand
	laid           map[string]laid // lines by id

	Bare       bool                // only what is left out is hatched, whatever Show says
	Leaving    LeaveOut            // what a stroke does while a scan is looked at
	proposed   map[string][]uint32 // faces of the scan's proposals by id
	proposedOf annotate.UseKey
	pointed    *Pointed
	hidden     map[string]bool // regions whose pattern is not drawn, by use and id
}

// Body is a use ready to be drawn and marked.
type Body struct {
	*project.Loaded
	Render *render.Body
	Looks  *picture.Looks
	TileMM float64
	Notes  []mesh.Finding
	drawn  float64 // the scale factor that it is drawn with
}

// redrawn is a relative change of the scale factor from which on a body is made
// anew: below it nobody sees the difference.
const redrawn = 1e-4

// Open opens a project and chooses the last stage that has a scan.
func Open(dir string) (*Desk, error) {
	p, err := project.Open(dir, project.Options{})
	if err != nil {
		return nil, err
	}
	return newDesk(p), nil
}

func newDesk(p *project.Project) *Desk {
	d := &Desk{Project: p, bodies: map[annotate.UseKey]*Body{}, hidden: map[string]bool{}, Layer: annotate.LayerSubstance, Show: picture.MapOnSurface, RadiusMM: 5, StopAtEdges: true, ReachMM: 30, AlikeDE: 5}
	d.Slip.Certainty = "seen"
	r := p.Record()
	if stage, err := p.LastStage(); err == nil {
		d.View, _ = firstUse(r, stage)
	}
	if len(p.MappedStages()) == 0 {
		d.Show = picture.AsSeen
	}
	return d
}

// OpenScans makes a project of one or two scan files in a folder of the
// program's own and opens it; the same files open the same project again. unit
// is for files whose format has none. show is given a coarse picture of each large
// scan as soon as that was read.
func OpenScans(ctx context.Context, files []string, unit string, show func(render.Placed), progress func(float64, string)) (*Desk, error) {
	if len(files) == 0 || len(files) > 2 {
		return nil, fmt.Errorf("give a project, or one or two scans, not %d", len(files))
	}
	home, err := os.UserCacheDir()
	if err != nil {
		home = os.TempDir()
	}
	var names []string
	for _, f := range files {
		full, err := filepath.Abs(f)
		if err != nil {
			return nil, fmt.Errorf("open %s: %w", f, err)
		}
		names = append(names, full)
	}
	sum := sha256.Sum256([]byte(strings.Join(names, "\n") + "\n" + unit))
	title := strings.TrimSuffix(filepath.Base(files[0]), filepath.Ext(files[0]))
	dir := filepath.Join(home, "rigatino", "desk", title+"-"+hex.EncodeToString(sum[:4])+".rigatino")
	if _, err := os.Stat(filepath.Join(dir, "project.json")); err == nil {
		return Open(dir)
	}
	p, err := project.New(dir, annotate.Specimen{Title: title})
	if err != nil {
		return nil, err
	}
	kinds := []string{"received", "mech_coarse"}
	sketches := map[annotate.UseKey]*render.Body{}
	for i, f := range names {
		var sketch *render.Body
		read := func(m *mesh.Mesh) {
			if sketch, _ = render.Sketch(ctx, m, render.Options{}); sketch != nil {
				show(render.Placed{Body: sketch})
			}
		}
		added, err := p.AddScan(ctx, project.Adding{Path: f, Stage: kinds[i], Unit: unit, Read: read, Progress: part(progress, float64(i)/float64(len(names)), float64(i+1)/float64(len(names)))})
		if err != nil {
			return nil, errors.Join(err, p.Close(), os.RemoveAll(dir))
		}
		sketches[added.Use.Key()] = sketch
	}
	if err := ctx.Err(); err != nil {
		return nil, errors.Join(err, p.Close(), os.RemoveAll(dir))
	}
	if err := p.Save(); err != nil {
		return nil, errors.Join(err, p.Close())
	}
	d := newDesk(p)
	d.sketches = sketches
	if len(files) == 2 {
		d.Other, _ = firstUse(p.Record(), kinds[0])
	}
	return d, nil
}

// firstUse returns the use of the body at a stage, or of any piece.
func firstUse(r annotate.Record, stage string) (annotate.UseKey, bool) {
	if uses := r.UsesAt(stage, annotate.Body); len(uses) > 0 {
		return uses[0].Key(), true
	}
	for _, u := range r.Uses {
		if u.Stage == stage {
			return u.Key(), true
		}
	}
	return annotate.UseKey{}, false
}

// UseAt returns the use that pressing a stage on the bench line shows.
func (d *Desk) UseAt(stage string) (annotate.UseKey, bool) {
	return firstUse(d.Project.Record(), stage)
}

// Before returns the use that the one in view is compared with where nobody chose
// another: the last scan of its piece before it, of the same part if there is one.
func (d *Desk) Before() (annotate.UseKey, bool) {
	r := d.Project.Record()
	at := r.StageIndex(d.View.Stage)
	var found annotate.UseKey
	ok := false
	for _, u := range r.Chain(d.View.Piece) {
		i := r.StageIndex(u.Stage)
		if i >= at {
			continue
		}
		// Chain is in the order of the stages, so a later one replaces an earlier.
		if !ok || i > r.StageIndex(found.Stage) || u.Part == d.View.Part {
			found, ok = u.Key(), true
		}
	}
	return found, ok
}

// Load makes a use ready; it takes its time and may run on any goroutine, one
// at a time. Keep puts the result on the desk. show, if not nil, is given a coarse
// picture of a large scan as soon as that was read.
func (d *Desk) Load(ctx context.Context, key annotate.UseKey, show func(render.Placed), progress func(float64, string)) (*Body, error) {
	var of, scaled *mesh.Mesh
	var factor float64
	drawn := func(l *project.Loaded, m *mesh.Mesh) *mesh.Mesh {
		if factor = l.Use.Scale.Calibrated(); factor == 1 {
			return m
		}
		if m != of {
			of, scaled = m, mesh.Transform(m, func(v r3.Vec) r3.Vec { return r3.Scale(factor, v) })
		}
		return scaled
	}
	sketch := d.sketches[key]
	read := func(l *project.Loaded, m *mesh.Mesh) {
		if show == nil {
			return
		}
		if sketch == nil {
			sketch, _ = render.Sketch(ctx, drawn(l, m), render.Options{})
		}
		if sketch != nil {
			show(render.Placed{Body: sketch, BodyToScene: d.toScene(l)})
		}
	}
	l, err := d.Project.LoadUseReading(ctx, key, read, part(progress, 0, 0.5))
	if err != nil {
		return nil, err
	}
	m := drawn(l, l.Surface.Mesh)
	if sketch == nil || sketch.Mesh() != m { // it was in memory
		read(l, l.Surface.Mesh)
	}
	if err := readied(ctx, l.Surface, part(progress, 0.5, 0.6)); err != nil {
		return nil, err
	}
	body, err := render.Prepare(ctx, m, render.Options{Weld: l.Surface.Weld, Topology: l.Surface.Topology, Sketch: sketch, Progress: part(progress, 0.6, 0.8)})
	if err != nil {
		return nil, err
	}
	out := &Body{Loaded: l, Render: body, Notes: l.Notes, drawn: factor}
	notes, err := body.LoadTextures(ctx, part(progress, 0.8, 1))
	if err != nil {
		return nil, err
	}
	out.Notes = append(append([]mesh.Finding{}, out.Notes...), notes...)
	box := body.Box()
	size := r3.Sub(box.Max, box.Min)
	out.TileMM = terms.TileFor(math.Max(size.X, math.Max(size.Y, size.Z)))
	return out, nil
}

// readied makes a surface ready for the tools, so that the first stroke does not
// wait: before the drawing, since what is built then makes room for it. Stopped, it
// does not wait for the end.
func readied(ctx context.Context, s *facemap.Surface, progress func(float64, string)) error {
	progress(0, "Preparing the tools")
	done := make(chan struct{})
	go func() {
		s.Ready()
		close(done)
	}()
	select {
	case <-done:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// Keep puts a loaded body on the desk and makes its map drawable.
func (d *Desk) Keep(b *Body) error {
	key := b.Use.Key()
	labels, err := d.Project.Map(key)
	if err != nil {
		return err
	}
	d.lookAt(b, labels)
	d.bodies[key] = b
	delete(d.sketches, key)
	return nil
}

// Body returns a use that was loaded, nil if it was not.
func (d *Desk) Body(key annotate.UseKey) *Body { return d.bodies[key] }

// RegionsHere are the regions of the use in view.
func (d *Desk) RegionsHere() []annotate.Region { return d.regions(d.View) }

func (d *Desk) regions(key annotate.UseKey) []annotate.Region {
	var out []annotate.Region
	r := d.Project.Record()
	for _, g := range r.Regions {
		if g.Use == key.String() {
			out = append(out, g)
		}
	}
	return out
}

// Refresh reads the maps of uses anew, as after undo; nil refreshes all. A body
// whose scale changed so that it shows is taken off the desk, to be loaded again,
// and so is a comparison.
func (d *Desk) Refresh(uses []string) error {
	for key, b := range d.bodies {
		wanted := uses == nil
		for _, u := range uses {
			wanted = wanted || u == key.String()
		}
		if !wanted {
			continue
		}
		l, err := d.Project.LoadUse(context.Background(), key, nil)
		if err != nil {
			return err
		}
		if math.Abs(l.Use.Scale.Calibrated()/b.drawn-1) > redrawn {
			delete(d.bodies, key)
			d.Changed = nil
			continue
		}
		b.Loaded = l
		labels, err := d.Project.Map(key)
		if err != nil {
			return err
		}
		d.lookAt(b, labels)
	}
	return nil
}

// lookAt makes the looks of a body from its map.
func (d *Desk) lookAt(b *Body, labels *facemap.Map) {
	key := b.Use.Key()
	regions := d.regions(key)
	b.Looks = picture.NewLooks(labels, regions, d.Show, b.TileMM)
	for _, g := range regions {
		if d.hidden[g.Use+" "+g.ID] {
			b.Looks.Hide(g.Number, true)
		}
	}
}

// Hidden says whether the pattern of a region of the use in view is not drawn.
func (d *Desk) Hidden(id string) bool { return d.hidden[d.View.String()+" "+id] }

// Hide leaves the pattern of a region of the use in view out of the picture, or
// draws it again. The map, its values and what is handed over stay as they are.
func (d *Desk) Hide(id string, hide bool) {
	d.hidden[d.View.String()+" "+id] = hide
	r := d.Project.Record()
	if g, ok := r.Region(id); ok && d.bodies[d.View] != nil {
		d.bodies[d.View].Looks.Hide(g.Number, hide)
	}
}

// SetShow chooses how the map is laid over the specimen.
func (d *Desk) SetShow(s picture.Show) {
	d.Show = s
	for _, b := range d.bodies {
		b.Looks.SetShow(s)
	}
}

// toScene is the motion that puts a use where it is drawn: the specimen frame,
// or its own where it is not aligned.
func (d *Desk) toScene(b *project.Loaded) *frame.Rigid {
	if pose, ok := d.dryPose(b); ok {
		return &pose
	}
	place := b.ScanToPiece
	if a := b.Use.Alignment; !b.Aligned && a != nil && (a.ScaleChanged || a.Verdict == annotate.VerdictAccepted) {
		// Out of date since a scale was changed: drawn where that carries it.
		place = frame.FromMatrix(a.ScanToPiece)
	}
	place = d.inScene(b, place)
	return &place
}

// inScene brings the place of a use in its piece's frame into the specimen frame.
func (d *Desk) inScene(b *project.Loaded, place frame.Rigid) frame.Rigid {
	r := d.Project.Record()
	if q, ok := r.Piece(b.Use.Piece); ok && q.PieceToSpecimen != nil && b.Use.Piece != annotate.Body {
		place = place.Then(frame.FromMatrix(*q.PieceToSpecimen))
	}
	return place
}

// Placed is a use as the renderer wants it, with its map or, where changed is
// set, with what changed.
func (d *Desk) Placed(key annotate.UseKey, changed bool) (render.Placed, bool) {
	b := d.bodies[key]
	if b == nil {
		return render.Placed{}, false
	}
	out := render.Placed{Body: b.Render, BodyToScene: d.toScene(b.Loaded)}
	if c := d.dryChange(b); c != nil {
		out.Change = c
		return out, true
	}
	if l := d.leftover; l.shown && key == d.View && !changed && l.of(d) {
		out.Change = picture.Change(l.drawn, l.hist.SmallestMM, l.hist.FullMM, b.TileMM)
		return out, true
	}
	switch p := d.pointed; {
	case key != d.View || changed:
	case p != nil && p.marks != nil:
		out.Marks = p.marks
		return out, true
	case d.Bare:
		only := b.Looks.Only(annotate.Support)
		out.Marks = &only
		return out, true
	}
	if c := d.Changed; changed && c != nil && c.To == key {
		d.showGaps(c)
		out.Change = picture.Change(d.shown, c.Change.SmallestMM, fullScale(c), b.TileMM)
		return out, true
	}
	out.Marks = b.Looks.Marks()
	return out, true
}

// Lines are the joins and pins of a use, where they are drawn.
func (d *Desk) Lines(key annotate.UseKey) []render.Line {
	b := d.bodies[key]
	if b == nil || d.Show == picture.AsSeen {
		return nil
	}
	place := d.toScene(b.Loaded)
	var out []render.Line
	r := d.Project.Record()
	for _, l := range r.Lines {
		if l.Use != key.String() {
			continue
		}
		var way []r3.Vec
		for _, p := range d.way(b, l) {
			way = append(way, place.Apply(r3.Scale(b.drawn, p)))
		}
		out = append(out, picture.Line(l.Kind, l.Fit, way))
	}
	return out
}

// Axes are the named directions of the specimen, nil where nobody gave them.
func (d *Desk) Axes() *render.Axes {
	r := d.Project.Record()
	o := r.Specimen.Orientation
	if o == nil {
		return nil
	}
	v := func(a [3]float64) r3.Vec { return r3.Vec{X: a[0], Y: a[1], Z: a[2]} }
	return &render.Axes{Long: v(o.LongAxis), LongName: o.LongAxisName, Face: v(o.Face), FaceName: o.FaceName}
}

// Close gives the project back; what was not saved stays in its journal.
func (d *Desk) Close() error { return d.Project.Close() }

func part(progress func(float64, string), from, to float64) func(float64, string) {
	return func(done float64, words string) {
		if progress != nil {
			progress(from+(to-from)*done, words)
		}
	}
}

// Sheet is a sheet of values, Areas the areas on it by kind.
type (
	Sheet = tally.Sheet
	Areas = map[string]quantity.Measured

	// Measured is a value with its uncertainty.
	Measured = quantity.Measured
)

// IsProject says whether a path is a folder that holds a project.
func IsProject(path string) bool {
	_, err := os.Stat(filepath.Join(path, "project.json"))
	return err == nil
}

// The ways of laying the map over the specimen.
const (
	AsSeen       = picture.AsSeen
	MapOnSurface = picture.MapOnSurface
)

// Shows are the ways of laying the map over the specimen, in the order of the
// buttons.
var Shows = []picture.Show{picture.AsSeen, picture.MapOnSurface, picture.MapOnly}
