package project

import (
	"context"
	"errors"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/mesh"
	"rigatino/mesh/solid"
)

// onBed is a ball of radius 12 mm with a cavity of radius 9, on a bed of
// 120 × 120 mm: faces 0-1279, 1280-2559, and 2560-4559.
func onBed() *mesh.Mesh {
	m := &mesh.Mesh{}
	for _, part := range []struct {
		m  *mesh.Mesh
		by float64
	}{{solid.Icosphere(3, 12), 0}, {solid.Icosphere(3, -9), 0}, {solid.Plane(120, 40), -12}} {
		base := uint32(m.VertexCount())
		for v := range uint32(part.m.VertexCount()) {
			p := r3.Add(part.m.Vertex(v), r3.Vec{Z: part.by})
			m.Positions = append(m.Positions, float32(p.X), float32(p.Y), float32(p.Z))
		}
		for _, v := range part.m.Triangles {
			m.Triangles = append(m.Triangles, base+v)
		}
	}
	return m
}

// Proposals are kept as open points when a scan is looked at; accepting makes
// regions of certainty inferred on the very faces, leaves alone what somebody
// has marked, and can be undone; declining closes them too. Source: DESIGN of
// the record (accepting a proposal keeps inferred; unassigned never becomes
// original), and the fixture's own faces.
func TestProposalsOfAScan(t *testing.T) {
	p := fresh(t)
	added, err := p.AddScan(t.Context(), Adding{Path: scanFile(t, onBed()), Stage: "received", Unit: "mm"})
	if err != nil {
		t.Fatal(err)
	}
	key := added.Use.Key()
	open := func() (ids []string) {
		for _, o := range p.OpenPoints() {
			if o.About == key.String()+"/bed" || o.About == key.String()+"/inner_wall" {
				ids = append(ids, o.ID)
			}
		}
		return ids
	}
	if got := open(); got != nil {
		t.Fatalf("open before anybody looked: %v", got)
	}
	for range 2 { // looking again changes nothing
		found, err := p.Look(t.Context(), key, nil)
		if err != nil || len(found) != 2 || found[0].Triangles != 3200 || found[1].Triangles != 1280 {
			t.Fatalf("found %+v, %v", found, err)
		}
	}
	if label, _ := p.CanUndo(); label != "scan looked at" {
		t.Errorf("last action %q", label)
	}
	if got := open(); len(got) != 2 {
		t.Fatalf("open points %v", got)
	}
	// Somebody has marked ten faces of the bed as something else.
	if _, err := p.MapFaces(key, annotate.Region{Layer: annotate.LayerSubstance, Kind: annotate.Matrix, Certainty: "seen"}, faceList(2560, 2570)); err != nil {
		t.Fatal(err)
	}
	done, err := p.SetAside(t.Context(), key, []string{"all"}, nil)
	if err != nil || len(done) != 2 {
		t.Fatalf("accepted %+v, %v", done, err)
	}
	if done[0].Taken != 3190 || done[0].Skipped != 10 || done[1].Taken != 1280 {
		t.Errorf("taken %+v", done)
	}
	for _, d := range done {
		if d.Region.Kind != annotate.Support || d.Region.Certainty != "inferred" || d.Region.Reason == "" {
			t.Errorf("region %+v", d.Region)
		}
	}
	support, err := p.support(key)
	if err != nil {
		t.Fatal(err)
	}
	for f, is := range support {
		if want := f >= 1280 && (f < 2560 || f >= 2570); is != want {
			t.Fatalf("face %d support: %v", f, is)
		}
	}
	if got := open(); got != nil {
		t.Errorf("still open: %v", got)
	}
	for range 2 {
		if _, _, ok, err := p.Undo(); !ok || err != nil {
			t.Fatal(ok, err)
		}
	}
	if got := open(); len(got) != 2 {
		t.Errorf("after undo open: %v", got)
	}
	if _, err := p.KeepIn(key, []string{"bed"}); err != nil {
		t.Fatal(err)
	}
	if got := open(); !slices.Equal(got, []string{"proposed_inner_wall:" + key.String() + "/inner_wall"}) {
		t.Errorf("after declining the bed open: %v", got)
	}
	if _, err := p.KeepIn(key, []string{"bed"}); err == nil {
		t.Error("declined twice")
	}
	if _, err := p.SetAside(t.Context(), key, []string{"bar"}, nil); err == nil {
		t.Error("accepted what was never proposed")
	}
	// What is marked as a whole already needs no region of its own.
	if _, err := p.MapFaces(key, annotate.Region{Layer: annotate.LayerSubstance, Kind: annotate.Uncertain, Certainty: "seen"}, faceList(1280, 2560)); err != nil {
		t.Fatal(err)
	}
	done, err = p.SetAside(t.Context(), key, []string{"inner_wall"}, nil)
	if err != nil || len(done) != 1 || done[0].Taken != 0 || done[0].Skipped != 1280 || open() != nil {
		t.Errorf("accepted %+v, %v; open %v", done, err, open())
	}
	stopped, stop := context.WithCancel(t.Context())
	stop()
	if _, err := p.Look(stopped, key, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %v", err)
	}
}

func faceList(from, to uint32) (out []uint32) {
	for f := from; f < to; f++ {
		out = append(out, f)
	}
	return out
}

// The faces of proposals are those of the fixture, and a look taken twice is the
// same; what a stroke set aside is kept in by another, whoever set it aside,
// while what else is marked stays; undo gives the bytes back.
func TestFacesOfProposals(t *testing.T) {
	p := fresh(t)
	added, err := p.AddScan(t.Context(), Adding{Path: scanFile(t, onBed()), Stage: "received", Unit: "mm"})
	if err != nil {
		t.Fatal(err)
	}
	key := added.Use.Key()
	record := recordBytes(t, p)
	for range 2 {
		faces, err := p.ProposedFaces(t.Context(), key, nil)
		if err != nil || len(faces) != 2 || !slices.Equal(faces["bed"], faceList(2560, 5760)) || !slices.Equal(faces["inner_wall"], faceList(1280, 2560)) {
			t.Fatalf("%d lists, bed of %d, %v", len(faces), len(faces["bed"]), err)
		}
	}
	if recordBytes(t, p) != record {
		t.Error("asking for the faces changed the record")
	}
	stopped, stop := context.WithCancel(t.Context())
	stop()
	if _, err := p.ProposedFaces(stopped, key, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %v", err)
	}
	if _, err := p.Look(t.Context(), key, nil); err != nil {
		t.Fatal(err)
	}
	state := func() (out [2]string) {
		r := p.Record()
		return [2]string{r.ProposalState(key, "bed"), r.ProposalState(key, "inner_wall")}
	}
	if got := state(); got != [2]string{} {
		t.Errorf("before any answer: %q", got)
	}
	if _, err := p.SetAside(t.Context(), key, []string{"bed"}, nil); err != nil {
		t.Fatal(err)
	}
	if _, err := p.KeepIn(key, []string{"inner_wall"}); err != nil {
		t.Fatal(err)
	}
	if got := state(); got != [2]string{annotate.AnswerAccepted, annotate.AnswerRefused} {
		t.Errorf("after both answers: %q", got)
	}
	if _, err := p.MapFaces(key, annotate.Region{Layer: annotate.LayerSubstance, Kind: annotate.Support, Certainty: "seen"}, faceList(0, 100)); err != nil {
		t.Fatal(err)
	}
	if _, err := p.MapFaces(key, annotate.Region{Layer: annotate.LayerSubstance, Kind: annotate.Matrix, Certainty: "seen"}, faceList(100, 200)); err != nil {
		t.Fatal(err)
	}
	before := mapBytes(t, p, key)
	k, err := p.BeginKeepingIn(key)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := k.Faces(append(faceList(50, 150), faceList(2560, 2600)...)); err != nil {
		t.Fatal(err)
	}
	if _, err := k.Commit("kept in"); err != nil {
		t.Fatal(err)
	}
	m, err := p.Map(key)
	if err != nil {
		t.Fatal(err)
	}
	r := p.Record()
	regions := r.RegionsOf(key.String())
	for f, want := range map[uint32]string{0: annotate.Support, 49: annotate.Support, 50: "", 99: "", 100: annotate.Matrix, 149: annotate.Matrix, 2560: "", 2599: "", 2600: annotate.Support} {
		if got := regions[m.Labels()[f]].Kind; got != want {
			t.Errorf("face %d is %q, wanted %q", f, got, want)
		}
	}
	if _, _, ok, err := p.Undo(); !ok || err != nil || mapBytes(t, p, key) != before {
		t.Errorf("undo: %v %v", ok, err)
	}
}
