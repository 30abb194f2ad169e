package propose

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/terms"
	"rigatino/mesh/change"
	"rigatino/mesh/colour"
)

// bodyDiffers is the median ΔE00 on unchanged surface from which the colour of
// the whole scan is said to differ; about 1 is just visible.
const bodyDiffers = 1.5

// wholeBody says that colours differ over all of the body, and what that may
// be: light, or a state of the whole surface. It marks nothing.
func (w *work) wholeBody() (Proposal, bool) {
	if w.difference == nil || w.unchangedRaw < bodyDiffers {
		return Proposal{}, false
	}
	// How much of the change of light depends on where the surface looks, how
	// much is the same everywhere, and where lightness and colourfulness went.
	var area, even, square, lighter, richer float64
	var sum r3.Vec
	for v, a := range w.areas {
		if !w.unchanged(v) {
			continue
		}
		y := basis(w.normals[v])
		f := 0.0
		for k := range 3 {
			f += math.Log(w.light.factor(k, &y)) / 3
		}
		area += a
		even += a * f
		square += a * f * f
		c := w.labAfter[v]
		was := w.light.off(c)
		lighter += a * (c[0] - was[0])
		richer += a * (math.Hypot(c[1], c[2]) - math.Hypot(was[1], was[2]))
		sum = r3.Add(sum, r3.Scale(a, w.Change.After.Vertex(uint32(v))))
	}
	if area == 0 {
		return Proposal{}, false
	}
	even, lighter, richer = even/area, lighter/area, richer/area
	turning := math.Sqrt(max(0, square/area-even*even))
	p := Proposal{Kind: Body, Area: -1, ColourDifference: w.unchangedRaw, CentroidMM: r3.Scale(1/area, sum)}
	p.Surface = measuredSurface(area, area, "surface whose shape did not change")
	p.Evidence = fmt.Sprintf("the scan differs, not the specimen: where shape did not change, colours of %s and %s differ by ΔE00 %.1f in the median, and by %.1f once the light is taken out",
		w.FromStage, w.ToStage, w.unchangedRaw, w.unchangedLit)
	switch {
	case turning > math.Abs(even):
		p.Evidence += "; it goes with the direction that the surface looks in, as light does"
	case lighter < 0 && richer > 0:
		p.Evidence += fmt.Sprintf("; darker by %.0f and more colourful by %.0f all over: wetness, a consolidant or less light", -lighter, richer)
	case lighter > 0 && richer < 0:
		p.Evidence += fmt.Sprintf("; lighter by %.0f and less colourful by %.0f all over: dust, drying or more light", lighter, -richer)
	default:
		p.Evidence += "; the same all over: light, or the setting of the camera"
	}
	return p, true
}

// off is a colour of the scan after, L*a*b*, in the mean light of the scan
// before.
func (l *light) off(c [3]float64) [3]float64 {
	lin := colour.FromLab(lab(c))
	even := [harmonics]float64{1}
	lin.R, lin.G, lin.B = lin.R/l.factor(0, &even), lin.G/l.factor(1, &even), lin.B/l.factor(2, &even)
	x := lin.Lab()
	return [3]float64{x.L, x.A, x.B}
}

// A change of colour is looked at where the shape did not change and where it
// covers at least leastTintMM2; if it covers more than mostTint of all unchanged
// surface, it is no place but the whole body, and nothing is proposed.
const (
	leastTintMM2 = 10.0
	mostTint     = 0.6
)

// colourChanged proposes retouch, or what else lies on the surface, where
// colour changed and shape did not.
func (w *work) colourChanged() []Proposal {
	if w.difference == nil {
		return nil
	}
	may := func(v uint32) bool { return w.owner[v] < 0 && w.unchanged(int(v)) }
	places := w.places(func(v uint32) bool { return may(v) && w.difference[v] > w.clear }, func(v uint32) bool { return may(v) && w.difference[v] > w.clear/2 })
	var out []Proposal
	total, all := 0.0, 0.0
	for v, a := range w.areas {
		if w.unchanged(v) {
			all += a
		}
	}
	for _, in := range places {
		belongs := func(v uint32) bool { return in[v] }
		faces, surface, centroid := w.facesOf(belongs)
		if surface < max(leastTintMM2, change.SmallestAreaMM2(w.Change.StepMM)) {
			continue
		}
		total += surface
		p := Proposal{Kind: Colour, Area: -1, CentroidMM: centroid, ColourDifference: w.typicalDifference(belongs)}
		p.Surface = measuredSurface(surface, w.sure(in), "faces whose colour changed and whose shape did not")
		p.Evidence = fmt.Sprintf("between %s and %s the colour changed by ΔE00 %.1f and the shape by less than %.2g mm; light is taken out, what is left elsewhere is %.1f",
			w.FromStage, w.ToStage, p.ColourDifference, w.Change.SmallestMM, w.unlike)
		kind := annotate.Retouch
		switch {
		case takesMatter(w.StageKind):
			p.Kind, kind = Undecided, ""
			p.Evidence += "; the stage takes matter off, so it may be a film thinner than the pair can show"
		case w.StageKind == "consolidate":
			kind = "consolidant"
		}
		if kind != "" {
			p.Marks = []Mark{{Layer: annotate.LayerApplied, Kind: kind, Faces: faces}}
		} else {
			p.Marks = []Mark{{Layer: annotate.LayerApplied, Faces: faces}}
		}
		p.Choices = terms.IDs(terms.Applied)
		out = append(out, p)
	}
	if total > mostTint*all {
		return nil
	}
	sortBySurface(out)
	return out
}

// sure is the surface of those vertices of a place whose colour passes the
// bound by far.
func (w *work) sure(in map[uint32]bool) float64 {
	sum := 0.0
	for v := range w.areas {
		if in[uint32(v)] && w.difference[v] > w.clear {
			sum += w.areas[v]
		}
	}
	return sum
}

// places are the connected sets of vertices that may belong and hold at least
// one that starts them.
func (w *work) places(starts, may func(v uint32) bool) []map[uint32]bool {
	t := w.Change.After.Topology
	seen := make([]bool, len(w.areas))
	var out []map[uint32]bool
	var ring []uint32
	for v := range uint32(len(seen)) {
		if seen[v] || !starts(v) {
			continue
		}
		seen[v] = true
		in := map[uint32]bool{v: true}
		for queue := []uint32{v}; len(queue) > 0; {
			at := queue[len(queue)-1]
			queue = queue[:len(queue)-1]
			ring = t.Ring(at, ring[:0])
			for _, u := range ring {
				if !seen[u] && may(u) {
					seen[u] = true
					in[u] = true
					queue = append(queue, u)
				}
			}
		}
		out = append(out, in)
	}
	return out
}

// sortBySurface puts the largest first.
func sortBySurface(list []Proposal) {
	slices.SortStableFunc(list, func(a, b Proposal) int { return -cmp.Compare(a.Surface.Value, b.Surface.Value) })
}
