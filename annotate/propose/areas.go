package propose

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/terms"
	"rigatino/mesh"
	"rigatino/mesh/bvh"
	"rigatino/mesh/change"
	"rigatino/mesh/colour"
	"rigatino/mesh/quantity"
)

// unknown is the answer that nobody has given.
const unknown = "unknown"

// area starts a proposal for change area k, with its faces.
func (w *work) area(k int, kind Kind) (Proposal, []uint32) {
	a, v := &w.Change.Areas[k], &w.Volume.Areas[k]
	p := Proposal{Kind: kind, Area: k, Added: a.Kind == change.Added, Volume: v.Volume, MeanMM: a.MeanDepthMM, MostMM: a.MaxDepthMM, CentroidMM: a.CentroidMM}
	faces, surface, _ := w.facesOf(func(v uint32) bool { return w.owner[v] == int32(k) })
	if len(faces) == 0 {
		p.Surface = &a.Surface
		return p, nil
	}
	p.Surface = measuredSurface(surface, a.Surface.Value, "faces of the change area, followed to where the gap or the colour ends")
	p.ColourDifference = w.typicalDifference(func(v uint32) bool { return w.owner[v] == int32(k) })
	return p, faces
}

// measuredSurface is an area in mm² of which `sure` lies well inside: where
// between the two its edge lies is not known.
func measuredSurface(surface, sure float64, method string) *quantity.Measured {
	b := quantity.Budget{quantity.Within("outline", 0, math.Abs(surface-sure)/2, 1, quantity.SquareMillim, quantity.Rectangular)}
	m := b.Measured(surface, quantity.SquareMillim, method)
	return &m
}

func (w *work) typicalDifference(belongs func(v uint32) bool) float64 {
	var list []float64
	for v, d := range w.difference {
		if belongs(uint32(v)) && !math.IsNaN(d) {
			list = append(list, d)
		}
	}
	return median(list)
}

// facts is the evidence that numbers give, in words.
func (p *Proposal) facts(in *Input) string {
	out := fmt.Sprintf("scans of %s and %s differ: %.2g mm in the mean, %.2g mm at most", in.FromStage, in.ToStage, p.MeanMM, p.MostMM)
	if p.Volume != nil {
		out += fmt.Sprintf(", %s", p.Volume)
	}
	if p.ColourDifference > 0 {
		out += fmt.Sprintf("; colour differs by ΔE00 %.1f", p.ColourDifference)
	}
	return out
}

// added proposes what matter put on is.
func (w *work) added(k int) Proposal {
	p, faces := w.area(k, FillAdded)
	p.Evidence = p.facts(&w.Input)
	substance := func(kind string) {
		p.Marks = []Mark{{Layer: annotate.LayerSubstance, Kind: kind, Faces: faces}}
		p.Choices = []string{annotate.Fill, annotate.Reconstruction, annotate.Uncertain}
		p.What = kind
	}
	piece, why := w.fragmentOn(k)
	switch said := w.What[k]; {
	case said == "moved_piece" || said == unknown && piece != "":
		p.Kind, p.What, p.Piece = PieceMoved, "moved_piece", piece
		if why != "" {
			p.Evidence += "; " + why
		}
		p.Line = w.border(func(v uint32) bool { return w.owner[v] == int32(k) }, max(2, 2*w.Change.StepMM))
	case said == "adhesive" || said == unknown && w.isBead(k):
		p.Kind, p.What = Bead, "adhesive"
		p.Marks = []Mark{{Layer: annotate.LayerApplied, Kind: "adhesive_residue", Faces: faces}}
		p.Choices = []string{"adhesive_residue", "varnish_or_barrier", "mould_residue"}
		p.Evidence += "; long and narrow, along a join"
	case said == annotate.Reconstruction:
		substance(annotate.Reconstruction)
	case said == unknown && w.difference != nil && p.ColourDifference < w.clear/2 && p.MostMM < 2*w.Change.SmallestMM:
		substance("")
		p.Kind = Undecided
		p.Evidence += "; it is hardly thicker than the least that the pair can show, and no colour changed: the scans may differ there without the specimen"
	default:
		substance(annotate.Fill)
	}
	return p
}

// A bead of adhesive is narrower than this and more than this many times longer
// than a disc of its surface is round (our own figures, no source).
const (
	beadWidthMM = 4.0
	beadLong    = 2.0
	beadThickMM = 1.5
)

// isBead says whether an added area is a bead of adhesive: thin, long and
// narrow, made at a stage that joins or along a join that is marked.
func (w *work) isBead(k int) bool {
	s := w.Change.After
	// Not the core, which wide averaging made wider than a bead is.
	belongs := func(v uint32) bool { return w.owner[v] == int32(k) && w.near[v] > w.Change.LimitMM }
	faces, surface, _ := w.facesOf(belongs)
	edge := 0.0
	for f, part := range s.Topology.Component {
		if part < 0 {
			continue
		}
		i, j, l := s.Topology.Face(uint32(f))
		// The outline passes between corners that belong and corners that do not:
		// a face with one or two of them holds about half an edge of it.
		switch n := count(belongs, i, j, l); n {
		case 1, 2:
			edge += math.Sqrt(r3.Norm(s.Mesh.AreaVector(uint32(f))))
		}
	}
	if edge == 0 || 2*surface/edge > beadWidthMM || w.Change.Areas[k].MeanDepthMM > beadThickMM || edge < beadLong*2*math.Sqrt(math.Pi*surface) {
		return false
	}
	return w.StageKind == "join" || w.alongJoin(faces)
}

// count is how many of three vertices belong.
func count(belongs func(v uint32) bool, corners ...uint32) int {
	n := 0
	for _, v := range corners {
		if belongs(v) {
			n++
		}
	}
	return n
}

// alongJoin says whether half of the faces lie near a marked join.
func (w *work) alongJoin(faces []uint32) bool {
	near := 0
	m := w.After.Surface.Mesh
	for _, f := range faces {
		p, q, r := m.Corners(f)
		at := r3.Scale(1.0/3, r3.Add(p, r3.Add(q, r)))
		if slices.ContainsFunc(w.Joins, func(line [][3]float64) bool { return distanceTo(line, at) < beadWidthMM }) {
			near++
		}
	}
	return len(faces) > 0 && 2*near >= len(faces)
}

// distanceTo is the distance of a point from a line of points.
func distanceTo(line [][3]float64, p r3.Vec) float64 {
	best := math.Inf(1)
	at := func(i int) r3.Vec { return r3.Vec{X: line[i][0], Y: line[i][1], Z: line[i][2]} }
	for i := 1; i < len(line); i++ {
		a, d := at(i-1), r3.Sub(at(i), at(i-1))
		t := 0.0
		if l := r3.Norm2(d); l > 0 {
			t = min(max(r3.Dot(r3.Sub(p, a), d)/l, 0), 1)
		}
		best = min(best, r3.Norm(r3.Sub(p, r3.Add(a, r3.Scale(t, d)))))
	}
	return best
}

// A piece is taken for set back where at least this share of the added surface
// lies within so many steps of its last scan, or where its volume agrees with
// that of the area within their uncertainty and this share.
const (
	fragmentShare  = 0.5
	fragmentSteps  = 2.0
	fragmentVolume = 0.05
)

// fragmentOn finds the piece that an added area is, and why.
func (w *work) fragmentOn(k int) (piece, why string) {
	s := w.Change.After
	for _, f := range w.Fragments {
		if f.Placed {
			m := mesh.Transform(f.Surface.Mesh, f.ToPiece.Apply)
			tree := bvh.Build(m)
			near, all := 0.0, 0.0
			for v, core := range s.Core {
				if core != int32(k) {
					continue
				}
				all += w.areas[v]
				if _, ok := tree.Closest(s.Vertex(uint32(v)), max(0.3, fragmentSteps*w.Change.StepMM)); ok {
					near += w.areas[v]
				}
			}
			if all > 0 && near/all >= fragmentShare {
				return f.Piece, fmt.Sprintf("%.0f %% of it lies where the last scan of piece %s lies once set back", 100*near/all, f.Piece)
			}
			continue
		}
		v := w.Volume.Areas[k].Volume
		if v == nil || !f.Surface.Topology.Closed() {
			continue
		}
		own := mesh.Volume(f.Surface.Mesh) * f.Factor * f.Factor * f.Factor
		if d := math.Abs(own - v.Value); d <= v.Expanded()+fragmentVolume*own && own > v.Expanded() {
			return f.Piece, fmt.Sprintf("its volume is that of the scan of piece %s (%.0f mm³) within both uncertainties; where the piece lies was not checked", f.Piece, own)
		}
	}
	return "", ""
}

// takesMatter says whether a stage of this kind takes rock off.
func takesMatter(kind string) bool {
	return slices.Contains([]string{"mech_coarse", "mech_fine", "air_abrasive", "chemical"}, kind)
}

// unlikeMatrix is how different the surface that was uncovered must look from
// what was taken off for that to have been rock, in ΔE00 (our own figure).
const unlikeMatrix = 8.0

// removed proposes what matter taken off was: by the map of the scan before
// where there is one, else by colour.
func (w *work) removed(k int) []Proposal {
	p, _ := w.area(k, Undecided)
	p.Evidence = p.facts(&w.Input)
	kinds := w.kindsBefore(k)
	total := 0.0
	for _, a := range kinds {
		total += a
	}
	share := func(words ...string) float64 {
		sum := 0.0
		for _, x := range words {
			sum += kinds[x]
		}
		return sum / max(total, 1e-12)
	}
	var out []Proposal
	fossil := share(annotate.Original, annotate.OriginalAbraded)
	least := max(10, 20*w.Change.StepMM*w.Change.StepMM)
	if lowered, surface := w.fossilBefore(k); fossil > 0 && surface > least {
		q := p
		q.Kind = Lowered
		if fossil > 0.5 {
			q.What = "fossil"
		}
		q.Surface = measuredSurface(surface, fossil*w.Change.Areas[k].Surface.Value, "faces that lie below surface marked as fossil before")
		q.Marks = []Mark{
			{Layer: annotate.LayerCondition, Kind: "surface_lowered", Faces: lowered},
			{Layer: annotate.LayerSubstance, Kind: annotate.Original, Faces: lowered, Unmarked: true},
		}
		q.Evidence += fmt.Sprintf("; on %.0f %% of it the map of %s says original. What lowered it is not said", 100*min(1, surface/w.Change.Areas[k].Surface.Value), w.FromStage)
		if fossil < 0.98 {
			q.Volume = nil // the volume is of the whole area
		}
		out = append(out, q)
	}
	said := w.What[k]
	switch {
	case said == "fossil" || fossil > 0.5 && (said == unknown || said == ""):
		return out
	case said != unknown && said != "":
		p.What = said
		p.Kind = map[string]Kind{"matrix": MatrixGone, "old_fill": FillGone}[said]
		if p.Kind == "" {
			p.Kind = Undecided
		}
		p.Evidence += "; the record says " + strings.ReplaceAll(said, "_", " ")
	case share(annotate.Matrix) > 0.5:
		p.Kind, p.What = MatrixGone, annotate.Matrix
		p.Evidence += fmt.Sprintf("; on %.0f %% of it the map of %s says matrix", 100*share(annotate.Matrix), w.FromStage)
	case share(annotate.Fill, annotate.Reconstruction) > 0.5:
		p.Kind, p.What = FillGone, "old_fill"
		p.Evidence += fmt.Sprintf("; on %.0f %% of it the map of %s says fill or reconstruction", 100*share(annotate.Fill, annotate.Reconstruction), w.FromStage)
	case takesMatter(w.StageKind):
		unlike, ok := w.uncovered(k)
		switch {
		case !ok:
			p.Kind, p.What = MatrixGone, annotate.Matrix
			p.Evidence += "; the kind of stage alone says matrix, the scans have no colour"
		case unlike >= unlikeMatrix:
			p.Kind, p.What = MatrixGone, annotate.Matrix
			p.Evidence += fmt.Sprintf("; what was uncovered looks different from what lay on it (ΔE00 %.0f)", unlike)
		default:
			p.Evidence += fmt.Sprintf("; what was uncovered looks like what lay on it (ΔE00 %.1f), and no map says what it was", unlike)
			if share, ok := w.rockShare(k); ok {
				p.Evidence += fmt.Sprintf("; %.0f %% of what went looked like the matrix that went elsewhere", 100*share)
			}
		}
	default:
		p.Evidence += "; no map of " + w.FromStage + " says what it was"
	}
	if p.What == "" {
		p.Choices = terms.IDs(terms.WhatRemoved)
	}
	return append(out, p)
}

// kindsBefore sums the surface that went, in mm² of the scan before, by what
// its map says.
func (w *work) kindsBefore(k int) map[string]float64 {
	out := map[string]float64{}
	for _, f := range w.Change.Areas[k].BeforeFaces {
		out[w.Before.kindAt(f)] += r3.Norm(w.Before.Surface.Mesh.AreaVector(f))
	}
	return out
}

// mapEdge is how far beside the edge of a map, in steps of the change, nothing is
// said about what lay there: outline and averaging are both wider than nothing.
const mapEdge = 2.5

// fossilBefore lists those faces of an area's core on the scan after that lie
// closest to surface which was marked as fossil before, and their surface in
// mm². Strips along the edge of what was marked as something else are left out:
// they are what the map's outline and the averaging of the gap make of it. So is
// what lies lower by less than the smallest change: a core reaches that far, and
// so much is no evidence that fossil was lost.
func (w *work) fossilBefore(k int) ([]uint32, float64) {
	if w.Before.Map == nil {
		return nil, 0
	}
	s, b := w.Change.After, w.Change.Before
	const other, fossil, deep = 1, 2, 3
	state := make([]uint8, len(w.owner))
	var front []uint32
	for v, of := range s.Core {
		if of != int32(k) || int(s.Closest[v]) >= b.Mesh.FaceCount() {
			continue
		}
		state[v] = other
		if annotate.IsOriginal(w.Before.kindAt(b.Mesh.SourceFace(s.Closest[v]))) {
			if s.Smooth[v] < -w.Change.SmallestMM {
				state[v] = fossil
			}
		} else {
			front = append(front, uint32(v))
		}
	}
	width := mapEdge * w.Change.StepMM
	near := w.within(front, width, func(v uint32) bool { return state[v] == fossil })
	front = front[:0]
	for v := range state {
		if state[v] == fossil && !near[uint32(v)] {
			state[v] = deep
			front = append(front, uint32(v))
		}
	}
	back := w.within(front, width, func(v uint32) bool { return state[v] == fossil })
	faces, surface, _ := w.facesOf(func(v uint32) bool { return state[v] == deep || back[v] })
	return faces, surface
}

// within are the vertices that may be entered, within a distance over edges of
// the given ones.
func (w *work) within(from []uint32, width float64, may func(v uint32) bool) map[uint32]bool {
	s := w.Change.After
	far := map[uint32]float64{}
	out := map[uint32]bool{}
	var next, ring []uint32
	for front := slices.Clone(from); len(front) > 0; front = slices.Clone(next) {
		next = next[:0]
		for _, v := range front {
			ring = s.Topology.Ring(v, ring[:0])
			for _, u := range ring {
				d := far[v] + r3.Norm(r3.Sub(s.Vertex(u), s.Vertex(v)))
				if old, met := far[u]; d > width || !may(u) || met && old <= d {
					continue
				}
				far[u] = d
				out[u] = true
				next = append(next, u)
			}
		}
	}
	return out
}

// uncovered is how different the colour under an area looks from that of what
// lay on it, ΔE00 of the medians; ok is false without colours.
func (w *work) uncovered(k int) (float64, bool) {
	if w.difference == nil {
		return 0, false
	}
	middle := func(list [][3]float64, core []int32) (colour.Lab, bool) {
		var c [3][]float64
		for v, of := range core {
			if of == int32(k) {
				for i := range c {
					c[i] = append(c[i], list[v][i])
				}
			}
		}
		return colour.Lab{L: median(c[0]), A: median(c[1]), B: median(c[2])}, len(c[0]) > 0
	}
	on, ok1 := middle(w.ownBefore, w.Change.Before.Core)
	under, ok2 := middle(w.labAfter, w.Change.After.Core)
	return colour.WeightedDifference(on, under, lightnessWeight), ok1 && ok2
}
