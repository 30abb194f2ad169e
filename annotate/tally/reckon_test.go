package tally

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/mesh"
	"rigatino/mesh/solid"
)

// patch is a rectangle of a flat sheet with its labels.
type patch struct {
	substance string
	applied   []string
	cm2       float64
}

// sheetOf lays rectangles of exact area side by side in a plane.
func sheetOf(t *testing.T, patches []patch) Body {
	t.Helper()
	m := &mesh.Mesh{}
	var regions []annotate.Region
	number := map[string]uint16{}
	region := func(layer, kind string) uint16 {
		if kind == "unassigned" {
			return 0
		}
		if number[layer+kind] == 0 {
			number[layer+kind] = uint16(len(regions) + 1)
			regions = append(regions, annotate.Region{ID: "R" + string(rune('0'+len(regions)+1)), Number: uint16(len(regions) + 1), Layer: layer, Kind: kind})
		}
		return number[layer+kind]
	}
	type label struct {
		faces     []uint32
		substance uint16
		applied   []uint16
	}
	var labels []label
	x := float32(0)
	for _, p := range patches {
		w := float32(p.cm2) // mm: a strip of 100 mm has w·100 mm² = cm2 in cm²
		base := uint32(m.VertexCount())
		m.Positions = append(m.Positions, x, 0, 0, x+w, 0, 0, x+w, 100, 0, x, 100, 0)
		f := uint32(m.FaceCount())
		m.Triangles = append(m.Triangles, base, base+1, base+2, base, base+2, base+3)
		l := label{faces: []uint32{f, f + 1}, substance: region("substance", p.substance)}
		for _, a := range p.applied {
			l.applied = append(l.applied, region("applied", a))
		}
		labels = append(labels, l)
		x += w
	}
	labelled, err := facemap.New("", m.FaceCount())
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range labels {
		if l.substance != 0 {
			if _, err := labelled.AssignFaces(l.faces, facemap.Paint{Region: l.substance}); err != nil {
				t.Fatal(err)
			}
		}
		for _, a := range l.applied {
			if _, err := labelled.AssignFaces(l.faces, facemap.Paint{Region: a, Layer: facemap.Applied}); err != nil {
				t.Fatal(err)
			}
		}
	}
	return Body{Piece: "body", Use: "fill/body/whole", Surface: facemap.NewSurface(m), Map: labelled, Regions: regions, Scale: annotate.Scale{Verdict: "as_stated", Factor: 1}}
}

func reckon(t *testing.T, in Input) *Sheet {
	t.Helper()
	s, err := Reckon(in)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: %v, wanted %v ± %v", what, got, want, within)
	}
}

// Worked figures of the definition (our own arithmetic): total 1000 cm² of
// which S = 750, R = 100, so 13.3 %, range 13.3 to 18.7 %; retouch 90 cm² of
// which 15 on original, so changed in look 115/750 = 15.3 % and retouch over
// original 2.0 %. Wrong answers: 10.0 % (matrix and mount in the denominator),
// 14.1 % (unknowns dropped), 25.3 % (retouch counted twice).
func TestWorkedFigures(t *testing.T) {
	b := sheetOf(t, []patch{
		{"original", nil, 595}, {"original", []string{"retouch"}, 15},
		{"matrix", nil, 200}, {"support", nil, 50},
		{"fill", nil, 5}, {"fill", []string{"retouch"}, 55},
		{"reconstruction", nil, 20}, {"reconstruction", []string{"retouch"}, 20},
		{"uncertain", nil, 25}, {"unassigned", nil, 15},
	})
	s := reckon(t, Input{Stage: "fill", Bodies: []Body{b}})
	near(t, "total mm²", s.Surface.TotalMM2, 100000, 0.1)
	near(t, "S mm²", s.Surface.SpecimenMM2, 75000, 0.1)
	if s.Restored.Share == nil {
		t.Fatalf("no restored share: %s", s.Restored.WhyAbsent)
	}
	near(t, "restored", s.Restored.Share.Value, 100.0/750, 1e-6)
	near(t, "low", s.Restored.Low.Value, 100.0/750, 1e-6)
	near(t, "high", s.Restored.High.Value, 140.0/750, 1e-6)
	near(t, "changed in look", s.ChangedInLook.Value, 115.0/750, 1e-6)
	near(t, "retouch over original", s.RetouchOverOriginal.Value, 0.02, 1e-6)
	near(t, "matrix left", s.MatrixLeft.Value, 0.2, 1e-6)
	for name, wrong := range map[string]float64{"matrix and mount in the denominator": 0.100, "unknowns dropped": 100.0 / 710} {
		if math.Abs(s.Restored.Share.Value-wrong) < 0.005 {
			t.Errorf("restored share is the wrong answer %q", name)
		}
	}
	if math.Abs(s.ChangedInLook.Value-190.0/750) < 0.05 {
		t.Error("changed in look is a sum, not a union")
	}
	var got struct {
		Restored map[string]json.RawMessage
		Surface  map[string]json.RawMessage
	}
	data, err := json.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, &got); err != nil {
		t.Fatal(err)
	}
	if _, ok := got.Restored["why_absent"]; ok {
		t.Error("a reason for absence stands beside a value")
	}
}

// A join has a length of its own and adds nothing to the restored area.
func TestJoinAddsNoArea(t *testing.T) {
	patches := []patch{{"original", nil, 610}, {"fill", nil, 60}}
	b := sheetOf(t, patches)
	without := reckon(t, Input{Bodies: []Body{b}})
	way, err := Trace(b.Surface, [][3]float64{{5, 10, 0}, {345, 10, 0}})
	if err != nil {
		t.Fatal(err)
	}
	b.Joins = []Join{{ID: "J1", Fit: "close", Way: way}}
	with := reckon(t, Input{Bodies: []Body{b}})
	if with.Restored.Share.Value != without.Restored.Share.Value {
		t.Errorf("restored share %v with a join, %v without", with.Restored.Share.Value, without.Restored.Share.Value)
	}
	near(t, "join length in a plane", with.Joins[0].Length.Value, 340, 340*0.001)
}

// Nothing bare: no share at all, not 0 % and not NaN.
func TestAllMatrix(t *testing.T) {
	s := reckon(t, Input{Bodies: []Body{sheetOf(t, []patch{{"matrix", nil, 40}})}})
	if s.Restored.Share != nil || s.Restored.Low != nil || !strings.Contains(s.Restored.WhyAbsent, "no specimen surface exposed") {
		t.Errorf("restored %+v", s.Restored)
	}
	if s.ChangedInLook != nil {
		t.Errorf("changed in look %v where nothing is bare", s.ChangedInLook.Value)
	}
}

// Nothing examined: the definition gives a range from 0 to 100 % and no single
// value.
func TestNothingExamined(t *testing.T) {
	s := reckon(t, Input{Bodies: []Body{sheetOf(t, []patch{{"unassigned", nil, 40}})}})
	if s.Restored.Share != nil || s.Restored.WhyAbsent == "" {
		t.Errorf("a single value is stated: %+v", s.Restored)
	}
	near(t, "low", s.Restored.Low.Value, 0, 0)
	near(t, "high", s.Restored.High.Value, 1, 1e-12)
}

// The single value goes at U/S above 20 % and stays at 20 %.
func TestTooMuchUnknown(t *testing.T) {
	for _, row := range []struct {
		unknown float64
		stated  bool
	}{{20, true}, {21, false}} {
		s := reckon(t, Input{Bodies: []Body{sheetOf(t, []patch{{"original", nil, 100 - row.unknown}, {"unassigned", nil, row.unknown}})}})
		if (s.Restored.Share != nil) != row.stated {
			t.Errorf("U/S = %v %%: share stated is %v", row.unknown, s.Restored.Share != nil)
		}
	}
}

// Two pieces are summed before the share is formed, once.
func TestPiecesAreSummedFirst(t *testing.T) {
	a := sheetOf(t, []patch{{"original", nil, 300}})
	f := sheetOf(t, []patch{{"fill", nil, 50}, {"original", nil, 50}})
	f.Piece, f.Use = "fragment", "fill/fragment/whole"
	s := reckon(t, Input{Bodies: []Body{a, f}, WithoutScan: []string{"chip"}})
	near(t, "restored", s.Restored.Share.Value, 50.0/400, 1e-6)
	if len(s.Pieces) != 2 || math.Abs(s.Pieces[1].Restored.Share.Value-0.5) > 1e-6 {
		t.Errorf("pieces %+v", s.Pieces)
	}
	found := false
	for _, p := range s.OpenPoints {
		found = found || p.ID == "piece_without_scan" && p.About == "chip"
	}
	if !found {
		t.Error("a piece without a scan is no open point")
	}
}

// Sphere of radius 25 mm with two caps of height 5 and 2.5 (areas 2πRh): 10.0 %
// and 5.0 % of the surface, 15.0 % together; with a band of 0.25 mm about the
// first one's rim (2π·15 mm) u is 0.300 % (algebra of the sphere).
func TestCapsOfASphere(t *testing.T) {
	m := solid.Icosphere(6, 25)
	labels, err := facemap.New("", m.FaceCount())
	if err != nil {
		t.Fatal(err)
	}
	var one, two []uint32
	for f := range uint32(m.FaceCount()) {
		a, b, c := m.Corners(f)
		z := (a.Z + b.Z + c.Z) / 3
		switch {
		case z > 20:
			one = append(one, f)
		case z < -22.5:
			two = append(two, f)
		}
	}
	for i, faces := range [][]uint32{one, two} {
		if _, err := labels.AssignFaces(faces, facemap.Paint{Region: uint16(i + 1)}); err != nil {
			t.Fatal(err)
		}
	}
	body := func(first, second string) Body {
		return Body{Piece: "body", Use: "fill/body/whole", Surface: facemap.NewSurface(m), Map: labels, Regions: []annotate.Region{
			{ID: "R1", Number: 1, Layer: "substance", Kind: first}, {ID: "R2", Number: 2, Layer: "substance", Kind: second}},
			Scale: annotate.Scale{Verdict: "as_stated", Factor: 1}}
	}
	for _, row := range []struct {
		first, second string
		want          float64
	}{{"fill", "original", 0.10}, {"original", "fill", 0.05}, {"fill", "reconstruction", 0.15}} {
		s := reckon(t, Input{Bodies: []Body{body(row.first, row.second)}})
		near(t, row.first+"/"+row.second+" low", s.Restored.Low.Value, row.want, 0.0005)
	}
	s := reckon(t, Input{Bodies: []Body{body("fill", "original")}})
	edge := mesh.MeanEdge(m)
	near(t, "u of the restored share", s.Restored.Low.U, math.Max(0.25, edge/4)*2*math.Pi*15/(4*math.Pi*625), 0.05*0.003*math.Max(0.25, edge/4)/0.25)

	// A region whose edge is told less well widens its own area and that of the
	// ground about it, and no other's.
	vague := body("fill", "uncertain")
	vague.Regions[1].BandMM = 2
	v := reckon(t, Input{Bodies: []Body{vague}})
	band := math.Max(0.25, edge/4)
	rimOne, rimTwo := 2*math.Pi*15, 2*math.Pi*math.Sqrt(2*25*2.5-2.5*2.5)
	near(t, "u of the restored share beside a vague region", v.Restored.Low.U, s.Restored.Low.U, 1e-12)
	for kind, want := range map[string]float64{"fill": band * rimOne, "uncertain": 2 * rimTwo, "unassigned": band*rimOne + 2*rimTwo} {
		near(t, "u of "+kind+" beside a vague region", v.Surface.BySubstance[kind].U, want, 0.05*want)
	}
}

// An open half sphere has one opening, the disc of its rim.
func TestOpenings(t *testing.T) {
	m := solid.Icosphere(5, 10)
	kept := m.Triangles[:0:0]
	for f := range uint32(m.FaceCount()) {
		if a, b, c := m.Corners(f); a.Z+b.Z+c.Z > 0 {
			kept = append(kept, m.Triangles[3*f:3*f+3]...)
		}
	}
	m.Triangles = kept
	labels, err := facemap.New("", m.FaceCount())
	if err != nil {
		t.Fatal(err)
	}
	s := reckon(t, Input{Bodies: []Body{{Piece: "body", Surface: facemap.NewSurface(m), Map: labels}}})
	if s.Surface.Openings != 1 {
		t.Fatalf("%d openings, wanted 1", s.Surface.Openings)
	}
	near(t, "opening mm²", s.Surface.OpeningsMM2, math.Pi*100, 0.05*math.Pi*100)
}
