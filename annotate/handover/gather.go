package handover

import (
	"context"
	"fmt"
	"math"
	"strings"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/handover/glb"
	"rigatino/annotate/handover/picture"
	"rigatino/annotate/handover/report"
	"rigatino/annotate/project"
	"rigatino/annotate/tally"
	"rigatino/annotate/terms"
	"rigatino/mesh"
	"rigatino/mesh/frame"
	"rigatino/mesh/quantity"
	"rigatino/mesh/render"
)

// material is everything that the files of a hand-over are made from.
type material struct {
	record  annotate.Record // as released
	stage   string
	input   tally.Input
	sheet   *tally.Sheet
	bodies  []glb.Body
	loaded  []*project.Loaded
	compare []*project.Comparison
	tileMM  float64
}

// Released returns the record without what nobody released: the place of find,
// and names, for which initials stand.
func Released(r annotate.Record) annotate.Record {
	r = r.Clone()
	if !r.Specimen.LocalityReleased {
		r.Specimen.Locality, r.Specimen.FieldNumber = "", ""
	}
	for i := range r.People {
		if !r.People[i].Released {
			r.People[i].Name = ""
		}
	}
	who := func(id string) string {
		for _, p := range r.People {
			if p.ID == id {
				if p.Name != "" {
					return p.Name
				}
				return p.Initials
			}
		}
		return id
	}
	for i := range r.Work {
		r.Work[i].Who = who(r.Work[i].Who)
	}
	for i := range r.Regions {
		r.Regions[i].Who = who(r.Regions[i].Who)
	}
	for i := range r.Lines {
		r.Lines[i].Who = who(r.Lines[i].Who)
	}
	return r
}

// gather loads and reckons what the hand-over of a stage needs, with every pair
// of scans up to it compared.
func gather(ctx context.Context, p *project.Project, stage string, progress func(float64, string)) (*material, error) {
	m, err := bodiesOf(ctx, p, project.Tallying{Stage: stage, Volumes: true, Progress: part(progress, 0, 0.9)})
	if err != nil {
		return nil, err
	}
	if m.sheet, err = tally.Reckon(m.input); err != nil {
		return nil, err
	}
	live := p.Record()
	for _, v := range m.sheet.Volumes {
		from, err := live.FindUse(v.From, v.Piece, "")
		if err != nil {
			continue // several parts: their pairs are in the sheet, not in pictures
		}
		to, err := live.FindUse(v.To, v.Piece, "")
		if err != nil {
			continue
		}
		c, err := p.Change(ctx, from.Key(), to.Key(), nil) // kept from the tally
		if err != nil {
			return nil, err
		}
		m.compare = append(m.compare, c)
	}
	progress(1, "Reckoning")
	return m, nil
}

// bodiesOf loads the bodies of a stage in their places.
func bodiesOf(ctx context.Context, p *project.Project, t project.Tallying) (*material, error) {
	in, err := p.TallyInput(ctx, t)
	if err != nil {
		return nil, err
	}
	m := &material{record: Released(p.Record()), stage: in.Stage, input: in}
	live := p.Record()
	for _, b := range in.Bodies {
		key, err := annotate.ParseUseKey(b.Use)
		if err != nil {
			return nil, err
		}
		l, err := p.LoadUse(ctx, key, nil)
		if err != nil {
			return nil, err
		}
		out := glb.Body{Body: b, Source: l.Use, Scan: l.Scan, ScanToPiece: l.ScanToPiece, PieceToSpecimen: frame.Identity()}
		if key.Piece != annotate.Body {
			q, _ := live.Piece(key.Piece)
			if q.PieceToSpecimen != nil {
				out.PieceToSpecimen = frame.FromMatrix(*q.PieceToSpecimen)
			} else {
				out.Loose = true
			}
		}
		m.bodies = append(m.bodies, out)
		m.loaded = append(m.loaded, l)
	}
	m.tileMM = m.tileOf()
	return m, nil
}

// model is the input of the annotated model.
func (m *material) model(made time.Time) glb.Input {
	return glb.Input{Record: m.record, Stage: m.stage, Date: made.Format(time.DateOnly), Sheet: m.sheet, Bodies: m.bodies, TileMM: m.tileMM}
}

// Sizes of the pictures of a report, pixels.
const (
	frontWide, frontHigh = 1500, 760
	viewWide, viewHigh   = 900, 500

	// Size of the words in them, so that they print at about 8 points.
	frontText, viewText, changeText = 25, 30, 25
)

// content is what the report prints.
func (m *material) content(ctx context.Context, p *project.Project, number int, opt Options, progress func(float64, string)) (report.Content, error) {
	out := report.Content{Record: m.record, Sheet: m.sheet, Number: number, Made: opt.Made, SignedBy: opt.SignedBy, TileMM: m.tileMM}
	axes := axesOf(m.record.Specimen.Orientation)
	placed, looks, lines, err := m.placed(ctx, part(progress, 0, 0.4))
	if err != nil {
		return out, err
	}
	draw := picture.Options{Axes: axes, Looks: looks, Width: viewWide, Height: viewHigh, TextPixels: viewText, Progress: part(progress, 0.4, 0.7)}
	views, err := picture.Views(ctx, placed, lines, draw)
	if err != nil {
		return out, err
	}
	for _, v := range views {
		out.Views = append(out.Views, report.View{Name: v.Name, Picture: v.Picture, RestoredOfView: v.Restored})
	}
	draw.Width, draw.Height, draw.TextPixels, draw.Only, draw.Progress = frontWide, frontHighFor(m.sheet), frontText, views[0].Name, nil
	front, err := picture.Views(ctx, placed, lines, draw)
	if err != nil {
		return out, err
	}
	out.Front = report.View{Name: front[0].Name, Picture: front[0].Picture}
	for i, c := range m.compare {
		progress(0.7+0.3*float64(i)/float64(len(m.compare)), "Drawing what changed")
		ch, err := m.change(ctx, p, c, axes)
		if err != nil {
			return out, err
		}
		out.Changes = append(out.Changes, ch)
	}
	for _, u := range m.record.Uses {
		out.Scans = append(out.Scans, m.scan(u))
	}
	return out, nil
}

// frontHighFor gives the front picture the room that a short table leaves on the
// first page.
func frontHighFor(s *tally.Sheet) int {
	const fullTable, rowHigh = 10, 50 // rows that the page holds below the picture; pixels
	rows := max(len(s.Surface.BySubstance)+1+len(s.Surface.ByApplied)+len(s.Surface.ByCondition), 4+2*len(s.Volumes))
	return frontHigh + rowHigh*max(0, fullTable-rows)
}

func axesOf(o *annotate.Orientation) *render.Axes {
	if o == nil {
		return nil
	}
	v := func(a [3]float64) r3.Vec { return r3.Vec{X: a[0], Y: a[1], Z: a[2]} }
	return &render.Axes{Long: v(o.LongAxis), LongName: o.LongAxisName, Face: v(o.Face), FaceName: o.FaceName}
}

// placed prepares the bodies of the stage with their map for drawing. Loose
// pieces stand beside the body, as in the model.
func (m *material) placed(ctx context.Context, progress func(float64, string)) ([]render.Placed, []*picture.Looks, []render.Line, error) {
	var out []render.Placed
	var looks []*picture.Looks
	var lines []render.Line
	beside := math.Inf(-1)
	for i, b := range m.bodies {
		progress(float64(i)/float64(len(m.bodies)), "Preparing the pictures")
		body, err := render.Prepare(ctx, calibrated(b.Surface.Mesh, b.Scale), render.Options{Weld: b.Surface.Weld, Topology: b.Surface.Topology})
		if err != nil {
			return nil, nil, nil, err
		}
		place := b.ScanToPiece.Then(b.PieceToSpecimen)
		box := mesh.Bounds(body.Mesh())
		if b.Loose && !math.IsInf(beside, -1) {
			// Shown beside the body: its place in the specimen is not known.
			place.T.X += beside + 15 - place.Apply(box.Min).X
		}
		for _, corner := range []r3.Vec{box.Min, box.Max} {
			beside = math.Max(beside, place.Apply(corner).X)
		}
		l := picture.NewLooks(b.Map, b.Regions, picture.MapOnly, m.tileMM)
		out = append(out, render.Placed{Body: body, BodyToScene: &place, Marks: l.Marks()})
		looks = append(looks, l)
		factor := b.Scale.Calibrated()
		for _, j := range b.Joins {
			way := make([]r3.Vec, len(j.Way))
			for k, p := range j.Way {
				way[k] = place.Apply(r3.Scale(factor, p))
			}
			lines = append(lines, picture.Line(annotate.LineJoin, j.Fit, way))
		}
	}
	return out, looks, lines, nil
}

// calibrated returns the mesh with the scale factor applied.
func calibrated(m *mesh.Mesh, s annotate.Scale) *mesh.Mesh {
	factor := s.Calibrated()
	if factor == 1 {
		return m
	}
	return mesh.Transform(m, func(v r3.Vec) r3.Vec { return r3.Scale(factor, v) })
}

// change is the report's part on one pair of scans.
func (m *material) change(ctx context.Context, p *project.Project, c *project.Comparison, axes *render.Axes) (report.Change, error) {
	entry := c.Entry()
	out := report.Change{From: entry.From, To: entry.To, Piece: entry.Piece, Removed: entry.Removed, Added: entry.Added,
		SmallestMM: c.Change.SmallestMM, Consistent: entry.Consistent}
	for _, k := range c.Volume.Checks {
		out.Checks = append(out.Checks, fmt.Sprintf("%s %s removed, %s added", k.Method, beside(k.RemovedMM3, entry.Removed), beside(k.AddedMM3, entry.Added)))
	}
	most := 0.0
	for i, a := range c.Change.Areas {
		surface := a.Surface
		row := report.ChangeArea{Name: areaName(i), Kind: string(a.Kind), What: strings.ReplaceAll(c.What[i], "_", " "), Area: &surface,
			MeanMM: a.MeanDepthMM, MostMM: a.MaxDepthMM}
		if i < len(c.Volume.Areas) {
			row.Volume = c.Volume.Areas[i].Volume
		}
		most = math.Max(most, a.MaxDepthMM)
		out.Areas = append(out.Areas, row)
	}
	larger := c.Volume.Removed
	if c.Volume.Added.Volume != nil && (larger.Volume == nil || c.Volume.Added.Volume.Value > larger.Volume.Value) {
		larger = c.Volume.Added
	}
	out.Budget = larger.Budget
	l, err := p.LoadUse(ctx, c.To, nil)
	if err != nil {
		return out, err
	}
	body, err := render.Prepare(ctx, calibrated(l.Surface.Mesh, l.Use.Scale), render.Options{Weld: l.Surface.Weld, Topology: l.Surface.Topology})
	if err != nil {
		return out, err
	}
	full := picture.FullScale(math.Max(most, c.Change.SmallestMM))
	placed := render.Placed{Body: body, BodyToScene: &l.ScanToPiece}
	seen, ok, err := picture.MostSeen(ctx, placed, areaOf(c), axes)
	if err != nil {
		return out, err
	}
	if !ok {
		seen.View = render.NamedViews(axes)[0].Name
	}
	placed.Change = picture.Change(c.Change.ShownGap(), c.Change.SmallestMM, full, m.tileMM)
	draw := picture.Options{Axes: axes, Width: viewWide, Height: viewHigh, TextPixels: changeText, Only: seen.View}
	whole, err := picture.Views(ctx, []render.Placed{placed}, nil, draw)
	if err != nil {
		return out, err
	}
	out.Picture, out.View, out.FullMM, out.StepMM = whole[0].Picture, seen.View, full, picture.StepOf(full)
	if ok && seen.Share < closeBelow {
		draw.On = seen.At
		near, err := picture.Views(ctx, []render.Placed{placed}, nil, draw)
		if err != nil {
			return out, err
		}
		out.CloseUp, out.CloseOn = near[0].Picture, areaName(seen.Area)
	}
	return out, nil
}

// closeBelow is the share of a view below which the largest area in it gets a
// picture of its own (our own figure).
const closeBelow = 0.06

// beside prints a volume by another way to the digits of the one it stands beside.
func beside(mm3 float64, m *quantity.Measured) string {
	if m == nil {
		return fmt.Sprintf("%.4g\u00a0mm³", mm3)
	}
	return m.Beside(mm3)
}

// areaName is what the report calls change area i.
func areaName(i int) string { return fmt.Sprintf("C%d", i+1) }

// areaOf says which change area a face of the later scan lies in.
func areaOf(c *project.Comparison) func(face uint32) (int, bool) {
	in := map[uint32]int{}
	for i, a := range c.Change.Areas {
		for _, f := range a.AfterFaces {
			in[f] = i
		}
	}
	return func(face uint32) (int, bool) { i, ok := in[face]; return i, ok }
}

// scan describes a use for the last page.
func (m *material) scan(u annotate.Use) report.Scan {
	out := report.Scan{Use: u.Key().String(), SHA256: u.Scan, Alignment: "gives the frame of its piece"}
	for _, s := range m.record.Scans {
		if s.ID == u.Scan {
			out.Format, out.Triangles = s.Format, s.Triangles
		}
	}
	for _, l := range m.loaded {
		if l.Use.Key() == u.Key() {
			out.MeanEdgeMM = l.Surface.MeanEdge()
		}
	}
	out.Scale, out.ScaleWorth = strings.ToLower(terms.Label(terms.ScaleWord, u.Scale.Verdict)), u.Scale.Words()
	if a := u.Alignment; a != nil {
		out.Alignment = fmt.Sprintf("%s; fit residual %.3f\u00a0mm, not accuracy; check places %.3f\u00a0mm", a.Verdict, a.FitResidualRMS, a.CheckRMS)
		if a.ErrorUnknown != "" {
			out.Alignment += "; how far off it may be is not known without check points, as the scans have smooth error"
		}
	}
	return out
}
