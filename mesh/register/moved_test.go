package register

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/frame"
	"rigatino/mesh/solid/bentbody"
)

// A piece that was set back a little off is found as a motion of its own, the
// known one, and does not pull the main pose: the last 24 mm of the bent body,
// turned by 4° and shifted, while the rest was prepared.
func TestPieceThatMovedIsFound(t *testing.T) {
	b := bentbody.New(1)
	scanning := bentbody.Scanning{Triangles: 20000, NoiseMM: 0.02}
	before := b.Before(scanning)
	scanning.Draw = 1
	after := b.After(scanning)
	motion := frame.Rotation(r3.Vec{X: 1, Y: -0.5, Z: 0.3}, 4*math.Pi/180)
	motion.T = r3.Vec{X: 4, Y: -2, Z: 3}
	chip := make([]bool, after.FaceCount())
	corner := make([]bool, after.VertexCount())
	for f := range chip {
		if middleOf(after, uint32(f)).Z > 66 {
			chip[f] = true
			for _, v := range after.Triangles[3*f : 3*f+3] {
				corner[v] = true
			}
		}
	}
	// The scan after, elsewhere, with the piece's own corners moved before.
	g := away()
	out := &mesh.Mesh{Triangles: make([]uint32, len(after.Triangles))}
	put := func(p r3.Vec) uint32 {
		p = g.Apply(p)
		out.Positions = append(out.Positions, float32(p.X), float32(p.Y), float32(p.Z))
		return uint32(len(out.Positions)/3 - 1)
	}
	rest, mine := make([]uint32, len(corner)), make([]uint32, len(corner))
	for v := range corner {
		rest[v] = put(after.Vertex(uint32(v)))
		if corner[v] {
			mine[v] = put(motion.Apply(after.Vertex(uint32(v))))
		}
	}
	area, all := 0.0, 0.0
	for f := range chip {
		a := r3.Norm(after.AreaVector(uint32(f)))
		all += a
		for k := 3 * f; k < 3*f+3; k++ {
			if out.Triangles[k] = rest[after.Triangles[k]]; chip[f] {
				out.Triangles[k] = mine[after.Triangles[k]]
			}
		}
		if chip[f] {
			area += a
		}
	}
	r := align(t, before, out, Options{MayAppear: true})
	t.Logf("%s: %s; piece is %.1f %% of the surface", r.Verdict, r.Reason, 100*area/all)
	off := func(g, want frame.Rigid, p r3.Vec) float64 { return r3.Norm(r3.Sub(g.Apply(p), want.Apply(p))) }
	for _, p := range []r3.Vec{{Z: 50}, {Z: -80}, {X: 20}} {
		if mm := off(r.AfterToBefore, g.Inverse(), g.Apply(p)); r.Verdict != Accepted || mm > 0.05 {
			t.Errorf("%s (%s): the piece pulls the rest by %.3f mm", r.Verdict, r.Reason, mm)
		}
	}
	m := r.Moved
	if m == nil {
		t.Fatal("no moved piece is found")
	}
	t.Logf("moved: share %.3f turn %.3f° shift %.3f mm residual %.4f", m.Share, m.Turn*180/math.Pi, m.Shift, m.FitResidualRMS)
	for _, p := range []r3.Vec{{Z: 60}, {X: 10, Z: 75}, {Y: 8, Z: 85}} {
		if mm := off(m.Motion, motion, p); mm > 0.15 {
			t.Errorf("the piece's motion is %.3f mm off", mm)
		}
	}
	if math.Abs(m.Turn-4*math.Pi/180) > 0.1*math.Pi/180 || m.FitResidualRMS > 0.1 || math.Abs(m.Share/(area/all)-1) > 0.2 {
		t.Errorf("turn %.2f°, residual %.3f mm, %.1f %% of the surface, wanted 4°, the noise and %.1f %%", m.Turn*180/math.Pi, m.FitResidualRMS, 100*m.Share, 100*area/all)
	}
	wrong := 0
	for f, is := range m.Faces {
		if is && !chip[f] {
			wrong++
		}
	}
	if wrong > len(chip)/200 {
		t.Errorf("%d faces that stayed are marked as moved", wrong)
	}
}
