package project

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/propose"
	"rigatino/mesh"
	"rigatino/mesh/frame"
	"rigatino/mesh/solid/bentbody"
)

// prepared is a project with two scans of the bent body, the second elsewhere
// and placed: 754.246, 232.051 and 1111.291 mm³ removed and 149.926 mm³ added,
// exactly (package bentbody).
func prepared(t *testing.T) (p *Project, before, after annotate.UseKey, pose frame.Rigid) {
	t.Helper()
	p = fresh(t)
	body := bentbody.New(1)
	pose = frame.Rotation(r3.Vec{X: 1, Y: 0.3, Z: -0.2}, 0.8)
	pose.T = r3.Vec{X: 40, Y: -10, Z: 25}
	add(t, p, body.Before(bentbody.Scanning{Triangles: 20000}), "received", "body", "")
	add(t, p, mesh.Transform(body.After(bentbody.Scanning{Triangles: 20000}), pose.Apply), "fill", "body", "")
	before = annotate.UseKey{Stage: "received", Piece: "body", Part: "whole"}
	after = annotate.UseKey{Stage: "fill", Piece: "body", Part: "whole"}
	place(t, p, after, before.String(), pose.Inverse(), annotate.VerdictAccepted)
	return p, before, after, pose
}

func mapBytes(t *testing.T, p *Project, key annotate.UseKey) string {
	t.Helper()
	m, err := p.Map(key)
	if err != nil {
		t.Fatal(err)
	}
	data, err := m.Encode()
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

func recordBytes(t *testing.T, p *Project) string {
	t.Helper()
	data, err := annotate.Encode(p.Record())
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// Proposing marks nothing; accepting, accepting part and refusing are one action
// each, stay inferred, and undo leads back to the same bytes.
func TestProposals(t *testing.T) {
	p, before, after, _ := prepared(t)
	record, blank := recordBytes(t, p), mapBytes(t, p, after)
	q, err := p.Propose(t.Context(), annotate.UseKey{}, after, nil)
	if err != nil {
		t.Fatal(err)
	}
	if q.From != before || recordBytes(t, p) != record || mapBytes(t, p, after) != blank {
		t.Fatal("proposing changed the project or chose another stage")
	}
	fill, gone := 0, 0
	for i, x := range q.List {
		switch x.Kind {
		case propose.FillAdded:
			fill = i + 1
		case propose.Undecided:
			gone = i + 1 // no map and no colour says what went at a stage that fills
		}
	}
	if fill == 0 || gone == 0 || len(q.List) != 4 {
		t.Fatalf("proposals %v", q.List)
	}
	x := q.List[fill-1]
	if math.Abs(x.Volume.Value-149.926) > 0.02*149.926 {
		t.Errorf("fill of %v, wanted 149.926 mm³", x.Volume)
	}

	// Accepted whole.
	done, err := p.Accept(q, Accepting{Number: fill, Region: annotate.Region{ExaminedBy: "raking", Material: "epoxy putty", When: "2026-03-20"}})
	if err != nil {
		t.Fatal(err)
	}
	r := p.Record()
	g, ok := r.Region(done.Answer.Regions[0])
	if !ok || g.Kind != annotate.Fill || g.Certainty != "inferred" || g.Since != "fill" || g.Evidence == "" || g.Material != "epoxy putty" || done.Taken != len(x.Marks[0].Faces) {
		t.Errorf("region %+v, %d faces", g, done.Taken)
	}
	c, err := p.Change(t.Context(), before, after, nil)
	if err != nil || c.What[x.Area] != annotate.Fill {
		t.Errorf("the change area is said to be %v (%v)", c.What, err)
	}
	if _, err := p.Accept(q, Accepting{Number: fill}); err == nil {
		t.Error("accepted twice")
	}
	// Asked again, the numbers are the same and the answer is known.
	again, err := p.Propose(t.Context(), before, after, nil)
	if err != nil || len(again.List) != len(q.List) || again.Answers[fill-1] == nil || again.Answers[fill-1].Verdict != annotate.AnswerAccepted {
		t.Fatalf("asked again: %v %v", again, err)
	}
	if _, _, ok, err := p.Undo(); !ok || err != nil {
		t.Fatal("no undo", err)
	}
	if recordBytes(t, p) != record || mapBytes(t, p, after) != blank {
		t.Error("undo leaves something behind")
	}

	// Accepted in part, as something else.
	if q, err = p.Propose(t.Context(), before, after, nil); err != nil {
		t.Fatal(err)
	}
	half := x.Marks[0].Faces[:len(x.Marks[0].Faces)/2]
	done, err = p.Accept(q, Accepting{Number: fill, As: annotate.Reconstruction, Within: half, Region: annotate.Region{Basis: "modelled_guided"}})
	if err != nil {
		t.Fatal(err)
	}
	r = p.Record()
	g, _ = r.Region(done.Answer.Regions[0])
	m, err := p.Map(after)
	if err != nil || g.Kind != annotate.Reconstruction || g.Basis != "modelled_guided" || !slices.Equal(m.Faces(g.Number), half) || !done.Answer.Trimmed {
		t.Errorf("part of it: %+v (%v)", g, err)
	}

	// What nothing says must be said by the person; a word that does not fit is refused.
	if _, err := p.Accept(q, Accepting{Number: gone}); err == nil || !strings.Contains(err.Error(), "matrix") {
		t.Errorf("accepted without a word: %v", err)
	}
	if _, err := p.Accept(q, Accepting{Number: gone, As: "retouch"}); err == nil {
		t.Error("accepted with a word that does not fit")
	}
	if done, err = p.Accept(q, Accepting{Number: gone, As: "matrix"}); err != nil || done.Answer.Change == "" || len(done.Answer.Regions) != 0 {
		t.Errorf("matrix: %+v %v", done, err)
	}
	other := gone - 1
	if other == 0 || other == fill {
		other = gone - 2
	}
	if err := p.Refuse(q, other, "", "a stand was there"); err != nil {
		t.Fatal(err)
	}
	again, err = p.Propose(t.Context(), before, after, nil)
	if err != nil || again.Answers[other-1] == nil || again.Answers[other-1].Verdict != annotate.AnswerRefused || again.Answers[other-1].Note == "" {
		t.Errorf("refused: %v %v", again.Answers, err)
	}
	for _, n := range []int{0, -1, 5} {
		if _, err := p.Accept(q, Accepting{Number: n}); err == nil {
			t.Errorf("proposal %d was accepted", n)
		}
	}
	var refused *RefusedError
	place(t, p, after, before.String(), frame.Identity(), annotate.VerdictRefused)
	if _, err := p.Propose(t.Context(), before, after, nil); !errors.As(err, &refused) {
		t.Errorf("proposed on a refused alignment: %v", err)
	}
	if _, err := p.Propose(t.Context(), annotate.UseKey{}, before, nil); err == nil {
		t.Error("proposed for the first stage")
	}
}

// A map carried over through the alignment keeps its areas to 0.5 % where the
// surface did not change: a cap on unchanged surface, held against its own area
// before. What changed stays unassigned, and undo leads back.
func TestCarryMap(t *testing.T) {
	p, before, after, pose := prepared(t)
	body := bentbody.New(1)
	l, err := p.LoadUse(t.Context(), before, nil)
	if err != nil {
		t.Fatal(err)
	}
	// Away from all four changes.
	middle := body.On(r3.Vec{X: -1, Y: -0.2, Z: 0.8}, false)
	var patch []uint32
	for f := range uint32(l.Surface.Mesh.FaceCount()) {
		a, b, c := l.Surface.Mesh.Corners(f)
		if r3.Norm(r3.Sub(r3.Scale(1.0/3, r3.Add(a, r3.Add(b, c))), middle)) < 20 {
			patch = append(patch, f)
		}
	}
	if _, err := p.MapFaces(before, annotate.Region{Layer: annotate.LayerSubstance, Kind: annotate.Matrix, Certainty: "seen", ExaminedBy: "visible", Since: "received"}, patch); err != nil {
		t.Fatal(err)
	}
	if _, err := p.MapRest(before, annotate.Region{Kind: annotate.Original, Certainty: "seen", ExaminedBy: "visible"}); err != nil {
		t.Fatal(err)
	}
	if _, err := p.MapLine(l.Surface, before, annotate.Line{Kind: annotate.LineJoin, Points: [][3]float64{{middle.X, middle.Y, middle.Z}, of(body.On(r3.Vec{X: -1, Y: -0.25, Z: 0.8}, false))}}); err != nil {
		t.Fatal(err)
	}
	record, blank := recordBytes(t, p), mapBytes(t, p, after)
	done, err := p.Carry(t.Context(), annotate.UseKey{}, after, nil)
	if err != nil {
		t.Fatal(err)
	}
	if done.From != before || len(done.Regions) != 2 || len(done.Lines) != 1 || done.Changed == 0 {
		t.Fatalf("carried %+v", done)
	}
	r := p.Record()
	k, err := p.LoadUse(t.Context(), after, nil)
	if err != nil {
		t.Fatal(err)
	}
	m, err := p.Map(after)
	if err != nil {
		t.Fatal(err)
	}
	g, _ := r.Region(done.Regions[0])
	if g.Kind != annotate.Matrix || g.Certainty != "inferred" || g.Since != "received" || !strings.Contains(g.Evidence, "carried over") {
		t.Errorf("region %+v", g)
	}
	var got mesh.Sum
	m.Visit(0, uint32(m.FaceCount()), func(f uint32, share float64, substance uint16, _ []uint16) {
		if substance == g.Number {
			got.Add(share * r3.Norm(k.Surface.Mesh.AreaVector(f)))
		}
	})
	want := mesh.AreaOf(l.Surface.Mesh, patch)
	t.Logf("%.2f mm² carried, %.2f before (%+.3f %%)", got.Value(), want, 100*(got.Value()/want-1))
	if math.Abs(got.Value()/want-1) > 0.005 {
		t.Errorf("%.2f mm² carried, %.2f before", got.Value(), want)
	}
	// The middle of every change is unassigned.
	for _, c := range body.Changes {
		at, _, _ := k.Surface.Locate(pose.Apply(body.On(c.Towards, true)))
		if n := m.Substance(at.Face); n != 0 {
			t.Errorf("changed surface is in region %d", n)
		}
	}
	if _, _, ok, err := p.Undo(); !ok || err != nil {
		t.Fatal("no undo", err)
	}
	if recordBytes(t, p) != record || mapBytes(t, p, after) != blank {
		t.Error("undo leaves something behind")
	}
	if _, err := p.Carry(t.Context(), after, before, nil); err == nil {
		t.Error("a blank map was carried over")
	}
	if _, err := p.Carry(t.Context(), annotate.UseKey{}, before, nil); err == nil {
		t.Error("carried over from before the first stage")
	}
}

func of(v r3.Vec) [3]float64 { return [3]float64{v.X, v.Y, v.Z} }
