package session

import (
	"context"
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/handover/picture"
	"rigatino/annotate/project"
	"rigatino/mesh"
	"rigatino/mesh/frame"
	"rigatino/mesh/register"
	"rigatino/mesh/render"
)

// DryFit is how a loose piece fits, by the name the window uses.
type DryFit = register.DryFit

// drying is a loose piece that is being fitted to the body's break: it is in view,
// and the body in hand beside it.
type drying struct {
	on          bool
	view, other annotate.UseKey // what was in hand before
	fit         *register.DryFit
	stored      bool
	hist        *Histogram
	gaps        []float32                              // per vertex of the piece, mm, as drawn
	together    bool                                   // the body is drawn with the piece
	breaks      map[annotate.UseKey][]annotate.FaceRun // broken faces as they were marked
}

// LoosePieces are the scans of the pieces that lie loose beside the body in view:
// of each the last one until its stage.
func (d *Desk) LoosePieces() []annotate.UseKey {
	r := d.Project.Record()
	if d.View.Piece != annotate.Body {
		return nil
	}
	at := r.StageIndex(d.View.Stage)
	var out []annotate.UseKey
	for _, q := range r.PresentAt(d.View.Stage) {
		if q.ID == annotate.Body {
			continue
		}
		var last annotate.UseKey
		for _, u := range r.Chain(q.ID) {
			if r.StageIndex(u.Stage) <= at {
				last = u.Key()
			}
		}
		if last != (annotate.UseKey{}) {
			out = append(out, last)
		}
	}
	return out
}

// BeginDryFit takes a loose piece in view and the body beside it.
func (d *Desk) BeginDryFit(piece annotate.UseKey) {
	d.dry = drying{on: true, view: d.View, other: d.Other, breaks: map[annotate.UseKey][]annotate.FaceRun{}}
	d.fit = fitting{}
	d.Other, d.View = d.View, piece
}

// EndDryFit takes in hand again what was before.
func (d *Desk) EndDryFit() {
	if d.dry.on && d.View.Piece != annotate.Body {
		d.View, d.Other = d.dry.view, d.dry.other
	}
	if d.dry.on {
		d.dry, d.fit = drying{}, fitting{}
	}
}

// DryFitting tells whether a loose piece is being fitted to the body.
func (d *Desk) DryFitting() bool { return d.dry.on && d.View.Piece != annotate.Body }

// DryFitted is how the piece in view fits, nil while that was not tried, and
// whether it stands so in the record.
func (d *Desk) DryFitted() (fit *register.DryFit, stored bool) {
	r := d.Project.Record()
	q, _ := r.Piece(d.View.Piece)
	fit = d.dry.fit
	return fit, fit != nil && d.dry.stored && q.DryFit != nil && q.DryFit.ContactArea == fit.ContactArea
}

// DryFitter gathers what is picked and returns how to fit the piece in view to the
// body beside it; that may run on any goroutine. KeepDryFit shows what came of it.
func (d *Desk) DryFitter() func(ctx context.Context, progress func(float64, string)) (*register.DryFit, bool, error) {
	key, p := d.View, d.Project
	a := project.DryFitting{Body: d.Other, Picks: d.picks.fit.picks()}
	bodyBreak, pieceBreak := d.breakOf(a.Body), d.breakOf(key)
	return func(ctx context.Context, progress func(float64, string)) (_ *register.DryFit, _ bool, err error) {
		a.Progress = progress
		if a.BodyBreak, err = bodyBreak(); err != nil {
			return nil, false, err
		}
		if a.PieceBreak, err = pieceBreak(); err != nil {
			return nil, false, err
		}
		return p.DryFit(ctx, key, a)
	}
}

// breakOf returns how to mark the broken faces of a use, all of them where nobody
// marked any.
func (d *Desk) breakOf(key annotate.UseKey) func() ([]bool, error) {
	runs := d.dry.breaks[key]
	r := d.Project.Record()
	faces := 0
	if u := r.Use(key); u != nil {
		s, _ := r.Scan(u.Scan)
		faces = s.Triangles
	}
	return func() ([]bool, error) { return annotate.MaskOf(runs, faces) }
}

// KeepDryFit keeps how the piece in view fits, and its gap, to be shown.
func (d *Desk) KeepDryFit(fit *register.DryFit, stored bool) error {
	b := d.bodies[d.View]
	if b == nil {
		return errors.New("the scan of the piece is not ready")
	}
	d.dry.fit, d.dry.stored, d.dry.together = fit, stored, false
	d.dry.gaps, d.dry.hist = nil, nil
	if fit.Verdict == annotate.VerdictRefused || len(fit.Gap) != b.Surface.Mesh.FaceCount() {
		return nil
	}
	full := picture.FullScale(math.Max(fit.Gap95, 2*fit.ContactLimit))
	d.dry.gaps = gapsOfVertices(b.Surface.Mesh, b.Surface.Weld, fit.Gap, full)
	d.dry.hist = histogramOf(b.Surface.Mesh, b.Use.Scale.Calibrated(), d.dry.gaps, fit.ContactLimit, full)
	return nil
}

// gapsOfVertices spreads a gap per face over the vertices: of each the mean of its
// faces by area, no farther than the scale goes; not a number off the break.
func gapsOfVertices(m *mesh.Mesh, w *mesh.Weld, gap []float64, full float64) []float32 {
	sum, area := map[uint32]float64{}, map[uint32]float64{}
	for f, g := range gap {
		if math.IsNaN(g) {
			continue
		}
		a := r3.Norm(m.AreaVector(uint32(f)))
		for _, v := range m.Triangles[3*f : 3*f+3] {
			sum[w.Of[v]] += a * g
			area[w.Of[v]] += a
		}
	}
	out := make([]float32, m.VertexCount())
	end := full + picture.StepOf(full)/2
	for v := range out {
		out[v] = float32(math.NaN())
		if a := area[w.Of[v]]; a > 0 {
			out[v] = float32(min(max(sum[w.Of[v]]/a, -end), end))
		}
	}
	return out
}

// DryHistogram is how much of the piece's break stands how far off; its sides are
// overlapping and open. nil where nothing was measured.
func (d *Desk) DryHistogram() *Histogram { return d.dry.hist }

// ShowTogether draws the body with the piece, or the piece alone with its gap.
func (d *Desk) ShowTogether(on bool) { d.dry.together = on }

// Together tells whether the body is drawn with the piece.
func (d *Desk) Together() bool { return d.DryFitting() && d.dry.together }

// ForgetDryFit shows the piece as it was before it was fitted; the record is left.
func (d *Desk) ForgetDryFit() { d.dry.fit, d.dry.hist, d.dry.together = nil, nil, false }

// BreakFaces are the faces of the piece in view that stand before the body's
// break.
func (d *Desk) BreakFaces() []uint32 {
	var out []uint32
	if d.dry.fit != nil {
		for f, g := range d.dry.fit.Gap {
			if !math.IsNaN(g) {
				out = append(out, uint32(f))
			}
		}
	}
	return out
}

// dryPose is where the piece in view stands in the scene by its fit; ok is false
// where nothing is known of one, and while places are picked for another.
func (d *Desk) dryPose(b *project.Loaded) (pose frame.Rigid, ok bool) {
	fit := d.dry.fit
	if !d.DryFitting() || d.picks.on || fit == nil || fit.Verdict == annotate.VerdictRefused || b.Use.Key() != d.View {
		return pose, false
	}
	body := d.bodies[d.Other]
	if body == nil {
		return pose, false
	}
	return fit.PieceToBody.Then(*d.toScene(body.Loaded)), true
}

// dryChange is the gap of the piece's break, where it is shown.
func (d *Desk) dryChange(b *Body) *render.Change {
	h := d.dry.hist
	if _, ok := d.dryPose(b.Loaded); !ok || h == nil || d.dry.together {
		return nil
	}
	c := picture.Change(d.dry.gaps, h.SmallestMM, h.FullMM, b.TileMM)
	c.Undefined = render.Look{} // off the break nothing is said
	return c
}

// GapOfBreakAt says in words how far the piece's break stands off at a place.
func (d *Desk) GapOfBreakAt(at mesh.SurfacePoint) string {
	fit := d.dry.fit
	if fit == nil || d.dry.hist == nil || int(at.Face) >= len(fit.Gap) {
		return ""
	}
	switch g := fit.Gap[at.Face]; {
	case math.IsNaN(g):
		return "off the break"
	case math.Abs(g) < fit.ContactLimit:
		return fmt.Sprintf("touching, within %.2f\u00a0mm", fit.ContactLimit)
	case g < 0:
		return fmt.Sprintf("overlapping by %.2f\u00a0mm", -g)
	default:
		return fmt.Sprintf("open by %.2f\u00a0mm", g)
	}
}
