package session

import (
	"context"
	"errors"
	"math"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/annotate/project"
	"rigatino/annotate/terms"
	"rigatino/mesh"
	"rigatino/mesh/colour"
	"rigatino/mesh/frame"
	"rigatino/mesh/geodesic"
	"rigatino/mesh/render"
)

// Placing is how a use of the desk lies in the scene: Factor first, then
// ToScene.
type Placing struct {
	Factor  float64
	ToScene frame.Rigid
}

// Place is where a place of the scan lies in the scene.
func (p Placing) Place(v r3.Vec) r3.Vec { return p.ToScene.Apply(r3.Scale(p.Factor, v)) }

// Placing says how the use in view lies in the scene.
func (d *Desk) Placing(b *Body) Placing {
	p := Placing{Factor: b.Use.Scale.Factor, ToScene: *d.toScene(b.Loaded)}
	if !(p.Factor > 0) {
		p.Factor = 1
	}
	return p
}

// sight is what somebody sees of a scan through a camera; nil when told to take
// what is hidden too.
func (d *Desk) sight(b *Body, c render.Camera) *facemap.Sight {
	if d.Through {
		return nil
	}
	p := d.Placing(b)
	back := p.ToScene.Inverse()
	if c.Orthographic {
		box := mesh.Bounds(b.Surface.Mesh)
		return b.Surface.NewSightAlong(back.Turn(r3.Scale(-1, c.Back)), 2*box.Diagonal())
	}
	return b.Surface.NewSight(r3.Scale(1/p.Factor, back.Apply(c.Eye())))
}

// Colours gives the colour of a face of the scan, nil if it has none.
func (b *Body) Colours() func(face uint32) colour.Lab {
	if _, ok := b.Render.FaceColour(0); !ok {
		return nil
	}
	return func(face uint32) colour.Lab {
		c, _ := b.Render.FaceColour(face)
		return colour.LabOf(c.R, c.G, c.B)
	}
}

var errNotReady = errors.New("the scan is not ready yet")

// Marked is what a marking did.
type Marked = project.Marked

// begin begins to mark, or to rub out, the use in view.
func (d *Desk) begin() (*project.Marking, *Body, error) {
	if d.stroke != nil {
		return nil, nil, errors.New("a stroke is under way")
	}
	b := d.bodies[d.View]
	if b == nil {
		return nil, nil, errNotReady
	}
	if d.Leaving != NotLeaving {
		return d.beginLeaving()
	}
	if d.RubOut {
		m, err := d.Project.BeginRubbingOut(d.View, d.Layer, "")
		return m, b, err
	}
	if d.Kind == "" {
		return nil, nil, ErrNoKind
	}
	m, err := d.Project.BeginMarking(d.View, d.entry())
	return m, b, err
}

// Area is an area that is being found, to be marked in one action.
type Area struct {
	marking *project.Marking
	body    *Body
	key     annotate.UseKey
	label   string
	find    func(ctx context.Context) (project.Found, error)
	found   project.Found
}

// Find finds the area. It may take its time and run on any goroutine; once ctx
// is done it returns its error.
func (a *Area) Find(ctx context.Context) (err error) {
	a.found, err = a.find(ctx)
	return err
}

// Take marks an area that was found.
func (d *Desk) Take(a *Area) (project.Marked, error) {
	out, err := a.marking.Take(a.found)
	if err != nil {
		return project.Marked{}, errors.Join(err, a.marking.Cancel())
	}
	regions := d.regions(a.key)
	if g := a.marking.Region(); g.ID != "" {
		regions = append(regions, g)
	}
	a.body.Looks.Update(out.Diff.Faces(), regions)
	return a.marking.Commit(a.label)
}

// Drop gives an area up; nothing was marked.
func (a *Area) Drop() error { return a.marking.Cancel() }

// beginArea begins to find an area of the use in view.
func (d *Desk) beginArea(find func(ctx context.Context, m *project.Marking, b *Body) (project.Found, error)) (*Area, error) {
	m, b, err := d.begin()
	if err != nil {
		return nil, err
	}
	return &Area{marking: m, body: b, key: d.View, label: d.label(), find: func(ctx context.Context) (project.Found, error) { return find(ctx, m, b) }}, nil
}

// marked paints a list of faces.
func marked(m *project.Marking, faces []uint32, err error) (project.Found, error) {
	if err != nil {
		return project.Found{}, err
	}
	return m.Find(func(m *facemap.Map, p facemap.Paint) (facemap.Outcome, error) { return m.AssignFaces(faces, p) })
}

func (d *Desk) label() string {
	if d.Leaving != NotLeaving {
		return d.leavingLabel()
	}
	if d.RubOut {
		return "rubbed out"
	}
	return "marked " + strings.ToLower(terms.Label(terms.List(d.Layer), d.Kind))
}

// BeginLoop begins to mark what lies inside a line drawn on the picture of a
// camera; holds is asked about places of the scan, on several goroutines.
func (d *Desk) BeginLoop(c render.Camera, holds func(p r3.Vec) bool) (*Area, error) {
	return d.beginArea(func(ctx context.Context, m *project.Marking, b *Body) (project.Found, error) {
		loop := facemap.Loop{Holds: holds, Sight: d.sight(b, c), Levels: 2}
		return m.Find(func(m *facemap.Map, p facemap.Paint) (facemap.Outcome, error) { return m.Loop(ctx, b.Surface, loop, p) })
	})
}

// BeginGrowth begins to mark the area round a place up to the edges about it.
func (d *Desk) BeginGrowth(c render.Camera, at mesh.SurfacePoint) (*Area, error) {
	return d.beginArea(func(ctx context.Context, m *project.Marking, b *Body) (project.Found, error) {
		faces, err := b.Surface.GrowToEdges(ctx, at, facemap.Growth{
			ReachMM: d.ReachMM / d.Placing(b).Factor, Colour: b.Colours(), Sight: d.sight(b, c),
		})
		return marked(m, faces, err)
	})
}

// BeginColour begins to mark what hangs together with a place in its colour.
func (d *Desk) BeginColour(c render.Camera, at mesh.SurfacePoint) (*Area, error) {
	return d.beginArea(func(ctx context.Context, m *project.Marking, b *Body) (project.Found, error) {
		faces, err := b.Surface.SameColour(ctx, at, facemap.ColourPick{
			Colour: b.Colours(), Within: d.AlikeDE, ReachMM: d.ReachMM / d.Placing(b).Factor, Sight: d.sight(b, c),
		})
		return marked(m, faces, err)
	})
}

// RegionToSmooth is the region that SmoothOutline would smooth: the newest one
// of the kind in hand.
func (d *Desk) RegionToSmooth() (annotate.Region, bool) {
	r := d.Project.Record()
	for i := len(r.Regions) - 1; i >= 0; i-- {
		g := r.Regions[i]
		if g.Use == d.View.String() && g.Layer == d.Layer && (d.Kind == "" || g.Kind == d.Kind) {
			return g, true
		}
	}
	return annotate.Region{}, false
}

// BeginSmoothing begins to make the outline of a region smooth, over the size of
// the brush.
func (d *Desk) BeginSmoothing(id string) (*Area, error) {
	b := d.bodies[d.View]
	if b == nil {
		return nil, errNotReady
	}
	m, err := d.Project.BeginMarking(d.View, annotate.Region{ID: id})
	if err != nil {
		return nil, err
	}
	length := 2 * d.RadiusMM / d.Placing(b).Factor
	return &Area{marking: m, body: b, key: d.View, label: "made the outline of " + id + " smooth", find: func(ctx context.Context) (project.Found, error) {
		return m.FindSmooth(ctx, b.Surface, length, 2)
	}}, nil
}

// KeepLine writes a join of the use in view into the record; points are mm in
// the scan's frame.
func (d *Desk) KeepLine(fit string, way []r3.Vec) (annotate.Line, error) {
	b := d.bodies[d.View]
	if b == nil {
		return annotate.Line{}, errNotReady
	}
	l := annotate.Line{Kind: annotate.LineJoin, Fit: fit, Points: triples(way), Who: d.Slip.Who, When: d.Slip.When}
	return d.Project.MapLine(b.Surface, d.View, l)
}

// ChangeLine moves the points of a line of the use in view; no points take it
// away.
func (d *Desk) ChangeLine(id string, way []r3.Vec) error {
	b := d.bodies[d.View]
	if b == nil {
		return errNotReady
	}
	return d.Project.ChangeLine(b.Surface, id, triples(way))
}

// LinesHere are the lines of the use in view.
func (d *Desk) LinesHere() []annotate.Line {
	var out []annotate.Line
	r := d.Project.Record()
	for _, l := range r.Lines {
		if l.Use == d.View.String() {
			out = append(out, l)
		}
	}
	return out
}

func triples(way []r3.Vec) [][3]float64 {
	var out [][3]float64
	for _, p := range way {
		out = append(out, [3]float64{p.X, p.Y, p.Z})
	}
	return out
}

// Length is a length between two places of the use in view.
type Length struct {
	StraightMM float64
	SurfaceMM  float64  // NaN where no way over the surface leads there
	Way        []r3.Vec // over the surface, the scene's frame
}

// Measure measures from one place of the use in view to another, in mm of the
// specimen. What it returns does so and may run on any goroutine; once ctx is
// done it returns its error.
func (d *Desk) Measure(from, to mesh.SurfacePoint) (func(ctx context.Context) (Length, error), error) {
	b := d.bodies[d.View]
	if b == nil {
		return nil, errNotReady
	}
	s, p := b.Surface, d.Placing(b)
	return func(ctx context.Context) (Length, error) {
		a, z := s.Mesh.At(from), s.Mesh.At(to)
		out := Length{StraightMM: p.Factor * r3.Norm(r3.Sub(z, a)), SurfaceMM: math.NaN()}
		length, way, err := geodesic.Path(ctx, s.Mesh, s.Weld, s.Topology, from, to)
		switch {
		case errors.Is(err, geodesic.ErrApart):
			way = []r3.Vec{a, z}
		case err != nil:
			return out, err
		default:
			out.SurfaceMM = p.Factor * length
		}
		for _, q := range way {
			out.Way = append(out.Way, p.Place(q))
		}
		return out, nil
	}, nil
}

// CutThrough is where a plane of the scene cuts a use, in the scene; nil where
// that use is not ready.
func (d *Desk) CutThrough(key annotate.UseKey, at, normal r3.Vec) [][]r3.Vec {
	b := d.bodies[key]
	if b == nil {
		return nil
	}
	p := d.Placing(b)
	back := p.ToScene.Inverse()
	lines := mesh.Section(b.Surface.Mesh, b.Surface.Topology, r3.Scale(1/p.Factor, back.Apply(at)), back.Turn(normal))
	for _, l := range lines {
		for i, q := range l {
			l[i] = p.Place(q)
		}
	}
	return lines
}

// RegionFinder tells which region is on top at a place of the use in view:
// condition over applied over substance. It may be used on any goroutine while
// the map does not change.
func (d *Desk) RegionFinder(b *Body) func(p render.Picked) (annotate.Region, bool) {
	m, err := d.Project.Map(d.View)
	record := d.Project.Record()
	regions := record.RegionsOf(d.View.String())
	var over []uint16
	return func(p render.Picked) (annotate.Region, bool) {
		if err != nil || int(p.Face) >= m.FaceCount() {
			return annotate.Region{}, false
		}
		substance := uint16(0)
		substance, over = m.At(mesh.SurfacePoint{Face: p.Face, Weights: p.Place.Weights}, over[:0])
		top, ok := regions[substance]
		for _, n := range over {
			if g, found := regions[n]; found && (top.Layer != annotate.LayerCondition || g.Layer == annotate.LayerCondition) {
				top, ok = g, true
			}
		}
		return top, ok
	}
}
