package shell

import (
	"context"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/scan"
	"rigatino/mesh/solid"
	"rigatino/testdata/shared"
)

// real are the open scans that get a layer. The tooth's crown is the end with
// small y (12.6 mm across both ways, while its roots are narrow and apart); the
// fossil is leafy and would fold a layer, so its layer goes on the broad smooth
// stem that its branches spring from.
var real = []struct {
	name, file string
	unit       scan.Unit
	opt        Options
}{
	{"tooth", "data/bone/krapina-d1-tooth.ply", "mm",
		Options{Radius: 0.11, Thick: 0.03, Tries: 300, Where: func(p r3.Vec) bool { return p.Y < 11 }}},
	{"fossil", "data/fossil/usnm-1145291.glb", "", Options{Radius: 0.045, Thick: 0.02, Tries: 20000, Where: func(p r3.Vec) bool {
		return p.X > -120 && p.X < 0 && p.Y > -211 && p.Z > 16880 && p.Z < 17000
	}}},
}

func open(t *testing.T, file string, unit scan.Unit) *mesh.Mesh {
	t.Helper()
	s, err := scan.Open(context.Background(), shared.Path(t, file), scan.Options{Unit: unit})
	if err != nil {
		t.Fatal(err)
	}
	return s.Mesh
}

// A layer on a sphere whose thickness is measured radially has a closed form;
// on a fine icosphere the prisms must come near it, and every count to them.
func TestLayerOnASphere(t *testing.T) {
	const radius, share, thick = 50.0, 0.2, 0.04
	m := solid.Icosphere(5, radius)
	f, err := On(context.Background(), m, Options{Radius: share, Thick: thick, Tries: 40})
	if err != nil {
		t.Fatal(err)
	}
	// ∫ ((R+h)³ - R³)/3 dω with h = T(1-x²)², x = R sin θ / r: the layer is as
	// wide as the cylinder round the normal.
	const n = 100000
	edge := math.Asin(f.Radius / radius)
	var want float64
	for i := range n {
		theta := edge * (float64(i) + 0.5) / n
		x := radius * math.Sin(theta) / f.Radius
		h := f.Thick * (1 - x*x) * (1 - x*x)
		want += (math.Pow(radius+h, 3) - radius*radius*radius) / 3 * 2 * math.Pi * math.Sin(theta) * edge / n
	}
	// The middle is a facet's, not the pole's, and the base is faceted.
	if e := f.RemovedMM3/want - 1; math.Abs(e) > 0.01 {
		t.Errorf("layer %.3f mm³, on a smooth sphere %.3f (%+.2f %%)", f.RemovedMM3, want, 100*e)
	}
}

// A layer that is too thick for its place is refused, not put there folded.
func TestRefusesAFold(t *testing.T) {
	b := newBody(solid.Icosphere(5, 50))
	// Turned inside out, the ball is a hollow: normals meet in its middle.
	for i, c := range b.tri {
		b.tri[i] = [3]uint32{c[0], c[2], c[1]}
	}
	p := b.smoothest(30, 40, nil)
	if p.faces == nil {
		t.Fatal("no place in the hollow")
	}
	if _, err := b.put(p, 60).prisms(); err == nil {
		t.Error("a layer thicker than the hollow's radius was not refused")
	}
	if _, err := b.put(p, 10).prisms(); err != nil {
		t.Errorf("a thin layer in the hollow was refused: %v", err)
	}
}

// A sheet close above the place stops the layer.
func TestRefusesContact(t *testing.T) {
	m := solid.Plane(100, 40)
	b := newBody(m)
	p := b.smoothest(20, 200, nil)
	if p.faces == nil {
		t.Fatal("no place on the plane")
	}
	l := b.put(p, 6)
	if err := l.clear(l.covered()); err != nil {
		t.Errorf("a layer with nothing near it: %v", err)
	}
	n := uint32(len(b.at))
	for _, at := range []r3.Vec{{X: -90, Y: -80}, {X: 90, Y: -80}, {X: 0, Y: 90}} {
		b.at = append(b.at, r3.Add(p.middle, r3.Add(at, r3.Scale(3, p.normal))))
	}
	b.tri = append(b.tri, [3]uint32{n, n + 1, n + 2})
	b.index()
	l = b.put(p, 6)
	if err := l.clear(l.covered()); err == nil {
		t.Error("a layer through a sheet 3 mm above was not refused")
	}
}

// On the real scans: four counts of the layer within 0.05 % (On checks them),
// new edges at most a third of the old ones, no vertex in common. What is
// measured on them is held against the layer where volumes are tested.
func TestOnRealScans(t *testing.T) {
	for _, c := range real {
		t.Run(c.name, func(t *testing.T) {
			m := open(t, c.file, c.unit)
			f, err := On(context.Background(), m, c.opt)
			if err != nil {
				t.Fatal(err)
			}
			t.Logf("layer %.6g mm³ by prisms, %v; %.3g mm wide, %.3g mm thick", f.RemovedMM3, f.Counts, 2*f.Radius, f.Thick)
			t.Logf("%d faces of mean edge %.3g mm cut anew into %d of %.3g mm; largest distances to the exact facets and back %.2g and %.2g mm",
				m.FaceCount(), mesh.MeanEdge(m), f.Before.FaceCount(), mesh.MeanEdge(f.Before), f.FromFacetsMM, f.ToFacetsMM)
			if r := mesh.MeanEdge(f.Before) / mesh.MeanEdge(m); r > 1.0/3 {
				t.Errorf("new edges are %.3f of the old ones, more than a third", r)
			}
			// A vertex on a sharp tip slides down its side, by less than one step.
			if step := mesh.MeanEdge(f.Before); f.FromFacetsMM > step || f.ToFacetsMM > step {
				t.Errorf("the new mesh lies up to %.2g and %.2g mm off the exact facets", f.FromFacetsMM, f.ToFacetsMM)
			}
			nothingShared(t, f)
		})
	}
}

// nothingShared compares the two scans in one frame.
func nothingShared(t *testing.T, f *Fixture) {
	t.Helper()
	back := f.AfterToBefore.Inverse()
	tolerance := 1e-4 * mesh.MeanEdge(f.After)
	cell := func(p r3.Vec, i, j, k int) [3]int64 {
		at := func(x float64, d int) int64 { return int64(math.Floor(x/tolerance)) + int64(d) }
		return [3]int64{at(p.X, i), at(p.Y, j), at(p.Z, k)}
	}
	old := map[[3]int64]bool{}
	for v := range f.After.VertexCount() {
		old[cell(f.After.Vertex(uint32(v)), 0, 0, 0)] = true
	}
	shared := 0
	for v := range f.Before.VertexCount() {
		p := back.Apply(f.Before.Vertex(uint32(v)))
		if old[cell(p, 0, 0, 0)] {
			shared++
		}
	}
	if shared > 0 {
		t.Errorf("%d vertices of the new mesh lie on old ones", shared)
	}
}
