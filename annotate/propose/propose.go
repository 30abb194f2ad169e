package propose

import (
	"context"
	"errors"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/mesh"
	"rigatino/mesh/change"
	"rigatino/mesh/frame"
	"rigatino/mesh/quantity"
	"rigatino/mesh/volume"
)

// Kind says what a proposal is.
type Kind string

// The kinds of proposal, in the order in which they are listed.
const (
	Body        Kind = "whole_body"      // the colour of everything changed: the scan differs, not the specimen
	FillAdded   Kind = "fill_added"      // matter put on
	Bead        Kind = "join_bead"       // adhesive along a join
	PieceMoved  Kind = "piece_moved"     // a piece set back
	MatrixGone  Kind = "matrix_gone"     // rock taken off
	FillGone    Kind = "fill_gone"       // an earlier fill taken off
	Lowered     Kind = "surface_lowered" // original surface that lies lower than before; no cause
	Undecided   Kind = "undecided"       // something changed and nothing says what
	Colour      Kind = "colour_changed"  // retouch, or what a person says it is
	MatrixStill Kind = "matrix_left"     // rock still there
)

// Mark is a set of faces that a proposal would put into a region.
type Mark struct {
	Layer, Kind string
	Faces       []uint32 // scan faces, ascending
	// Unmarked keeps to faces that are in no substance region yet.
	Unmarked bool
}

// Proposal is what may be marked on the scan after.
type Proposal struct {
	Kind  Kind
	Area  int    // index of the change area, -1 where it is none
	Added bool   // the change area is one of matter put on
	What  string // what the change area would be said to be; empty for none
	Marks []Mark
	// Line is the border of a piece set back, closed, in the scan's own frame,
	// mm; nil for none.
	Line  [][3]float64
	Piece string // the piece set back, where one is known
	// Choices are the words a person may put in the place of Marks[0].Kind.
	Choices []string

	Surface          *quantity.Measured
	Volume           *quantity.Measured
	MeanMM, MostMM   float64 // thickness from closest distances; 0 where shape did not change
	ColourDifference float64 // median ΔE00 on it; 0 where no colour speaks
	CentroidMM       r3.Vec  // piece frame
	Evidence         string
}

// Scan is one of the two scans of a change.
type Scan struct {
	Surface *facemap.Surface // in the scan's own frame
	Map     *facemap.Map     // nil where there is none
	Regions map[uint16]annotate.Region
}

// kindAt is the substance of a scan face, unassigned where there is no map.
func (s Scan) kindAt(face uint32) string {
	if s.Map == nil || int(face) >= s.Map.FaceCount() {
		return annotate.Unassigned
	}
	if n := s.Map.Substance(face); n != 0 {
		return s.Regions[n].Kind
	}
	return annotate.Unassigned
}

// Fragment is a piece that was joined into this one at the stage of the scan
// after, as its last scan shows it.
type Fragment struct {
	Piece   string
	Surface *facemap.Surface // of its last scan, in that scan's own frame
	Factor  float64          // scale of that scan
	// Placed says that the way into this piece's frame is known: it is ToPiece.
	Placed  bool
	ToPiece frame.Similarity
}

// Input is a measured change and what is known of its two scans.
type Input struct {
	Change        *change.Change
	Volume        *volume.Result
	What          []string // per area: the record's answer, unknown where it has none
	Before, After Scan
	// StageKind is the kind of the stage of the scan after; FromStage and
	// ToStage name both for the words of the evidence.
	StageKind, FromStage, ToStage string
	Fragments                     []Fragment
	// Joins are the join lines already marked on the scan after, own frame, mm.
	Joins    [][][3]float64
	Progress func(done float64, words string)
}

// Make lists the proposals that a change gives rise to: the whole body first,
// then the change areas in their order, then colour and matrix by falling
// surface. The same input gives the same list.
func Make(ctx context.Context, in Input) ([]Proposal, error) {
	if in.Change == nil || in.Volume == nil || len(in.Volume.Areas) != len(in.Change.Areas) || len(in.What) != len(in.Change.Areas) {
		return nil, errors.New("there is no measured change to propose from: compare the two stages first")
	}
	say := in.Progress
	if say == nil {
		say = func(float64, string) {}
	}
	const words = "looking for what to propose"
	say(0, words)
	w := &work{Input: in}
	w.normals = mesh.VertexNormals(in.Change.After.Mesh, in.Change.After.Weld)
	w.areas, w.areasBefore = in.Change.After.VertexAreas(), in.Change.Before.VertexAreas()
	if err := w.readColours(ctx); err != nil {
		return nil, err
	}
	say(0.5, words)
	w.findNear()
	w.grow()
	w.findRock(ctx)
	var out []Proposal
	if p, ok := w.wholeBody(); ok {
		out = append(out, p)
	}
	for k := range in.Change.Areas {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if v := in.Volume.Areas[k].Volume; v != nil && v.Covers(0) {
			continue // not told from nothing: the open points say so
		}
		if in.Change.Areas[k].Kind == change.Added {
			out = append(out, w.added(k))
		} else {
			out = append(out, w.removed(k)...)
		}
	}
	say(0.8, words)
	out = append(out, w.colourChanged()...)
	out = append(out, w.matrixStill(ctx)...)
	say(1, "")
	return out, ctx.Err()
}

// work is what the steps of Make share. Slices over vertices are of the welded
// vertices of the change's scan after, unless they say before.
type work struct {
	Input
	normals            []r3.Vec
	areas, areasBefore []float64 // a third of the faces round a vertex, mm²

	light               light
	labBefore, labAfter [][3]float64 // smoothed, of the closest place before (light taken out) and of the scan after; nil without colours
	ownBefore           [][3]float64 // of the vertices of the scan before, light taken out
	difference          []float64    // ΔE00 between the two; NaN undefined
	clear               float64      // what ΔE00 must pass to count as a change of colour
	unlike              float64      // median of that where the shape did not change
	// The same with lightness in full, before and after the light was taken out.
	unchangedRaw, unchangedLit float64

	isRock             []bool // per area: plainly matrix that went
	rock               *class // what that looked and felt like; nil where not known
	looks, looksBefore []feature

	near       []float64 // the gap averaged over little; its spread where nothing changed
	nearSpread float64

	owner []int32 // the change area a vertex belongs to once areas are grown, or -1
}

// unchanged says whether the shape at a vertex of the scan after is what it was.
func (w *work) unchanged(v int) bool {
	s := w.Change.After
	return s.Core[v] < 0 && s.Smooth[v] > -w.Change.LimitMM && s.Smooth[v] < w.Change.LimitMM && w.areas[v] > 0
}

// facesOf lists the scan faces with at least two corners that belong, and their
// surface in mm².
func (w *work) facesOf(belongs func(v uint32) bool) (faces []uint32, surface float64, centroid r3.Vec) {
	s := w.Change.After
	for f, part := range s.Topology.Component {
		if part < 0 {
			continue
		}
		i, j, k := s.Topology.Face(uint32(f))
		if count(belongs, i, j, k) < 2 {
			continue
		}
		a := r3.Norm(s.Mesh.AreaVector(uint32(f)))
		faces = append(faces, s.Mesh.SourceFace(uint32(f)))
		surface += a
		p, q, r := s.Mesh.Corners(uint32(f))
		centroid = r3.Add(centroid, r3.Scale(a/3, r3.Add(p, r3.Add(q, r))))
	}
	if surface > 0 {
		centroid = r3.Scale(1/surface, centroid)
	}
	return faces, surface, centroid
}
