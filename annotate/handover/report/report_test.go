package report

import (
	"bytes"
	"image"
	"image/color"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"rigatino/annotate"
	"rigatino/annotate/tally"
	"rigatino/mesh/quantity"
)

// invented is a report of the invented museum with a long name, many regions and
// everything that a report can hold.
func invented(regions int) Content {
	mm2 := func(v, u float64) quantity.Measured {
		return quantity.Measured{Value: v, U: u, K: 2, Unit: quantity.SquareMillim, Method: "test"}
	}
	share := func(v float64) *quantity.Measured {
		return &quantity.Measured{Value: v, U: 0.001, K: 2, Unit: quantity.Share, Method: "test"}
	}
	specimen := mm2(39870, 95)
	removed := quantity.Measured{Value: 160600, U: 1650, K: 2, Unit: quantity.CubicMillimetre, Method: "test"}
	filler := quantity.Measured{Value: 576.7, U: 1.5, K: 2, Unit: quantity.CubicMillimetre, Method: "scans before and after the fill"}
	mass := quantity.Measured{Value: 0.98, U: 0.02, K: 2, Unit: quantity.Gram, Method: "volume times density"}
	sheet := &tally.Sheet{
		Schema: 1, Stage: "retouch",
		Surface: tally.Surface{
			TotalMM2: 41260, SpecimenMM2: 39870, Specimen: &specimen, OpeningsMM2: 120, Openings: 2,
			BySubstance: map[string]quantity.Measured{
				"original": mm2(31750, 80), "original_abraded": mm2(1510, 30), "fill": mm2(1980, 35),
				"reconstruction": mm2(960, 20), "uncertain": mm2(490, 20), "unassigned": mm2(3180, 40), "matrix": mm2(1390, 25),
			},
			ByApplied:   map[string]quantity.Measured{"retouch": mm2(1270, 30)},
			ByCondition: map[string]quantity.Measured{"surface_lowered": mm2(280, 15)},
		},
		Restored:            tally.Restored{Share: share(0.0737), Low: share(0.0737), High: share(0.1658)},
		ChangedInLook:       share(0.085),
		RetouchOverOriginal: share(0.012),
		MatrixLeft:          share(0.034),
		Joins:               []tally.JoinLength{{ID: "J1", Fit: "close", Length: quantity.Measured{Value: 54, U: 0.5, K: 2, Unit: quantity.Millimetre}}},
		Fills:               []tally.Fill{{Regions: []string{"R9"}, Volume: &filler, Mass: &mass}, {Regions: []string{"R99"}, WhyAbsent: "no scan of it before the fill"}},
		RestoredByVolume:    &tally.ByVolume{WhyAbsent: "not every fill was measured"},
		Volumes:             []tally.Volume{{From: "received", To: "air_abrasive", Piece: "body", Removed: &removed, Consistent: true}},
		OpenPoints: []annotate.OpenPoint{
			{ID: "not_examined", Severity: "note", About: "retouch", Reason: "8.0\u00a0% of the surface scanned is not examined", WayOut: "map it, or hand over with the range as it stands"},
			{ID: "retouch_over_original", Severity: "warning", About: "retouch", Reason: "retouch lies over original on 1.2\u00a0% of the surface scanned", WayOut: "take the colour back to the fill, or say why it stays"},
		},
	}
	record := annotate.Record{
		Specimen: annotate.Specimen{
			CatalogueNumber: "TVM 2041", Title: "left humerus of a plesiosaur", Institution: "Tarn Valley Museum, preparation bench",
			Taxon: "Plesiosauria indet.", Rights: "CC BY 4.0", Cautions: []string{"Lift at the shaft and the head with both hands."},
		},
		People: []annotate.Person{{ID: "kl", Name: "not to be printed", Initials: "K. L."}},
		Stages: []annotate.Stage{{ID: "received", Kind: "received", Date: "2026-03-02"}, {ID: "air_abrasive", Kind: "air_abrasive", Date: "2026-03-12"}, {ID: "retouch", Kind: "retouch", Date: "2026-03-24"}},
		Work: []annotate.Work{
			{ID: "W1", When: "2026-03-02", What: "Received, scanned", Who: "kl", Tool: "34 photographs under even light"},
			{ID: "W2", When: "2026-03-20", What: "Filled", Who: "kl", Materials: []annotate.Material{{Name: "acrylic copolymer", ResinG: 50, SolventML: 100, Solvent: "acetone"}, {Name: "two-part epoxy putty", AmountG: 4.2}}},
		},
	}
	for i := range regions {
		id := "R" + strings.Repeat("9", 1+i%3)
		sheet.Regions = append(sheet.Regions, tally.Region{ID: id, Use: "retouch/body/whole", Layer: "substance", Kind: "fill", Area: mm2(float64(100+i), 5)})
	}
	record.Regions = []annotate.Region{{ID: "R9", Use: "retouch/body/whole", Layer: "substance", Kind: "fill", Certainty: "seen", ExaminedBy: "raking", Material: "two-part epoxy putty", Who: "kl", When: "2026-03-20", Reason: "the join would not bear handling; " + strings.Repeat("a long note that has to wrap ", 6)}}
	picture := image.NewRGBA(image.Rect(0, 0, 640, 320))
	for y := range 320 {
		for x := range 640 {
			picture.SetRGBA(x, y, color.RGBA{230, 226, 218, 255})
		}
	}
	half := 0.076
	c := Content{
		Record: record, Sheet: sheet, Number: 3, Made: time.Date(2026, 3, 24, 12, 0, 0, 0, time.UTC), TileMM: 5,
		Front: View{Name: "front", Picture: picture},
		Changes: []Change{{From: "received", To: "air_abrasive", Piece: "body", Removed: &removed, SmallestMM: 0.12, Consistent: true,
			Checks: []string{"second outline 160.1 cm³", "line counting 160.9 cm³"},
			Areas:  []ChangeArea{{Name: "C1", Kind: "removed", What: "matrix", Volume: &removed, MeanMM: 4.2, MostMM: 11}},
			Budget: quantity.Budget{quantity.Within("fit of the two scans", 0, 0.03, 2077, "mm", quantity.Normal)}}},
		Scans: []Scan{{Use: "retouch/body/whole", Format: "glb", SHA256: strings.Repeat("7c1e", 16), Triangles: 912345, MeanEdgeMM: 0.24, Scale: "as stated", Alignment: "accepted; fit residual 0.03 mm, not accuracy"},
			{Use: "received/body/whole", Format: "glb", SHA256: strings.Repeat("52bf", 16), Triangles: 899937, Scale: "as stated", Alignment: "gives the frame of its piece"}},
	}
	for _, n := range []string{"front", "back", "above", "below", "head end", "far end"} {
		c.Views = append(c.Views, View{Name: n, Picture: picture, RestoredOfView: &half})
	}
	return c
}

// text returns what a PDF says, by an outside program (poppler's pdftotext).
func text(t *testing.T, file string) string {
	t.Helper()
	tool, err := exec.LookPath("pdftotext")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("pdftotext (Debian package poppler-utils) is needed")
		}
		t.Skip("pdftotext is not installed: the text of the PDF is not checked")
	}
	out, err := exec.Command(tool, "-layout", file, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	return strings.ReplaceAll(string(out), "\u00a0", " ")
}

func TestReport(t *testing.T) {
	for _, n := range []int{1, 200} {
		var a, b bytes.Buffer
		if err := Write(&a, invented(n)); err != nil {
			t.Fatal(err)
		}
		if err := Write(&b, invented(n)); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(a.Bytes(), b.Bytes()) {
			t.Error("the same content gives other bytes")
		}
		file := filepath.Join(t.TempDir(), "report.pdf")
		if dir := os.Getenv("RIGATINO_KEEP"); dir != "" {
			file = filepath.Join(dir, "report.pdf")
		}
		if err := os.WriteFile(file, a.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		got := text(t, file)
		for _, want := range []string{
			"DRAFT", "TVM 2041", "7.37 ± 0.20 % of the surface scanned", "together) 8.50 ± 0.20 %", "original 1.20 ± 0.20 %", "left 3.40 ± 0.20 %", "range 7.4 % to 16.6 %", "Not a certificate of authenticity",
			"160.6 ± 3.3 cm³", "not accuracy", "50 g in 100 mL acetone", "K. L.", "page 1 of", "Follow local rules and trained people",
			"S = total − matrix − support", "Legend", "retouch lies over original", "576.7 ± 3.0 mm³", "0.98 ± 0.04 g", "no scan of it before the fill", "Restored by volume is not stated: not every fill was measured",
		} {
			if !strings.Contains(strings.Join(strings.Fields(got), " "), want) {
				t.Errorf("%d regions: the report does not say %q", n, want)
			}
		}
		// A name that nobody released, figures finer than scans allow, and a
		// mean edge of nothing for a scan whose edges were not measured.
		for _, never := range []string{"not to be printed", "100 % original", "7.370", ", 0 mm"} {
			if strings.Contains(got, never) {
				t.Errorf("the report says %q", never)
			}
		}
		if qpdf, err := exec.LookPath("qpdf"); err == nil {
			if out, err := exec.Command(qpdf, "--check", file).CombinedOutput(); err != nil {
				t.Errorf("qpdf --check: %v\n%s", err, out)
			}
		} else if os.Getenv("CI") == "true" {
			t.Error("qpdf is needed")
		}
	}
}

// The lead sentence never gives a single value where the range alone is allowed.
func TestLead(t *testing.T) {
	share := func(v float64) *quantity.Measured { return &quantity.Measured{Value: v, Unit: quantity.Share} }
	for _, row := range []struct {
		in   tally.Restored
		want string
	}{
		{tally.Restored{WhyAbsent: "no specimen surface exposed"}, "**No specimen surface exposed.** No share restored can be stated."},
		{tally.Restored{Low: share(0), High: share(1), WhyAbsent: "100 % is not examined"}, "**Between 0.0\u00a0% and 100.0\u00a0% of the surface scanned is restored.** 100 % is not examined."},
		{tally.Restored{Share: share(0), Low: share(0), High: share(0)}, "**No restoration recorded on the surface scanned.** How it was examined stands with each region."},
	} {
		if got := lead(&tally.Sheet{Restored: row.in}); got != row.want {
			t.Errorf("got %q, wanted %q", got, row.want)
		}
	}
}

// Points that say the same of one scan after another are one row, whatever else
// stands among the rest.
func TestAlike(t *testing.T) {
	point := func(id, way string) annotate.OpenPoint {
		return annotate.OpenPoint{ID: id, Severity: "note", WayOut: way}
	}
	list := []annotate.OpenPoint{point("scale:a", "measure"), point("scale:b", "measure"), point("scale:c", "look"), point("retouch", "look")}
	for i, want := range []int{2, 1, 1, 1} {
		if got := alike(list[i:]); got != want {
			t.Errorf("from %d: %d alike, wanted %d", i, got, want)
		}
	}
}
