package register

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/solid/bentbody"
)

// rim is the top and the bottom of the bent body as two part scans that share a
// rim of so many mm each side of the middle; the bottom lies elsewhere.
func rim(overlap float64) (top, bottom *mesh.Mesh) {
	b := bentbody.New(1)
	scanning := bentbody.Scanning{Triangles: 20000, NoiseMM: 0.02}
	m, n := b.Before(scanning), b.After(bentbody.Scanning{Triangles: 20000, NoiseMM: 0.02, Draw: 1})
	part := func(m *mesh.Mesh, take func(p r3.Vec) bool) *mesh.Mesh {
		mask := make([]bool, m.FaceCount())
		for f := range mask {
			mask[f] = take(middleOf(m, uint32(f)))
		}
		out, _ := breakOf(m, mask, false)
		return out
	}
	top = part(m, func(p r3.Vec) bool { return p.Y > -overlap })
	bottom = mesh.Transform(part(n, func(p r3.Vec) bool { return p.Y < overlap }), away().Apply)
	return top, bottom
}

// Top and bottom of a turned block are laid on one another by the rim that both
// show. A wide rim holds them. A thin one is not accepted: searched it is refused,
// and ambiguous where picked pairs say where it belongs.
func TestPartsOverTheirRim(t *testing.T) {
	for _, row := range []struct {
		overlap float64
		picked  bool
		verdict string
	}{{1, false, Refused}, {1, true, Ambiguous}, {5, false, Accepted}} {
		top, bottom := rim(row.overlap)
		opt := Options{MayAppear: true}
		if row.picked {
			for _, p := range []r3.Vec{{X: 30}, {X: -30}, {Z: 85, X: 5}, {Z: -85, X: 5}} {
				off := r3.Vec{X: 0.1, Y: -0.1, Z: 0.1}
				opt.Picks = append(opt.Picks, Pick{Before: p, After: away().Apply(r3.Add(p, off))})
			}
		}
		r := align(t, top, bottom, opt)
		far := 0.0
		for _, p := range []r3.Vec{{Z: 80}, {Z: -80}, {Y: -20}} {
			far = math.Max(far, r3.Norm(r3.Sub(r.AfterToBefore.Apply(away().Apply(p)), p)))
		}
		t.Logf("rim %g, picked %v: %s, %.3f mm off, share %.2f: %s", row.overlap, row.picked, r.Verdict, far, r.StableShareAfter, r.Reason)
		if r.Verdict != row.verdict || r.Verdict != Refused && far > 0.15 {
			t.Errorf("rim of %g mm each side, picked %v: %s (%s), %.3f mm off", row.overlap, row.picked, r.Verdict, r.Reason, far)
		}
	}
}
