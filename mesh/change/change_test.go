package change

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/frame"
	"rigatino/mesh/solid"
	"rigatino/mesh/solid/bentbody"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.10g, want %.10g ± %g", what, got, want, tolerance)
	}
}

func compare(t *testing.T, before, after *mesh.Mesh, g frame.Rigid, opt Options) *Change {
	t.Helper()
	c, err := Compare(context.Background(), before, after, g, opt)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// plate is a flat, open square with its middle at the given place, seen from
// above.
func plate(side float64, n int, x, y, z float64) *mesh.Mesh {
	return mesh.Transform(solid.Plane(side, n), func(p r3.Vec) r3.Vec { return r3.Add(p, r3.Vec{X: x, Y: y, Z: z}) })
}

// Spheres of 20 and 26 mm about one centre (analytic): every gap is 6 mm but
// for the flatness of faces, e²/8R or less, and all of it is removed.
func TestSpheresApart(t *testing.T) {
	c := compare(t, solid.Icosphere(4, 26), solid.Icosphere(4, 20), frame.Rotation(r3.Vec{X: 1, Y: 2, Z: 3}, 0.3), Options{})
	for _, g := range c.AfterGap {
		near(t, "gap of the scan after", float64(g), -6, 0.05)
	}
	for _, g := range c.BeforeGap {
		near(t, "gap of the scan before", float64(g), 6, 0.05)
	}
	if len(c.Areas) != 1 || c.Areas[0].Kind != Removed {
		t.Fatalf("areas %+v, want one removed", c.Areas)
	}
	a := c.Areas[0]
	near(t, "mean depth", a.MeanDepthMM, 6, 0.02)
	near(t, "greatest depth", a.MaxDepthMM, 6, 0.03)
	near(t, "surface", a.Surface.Value, 4*math.Pi*400, 4*math.Pi*400*0.0013) // faceting of level 4: -0.1195 %
	near(t, "centroid", r3.Norm(a.CentroidMM), 0, 1e-3)
	if len(a.AfterFaces) != 5120 || len(a.BeforeFaces) != 5120 || !slices.IsSorted(a.AfterFaces) {
		t.Errorf("%d and %d faces, want all 5120 in order", len(a.BeforeFaces), len(a.AfterFaces))
	}

	turned := compare(t, solid.Icosphere(3, 20), solid.Icosphere(3, 26), frame.Identity(), Options{})
	if len(turned.Areas) != 1 || turned.Areas[0].Kind != Added {
		t.Errorf("areas %+v, want one added", turned.Areas)
	}
}

// An open surface says nothing beyond its rim: a plate of 20 mm before and one
// of 40 mm a millimetre lower after (analytic). Only what lies under the
// smaller plate was removed.
func TestBeyondRimIsUndefined(t *testing.T) {
	after := plate(40, 40, 0, 0, -1)
	c := compare(t, plate(20, 20, 0.3, 0.2, 0), after, frame.Identity(), Options{})
	for v := range uint32(after.VertexCount()) {
		p := after.Vertex(v)
		over := math.Max(math.Abs(p.X-0.3), math.Abs(p.Y-0.2))
		switch g := float64(c.AfterGap[v]); {
		case over > 10.01 && !math.IsNaN(g):
			t.Fatalf("gap %v at %v, beyond the rim", g, p)
		case over < 9.99:
			near(t, "gap under the plate", g, -1, 1e-5)
		}
	}
	if len(c.Areas) != 1 {
		t.Fatalf("%d areas, want 1", len(c.Areas))
	}
	if s := c.Areas[0].Surface.Value; s > 20.5*20.5 || s < 18*18 {
		t.Errorf("surface %v mm², want about 400 and no more", s)
	}
}

// The same file twice: exactly zero everywhere, and still a limit.
func TestSameScan(t *testing.T) {
	m := solid.Icosphere(3, 20)
	c := compare(t, m, m, frame.Identity(), Options{})
	for _, g := range append(c.AfterGap, c.BeforeGap...) {
		if g != 0 {
			t.Fatalf("gap %v, want exactly 0", g)
		}
	}
	if len(c.Areas) != 0 || !(c.SmallestMM > 0) {
		t.Errorf("%d areas, smallest change %v, want none and more than 0", len(c.Areas), c.SmallestMM)
	}
}

// Normal deviates of 0.01 mm on a quarter of the surface, matter of 1 to 8 mm
// removed from the rest: the spread is that of the quarter. The median
// absolute deviation of all would be millimetres.
func TestSpreadOfTheUnchanged(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, share := range []float64{1, 0.5, 0.25, 0.15} {
		values := make([]float64, 20000)
		for i := range values {
			if float64(i) < share*float64(len(values)) {
				values[i] = 0.01 * rng.NormFloat64()
			} else {
				values[i] = -1 - 7*rng.Float64()
			}
		}
		// A sample of 3000 knows its spread to 1.3 %.
		near(t, "spread", unchangedSpread(values, 0.2), 0.01, 0.0006)
	}
	if s := unchangedSpread([]float64{math.NaN()}, 0.2); !math.IsNaN(s) {
		t.Errorf("spread %v of nothing", s)
	}
	if s := unchangedSpread([]float64{-6, -6, -6.1, -5.9}, 0.2); s != 0 {
		t.Errorf("spread %v where all has changed, want 0", s)
	}
}

// The bent body's four changes, with their kinds and places, and noise told
// apart from change. Depths are those of the smooth body along its own rays,
// which closest distances cannot exceed.
func TestBentBody(t *testing.T) {
	body := bentbody.New(1)
	const noise = 0.03
	s := bentbody.Scanning{Triangles: 60000, NoiseMM: noise}
	c := compare(t, body.Before(s), body.After(s), frame.Identity(), Options{})
	if len(c.Areas) != 4 {
		t.Fatalf("%d areas, want 4", len(c.Areas))
	}
	for _, want := range body.Changes {
		kind := Removed
		if want.Amount < 0 {
			kind = Added
		}
		found := false
		for _, a := range c.Areas {
			before, after := body.On(want.Towards, false), body.On(want.Towards, true)
			if a.Kind != kind || min(r3.Norm(r3.Sub(a.CentroidMM, before)), r3.Norm(r3.Sub(a.CentroidMM, after))) > 6 {
				continue
			}
			found = true
			deepest := r3.Norm(r3.Sub(before, after))
			if a.MaxDepthMM > 1.03*deepest || a.MaxDepthMM < c.SmallestMM || a.MeanDepthMM >= a.MaxDepthMM {
				t.Errorf("depths %v and %v mm, deepest along the ray %v", a.MeanDepthMM, a.MaxDepthMM, deepest)
			}
		}
		if !found {
			t.Errorf("no %s area towards %v", kind, want.Towards)
		}
	}
	near(t, "noise before", c.Before.NoiseMM, noise, 0.1*noise)
	near(t, "noise after", c.After.NoiseMM, noise, 0.1*noise)
	if c.LimitMM < 0.02 || c.SmallestMM <= c.LimitMM || c.SmallestMM > 0.08 {
		t.Errorf("limit %v, smallest change %v mm", c.LimitMM, c.SmallestMM)
	}
	if len(c.AfterGap) != c.After.Mesh.VertexCount() {
		t.Errorf("%d gaps for %d vertices", len(c.AfterGap), c.After.Mesh.VertexCount())
	}
}

// The alignment's own uncertainty raises what the pair can show: translation
// of 0.01 mm in every direction leaves 0.01 mm in every gap, twice that is
// added.
func TestAlignmentRaisesTheLimit(t *testing.T) {
	m := solid.Icosphere(3, 20)
	plain := compare(t, m, m, frame.Identity(), Options{})
	var opt Options
	for i := 3; i < 6; i++ {
		opt.RegistrationCovariance[7*i] = 1e-4
	}
	near(t, "smallest change", compare(t, m, m, frame.Identity(), opt).SmallestMM-plain.SmallestMM, 0.02, 1e-9)
}

// A bed that stands in one scan only is matter added, unless it is marked as
// taking no part; the areas' faces are those of the scan as given.
func TestFacesLeftOut(t *testing.T) {
	body := solid.Icosphere(4, 20)
	dent := mesh.Transform(body, func(p r3.Vec) r3.Vec {
		if p.Z > 15 {
			p.Z = 15 + (p.Z-15)/2
		}
		return p
	})
	bed := plate(60, 60, 0, 0, -21)
	first := bed.FaceCount()
	joined := &mesh.Mesh{
		Positions: append([]float32(nil), bed.Positions...),
		Triangles: append([]uint32(nil), bed.Triangles...),
	}
	// Transform keeps positions about the moved origin; bring both to zero.
	for i := range bed.VertexCount() {
		p := bed.Vertex(uint32(i))
		joined.Positions[3*i], joined.Positions[3*i+1], joined.Positions[3*i+2] = float32(p.X), float32(p.Y), float32(p.Z)
	}
	for _, v := range dent.Triangles {
		joined.Triangles = append(joined.Triangles, v+uint32(bed.VertexCount()))
	}
	for i := range uint32(dent.VertexCount()) {
		p := dent.Vertex(i)
		joined.Positions = append(joined.Positions, float32(p.X), float32(p.Y), float32(p.Z))
	}
	ignore := make([]bool, joined.FaceCount())
	for f := range first {
		ignore[f] = true
	}
	c := compare(t, body, joined, frame.Identity(), Options{AfterIgnore: ignore})
	if len(c.Areas) != 1 || c.Areas[0].Kind != Removed {
		t.Fatalf("areas %v, want the dent alone", c.Areas)
	}
	for _, f := range c.Areas[0].AfterFaces {
		if int(f) < first {
			t.Fatalf("face %d of the bed is in the area", f)
		}
	}
	if !math.IsNaN(float64(c.AfterGap[0])) {
		t.Errorf("a vertex of the bed has gap %v", c.AfterGap[0])
	}
	if with := compare(t, body, joined, frame.Identity(), Options{}); len(with.Areas) < 2 {
		t.Error("an unmarked bed went unseen")
	}
}

// A scan in another pose with the motion that brings it back shows the same.
func TestOtherPose(t *testing.T) {
	body := bentbody.New(2)
	s := bentbody.Scanning{Triangles: 20000}
	before, after := body.Before(s), body.After(s)
	g := frame.Rotation(r3.Vec{X: 0.3, Y: -0.8, Z: 0.5}, 2.1)
	g.T = r3.Vec{X: 120, Y: -75, Z: 40}
	there := mesh.Transform(after, g.Inverse().Apply)
	c, d := compare(t, before, after, frame.Identity(), Options{}), compare(t, before, there, g, Options{})
	for v := range c.AfterGap {
		// float32 coordinates at 150 mm.
		near(t, "gap", float64(d.AfterGap[v]), float64(c.AfterGap[v]), 4e-5)
	}
	if len(c.Areas) != len(d.Areas) {
		t.Errorf("%d areas, %d in the other pose", len(c.Areas), len(d.Areas))
	}
}

func TestSameOnAnyNumberOfProcessors(t *testing.T) {
	body := bentbody.New(3)
	s := bentbody.Scanning{Triangles: 20000, NoiseMM: 0.02}
	before, after := body.Before(s), body.After(s)
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	one := compare(t, before, after, frame.Identity(), Options{})
	runtime.GOMAXPROCS(3)
	three := compare(t, before, after, frame.Identity(), Options{})
	if d := cmp.Diff(one.Areas, three.Areas); d != "" {
		t.Error(d)
	}
	if !slices.Equal(one.BeforeGap, three.BeforeGap) || !slices.Equal(one.After.Smooth, three.After.Smooth) || one.LimitMM != three.LimitMM {
		t.Error("gaps or limits differ")
	}
}

func TestRefusals(t *testing.T) {
	m := solid.Icosphere(2, 20)
	all := make([]bool, m.FaceCount())
	for i := range all {
		all[i] = true
	}
	stretched := frame.Identity()
	stretched.R[0] = 1.01
	mirrored := frame.Identity()
	mirrored.R[0] = -1
	nowhere := frame.Identity()
	nowhere.T.X = math.NaN()
	for _, row := range []struct {
		name          string
		before, after *mesh.Mesh
		g             frame.Rigid
		opt           Options
		says          string
	}{
		{"empty", &mesh.Mesh{}, m, frame.Identity(), Options{}, "scan before has no faces"},
		{"missing", m, nil, frame.Identity(), Options{}, "scan after has no faces"},
		{"stretched", m, m, stretched, Options{}, "not a motion"},
		{"mirrored", m, m, mirrored, Options{}, "not a motion"},
		{"nowhere", m, m, nowhere, Options{}, "not a motion"},
		{"all support", m, m, frame.Identity(), Options{AfterIgnore: all}, "nothing is left"},
		{"no face to face", plate(10, 4, 0, 0, 0), plate(10, 4, 100, 0, 1), frame.Identity(), Options{}, "check the alignment"},
	} {
		_, err := Compare(context.Background(), row.before, row.after, row.g, row.opt)
		if err == nil || !strings.Contains(err.Error(), row.says) {
			t.Errorf("%s: error %v, want one that says %q", row.name, err, row.says)
		}
	}
	// Coordinates that are no numbers are passed over.
	broken := solid.Icosphere(2, 20)
	broken.Positions[0] = float32(math.NaN())
	c := compare(t, m, broken, frame.Identity(), Options{})
	if !math.IsNaN(float64(c.AfterGap[0])) {
		t.Errorf("gap %v at a vertex without place", c.AfterGap[0])
	}
}

func TestStop(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	body := bentbody.New(1)
	s := bentbody.Scanning{Triangles: 20000}
	last := 0.0
	_, err := Compare(ctx, body.Before(s), body.After(s), frame.Identity(), Options{Progress: func(done float64, words string) {
		if done < last || done > 1 {
			t.Errorf("progress went from %v to %v", last, done)
		}
		last = done
		if done > 0.3 {
			cancel()
		}
	}})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want cancelled", err)
	}
	if last == 0 {
		t.Error("no progress was told")
	}
}

func benchmarkCompare(b *testing.B, triangles int) {
	body := bentbody.New(1)
	s := bentbody.Scanning{Triangles: triangles, NoiseMM: 0.01}
	before, after := body.Before(s), body.After(s)
	for b.Loop() {
		if _, err := Compare(context.Background(), before, after, frame.Identity(), Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCompare100k(b *testing.B) { benchmarkCompare(b, 100000) }
func BenchmarkCompare1M(b *testing.B)   { benchmarkCompare(b, 1000000) }

// What is left to do of a comparison once the distances are known.
func BenchmarkFind1M(b *testing.B) {
	body := bentbody.New(1)
	s := bentbody.Scanning{Triangles: 1000000, NoiseMM: 0.01}
	c, err := Compare(context.Background(), body.Before(s), body.After(s), frame.Identity(), Options{})
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		c.Areas = nil
		if err := c.find(context.Background()); err != nil {
			b.Fatal(err)
		}
	}
}
