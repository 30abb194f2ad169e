package project

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/mesh"
	"rigatino/mesh/frame"
	"rigatino/mesh/solid/bentbody"
)

// picksOn gives pairs of places on the body that did not change, in the frames
// of two scans, with an error of a tenth of a millimetre.
func picksOn(body *bentbody.Body, pieceToBefore, pieceToAfter frame.Rigid) []annotate.Pick {
	var out []annotate.Pick
	for i, towards := range []r3.Vec{{X: 1, Z: 0.1}, {X: -1, Z: 0.6}, {Y: 1, Z: -0.5}, {Y: -1, Z: 0.2}, {X: 0.5, Y: 0.5, Z: 0.7}} {
		at := body.On(towards, true)
		b, a := pieceToBefore.Apply(at), pieceToAfter.Apply(at)
		b.X += 0.1 * math.Pow(-1, float64(i))
		out = append(out, annotate.Pick{Before: [3]float64{b.X, b.Y, b.Z}, After: [3]float64{a.X, a.Y, a.Z}})
	}
	return out
}

// Scans of one body in three poses are aligned in a chain by picked pairs: each
// lies in the piece's frame where it was taken from it, within a twentieth of a
// millimetre anywhere on the body. A scan that lies anyhow is found without picks
// too, and aligning anew with them is one action that can be undone.
func TestAlignChain(t *testing.T) {
	body := bentbody.New(1)
	p := fresh(t)
	poses := []frame.Rigid{frame.Identity(), frame.Rotation(r3.Vec{X: 1, Y: 2, Z: -1}, 0.7), frame.Rotation(r3.Vec{X: -2, Y: 1, Z: 3}, 2.5)}
	poses[1].T, poses[2].T = r3.Vec{X: 40, Y: -15, Z: 5}, r3.Vec{X: -8, Y: 30, Z: 60}
	received := add(t, p, body.Before(bentbody.Scanning{Triangles: 20000}), "received", "", "").Use.Key()
	var keys []annotate.UseKey
	for i, stage := range []string{"mech_coarse", "fill"} {
		keys = append(keys, add(t, p, posed(body.After(bentbody.Scanning{Triangles: 20000, NoiseMM: 0.01, Draw: uint64(i)}), poses[i+1]), stage, "", "").Use.Key())
	}
	blind, err := p.Align(t.Context(), keys[1], Aligning{})
	if err != nil {
		t.Fatal(err)
	}
	if blind.Result.Verdict != annotate.VerdictAccepted {
		t.Errorf("a scan that lies anyhow was not found without picks: %s", blind.Result.Reason)
	}
	for _, towards := range []r3.Vec{{X: 1}, {Y: 1}, {Z: -1}} {
		at := body.On(towards, false)
		if off := r3.Norm(r3.Sub(blind.Result.AfterToBefore.Apply(poses[2].Apply(at)), at)); off > 0.05 {
			t.Errorf("found without picks, but %.3f mm off", off)
		}
	}
	before := received
	for i, key := range keys {
		out, err := p.Align(t.Context(), key, Aligning{Picks: picksOn(body, poses[i], poses[i+1])})
		if err != nil {
			t.Fatal(err)
		}
		if out.Against != before || out.Result.Verdict != annotate.VerdictAccepted || !out.Stored {
			t.Fatalf("%v against %v: %s (%s), stored %v", key, out.Against, out.Result.Verdict, out.Result.Reason, out.Stored)
		}
		before = key
		l, err := p.LoadUse(t.Context(), key, nil)
		if err != nil {
			t.Fatal(err)
		}
		worst := 0.0
		for _, towards := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}, {X: -1}, {Y: -1}, {Z: -1}} {
			at := body.On(towards, false)
			worst = math.Max(worst, r3.Norm(r3.Sub(l.ScanToPiece.Apply(poses[i+1].Apply(at)), at)))
		}
		if !l.Aligned || worst > 0.05 {
			t.Errorf("%v lies up to %.3f mm off (aligned %v)", key, worst, l.Aligned)
		}
	}
	record := p.Record()
	stored := *record.Use(keys[1]).Alignment
	if stored.To != keys[0].String() || len(stored.Picks) != 5 || len(stored.Covariance) != 36 {
		t.Errorf("stored %+v", stored)
	}
	c, err := p.Change(t.Context(), received, keys[1], nil)
	if err != nil {
		t.Fatal(err)
	}
	if e := c.Entry(); e.Removed == nil || math.Abs(e.Removed.Value-body.RemovedMM3()) > 0.03*body.RemovedMM3() || !e.Removed.Covers(body.RemovedMM3()) {
		t.Errorf("removed %+v, want %v", e.Removed, body.RemovedMM3())
	}
	if _, err := p.Align(t.Context(), keys[0], Aligning{Picks: picksOn(body, poses[0], poses[1])[:2]}); err == nil {
		t.Error("two pairs were taken")
	}
	if _, _, ok, err := p.Undo(); !ok || err != nil {
		t.Fatalf("undo: %v %v", ok, err)
	}
	if record = p.Record(); len(record.Use(keys[1]).Alignment.Picks) != 0 {
		t.Error("aligning is not one action that can be undone")
	}
}

// A scan that came out 2 % too large is brought to the size of the one before
// when that is asked for: its factor says so, its scale is good for differences
// only, and volumes are those of the right size.
func TestAlignWithSimilarity(t *testing.T) {
	body := bentbody.New(1)
	p := fresh(t)
	pose := frame.Rotation(r3.Vec{X: 1, Y: 2, Z: -1}, 0.7)
	pose.T = r3.Vec{X: 4, Y: -15, Z: 5}
	const larger = 1.02
	received := add(t, p, body.Before(bentbody.Scanning{Triangles: 20000}), "received", "", "").Use.Key()
	big := mesh.Transform(body.After(bentbody.Scanning{Triangles: 20000}), func(v r3.Vec) r3.Vec { return r3.Scale(larger, pose.Apply(v)) })
	key := add(t, p, big, "fill", "", "").Use.Key()
	picks := picksOn(body, frame.Identity(), pose)
	for i := range picks {
		for k := range 3 {
			picks[i].After[k] *= larger
		}
	}
	out, err := p.Align(t.Context(), key, Aligning{Picks: picks, Similarity: true})
	if err != nil {
		t.Fatal(err)
	}
	if out.Result.Verdict != annotate.VerdictAccepted {
		t.Fatalf("%s: %s", out.Result.Verdict, out.Result.Reason)
	}
	record := p.Record()
	if s := record.Use(key).Scale; math.Abs(s.Factor*larger-1) > 2e-4 || s.Verdict != annotate.ScaleDifferenceOnly || s.RelativeU <= 0 {
		t.Errorf("scale %+v, want a factor of %.5f", s, 1/larger)
	}
	c, err := p.Change(t.Context(), received, key, nil)
	if err != nil {
		t.Fatal(err)
	}
	if e := c.Entry(); e.Removed == nil || math.Abs(e.Removed.Value-body.RemovedMM3()) > 0.03*body.RemovedMM3() {
		t.Errorf("removed %+v, want %v", e.Removed, body.RemovedMM3())
	}
}
