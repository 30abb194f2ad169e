package session

import (
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/annotate/history"
	"rigatino/annotate/project"
	"rigatino/annotate/tally"
	"rigatino/annotate/terms"
	"rigatino/mesh"
	"rigatino/mesh/render"
)

// ErrNoKind is returned when nothing was chosen on the shelf.
var ErrNoKind = errors.New("choose on the shelf what is there")

// turnDeg keeps a stroke from running round a sharp edge, where that is wanted.
const turnDeg = 50

// stroke is a marking under the brush.
type stroke struct {
	marking *project.Marking
	body    *Body
	brush   facemap.Brush
	last    mesh.SurfacePoint
	taken   int
	skipped int
}

// brush is the brush in mm of the scan.
func (d *Desk) brush(b *Body) facemap.Brush {
	r := d.RadiusMM / b.Use.Scale.Calibrated()
	out := facemap.Brush{RadiusMM: r, Levels: d.levels(b, r)}
	if d.StopAtEdges {
		out.TurnDeg = turnDeg
	}
	return out
}

// levels cuts faces along the outline where the brush is only a few faces wide.
func (d *Desk) levels(b *Body, radius float64) uint8 {
	switch n := radius / b.Surface.MeanEdge(); {
	case n < 5:
		return 3
	case n < 12:
		return 2
	case n < 25:
		return 1
	}
	return 0
}

// BeginStroke puts the brush down on the use in view, as seen through a camera, or
// on the one whose faces are said to carry the fit.
func (d *Desk) BeginStroke(c render.Camera, at mesh.SurfacePoint) error {
	if d.fit.do != NoFitStroke {
		return d.beginFit(c, at)
	}
	m, b, err := d.begin()
	if err != nil {
		return err
	}
	d.stroke = &stroke{marking: m, body: b, brush: d.brush(b), last: at}
	d.stroke.brush.Sight = d.sight(b, c)
	out, err := m.Stroke(b.Surface, at, d.stroke.brush)
	return d.dabbed(out, err)
}

// entry is the region that a stroke adds to: the newest one of the same kind
// whose slip says the same, or a new one.
func (d *Desk) entry() annotate.Region {
	spec := d.Slip
	spec.Layer, spec.Kind, spec.ID, spec.Number = d.Layer, d.Kind, "", 0
	if d.Kind != annotate.Reconstruction {
		spec.Basis = ""
	} else if spec.Basis == "" {
		spec.Basis = "modelled_free"
	}
	if t, ok := terms.Get(terms.List(d.Layer), d.Kind); ok && t.NeedsReason && spec.Reason == "" {
		spec.Reason = "not given yet"
	}
	r := d.Project.Record()
	for i := len(r.Regions) - 1; i >= 0; i-- {
		g := r.Regions[i]
		if g.Use != d.View.String() || g.Layer != spec.Layer || g.Kind != spec.Kind || g.Until != "" || g.Rest {
			continue
		}
		if g.Material == spec.Material && g.Who == spec.Who && g.When == spec.When && g.Note == spec.Note && g.Basis == spec.Basis {
			spec.ID = g.ID
			break
		}
	}
	return spec
}

// ExtendStroke moves the brush.
func (d *Desk) ExtendStroke(at mesh.SurfacePoint) error {
	if d.fit.down {
		return d.extendFit(at)
	}
	s := d.stroke
	if s == nil {
		return nil
	}
	out, err := s.marking.StrokePath(s.body.Surface, []mesh.SurfacePoint{s.last, at}, s.brush)
	s.last = at
	return d.dabbed(out, err)
}

func (d *Desk) dabbed(out facemap.Outcome, err error) error {
	s := d.stroke
	if err != nil {
		d.stroke = nil
		return errors.Join(err, s.marking.Cancel(), d.Refresh([]string{d.View.String()}))
	}
	s.taken += out.Taken
	s.skipped += out.Skipped
	regions := d.regions(d.View)
	if g := s.marking.Region(); g.ID != "" {
		regions = append(regions, g)
	}
	s.body.Looks.Update(out.Diff.Faces(), regions)
	return nil
}

// EndStroke lifts the brush: the stroke becomes one action.
func (d *Desk) EndStroke() (project.Marked, error) {
	s := d.stroke
	if s == nil {
		return project.Marked{}, nil
	}
	d.stroke = nil
	return s.marking.Commit(d.label())
}

// Stroking tells whether the brush is down.
func (d *Desk) Stroking() bool { return d.stroke != nil || d.fit.down }

// MarkRest marks all that is in no region of the use in view.
func (d *Desk) MarkRest(kind, examinedBy, certainty string) (project.Marked, error) {
	out, err := d.Project.MapRest(d.View, annotate.Region{Kind: kind, ExaminedBy: examinedBy, Certainty: certainty, Who: d.Slip.Who, When: d.Slip.When})
	if err != nil {
		return out, err
	}
	return out, d.Refresh([]string{d.View.String()})
}

// Undo and Redo step through the actions and show the maps that changed.
func (d *Desk) Undo() (string, error) { return d.step(d.Project.Undo, "nothing to undo") }

// Redo does the last undone action again.
func (d *Desk) Redo() (string, error) { return d.step(d.Project.Redo, "nothing to redo") }

func (d *Desk) step(do func() (string, []history.MapChange, bool, error), none string) (string, error) {
	label, maps, ok, err := do()
	if err != nil {
		return "", err
	}
	if !ok {
		return "", errors.New(none)
	}
	if len(maps) == 0 {
		return label, d.Refresh(nil)
	}
	// What only marked faces is shown face by face: on a large scan reading the
	// whole map anew is felt.
	r := d.Project.Record()
	var anew []string
	for _, m := range maps {
		for key, b := range d.bodies {
			switch {
			case key.String() != m.Use:
			case reflect.DeepEqual(*r.Use(key), b.Use):
				b.Looks.Update(m.Diff.Faces(), d.regions(key))
			default:
				anew = append(anew, m.Use)
			}
		}
	}
	if len(anew) == 0 {
		return label, nil
	}
	return label, d.Refresh(anew)
}

// MapSum is the SHA-256 of the map in view as it would be stored.
func (d *Desk) MapSum() (string, error) {
	m, err := d.Project.Map(d.View)
	if err != nil {
		return "", err
	}
	data, err := m.Encode()
	if err != nil {
		return "", err
	}
	return strings.TrimSuffix(facemap.FileName(data), ".bin"), nil
}

// RegionAt names the region at a place of the use in view, in words.
func (d *Desk) RegionAt(at mesh.SurfacePoint) string {
	m, err := d.Project.Map(d.View)
	if err != nil {
		return ""
	}
	substance, over := m.At(at, nil)
	record := d.Project.Record()
	regions := record.RegionsOf(d.View.String())
	say := func(number uint16) string {
		g, ok := regions[number]
		if !ok {
			return terms.Label(terms.Substance, annotate.Unassigned)
		}
		return g.ID + " " + terms.Label(terms.List(g.Layer), g.Kind)
	}
	out := say(substance)
	for _, n := range over {
		out += "; " + say(n)
	}
	return out
}

// LiveTally gathers the use in view as it stands, areas only, and returns how to
// reckon it: that takes its time on big scans and may run on any goroutine.
func (d *Desk) LiveTally() (reckon func() (*tally.Sheet, error), err error) {
	b := d.bodies[d.View]
	if b == nil {
		return nil, errNotReady
	}
	m, err := d.Project.Map(d.View)
	if err != nil {
		return nil, err
	}
	in := tally.Input{Stage: d.View.Stage, Bodies: []tally.Body{{
		Piece: d.View.Piece, Use: d.View.String(), Surface: b.Surface, Map: m.Clone(), Regions: d.regions(d.View), Scale: b.Use.Scale,
	}}}
	return func() (*tally.Sheet, error) { return tally.Reckon(in) }, nil
}

// laid is a line as it was laid on the surface.
type laid struct {
	points [][3]float64
	way    []r3.Vec
}

// way is a line of the record laid on the surface; its own points where that
// fails, as for a pin. It is kept: pictures ask for it again and again.
func (d *Desk) way(b *Body, l annotate.Line) []r3.Vec {
	if k, ok := d.laid[l.ID]; ok && slices.Equal(k.points, l.Points) {
		return k.way
	}
	var out []r3.Vec
	if l.Kind != annotate.LinePin {
		out, _ = tally.Trace(b.Surface, l.Points)
	}
	if out == nil {
		for _, p := range l.Points {
			out = append(out, r3.Vec{X: p[0], Y: p[1], Z: p[2]})
		}
	}
	if d.laid == nil {
		d.laid = map[string]laid{}
	}
	d.laid[l.ID] = laid{l.Points, out}
	return out
}

// Brushes are the sizes that the keys step through, mm.
var Brushes = []float64{0.5, 1, 2, 3, 5, 7, 10, 15, 20, 30}

// Reaches are the distances that growing and picking by colour can reach, mm.
var Reaches = []float64{3, 5, 10, 15, 20, 30, 50, 80, 120}

// StepBrush takes the next larger or smaller brush.
func (d *Desk) StepBrush(steps int) {
	at := 0
	for i, r := range Brushes {
		if r <= d.RadiusMM+1e-9 {
			at = i
		}
	}
	d.RadiusMM = Brushes[min(max(at+steps, 0), len(Brushes)-1)]
}

// BrushWords says the size of the brush.
func (d *Desk) BrushWords() string { return fmt.Sprintf("%g\u00a0mm", 2*d.RadiusMM) }
