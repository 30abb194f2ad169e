package demo

import (
	"context"
	"math"
	"os"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/project"
	"rigatino/annotate/tally"
	"rigatino/mesh/frame"
	"rigatino/mesh/quantity"
)

// smallFaces is the size at which the demo's numbers are tried every time.
const smallFaces = 40_000

// The demo against its truth: scans, given picks and the true outlines go
// through the project's own functions, and what comes out is held against
// integrals that know of none of them. With RIGATINO_PROVE=1 at full size.
func TestDemoAgainstItsTruth(t *testing.T) {
	faces := smallFaces
	if os.Getenv("RIGATINO_PROVE") != "" {
		faces = UsualFaces
	}
	ctx := context.Background()
	began := time.Now()
	made, err := Make(ctx, t.TempDir()+"/demo", Options{Faces: faces}, nil)
	if err != nil {
		t.Fatal(err)
	}
	p, err := project.Open(made.Project, project.Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	sheet, err := p.Tally(ctx, project.Tallying{Stage: Retouch, Volumes: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d faces a scan, %v", faces, time.Since(began).Round(time.Second))

	poses(t, p, made)
	shares(t, sheet, made.Truth)
	volumes(t, sheet, made.Truth)
	movedPiece(t, p, made.Truth)
	record := p.Record()
	fillVolumes(t, sheet, &record, made.Truth)
	for _, j := range made.Truth.Joins {
		found := false
		for _, l := range sheet.Joins {
			if l.ID != j.Name {
				continue
			}
			found = true
			near(t, "length of "+j.Name, l.Length.Value, j.Length, 0.01)
			if l.Fit != j.Fit {
				t.Errorf("%s fits %s, not %s", j.Name, l.Fit, j.Fit)
			}
		}
		if !found {
			t.Errorf("join %s is not in the sheet", j.Name)
		}
	}
	for _, o := range append(record.OpenPoints(), sheet.OpenPoints...) {
		t.Logf("open point %s (%s): %s", o.ID, o.Severity, o.Reason)
		if o.Severity == annotate.SeverityRefused {
			t.Errorf("open point %s is refused: %s", o.ID, o.Reason)
		}
	}
}

// near says whether a value lies within a share of the truth.
func near(t *testing.T, what string, got, want, share float64) {
	t.Helper()
	t.Logf("%s: %.5g, truth %.5g (%+.3f %%)", what, got, want, 100*(got/want-1))
	if !(math.Abs(got/want-1) <= share) {
		t.Errorf("%s is %.6g, truth %.6g: off by %.2f %%, more than %.2f %%", what, got, want, 100*(got/want-1), 100*share)
	}
}

// poses holds every scan's place against the pose it was made with: the largest
// error over the specimen.
func poses(t *testing.T, p *project.Project, made *Made) {
	t.Helper()
	record := p.Record()
	first := map[string]frame.Rigid{}
	worst := func(s Scan, got, want frame.Rigid) float64 {
		far := 0.0
		for i := 0; i < s.Mesh.VertexCount(); i += 97 {
			v := s.Mesh.Vertex(uint32(i))
			far = max(far, r3.Norm(r3.Sub(got.Apply(v), want.Apply(v))))
		}
		return far
	}
	for _, s := range made.Scans {
		if _, ok := first[s.Piece]; !ok {
			first[s.Piece] = s.SpecimenToScan
		}
		u := record.Use(s.key())
		if u.Alignment == nil {
			continue
		}
		off := worst(s, frame.FromMatrix(u.Alignment.ScanToPiece), s.SpecimenToScan.Inverse().Then(first[s.Piece]))
		t.Logf("%s lies within %.3f mm of its place; fit %.3f, check %.3f mm, stable %.0f %% and %.0f %%", s.Name(), off,
			u.Alignment.FitResidualRMS, u.Alignment.CheckRMS, 100*u.Alignment.StableShareBefore, 100*u.Alignment.StableShareAfter)
		if off > 0.15 {
			t.Errorf("%s is %.3f mm off its place", s.Name(), off)
		}
	}
	fragment, _ := record.Piece("fragment")
	if fragment.PieceToSpecimen == nil {
		t.Fatal("the fragment has no place in the specimen")
	}
	for _, s := range made.Scans {
		if s.Piece == "fragment" && s.Stage == MechCoarse {
			want := first["fragment"].Inverse().Then(first["body"])
			off := worst(s, frame.FromMatrix(*fragment.PieceToSpecimen), want)
			t.Logf("the fragment lies within %.3f mm of its place in the body", off)
			if off > 0.3 {
				t.Errorf("the fragment is %.3f mm off its place in the body", off)
			}
		}
	}
}

func shares(t *testing.T, sheet *tally.Sheet, truth *Truth) {
	t.Helper()
	var st TrueStage
	for _, x := range truth.Stages {
		if x.Stage == Retouch {
			st = x
		}
	}
	r := st.Regions
	points := func(what string, got *quantity.Measured, want float64) {
		t.Helper()
		if got == nil {
			t.Errorf("%s is absent", what)
			return
		}
		t.Logf("%s: %.3f %%, truth %.3f %%", what, 100*got.Value, 100*want)
		if math.Abs(got.Value-want) > 0.003 {
			t.Errorf("%s is %.3f %%, truth %.3f %%: more than 0.3 points off", what, 100*got.Value, 100*want)
		}
	}
	points("restored", sheet.Restored.Share, st.Restored)
	points("restored at least", sheet.Restored.Low, st.Restored)
	points("restored at most", sheet.Restored.High, st.RestoredHigh)
	points("changed in look", sheet.ChangedInLook, st.ChangedInLook)
	points("retouch over original", sheet.RetouchOverOriginal, st.RetouchOver)
	points("matrix left", sheet.MatrixLeft, st.MatrixLeft)
	by := sheet.Surface.BySubstance
	near(t, "area of fill", by[annotate.Fill].Value, r["old fill"]+r["putty"], 0.01)
	near(t, "area of reconstruction", by[annotate.Reconstruction].Value, r["model"], 0.01)
	near(t, "area of matrix", by[annotate.Matrix].Value, r["matrix"], 0.01)
	near(t, "area abraded", by[annotate.OriginalAbraded].Value, r["abraded"], 0.01)
	near(t, "area uncertain", by[annotate.Uncertain].Value, r["uncertain"], 0.01)
	near(t, "area retouched", sheet.Surface.ByApplied[annotate.Retouch].Value, r["retouch"], 0.01)
	near(t, "area lowered", sheet.Surface.ByCondition["surface_lowered"].Value, r["lowered"], 0.01)
	near(t, "specimen surface", sheet.Surface.SpecimenMM2, st.Specimen, 0.01)
}

// volumes holds each pair of stages to its own U, to 2 % of the truth and to a
// U of 3 %. A piece set back is in no total.
func volumes(t *testing.T, sheet *tally.Sheet, truth *Truth) {
	t.Helper()
	for _, want := range truth.Volumes {
		var got *tally.Volume
		for i, v := range sheet.Volumes {
			if v.From == want.From && v.To == want.To && v.Piece == want.Piece {
				got = &sheet.Volumes[i]
			}
		}
		if got == nil {
			t.Errorf("no volumes from %s to %s of %s", want.From, want.To, want.Piece)
			continue
		}
		moved := 0.0
		for _, p := range want.Parts {
			if p.What == "moved_piece" {
				moved += p.Volume
			}
		}
		for _, side := range []struct {
			word string
			got  *quantity.Measured
			want float64
		}{{"removed", got.Removed, want.Removed}, {"added", got.Added, want.Added - moved}} {
			what := side.word + " from " + want.From + " to " + want.To + " of " + want.Piece
			if side.got == nil {
				t.Errorf("%s: no volume", what)
				continue
			}
			u := side.got.K * side.got.U
			off := side.got.Value - side.want
			t.Logf("%s: %.1f mm³, U %.1f, truth %.1f (off by %+.1f)", what, side.got.Value, u, side.want, off)
			switch {
			case math.Abs(off) > u:
				t.Errorf("%s is %.1f ± %.1f mm³, truth %.1f", what, side.got.Value, u, side.want)
			case side.want > 0 && (math.Abs(off) > 0.02*side.want || u > 0.03*side.got.Value):
				t.Errorf("%s is %.1f ± %.1f mm³, truth %.1f: more than 2 %% off, or U above 3 %%", what, side.got.Value, u, side.want)
			}
		}
		if !got.Consistent {
			t.Logf("from %s to %s of %s the checks disagree", want.From, want.To, want.Piece)
		}
	}
}

// fillVolumes holds the volume of each fill that was scanned before and after
// against the truth; the old one was not, so that nothing is said of it or of
// the restored share by volume.
func fillVolumes(t *testing.T, sheet *tally.Sheet, record *annotate.Record, truth *Truth) {
	t.Helper()
	want := map[string]float64{}
	for _, v := range truth.Volumes {
		for _, p := range v.Parts {
			want[p.Name] = p.Volume
		}
	}
	names := map[string]string{"W7": "putty", "W8": "model", "W1": ""}
	for _, f := range sheet.Fills {
		g, _ := record.Region(f.Regions[0])
		name := names[g.Work]
		if name == "" {
			if f.Volume != nil || f.WhyAbsent == "" {
				t.Errorf("the old fill has a volume: %+v", f)
			}
			continue
		}
		if f.Volume == nil || f.Estimate || len(f.Regions) != 1 {
			t.Errorf("%s: %+v", name, f)
			continue
		}
		near(t, "volume of the "+name, f.Volume.Value, want[name], 0.02)
		if !f.Volume.Covers(want[name]) {
			t.Errorf("%s is %v, truth %.1f mm³", name, f.Volume, want[name])
		}
	}
	if len(sheet.Fills) != 3 {
		t.Errorf("%d fills, not three", len(sheet.Fills))
	}
	if v := sheet.RestoredByVolume; v == nil || v.Low != nil || v.WhyAbsent == "" {
		t.Errorf("restored by volume is stated although the old fill was not measured: %+v", v)
	}
}

// movedPiece holds the volume of the fragment set back, which is in no total,
// against the truth.
func movedPiece(t *testing.T, p *project.Project, truth *Truth) {
	t.Helper()
	for _, v := range truth.Volumes {
		for _, part := range v.Parts {
			if part.What != "moved_piece" {
				continue
			}
			key := func(stage string) annotate.UseKey {
				return annotate.UseKey{Stage: stage, Piece: v.Piece, Part: annotate.PartWhole}
			}
			c, err := p.Change(context.Background(), key(v.From), key(v.To), nil)
			if err != nil {
				t.Fatal(err)
			}
			found := false
			for i, what := range c.What {
				got := c.Volume.Areas[i].Volume
				if what != part.What || got == nil {
					continue
				}
				found = true
				u := got.K * got.U
				off := got.Value - part.Volume
				t.Logf("%s: %.1f mm³, U %.1f, truth %.1f (off by %+.1f)", part.Name, got.Value, u, part.Volume, off)
				if math.Abs(off) > u || math.Abs(off) > 0.02*part.Volume || u > 0.03*got.Value {
					t.Errorf("%s is %.1f ± %.1f mm³, truth %.1f", part.Name, got.Value, u, part.Volume)
				}
			}
			if !found {
				t.Errorf("no change area is said to be the %s", part.Name)
			}
		}
	}
}
