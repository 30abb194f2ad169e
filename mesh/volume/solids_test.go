package volume

import (
	"context"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/change"
	"rigatino/mesh/frame"
	"rigatino/mesh/solid"
)

func measure(t *testing.T, before, after *mesh.Mesh, g frame.Rigid, opt change.Options) (*change.Change, *Result) {
	t.Helper()
	c, err := change.Compare(context.Background(), before, after, g, opt)
	if err != nil {
		t.Fatal(err)
	}
	r, err := Measure(context.Background(), c, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return c, r
}

// Concentric spheres R 20 → 26 (analytic): (26³-20³)/3 = 3192 per steradian.
// The area wraps the specimen, so the two closed surfaces are subtracted; the
// rest is faceting, whose law the budget knows. Area times distance gives 2400
// from the inner and 4056 from the outer surface, wrong by a quarter and more.
func TestConcentricSpheres(t *testing.T) {
	const truth = 4 * math.Pi * 3192
	previous := math.Inf(1)
	for level := 3; level <= 5; level++ {
		b, a := solid.Icosphere(level, 26), solid.Icosphere(level, 20)
		c, r := measure(t, b, a, frame.Rotation(r3.Vec{X: 1, Y: 2, Z: 3}, 0.3), change.Options{})
		if len(r.Areas) != 1 || r.Removed.Volume == nil || r.Areas[0].Kind != change.Removed {
			t.Fatalf("level %d: areas %+v", level, r.Areas)
		}
		v := r.Removed.Volume
		// Volume error of icospheres of this level: -0.860616, -0.216083,
		// -0.054079 % (calculated table).
		want := truth * (1 - []float64{0.00860616, 0.00216083, 0.00054079}[level-3])
		near(t, "subtracted", r.Areas[0].RawMM3, want, 2e-6*want)
		near(t, "subtracted by hand", r.Areas[0].RawMM3, mesh.Volume(b)-mesh.Volume(a), 1e-9*want)
		near(t, "with what the chords cut off", v.Value, truth, 0.02*(truth-want))
		if v.Method != MethodWhole || !v.Covers(truth) || !r.Consistent {
			t.Errorf("level %d: %v by %q (%v), truth %v", level, v, v.Method, r.Consistent, truth)
		}
		if e := math.Abs(v.Value - truth); e > 0.3*previous {
			t.Errorf("level %d: error %v does not fall with the square of the edge", level, e)
		} else {
			previous = e
		}
		// The tempting shortcuts, on the finest mesh.
		if level == 5 {
			mean := func(gap []float32) float64 {
				sum := 0.0
				for _, g := range gap {
					sum += math.Abs(float64(g)) / float64(len(gap))
				}
				return sum
			}
			inner, outer := mesh.Area(a)*mean(c.AfterGap), mesh.Area(b)*mean(c.BeforeGap)
			near(t, "inner area × distance per steradian", inner/(4*math.Pi), 2400, 4)
			near(t, "outer area × distance per steradian", outer/(4*math.Pi), 4056, 6)
			if v.Covers(inner) || v.Covers(outer) {
				t.Error("area times distance would have passed")
			}
		}
	}
}

// A part of a spherical shell with both surfaces open, as two scans without an
// underside: 60 % of the shell between 20 and 26 mm holds 0.6·4π·3192 =
// 24067.113001 mm³, closed by a conical ribbon along the rims. Faceting falls
// with the fourth power after extrapolation from two finenesses.
func TestOpenShellPatches(t *testing.T) {
	const truth = 24067.113001
	volume := func(n int) (float64, *shell) {
		// 60 % of a sphere lie above z = -0.2 R.
		surface := func(radius float64) *mesh.Mesh {
			return turned(arc(nil, 0, 0, radius, math.Asin(-0.2), math.Pi/2, n), radius, 4*n, 0)
		}
		all := func(r3.Vec) float64 { return 1 }
		s := newShell(cutAt(surface(26), all), cutAt(surface(20), all), about, 1)
		return s.volume, s
	}
	coarse, s := volume(40)
	fine, _ := volume(80)
	if s.loops != 1 || s.unpaired != 0 || s.openness > 1e-12 {
		t.Errorf("loops %d, unpaired %d, openness %g", s.loops, s.unpaired, s.openness)
	}
	near(t, "coarse", coarse, truth, 0.003*truth)
	near(t, "fine", fine, truth, 0.25*1.01*math.Abs(coarse-truth))
	near(t, "extrapolated", (4*fine-coarse)/3, truth, 2e-6*truth)

	// Subtracting the two open surfaces moves with the origin.
	b := turned(arc(nil, 0, 0, 26, math.Asin(-0.2), math.Pi/2, 80), 26, 320, 0)
	a := turned(arc(nil, 0, 0, 20, math.Asin(-0.2), math.Pi/2, 80), 20, 320, 0)
	about := func(m *mesh.Mesh, o r3.Vec) float64 {
		return mesh.SumBlocks(m.FaceCount(), func(f int) float64 {
			p, _, _ := m.Corners(uint32(f))
			return r3.Dot(r3.Sub(p, o), m.AreaVector(uint32(f))) / 3
		})
	}
	low := r3.Vec{Z: 50}
	if e := math.Abs(about(b, low)-about(a, low))/truth - 1; math.Abs(e) < 0.5 {
		t.Errorf("open subtraction about %v is off by %v only", low, e)
	}
	if e := (mesh.Volume(b) - mesh.Volume(a)) / truth; math.Abs(e-1) < 0.1 {
		t.Errorf("open subtraction about the boxes' centres gives %v of the truth", e)
	}
}

// The same shell as two scans that end in teeth along their faces: all of the
// outline is rim, and the ribbon between the two rims is the cone, to within the
// uncertainty.
func TestOpenShellAsScans(t *testing.T) {
	const truth = 24067.113001
	b := cutOff(solid.Icosphere(5, 26), -5.2)
	a := cutOff(solid.Icosphere(5, 20), -4)
	_, r := measure(t, b, a, frame.Identity(), change.Options{})
	if len(r.Areas) != 1 || r.Removed.Volume == nil || !r.Removed.Volume.Covers(truth) || r.Removed.Volume.Expanded() > 0.01*truth {
		t.Errorf("removed %v, why %q", r.Removed.Volume, r.Removed.Why)
	}
	if r.Added.Volume == nil || r.Added.Volume.Value != 0 {
		t.Errorf("added %v, want nothing", r.Added.Volume)
	}
}

// Spherical caps put on a flat body (analytic): R 20 h 5 holds 1439.896633,
// R 50 h 2 holds 619.9409503 mm³. On the mesh the raw volume is that of
// the polyhedron to rounding and tends to the cap; with what the chords cut off
// added it is nearer by far.
func TestCaps(t *testing.T) {
	for _, row := range []struct{ radius, height, truth float64 }{
		{20, 5, 1439.896633}, {50, 2, 619.9409503},
	} {
		rim := math.Sqrt(row.height * (2*row.radius - row.height))
		// The formula itself: π h² (3R - h) / 3 = π h (3 r² + h²) / 6.
		near(t, "formula", math.Pi*row.height*(3*rim*rim+row.height*row.height)/6, row.truth, 1e-6)
		bare := [][2]float64{{0, -8}, {30, -8}, {30, 0}, {0, 0}}
		volume := func(n int) float64 {
			domed := arc([][2]float64{{0, -8}, {30, -8}, {30, 0}}, 0, row.height-row.radius, row.radius, math.Asin(1-row.height/row.radius), math.Pi/2, n/4)
			after := turned(domed, 1.2, n, 0)
			before := turned(bare, 1.3, n, 0)
			_, r := measure(t, before, after, frame.Identity(), change.Options{})
			if len(r.Areas) != 1 || r.Added.Volume == nil || r.Areas[0].Kind != change.Added {
				t.Fatalf("areas %+v", r.Areas)
			}
			exact := ngonVolume(domed, n) - ngonVolume(bare, n)
			near(t, "polyhedron", r.Areas[0].RawMM3, exact, 1e-6*exact)
			near(t, "with what the chords cut off", r.Added.Volume.Value, row.truth, 0.05*(row.truth-exact))
			if !r.Added.Volume.Covers(row.truth) || !r.Consistent {
				t.Errorf("cap %v: %v %v), truth %v", row.height, r.Added.Volume, r.Areas[0].Checks, row.truth)
			}
			return r.Areas[0].RawMM3
		}
		coarse, fine := volume(80), volume(160)
		near(t, "extrapolated", (4*fine-coarse)/3, row.truth, 1e-5*row.truth)
	}
}

// The same scan twice: exactly zero, and not a zero uncertainty.
func TestSameScanTwice(t *testing.T) {
	m := solid.Icosphere(4, 20)
	_, r := measure(t, m, m, frame.Identity(), change.Options{})
	for _, total := range []Total{r.Removed, r.Added} {
		if total.Volume == nil || total.Volume.Value != 0 || !(total.Volume.U > 0) || total.Areas != 0 {
			t.Errorf("total %+v, want 0 with u > 0", total)
		}
	}
	if !r.Consistent {
		t.Error("nothing disagrees with nothing")
	}
}

// joined puts two meshes into one.
func joined(a, b *mesh.Mesh) *mesh.Mesh {
	out := &mesh.Mesh{}
	for _, m := range []*mesh.Mesh{a, b} {
		first := uint32(out.VertexCount())
		for i := range uint32(m.VertexCount()) {
			p := m.Vertex(i)
			out.Positions = append(out.Positions, float32(p.X), float32(p.Y), float32(p.Z))
		}
		for _, v := range m.Triangles {
			out.Triangles = append(out.Triangles, first+v)
		}
	}
	return out
}

// A loose closed piece that only one scan has is measured by its own surface;
// a scrap of open surface that only one scan has is declined, and does not take
// the total with it when it is small.
func TestLoosePieces(t *testing.T) {
	body := solid.Icosphere(5, 20)
	aside := func(m *mesh.Mesh) *mesh.Mesh {
		return mesh.Transform(m, func(p r3.Vec) r3.Vec { return r3.Add(p, r3.Vec{X: 60}) })
	}
	pebble := aside(solid.Icosphere(3, 6))
	_, r := measure(t, joined(body, pebble), body, frame.Identity(), change.Options{})
	if len(r.Areas) != 1 || r.Removed.Volume == nil {
		t.Fatalf("areas %+v, want the pebble", r.Areas)
	}
	near(t, "pebble", r.Areas[0].RawMM3, mesh.Volume(pebble), 1e-4)

	scrap := aside(solid.Plane(8, 8))
	_, r = measure(t, body, joined(body, scrap), frame.Identity(), change.Options{})
	if r.Added.Volume != nil || r.Added.Why == "" || r.Added.Areas != 1 {
		t.Errorf("a scrap alone: %v, %q", r.Added.Volume, r.Added.Why)
	}
	// Beside a growth on the far side the doubt is surface times distance.
	grown := mesh.Transform(body, func(p r3.Vec) r3.Vec {
		if p.X < -8 {
			p.X = -8 + 3*(p.X+8)
		}
		return p
	})
	_, r = measure(t, body, joined(grown, scrap), frame.Identity(), change.Options{})
	if r.Added.Areas != 2 || r.Added.Volume != nil {
		t.Errorf("%d areas, %v: 64 mm² of scrap 40 mm off are in doubt", r.Added.Areas, r.Added.Volume)
	}
	close := mesh.Transform(solid.Plane(4.3, 8), func(p r3.Vec) r3.Vec { return r3.Add(p, r3.Vec{X: 22.5}) })
	_, r = measure(t, body, joined(grown, close), frame.Identity(), change.Options{})
	if r.Added.Volume == nil || r.Added.Areas != 2 || r.Added.Why == "" {
		t.Fatalf("a small scrap took the total: %d areas, %q", r.Added.Areas, r.Added.Why)
	}
	truth := mesh.Volume(grown) - mesh.Volume(body)
	near(t, "with a small scrap", r.Added.Volume.Value, truth, 0.001*truth)
	last := r.Added.Budget[len(r.Added.Budget)-1]
	if last.Name != "areas that could not be measured" || last.U <= 0 {
		t.Errorf("last term %+v", last)
	}
}
