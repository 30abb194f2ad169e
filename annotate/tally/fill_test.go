package tally

import (
	"math"
	"strings"
	"testing"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/mesh/quantity"
	"rigatino/mesh/solid"
)

// A thickness of 0.5, 1 and 2 mm (least, likeliest, most) on exactly 200 mm² is
// 233.33 mm³ with u 62.36: mean and variance of the triangular distribution (JCGM
// 101 6.4.5 for the symmetric one; any textbook for this). Nobody's interval
// reaches below the least or above the most.
func TestVolumeByThickness(t *testing.T) {
	v, err := byThickness(quantity.Measured{Value: 200, Unit: quantity.SquareMillim, K: 2}, [3]float64{0.5, 1, 2})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(v.Value-233.333) > 0.001 || math.Abs(v.U-62.361) > 0.001 {
		t.Errorf("volume %v u %v, wanted 233.33 and 62.36", v.Value, v.U)
	}
	// The shortest 95.45 % of this triangle, by its formula: it starts where the
	// density is as high as where it ends, so that each side loses the same part.
	lose := math.Sqrt(1 - 0.954499736)
	want := 200 * max(1.16667-(0.5+0.5*lose), (2-lose)-1.16667)
	if math.Abs(v.Expanded()-want) > 0.02*want {
		t.Errorf("expanded %v, wanted %v", v.Expanded(), want)
	}
	if !strings.HasPrefix(v.Method, "estimate") {
		t.Errorf("method %q", v.Method)
	}
	// 1 mm of which nothing is doubtful, on 200 ± 10 mm²: only the area counts.
	v, err = byThickness(quantity.Measured{Value: 200, U: 10, Unit: quantity.SquareMillim, K: 2}, [3]float64{1, 1, 1})
	if err != nil || v.Value != 200 || math.Abs(v.U-10) > 1e-9 {
		t.Errorf("%+v %v", v, err)
	}
}

// 250 ± 5 cm³ at 2.50 ± 0.10 g/cm³ is 625 ± 28 g (one standard deviation,
// independent: 27.95).
func TestMass(t *testing.T) {
	m := massOf(quantity.Measured{Value: 250_000, U: 5000, K: 2, Unit: quantity.CubicMillimetre}, annotate.Density{GramsPerCM3: 2.5, U: 0.1})
	if math.Abs(m.Value-625) > 1e-9 || math.Abs(m.U-27.95) > 0.01 || m.Unit != quantity.Gram {
		t.Errorf("mass %+v", m)
	}
	if got := strings.ReplaceAll(m.String(), "\u00a0", " "); got != "620 ± 60 g" && got != "630 ± 60 g" {
		t.Errorf("printed %q", got)
	}
	// 12.40 cm³ of putty of specific gravity 1.4 weigh 17.36 g.
	if m = massOf(quantity.Measured{Value: 12_400, K: 2}, annotate.Density{GramsPerCM3: 1.4}); math.Abs(m.Value-17.36) > 1e-9 {
		t.Errorf("mass %v g", m.Value)
	}
}

// filled is a ball of 50 mm with two fills and the rest original.
func filled(t *testing.T) Input {
	t.Helper()
	s := facemap.NewSurface(solid.Icosphere(4, 50))
	m, err := facemap.New("", s.Mesh.FaceCount())
	if err != nil {
		t.Fatal(err)
	}
	for n, faces := range [][]uint32{{0, 1, 2, 3, 4, 5, 6, 7}, {1000, 1001, 1002, 1003}} {
		if _, err := m.AssignFaces(faces, facemap.Paint{Layer: facemap.Substance, Region: uint16(n + 1)}); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := m.Rest(3); err != nil {
		t.Fatal(err)
	}
	substance := func(id string, n uint16, kind string) annotate.Region {
		return annotate.Region{ID: id, Number: n, Layer: annotate.LayerSubstance, Kind: kind}
	}
	return Input{Stage: "fill", Bodies: []Body{{
		Piece: "body", Use: "fill/body/whole", Surface: s, Map: m, Scale: annotate.Scale{Verdict: "verified", Factor: 1, RelativeU: 0.01},
		Regions: []annotate.Region{substance("R1", 1, fill), substance("R2", 2, reconstruction), substance("R3", 3, original)},
	}}}
}

// Restored by volume needs a measured volume of every fill and a closed scan
// without matrix, and says so where one is missing; a scale error that both
// volumes share is not in it. A ball of 50 mm holds 4/3 π 50³ = 523 599 mm³.
func TestRestoredByVolume(t *testing.T) {
	measured := quantity.Measured{Value: 400, U: math.Hypot(4, 3*400*0.01), K: 2, Unit: quantity.CubicMillimetre, Method: "closed shell"}
	in := filled(t)
	s, err := Reckon(in)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Fills) != 2 || s.Fills[0].WhyAbsent == "" || s.RestoredByVolume == nil || !strings.Contains(s.RestoredByVolume.WhyAbsent, "R1, R2") {
		t.Fatalf("nothing measured: %+v %+v", s.Fills, s.RestoredByVolume)
	}

	in.FillScans = []FillScan{{Regions: []string{"R1"}, Volume: measured}}
	in.Bodies[0].Regions[1].ThicknessMM = &[3]float64{0.5, 1, 2}
	in.Bodies[0].Regions[1].Density = &annotate.Density{GramsPerCM3: 1.6, U: 0.1}
	if s, err = Reckon(in); err != nil {
		t.Fatal(err)
	}
	if f := s.Fills[0]; f.Estimate || f.Volume.Value != 400 || !strings.Contains(f.Volume.Method, "before and after") || f.Mass != nil {
		t.Errorf("measured: %+v", f)
	}
	if f := s.Fills[1]; !f.Estimate || f.Mass == nil || f.Regions[0] != "R2" {
		t.Errorf("estimated: %+v", f)
	}
	if v := s.RestoredByVolume; v.Low != nil || !strings.Contains(v.WhyAbsent, "R2") {
		t.Errorf("by volume with an estimate: %+v", v)
	}

	in.FillScans = []FillScan{{Regions: []string{"R1", "R2"}, Volume: measured}}
	if s, err = Reckon(in); err != nil {
		t.Fatal(err)
	}
	v := s.RestoredByVolume.Low
	if v == nil {
		t.Fatalf("by volume: %+v", s.RestoredByVolume)
	}
	whole := 4.0 / 3 * math.Pi * 125000
	if math.Abs(v.Value/(400/whole)-1) > 0.005 { // the facets hold 0.2 % less
		t.Errorf("share %v, wanted %v", v.Value, 400/whole)
	}
	// Without the scale: 4 of 400 and 0.03 mm of a radius of 50 mm, three times.
	want := v.Value * math.Hypot(0.01, 3*0.03/50)
	if math.Abs(v.U/want-1) > 0.01 {
		t.Errorf("u %v, wanted %v: the common scale cancels", v.U, want)
	}

	in.Bodies[0].Regions[2].Kind = matrix
	if s, err = Reckon(in); err != nil || s.RestoredByVolume.Low != nil || !strings.Contains(s.RestoredByVolume.WhyAbsent, "matrix") {
		t.Errorf("with matrix: %+v %v", s.RestoredByVolume, err)
	}
	in = filled(t)
	in.FillScans = []FillScan{{Regions: []string{"R1", "R2"}, Volume: measured}}
	in.Bodies[0].Surface.Mesh.Triangles = in.Bodies[0].Surface.Mesh.Triangles[:len(in.Bodies[0].Surface.Mesh.Triangles)-3]
	in.Bodies[0].Surface = facemap.NewSurface(in.Bodies[0].Surface.Mesh)
	m, err := facemap.New("", in.Bodies[0].Surface.Mesh.FaceCount())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := m.AssignFaces([]uint32{0}, facemap.Paint{Layer: facemap.Substance, Region: 1}); err != nil {
		t.Fatal(err)
	}
	in.Bodies[0].Map = m
	if s, err = Reckon(in); err != nil || s.RestoredByVolume.Low != nil || !strings.Contains(s.RestoredByVolume.WhyAbsent, "open") {
		t.Errorf("open scan: %+v %v", s.RestoredByVolume, err)
	}
}

// A restored share that uncertain surface could move by more than its own
// uncertainty is an open point.
func TestRestsOnUncertain(t *testing.T) {
	in := filled(t)
	has := func() bool {
		s, err := Reckon(in)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range s.OpenPoints {
			if p.ID == "restored_rests_on_uncertain" {
				return true
			}
		}
		return false
	}
	if has() {
		t.Error("there is no uncertain surface")
	}
	faces := make([]uint32, 400)
	for i := range faces {
		faces[i] = uint32(2000 + i)
	}
	if _, err := in.Bodies[0].Map.AssignFaces(faces, facemap.Paint{Layer: facemap.Substance, Region: 4}); err != nil {
		t.Fatal(err)
	}
	in.Bodies[0].Regions = append(in.Bodies[0].Regions, annotate.Region{ID: "R4", Number: 4, Layer: annotate.LayerSubstance, Kind: uncertain, Reason: "grain not seen"})
	if !has() {
		t.Error("8 % uncertain surface beside a fill is no open point")
	}
}
