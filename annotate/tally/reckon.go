package tally

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/mesh/quantity"
)

// bandFloorMM is the least half width of the uncertain band along an outline:
// nobody draws the edge of a fill better than this by hand (our own figure, no
// source), nor better than a quarter of an edge on a coarse mesh. A region may state
// a wider one.
const bandFloorMM = 0.25

// pickMM is the standard uncertainty of the ends of a line, common practice, no
// source.
const pickMM = 0.3

// Reckon makes the sheet of a stage.
func Reckon(in Input) (*Sheet, error) {
	s := &Sheet{
		Schema: Schema, Stage: in.Stage, Pieces: []Piece{}, Regions: []Region{}, Joins: []JoinLength{},
		Volumes: append([]Volume{}, in.Volumes...), OpenPoints: append([]annotate.OpenPoint{}, in.OpenPoints...),
	}
	s.Scales = []Scale{}
	for _, b := range in.Bodies {
		scale := Scale{Use: b.Use, Verdict: b.Scale.Verdict, RelativeU: b.Scale.RelativeU, Sentence: b.Scale.Words()}
		if stated(b.Scale) {
			scale.Verdict, scale.RelativeU = annotate.ScaleAsStated, 0
		}
		s.Scales = append(s.Scales, scale)
	}
	var whole sums
	byPiece := map[string]*sums{}
	var order []string
	for _, b := range in.Bodies {
		part, err := s.body(b)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", b.Use, err)
		}
		if byPiece[b.Piece] == nil {
			byPiece[b.Piece] = &sums{}
			order = append(order, b.Piece)
		}
		byPiece[b.Piece].add(part)
		whole.add(part)
	}
	for _, p := range order {
		sum := byPiece[p]
		s.Pieces = append(s.Pieces, Piece{Piece: p, Surface: sum.surface(), Restored: sum.restored()})
	}
	s.Surface = whole.surface()
	s.Restored = whole.restored()
	if S := whole.specimen(); S > 0 {
		s.ChangedInLook = whole.share(whole.changed, whole.changedU, S, "fill, reconstruction and retouch as a union, share of S")
		if whole.retouched > 0 {
			s.RetouchOverOriginal = whole.share(whole.retouchedOriginal, whole.retouchU, S, "retouch on original or original abraded, share of S")
		}
	}
	if whole.total > 0 {
		s.MatrixLeft = whole.share(whole.area[matrix], whole.u[matrix], whole.total, "matrix left, share of the whole surface scanned")
	}
	if in.Fills != nil || in.ByVolume != nil {
		s.Fills, s.RestoredByVolume = append([]Fill{}, in.Fills...), in.ByVolume
	} else if err := s.fills(in, &whole); err != nil {
		return nil, err
	}
	s.point(in, &whole)
	return s, nil
}

// sums gathers areas in mm² with their standard uncertainties, calibrated.
type sums struct {
	total             float64
	area, u           map[string]float64 // by substance
	applied, appliedU map[string]float64
	condition, condU  map[string]float64
	changed, changedU float64
	retouched         float64
	retouchedOriginal float64
	retouchU          float64
	restoredU         float64
	openings          float64
	loops             int
	relativeU         float64 // of lengths, by scale; the largest of the parts
	stated            bool    // no bar: no scale term
	edge              float64 // mean edge, mm, area-weighted
}

func (t *sums) add(o sums) {
	// One hand draws the outlines of all parts, so that what is uncertain about
	// them leans the same way everywhere: uncertainties add up, not in quadrature.
	merge := func(to *map[string]float64, from map[string]float64) {
		if *to == nil {
			*to = map[string]float64{}
		}
		for k, v := range from {
			(*to)[k] += v
		}
	}
	if t.total+o.total > 0 {
		t.edge = (t.edge*t.total + o.edge*o.total) / (t.total + o.total)
	}
	t.total += o.total
	merge(&t.area, o.area)
	merge(&t.u, o.u)
	merge(&t.applied, o.applied)
	merge(&t.appliedU, o.appliedU)
	merge(&t.condition, o.condition)
	merge(&t.condU, o.condU)
	t.changed += o.changed
	t.changedU += o.changedU
	t.retouched += o.retouched
	t.retouchedOriginal += o.retouchedOriginal
	t.retouchU += o.retouchU
	t.restoredU += o.restoredU
	t.openings += o.openings
	t.loops += o.loops
	t.relativeU = math.Max(t.relativeU, o.relativeU)
	t.stated = t.stated || o.stated
}

// specimen is S.
func (t *sums) specimen() float64 { return t.total - t.area[matrix] - t.area[support] }

// kindOf maps region numbers of a use to their words.
func kindOf(regions []annotate.Region) map[uint16]annotate.Region {
	out := make(map[uint16]annotate.Region, len(regions))
	for _, r := range regions {
		out[r.Number] = r
	}
	return out
}

// body sums one use and adds its regions and joins to the sheet.
func (s *Sheet) body(b Body) (sums, error) {
	m := b.Surface.Mesh
	n := m.FaceCount()
	if b.Map.FaceCount() != n {
		return sums{}, fmt.Errorf("the map has %d faces and the scan %d: it belongs to another scan", b.Map.FaceCount(), n)
	}
	factor := b.Scale.Calibrated()
	known := kindOf(b.Regions)
	t := sums{
		area: map[string]float64{}, u: map[string]float64{}, applied: map[string]float64{}, appliedU: map[string]float64{},
		condition: map[string]float64{}, condU: map[string]float64{},
		relativeU: b.Scale.RelativeU, stated: stated(b.Scale),
		edge: b.meanEdge() * factor,
	}
	share := newShares(n)
	regionArea := map[uint16]float64{}
	combos, err := gather(b, known, share)
	if err != nil {
		return sums{}, err
	}
	for _, c := range combos {
		a := c.area.Value() * factor * factor
		t.total += a
		t.area[c.word] += a
		for _, r := range c.regions {
			regionArea[r.Number] += a
		}
		for _, k := range c.kinds {
			if k.layer == facemap.Condition.String() {
				t.condition[k.kind] += a
			} else {
				t.applied[k.kind] += a
			}
		}
		if c.retouched {
			t.retouched += a
			if annotate.IsOriginal(c.word) {
				t.retouchedOriginal += a
			}
		}
		if c.changed {
			t.changed += a
		}
	}

	// A region's band is that of its own outline. The ground, original and not
	// examined, is what the others leave, so theirs bound it wherever they are
	// wider than its own.
	floor := math.Max(bandFloorMM, t.edge/4)
	bands := map[string]float64{}
	lengths := map[uint16]float64{}
	for _, r := range inOrder(b.Regions) {
		a, ok := regionArea[r.Number]
		if !ok {
			continue
		}
		band := math.Max(r.BandMM, floor)
		lengths[r.Number] = outlineLength(b.Surface, share.region[r.Number]) * factor
		s.Regions = append(s.Regions, Region{ID: r.ID, Use: b.Use, Layer: r.Layer, Kind: r.Kind, Area: t.areaOf(a, band*lengths[r.Number])})
		for _, word := range wordsOf(r) {
			bands[word] = math.Max(bands[word], band)
		}
	}
	edgeU := func(word string) float64 {
		faces := share.word[word]
		if faces == nil {
			return 0
		}
		own := math.Max(bands[word], floor)
		u := own * outlineLength(b.Surface, faces) * factor
		if word != unassigned && !annotate.IsOriginal(word) {
			return u
		}
		for _, r := range b.Regions {
			if r.Layer == facemap.Substance.String() && r.Kind != word {
				u += math.Max(r.BandMM-own, 0) * lengths[r.Number]
			}
		}
		return u
	}
	for word := range t.area {
		t.u[word] = edgeU(word)
	}
	for kind := range t.applied {
		t.appliedU[kind] = edgeU("applied/" + kind)
	}
	for kind := range t.condition {
		t.condU[kind] = edgeU("condition/" + kind)
	}
	t.restoredU = edgeU(unionRestored)
	t.changedU = edgeU(unionChanged)
	t.retouchU = t.appliedU[retouch]
	t.open(b.Surface, factor)
	for _, j := range b.Joins {
		s.Joins = append(s.Joins, LengthOf(j, b.Scale))
	}
	return t, nil
}

// inOrder sorts regions as the sheet lists them, whatever they were read from: by
// layer as the map has them, then by id with R2 before R10.
func inOrder(regions []annotate.Region) []annotate.Region {
	out := slices.Clone(regions)
	layer := func(r annotate.Region) int {
		l, err := facemap.ParseLayer(r.Layer)
		if err != nil {
			return math.MaxInt
		}
		return int(l)
	}
	slices.SortStableFunc(out, func(a, b annotate.Region) int {
		return cmp.Or(cmp.Compare(layer(a), layer(b)), cmp.Compare(len(a.ID), len(b.ID)), cmp.Compare(a.ID, b.ID))
	})
	return out
}

// meanEdge is the scan's mean edge in the units of the surface.
func (b Body) meanEdge() float64 {
	if b.MeanEdgeMM > 0 {
		return b.MeanEdgeMM
	}
	return b.Surface.MeanEdge()
}

// wordsOf lists the words whose areas a region's outline bounds.
func wordsOf(r annotate.Region) []string {
	if r.Layer != facemap.Substance.String() {
		words := []string{r.Layer + "/" + r.Kind}
		if r.Kind == retouch {
			words = append(words, unionChanged)
		}
		return words
	}
	if annotate.IsRestored(r.Kind) {
		return []string{r.Kind, unionRestored, unionChanged}
	}
	return []string{r.Kind}
}

// areaOf gives an area its uncertainty: the outline's and the scale's.
func (t *sums) areaOf(a, outlineU float64) quantity.Measured {
	return quantity.Measured{
		Value: a, U: math.Hypot(outlineU, 2*a*t.relativeU), K: 2, Unit: quantity.SquareMillim,
		Method: fmt.Sprintf("sum of triangles at a mean edge of %.2g mm; u from the outline%s", t.edge, t.scaleWords()),
	}
}

func (t *sums) scaleWords() string {
	if t.stated {
		return "; scale as stated, no scale term"
	}
	return " and the scale"
}

func (t *sums) surface() Surface {
	out := Surface{
		TotalMM2: t.total, SpecimenMM2: t.specimen(), OpeningsMM2: t.openings, Openings: t.loops,
		BySubstance: map[string]quantity.Measured{}, ByApplied: map[string]quantity.Measured{}, ByCondition: map[string]quantity.Measured{},
	}
	if t.total > 0 {
		S := t.areaOf(t.specimen(), math.Hypot(t.u[matrix], t.u[support]))
		out.Specimen = &S
	}
	for k, v := range t.area {
		out.BySubstance[k] = t.areaOf(v, t.u[k])
	}
	for k, v := range t.applied {
		out.ByApplied[k] = t.areaOf(v, t.appliedU[k])
	}
	for k, v := range t.condition {
		out.ByCondition[k] = t.areaOf(v, t.condU[k])
	}
	return out
}

func (t *sums) share(part, u, of float64, method string) *quantity.Measured {
	return &quantity.Measured{Value: part / of, U: u / of, K: 2, Unit: quantity.Share, Method: method}
}

func (t *sums) restored() Restored {
	S := t.specimen()
	if !(S > 0) {
		return Restored{WhyAbsent: "no specimen surface exposed"}
	}
	R := t.area[fill] + t.area[reconstruction]
	U := t.area[uncertain] + t.area[unassigned]
	out := Restored{
		Low:  t.share(R, t.restoredU, S, "(fill + reconstruction) / S, of the surface scanned"),
		High: t.share(R+U, t.restoredU, S, "(fill + reconstruction + uncertain + not examined) / S, of the surface scanned"),
	}
	if U/S > MostUnknown {
		out.WhyAbsent = fmt.Sprintf("%.0f\u00a0%% of the surface scanned is uncertain or not examined; above %.0f\u00a0%% only the range is stated", 100*U/S, 100*MostUnknown)
		return out
	}
	out.Share = t.share(R, t.restoredU, S, "(fill + reconstruction) / S, of the surface scanned")
	return out
}

// open sums the openings of the scan, one for each border loop.
func (t *sums) open(s *facemap.Surface, factor float64) {
	for _, loop := range s.Topology.BorderLoops() {
		if len(loop) < 3 {
			continue
		}
		t.openings += loopArea(s, loop) * factor * factor
		t.loops++
	}
}

// LengthOf is the length of a join, calibrated: the sum of the straight pieces of
// its way.
func LengthOf(j Join, scale annotate.Scale) JoinLength {
	length := 0.0
	for i := 1; i < len(j.Way); i++ {
		length += r3.Norm(r3.Sub(j.Way[i], j.Way[i-1]))
	}
	length *= scale.Calibrated()
	u := math.Sqrt(2*pickMM*pickMM + math.Pow(0.005*length, 2) + math.Pow(length*scale.RelativeU, 2))
	return JoinLength{ID: j.ID, Fit: j.Fit, Length: quantity.Measured{
		Value: length, U: u, K: 2, Unit: quantity.Millimetre,
		Method: "shortest way over the surface through the marked points" + map[bool]string{true: "; scale as stated, no scale term"}[stated(scale)],
	}}
}

// stated says whether no bar was measured, so that no value has a scale term.
func stated(s annotate.Scale) bool { return s.Verdict == annotate.ScaleAsStated || s.Verdict == "" }

// point adds the open points that the values themselves raise.
func (s *Sheet) point(in Input, t *sums) {
	add := func(id, severity, about, reason, way string) {
		s.OpenPoints = append(s.OpenPoints, annotate.OpenPoint{ID: id, Severity: severity, About: about, Reason: reason, WayOut: way})
	}
	for _, p := range in.WithoutScan {
		add("piece_without_scan", "warning", p, "piece "+p+" has no scan at this stage and is in no sum", "scan it, or say that it is not there")
	}
	S := t.specimen()
	if t.total > 0 && !(S > 0) {
		add("no_specimen_surface", "note", in.Stage, "no specimen surface exposed", "map what is not matrix or support once it is bare")
	}
	if S > 0 {
		if U := t.area[unassigned]; U > 0 {
			severity := "note"
			if (U+t.area[uncertain])/S > MostUnknown {
				severity = "warning"
			}
			add("not_examined", severity, in.Stage, fmt.Sprintf("%.1f\u00a0%% of the surface scanned is not examined", 100*U/S), "map it, or hand over with the range as it stands")
		}
		if t.area[uncertain] > 0 {
			if r := s.Restored.Low; r != nil && t.area[fill]+t.area[reconstruction] > 0 && t.area[uncertain]/S > r.Expanded() {
				add("restored_rests_on_uncertain", "warning", in.Stage, fmt.Sprintf("whether %.1f\u00a0%% of the surface scanned was added cannot be decided, which moves the restored share by more than its uncertainty: it may be up to %.1f\u00a0%%",
					100*t.area[uncertain]/S, 100*(t.area[fill]+t.area[reconstruction]+t.area[uncertain])/S), "give the range, not the share alone, or examine the uncertain surface by another method")
			}
			add("uncertain_surface", "note", in.Stage, fmt.Sprintf("%.1f\u00a0%% of the surface scanned is uncertain", 100*t.area[uncertain]/S), "examine it by another method, or leave the range")
		}
		if t.retouchedOriginal > 0 {
			add("retouch_over_original", "warning", in.Stage, fmt.Sprintf("retouch lies over original on %.1f\u00a0%% of the surface scanned", 100*t.retouchedOriginal/S), "take the colour back to the fill, or say why it stays")
		}
	}
	known := slices.ContainsFunc(in.OpenPoints, func(p annotate.OpenPoint) bool { return strings.HasPrefix(p.ID, "scale_as_stated") })
	if t.stated && len(in.Bodies) > 0 && !known {
		add("scale_as_stated", "note", in.Stage, "no scale bar was measured: lengths, areas and volumes carry no scale uncertainty", "measure a scale bar in the scan")
	}
	placed := slices.IndexFunc(s.Joins, func(j JoinLength) bool { return j.Fit == "placed" })
	if placed >= 0 {
		add("join_placed", "note", s.Joins[placed].ID, "the pieces at "+s.Joins[placed].ID+" do not touch: their distance is a judgement", "do not measure across it")
	}
}
