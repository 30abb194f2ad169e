package project

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/mesh/solid"
)

func mapFaces(t *testing.T, p *Project, spec annotate.Region, faces ...uint32) Marked {
	t.Helper()
	out, err := p.MapFaces(useKey, spec, faces)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// Substances, conditions that need fossil matter, more of the same region, the
// rest, rubbing out; each is one action (DESIGN 2).
func TestMarking(t *testing.T) {
	p := reopen(t, example(t)) // faces 1 to 3 are region R1, fill
	before := state(t, p)
	bone := mapFaces(t, p, annotate.Region{Layer: "substance", Kind: "original", Certainty: "seen", ExaminedBy: "microscope"}, 10, 11, 12, 13)
	if g := bone.Region; g.ID != "R2" || g.Number != 2 || g.Use != use || bone.Taken != 4 {
		t.Errorf("marked %+v", bone)
	}
	more := mapFaces(t, p, annotate.Region{ID: "R2"}, 14)
	if more.Region.ID != "R2" {
		t.Errorf("more of R2 became %+v", more.Region)
	}
	mark := mapFaces(t, p, annotate.Region{Layer: "condition", Kind: "tool_mark"}, 1, 2, 12, 13, 50)
	if mark.Taken != 2 || mark.Skipped != 3 || mark.Region.Certainty != "assumed" {
		t.Errorf("tool mark: %+v", mark)
	}
	crack := mapFaces(t, p, annotate.Region{Layer: "condition", Kind: "crack"}, 1, 50)
	if crack.Taken != 2 || crack.Skipped != 0 {
		t.Errorf("crack: %+v", crack)
	}
	none := mapFaces(t, p, annotate.Region{Layer: "condition", Kind: "over_prepared"}, 1)
	if none.Region.ID != "" || len(p.Record().Regions) != 4 {
		t.Errorf("a region that holds nothing was kept: %+v", none)
	}
	m, err := p.Map(useKey)
	if err != nil {
		t.Fatal(err)
	}
	mapFaces(t, p, annotate.Region{Layer: "substance", Kind: "fill"}, 13)
	if got := m.Faces(mark.Region.Number); !slices.Equal(got, []uint32{12}) {
		t.Errorf("under a new fill the tool mark stays on faces %v", got)
	}
	if _, err := p.MapRest(useKey, annotate.Region{Kind: "original", Certainty: "seen"}); err == nil {
		t.Error("the rest was marked without a method")
	}
	rest, err := p.MapRest(useKey, annotate.Region{Kind: "original", Certainty: "seen", ExaminedBy: "visible"})
	if err != nil || rest.Taken != 100-3-5 || !rest.Region.Rest {
		t.Errorf("rest: %+v %v", rest, err)
	}
	rub, err := p.BeginRubbingOut(useKey, "substance", "")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.MapFaces(useKey, annotate.Region{Layer: "applied", Kind: "label"}, []uint32{1}); err == nil {
		t.Error("two actions at once")
	}
	if _, err := rub.Faces([]uint32{1, 12, 60}); err != nil {
		t.Fatal(err)
	}
	if out, err := rub.Commit("rubbed out"); err != nil || out.Taken != 3 || out.Skipped != 0 {
		t.Errorf("rubbed out: %+v %v", out, err)
	}
	if m.Substance(1) != 0 || m.Substance(12) != 0 || m.Substance(60) != 0 || len(m.Faces(mark.Region.Number)) != 0 || len(m.Faces(crack.Region.Number)) != 2 {
		t.Error("rubbing out the substance must take tool marks along and leave cracks")
	}
	again, err := p.MapRest(useKey, annotate.Region{Kind: "original", Certainty: "seen", ExaminedBy: "visible"})
	if err != nil || again.Taken != 3 || again.Region.ID != rest.Region.ID {
		t.Errorf("the rest again: %+v %v", again, err)
	}
	for {
		if _, _, ok, err := p.Undo(); err != nil {
			t.Fatal(err)
		} else if !ok {
			break
		}
	}
	if state(t, p) != before {
		t.Error("all undone it is not as before")
	}
}

func TestMarkingRefuses(t *testing.T) {
	p := reopen(t, example(t))
	before := state(t, p)
	for want, spec := range map[string]annotate.Region{
		`layer "paint"`:           {Layer: "paint", Kind: "fill"},
		`substance "filler"`:      {Layer: "substance", Kind: "filler"},
		`has no region "R9"`:      {ID: "R9"},
		"only a reconstruction":   {Layer: "substance", Kind: "fill", Basis: "mirrored"},
		"face 100 does not exist": {Layer: "substance", Kind: "fill"},
	} {
		if _, err := p.MapFaces(useKey, spec, []uint32{100}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %s", spec, err, want)
		}
	}
	if _, err := p.MapFaces(annotate.UseKey{Stage: "join", Piece: "body", Part: "whole"}, annotate.Region{Layer: "substance", Kind: "fill"}, nil); err == nil {
		t.Error("a use without a scan was marked")
	}
	if state(t, p) != before {
		t.Error("what was refused left traces")
	}
	if _, err := p.MapFaces(useKey, annotate.Region{Layer: "substance", Kind: "fill"}, []uint32{5}); err != nil {
		t.Errorf("after a refusal nothing goes: %v", err)
	}
}

// A drag of many strokes is one action; cancelled, it never was.
func TestMarkingByStrokes(t *testing.T) {
	p := reopen(t, example(t))
	s := facemap.NewSurface(solid.Icosphere(2, 25)) // 320 faces
	if err := p.Edit("scan", func(r *annotate.Record) error { r.Scans[0].Triangles = s.Mesh.FaceCount(); return nil }); err != nil {
		t.Fatal(err)
	}
	p.maps, p.saved.Maps = map[string]*liveMap{}, nil
	before := state(t, p)
	for _, keep := range []bool{false, true} {
		k, err := p.BeginMarking(useKey, annotate.Region{Layer: "applied", Kind: "retouch"})
		if err != nil {
			t.Fatal(err)
		}
		for i := range 5 {
			at, _, _ := s.Locate(r3.Vec{X: 25, Y: float64(i)})
			if _, err := k.Stroke(s, at, facemap.Brush{RadiusMM: 4, Levels: 2}); err != nil {
				t.Fatal(err)
			}
		}
		if state(t, p) == before {
			t.Error("strokes do not show at once")
		}
		if keep {
			_, err = k.Commit("retouch marked")
		} else {
			err = k.Cancel()
		}
		if err != nil || (state(t, p) == before) == keep {
			t.Errorf("kept %v: %v", keep, err)
		}
	}
	if _, _, ok, err := p.Undo(); !ok || err != nil || state(t, p) != before {
		t.Errorf("the drag is not one action: %v %v", ok, err)
	}
}

func TestMapLine(t *testing.T) {
	p := reopen(t, example(t))
	s := facemap.NewSurface(solid.Icosphere(3, 25))
	line := annotate.Line{Kind: "join", Fit: "close", Points: [][3]float64{{25, 0, 0}, {0, 25, 0}}}
	got, err := p.MapLine(s, useKey, line)
	if err != nil || got.ID != "J1" || got.Use != use || len(p.Record().Lines) != 1 {
		t.Errorf("%+v %v", got, err)
	}
	line.Points[1] = [3]float64{0, 0, 0}
	if _, err := p.MapLine(s, useKey, line); err == nil || !strings.Contains(err.Error(), "point 2 of the line lies") {
		t.Errorf("a join through the inside: %v", err)
	}
	line.Kind, line.Fit = "pin", ""
	if got, err := p.MapLine(s, useKey, line); err != nil || got.ID != "J2" {
		t.Errorf("a pin through the inside: %+v %v", got, err)
	}
}

// Moving a line's points and taking it away are actions: each undone gives back
// what was there.
func TestChangeLine(t *testing.T) {
	p := reopen(t, example(t))
	s := facemap.NewSurface(solid.Icosphere(3, 25))
	if _, err := p.MapLine(s, useKey, annotate.Line{Kind: "join", Fit: "close", Points: [][3]float64{{25, 0, 0}, {0, 25, 0}}}); err != nil {
		t.Fatal(err)
	}
	drawn := state(t, p)
	if err := p.ChangeLine(s, "J1", [][3]float64{{25, 0, 0}, {0, 0, 25}}); err != nil {
		t.Fatal(err)
	}
	if got := p.Record().Lines[0].Points[1]; got != [3]float64{0, 0, 25} {
		t.Errorf("the point went to %v", got)
	}
	moved := state(t, p)
	if err := p.ChangeLine(s, "J1", [][3]float64{{25, 0, 0}, {0, 0, 0}}); err == nil || state(t, p) != moved {
		t.Errorf("a point inside the specimen: %v", err)
	}
	if err := p.ChangeLine(s, "J7", [][3]float64{{25, 0, 0}, {0, 0, 25}}); err == nil {
		t.Error("a line that is not there was moved")
	}
	if err := p.ChangeLine(s, "J1", nil); err != nil || len(p.Record().Lines) != 0 {
		t.Errorf("taken away: %v, %d lines", err, len(p.Record().Lines))
	}
	for _, want := range []string{moved, drawn} {
		if _, _, ok, err := p.Undo(); !ok || err != nil || state(t, p) != want {
			t.Errorf("undo: %v %v", ok, err)
		}
	}
}

// taken does what a marking has found and makes it an action.
func taken(k *Marking, f Found, label string) (Marked, error) {
	if _, err := k.Take(f); err != nil {
		return Marked{}, errors.Join(err, k.Cancel())
	}
	return k.Commit(label)
}

// Loop and smoothing are one action each, with an inverse; a loop with a
// condition that needs fossil matter skips the rest.
func TestLoopAndSmooth(t *testing.T) {
	p := reopen(t, example(t))
	s := facemap.NewSurface(solid.Icosphere(4, 25))
	if err := p.Edit("scan", func(r *annotate.Record) error { r.Scans[0].Triangles = s.Mesh.FaceCount(); return nil }); err != nil {
		t.Fatal(err)
	}
	p.maps, p.saved.Maps = map[string]*liveMap{}, nil
	before := state(t, p)
	k, err := p.BeginMarking(useKey, annotate.Region{Layer: "substance", Kind: "fill"})
	if err != nil {
		t.Fatal(err)
	}
	// A square with a spike.
	holds := func(v r3.Vec) bool {
		return v.Z > 0 && max(v.X, -v.X, v.Y, -v.Y) < 9 || v.Z > 0 && v.X > 0 && v.X < 15 && max(v.Y, -v.Y) < 1
	}
	loop := facemap.Loop{Holds: holds, Sight: s.NewSight(r3.Vec{Z: 300}), Levels: 2}
	found, err := k.Find(func(m *facemap.Map, p facemap.Paint) (facemap.Outcome, error) { return m.Loop(t.Context(), s, loop, p) })
	if err != nil {
		t.Fatal(err)
	}
	if state(t, p) != before {
		t.Error("finding an area changed the map")
	}
	looped, err := taken(k, found, "marked fill")
	if err != nil || looped.Taken < 100 {
		t.Fatalf("%+v %v", looped, err)
	}
	marked := state(t, p)
	m, err := p.Map(useKey)
	if err != nil {
		t.Fatal(err)
	}
	spike, _, _ := s.Locate(r3.Vec{X: 14, Z: 20.7})
	if n, _ := m.At(spike, nil); n != looped.Region.Number {
		t.Fatal("the spike is not part of the fill")
	}
	smooth := func(ctx context.Context) (Marked, error) {
		k, err := p.BeginMarking(useKey, annotate.Region{ID: looped.Region.ID})
		if err != nil {
			t.Fatal(err)
		}
		found, err := k.FindSmooth(ctx, s, 8, 2)
		if err != nil {
			return Marked{}, errors.Join(err, k.Cancel())
		}
		return taken(k, found, "smooth")
	}
	stopped, stop := context.WithCancel(t.Context())
	stop()
	if _, err := smooth(stopped); !errors.Is(err, context.Canceled) || state(t, p) != marked {
		t.Errorf("smoothing that was stopped gives %v, or did something", err)
	}
	out, err := smooth(t.Context())
	if err != nil || out.Taken == 0 {
		t.Fatalf("%+v %v", out, err)
	}
	if n, _ := m.At(spike, nil); n != 0 {
		t.Errorf("the spike is in region %d after smoothing", n)
	}
	for _, want := range []string{marked, before} {
		if _, _, ok, err := p.Undo(); !ok || err != nil || state(t, p) != want {
			t.Errorf("undo: %v %v", ok, err)
		}
	}
}
