package project

import (
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/propose"
	"rigatino/annotate/tally"
	"rigatino/mesh/frame"
	"rigatino/mesh/solid/bentbody"
)

func sheetAt(t *testing.T, p *Project, stage string) *tally.Sheet {
	t.Helper()
	s, err := p.Tally(t.Context(), Tallying{Stage: stage, Volumes: true})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func pointOf(s *tally.Sheet, rule string) (annotate.OpenPoint, bool) {
	for _, p := range s.OpenPoints {
		if strings.HasPrefix(p.ID, rule+":") {
			return p, true
		}
	}
	return annotate.OpenPoint{}, false
}

// Added matter that nobody marked, and that is marked as original, is an open
// point; once the proposal is accepted it is none, and the fill has the volume
// that the two scans give, 149.926 mm³ exactly, but no share by volume while the
// map is not whole.
func TestAddedMatterAndTheMap(t *testing.T) {
	p, before, after, pose := prepared(t)
	l, err := p.LoadUse(t.Context(), after, nil)
	if err != nil {
		t.Fatal(err)
	}
	body := bentbody.New(1)
	far, _, _ := l.Surface.Locate(pose.Apply(body.On(r3.Vec{X: -1, Y: -0.2, Z: 0.8}, true)))
	if _, ok := pointOf(sheetAt(t, p, "fill"), "added_not_marked"); ok {
		t.Error("without any map nothing can disagree with it")
	}
	if _, err := p.MapFaces(after, annotate.Region{Layer: annotate.LayerSubstance, Kind: annotate.Original, Certainty: "seen"}, []uint32{far.Face}); err != nil {
		t.Fatal(err)
	}
	s := sheetAt(t, p, "fill")
	if point, ok := pointOf(s, "added_not_marked"); !ok || point.Severity != annotate.SeverityWarning {
		t.Errorf("added matter that nobody marked is no warning: %+v", s.OpenPoints)
	}
	if len(s.Fills) != 0 || s.RestoredByVolume != nil {
		t.Errorf("fills on a map without any: %+v", s.Fills)
	}
	if _, err := p.MapRest(after, annotate.Region{Kind: annotate.Original, Certainty: "assumed", ExaminedBy: "visible"}); err != nil {
		t.Fatal(err)
	}
	s = sheetAt(t, p, "fill")
	if _, ok := pointOf(s, "added_marked_original"); !ok {
		t.Errorf("added matter marked as original is no open point: %+v", s.OpenPoints)
	}
	if _, ok := pointOf(s, "added_not_marked"); ok {
		t.Error("it is marked")
	}
	q, err := p.Propose(t.Context(), before, after, nil)
	if err != nil {
		t.Fatal(err)
	}
	for i, x := range q.List {
		if x.Kind == propose.FillAdded {
			said := annotate.Region{Material: "epoxy putty"}
			done, err := p.Accept(q, Accepting{Number: i + 1, Region: said})
			if err != nil {
				t.Fatal(err)
			}
			err = p.Edit("density entered", func(r *annotate.Record) error {
				for k := range r.Regions {
					if r.Regions[k].ID == done.Answer.Regions[0] {
						r.Regions[k].Density = &annotate.Density{GramsPerCM3: 1.4, U: 0.05}
					}
				}
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
		}
	}
	s = sheetAt(t, p, "fill")
	for _, rule := range []string{"added_marked_original", "added_not_marked", "nothing_added"} {
		if point, ok := pointOf(s, rule); ok {
			t.Errorf("after accepting: %s", point.Reason)
		}
	}
	if len(s.Fills) != 1 || s.Fills[0].Volume == nil || s.Fills[0].Estimate || s.Fills[0].Mass == nil {
		t.Fatalf("fills %+v", s.Fills)
	}
	v := *s.Fills[0].Volume
	if !v.Covers(149.926) || math.Abs(v.Value-149.926) > 0.02*149.926 {
		t.Errorf("fill %v, wanted 149.926 mm³", v)
	}
	if m := s.Fills[0].Mass; math.Abs(m.Value-0.2099) > 0.005 {
		t.Errorf("mass %v, wanted 0.21 g", m)
	}
	if s.RestoredByVolume == nil || s.RestoredByVolume.Low == nil {
		t.Fatalf("by volume %+v", s.RestoredByVolume)
	}
	want := 149.926 / (body.VolumeMM3() - body.RemovedMM3() + body.AddedMM3())
	if low := s.RestoredByVolume.Low; !low.Covers(want) || math.Abs(low.Value/want-1) > 0.03 {
		t.Errorf("restored by volume %v, wanted %v", low, want)
	}
}

// A fill thinner than the smallest change is not "nothing added": the point says
// how much it may hold.
func TestFillThinnerThanTheSmallestChange(t *testing.T) {
	p := fresh(t)
	body := bentbody.New(1)
	middle := r3.Vec{X: -0.3, Y: -0.95, Z: 0.2}
	body.Changes = []bentbody.Change{{Towards: middle, HalfAngle: 0.3, Amount: -0.0025}} // under 0.03 mm
	add(t, p, body.Before(bentbody.Scanning{Triangles: 60000}), "received", "body", "")
	add(t, p, body.After(bentbody.Scanning{Triangles: 60000}), "fill", "body", "")
	before := annotate.UseKey{Stage: "received", Piece: "body", Part: "whole"}
	after := annotate.UseKey{Stage: "fill", Piece: "body", Part: "whole"}
	place(t, p, after, before.String(), frame.Identity(), annotate.VerdictAccepted)
	l, err := p.LoadUse(t.Context(), after, nil)
	if err != nil {
		t.Fatal(err)
	}
	within := func(towards r3.Vec, mm float64) (out []uint32) {
		at := body.On(towards, true)
		for f := range uint32(l.Surface.Mesh.FaceCount()) {
			a, b, c := l.Surface.Mesh.Corners(f)
			if r3.Norm(r3.Sub(r3.Scale(1.0/3, r3.Add(a, r3.Add(b, c))), at)) < mm {
				out = append(out, f)
			}
		}
		return out
	}
	spec := annotate.Region{Layer: annotate.LayerSubstance, Kind: annotate.Fill, Certainty: "seen", Since: "fill"}
	thin, err := p.MapFaces(after, spec, within(middle, 4))
	if err != nil {
		t.Fatal(err)
	}
	none, err := p.MapFaces(after, spec, within(r3.Vec{X: -1, Y: -0.2, Z: 0.8}, 6))
	if err != nil {
		t.Fatal(err)
	}
	s := sheetAt(t, p, "fill")
	if point, ok := pointOf(s, "thinner_than_smallest"); !ok || point.About != thin.Region.ID || !strings.Contains(point.Reason, "may hold up to") {
		t.Errorf("a thin fill: %+v", s.OpenPoints)
	}
	if point, ok := pointOf(s, "nothing_added"); !ok || point.About != none.Region.ID {
		t.Errorf("a fill where nothing was added: %+v", point)
	}
}
