package project

import (
	"math"
	"reflect"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/mesh/frame"
	"rigatino/mesh/solid/bentbody"
)

// Three scans of one body, the third aligned with the second and then with the
// first: going round the chain is said in mm, strokes and check points are in the
// record and come back with undo, and the map of a scan stays what it was when the
// scan is aligned again (DESIGN 6: undo; the truth is the body's own).
func TestAlignedTwoWays(t *testing.T) {
	body := bentbody.New(1)
	p := fresh(t)
	poses := []frame.Rigid{frame.Identity(), frame.Rotation(r3.Vec{X: 1, Y: 2, Z: -1}, 0.7), frame.Rotation(r3.Vec{X: -2, Y: 1, Z: 3}, 2.5)}
	poses[1].T, poses[2].T = r3.Vec{X: 40, Y: -15, Z: 5}, r3.Vec{X: -8, Y: 30, Z: 60}
	received := add(t, p, body.Before(bentbody.Scanning{Triangles: 20000}), "received", "", "").Use.Key()
	var keys []annotate.UseKey
	for i, stage := range []string{"mech_coarse", "fill"} {
		keys = append(keys, add(t, p, posed(body.After(bentbody.Scanning{Triangles: 20000, NoiseMM: 0.01, Draw: uint64(i)}), poses[i+1]), stage, "", "").Use.Key())
	}
	for i, key := range keys {
		if out, err := p.Align(t.Context(), key, Aligning{Picks: picksOn(body, poses[i], poses[i+1])}); err != nil || out.Result.Verdict != annotate.VerdictAccepted {
			t.Fatalf("%v: %v, %+v", key, err, out)
		}
	}
	record := p.Record()
	if a := record.Use(keys[1]).Alignment; a.RoundTrip != nil || len(a.WeakMotion) != 6 {
		t.Errorf("aligned one way only: round trip %+v, weak motion %v", a.RoundTrip, a.WeakMotion)
	}
	if _, err := p.MapFaces(keys[1], annotate.Region{Layer: annotate.LayerSubstance, Kind: "fill", Certainty: "seen"}, []uint32{3, 4, 5, 900}); err != nil {
		t.Fatal(err)
	}
	was, err := p.Map(keys[1])
	if err != nil {
		t.Fatal(err)
	}
	marked, err := was.Encode()
	if err != nil {
		t.Fatal(err)
	}
	faces := 0
	if l, err := p.LoadUse(t.Context(), keys[1], nil); err == nil {
		faces = l.Surface.Mesh.FaceCount()
	}
	never := make([]bool, faces)
	for f := 100; f < 300; f++ {
		never[f] = true
	}
	if err := p.SetFitFaces(keys[1], nil, never); err != nil {
		t.Fatal(err)
	}
	if err := p.SetFitFaces(keys[1], nil, never[1:]); err == nil {
		t.Error("marks of another scan were taken")
	}
	checks := picksOn(body, poses[0], poses[2])[:4]
	shown := 0
	out, err := p.Align(t.Context(), keys[1], Aligning{Against: &received, Checks: checks, Pose: func(frame.Rigid) { shown++ }})
	if err != nil || out.Result.Verdict != annotate.VerdictAccepted {
		t.Fatalf("%v, %+v", err, out)
	}
	if shown < 2 {
		t.Errorf("%d poses shown on the way", shown)
	}
	for f := 100; f < 300; f++ {
		if out.Result.StableAfter[f] {
			t.Fatalf("face %d is never to be trusted and carries the fit", f)
		}
	}
	record = p.Record()
	a := record.Use(keys[1]).Alignment
	switch {
	case a.RoundTrip == nil || a.RoundTrip.By != keys[0].String():
		t.Fatalf("aligned two ways: round trip %+v", a.RoundTrip)
	case !(a.RoundTrip.RMS > 0) || a.RoundTrip.RMS > 0.05 || a.RoundTrip.Max < a.RoundTrip.RMS:
		t.Errorf("round trip %.4f mm, %.4f at most; both ways are within 0.05 mm of the truth", a.RoundTrip.RMS, a.RoundTrip.Max)
	case len(a.Checks) != 4 || math.Abs(a.CheckPointRMS-0.1) > 0.05 || a.CheckPointMax < a.CheckPointRMS:
		t.Errorf("%d check points, %.3f and %.3f mm; they were picked 0.1 mm off", len(a.Checks), a.CheckPointRMS, a.CheckPointMax)
	}
	now, err := p.Map(keys[1])
	if err != nil {
		t.Fatal(err)
	}
	if again, err := now.Encode(); err != nil || !reflect.DeepEqual(again, marked) {
		t.Errorf("aligned again, the map is another (%v)", err)
	}
	// Undo: the alignment, then the strokes.
	for range 2 {
		if _, _, ok, err := p.Undo(); !ok || err != nil {
			t.Fatalf("undo: %v %v", ok, err)
		}
	}
	record = p.Record()
	if u := record.Use(keys[1]); u.FitFaces != nil || u.Alignment.To != keys[0].String() || u.Alignment.RoundTrip != nil {
		t.Errorf("undone: %+v, aligned with %s", u.FitFaces, u.Alignment.To)
	}
}
