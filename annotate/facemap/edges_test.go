package facemap

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/colour"
	"rigatino/mesh/solid"
)

// folded is a plane of 60 mm that rises beyond the curve y = bend(x) by so many
// degrees, with noise of sigma mm on every vertex: vertices stand on the curve
// where rows are moved on to it.
func folded(n int, deg, sigma float64, bend func(x float64) float64) *mesh.Mesh {
	m := solid.Plane(60, n)
	random := rand.New(rand.NewPCG(7, 9))
	slope := math.Tan(deg * math.Pi / 180)
	for i := range m.VertexCount() {
		x, y := float64(m.Positions[3*i]), float64(m.Positions[3*i+1])
		// Rows are shifted so that the middle one follows the curve.
		y += bend(x) * (1 - math.Abs(y)/30)
		z := slope * max(0, y-bend(x))
		m.Positions[3*i+1] = float32(y)
		m.Positions[3*i+2] = float32(z + sigma*random.NormFloat64())
	}
	return m
}

func wave(x float64) float64 { return 4 * math.Sin(x/8) }

// Growth on the flat side of a fold stops at the fold. Reference: the area in
// closed form, 60 mm times 30 mm and the integral of the wave (0 by symmetry),
// seen from above. With noise of a third of the edge length the bare angle
// between faces is some 30 degrees all over; growth must not see it.
func TestGrowToEdgesFindsAFold(t *testing.T) {
	for _, c := range []struct {
		name        string
		deg, sigma  float64
		within      float64
		stops       bool
		coarseGrain int
	}{
		{"sharp", 60, 0, 0.01, true, 200},
		{"sharp, noise", 60, 0.08, 0.02, true, 200},
		{"just above the limit", 42, 0.02, 0.03, true, 200},
		{"coarse mesh", 60, 0, 0.04, true, 60},
		{"far below the limit", 10, 0, 0.01, false, 200},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := NewSurface(folded(c.coarseGrain, c.deg, c.sigma, wave))
			faces, err := s.GrowToEdges(t.Context(), at(t, s, r3.Vec{X: -10, Y: -18}), Growth{ReachMM: 200})
			if err != nil {
				t.Fatal(err)
			}
			area := 0.0
			for _, f := range faces {
				area += math.Abs(s.Mesh.AreaVector(f).Z)
			}
			want := 1800.0
			if !c.stops {
				want = 3600
			}
			near(t, "area from above", area, want, c.within)
		})
	}
}

// A bone's shaft is no edge: growth goes round a cylinder of 10 mm radius, whose
// soft bend is 1/R, and stops at its flat ends. Reference: 2πRh.
func TestGrowToEdgesGoesRoundAShaft(t *testing.T) {
	s := NewSurface(solid.Cylinder(10, 30, 160, 75))
	faces, err := s.GrowToEdges(t.Context(), at(t, s, r3.Vec{X: 10, Z: 14}), Growth{ReachMM: 100})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "area", mesh.AreaOf(s.Mesh, faces), 2*math.Pi*10*30, 0.03)
}

func TestGrowToEdgesRefuses(t *testing.T) {
	s := NewSurface(folded(100, 60, 0, wave))
	if _, err := s.GrowToEdges(t.Context(), at(t, s, r3.Vec{X: 0, Y: 0}), Growth{ReachMM: 50}); err == nil {
		t.Error("growing from the crest of an edge was not refused")
	}
	if _, err := s.GrowToEdges(t.Context(), at(t, s, r3.Vec{Y: -10}), Growth{}); err == nil {
		t.Error("growing without a reach was not refused")
	}
}

// twoTone is light brown within 12 mm of the middle and 10 ΔE00 darker beyond.
func twoTone(s *Surface) func(f uint32) colour.Lab {
	return func(f uint32) colour.Lab {
		if c := s.Mesh.At(centreOf(f, 0, 0)); math.Hypot(c.X, c.Y) < 12 {
			return colour.Lab{L: 65, A: 6, B: 20}
		}
		return colour.Lab{L: 52, A: 14, B: 10}
	}
}

// A disc of another colour: its area is π 12². The two tones differ by more than
// a just visible ΔE00 of 1 (Sharma, Wu and Dalal 2005 give the formula).
func TestSameColourTakesADisc(t *testing.T) {
	s := NewSurface(solid.Plane(60, 200))
	tone := twoTone(s)
	if d := colour.WeightedDifference(colour.Lab{L: 65, A: 6, B: 20}, colour.Lab{L: 52, A: 14, B: 10}, 2); d < 9 {
		t.Fatalf("the tones differ by %.2f only", d)
	}
	want := math.Pi * 144
	faces, err := s.SameColour(t.Context(), at(t, s, r3.Vec{X: 2, Y: 1}), ColourPick{Colour: tone, Within: 4, ReachMM: 100})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "same colour", mesh.AreaOf(s.Mesh, faces), want, 0.04)
	faces, err = s.GrowToEdges(t.Context(), at(t, s, r3.Vec{X: 2, Y: 1}), Growth{ReachMM: 100, Colour: tone})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "grown to the step of colour", mesh.AreaOf(s.Mesh, faces), want, 0.03)
	if _, err := s.SameColour(t.Context(), at(t, s, r3.Vec{}), ColourPick{Within: 4, ReachMM: 100}); err == nil {
		t.Error("a scan without colours was not refused")
	}
}

// length3 is the length of a way in space.
func length3(way []r3.Vec) (sum float64) {
	for i := 1; i < len(way); i++ {
		sum += r3.Norm(r3.Sub(way[i], way[i-1]))
	}
	return sum
}

// A line snapped along a wavy break of 50 degrees keeps to it. Reference: the
// arc length of y = 4 sin(x/8), summed numerically, and the curve itself.
func TestSnapWayFollowsABreak(t *testing.T) {
	for _, sigma := range []float64{0, 0.03} {
		s := NewSurface(folded(200, 50, sigma, wave))
		from, to := at(t, s, r3.Vec{X: -24, Y: wave(-24) - 0.2}), at(t, s, r3.Vec{X: 25, Y: wave(25) - 0.3})
		way, err := s.SnapWay(t.Context(), from, to, Snap{})
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range way[1 : len(way)-1] {
			if off := math.Abs(p.Y - wave(p.X)); off > 2*s.edge {
				t.Errorf("noise %g: the line is %.2f mm off the break at x = %.1f", sigma, off, p.X)
			}
		}
		want := 0.0
		const n = 10000
		for i := range n {
			x := -24 + 49*(float64(i)+0.5)/n
			want += 49.0 / n * math.Hypot(1, 0.5*math.Cos(x/8))
		}
		near(t, "length", length3(way), want, 0.01)
		if len(way) > 60 || way[0] != s.Mesh.At(from) || way[len(way)-1] != s.Mesh.At(to) {
			t.Errorf("%d points from %v to %v", len(way), way[0], way[len(way)-1])
		}
	}
}

// Without a break the line stays near the straight way between its ends.
func TestSnapWayWithoutABreak(t *testing.T) {
	s := NewSurface(solid.Plane(60, 100))
	way, err := s.SnapWay(t.Context(), at(t, s, r3.Vec{X: -20, Y: -10}), at(t, s, r3.Vec{X: 20, Y: 15}), Snap{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "length", length3(way), math.Hypot(40, 25), 0.12)
}

// A disc with a ragged rim becomes round again: its area stays, its outline comes
// near 2πr (closed form), and a point outside loses its label.
func TestSmoothOutlineOfARaggedDisc(t *testing.T) {
	s := NewSurface(solid.Plane(60, 150))
	m := newMap(t, s)
	must(t)(m.AssignFaces(allFaces(s), Paint{Region: 2}))
	ragged := func(p r3.Vec) bool {
		return math.Hypot(p.X, p.Y) < 15+1.2*math.Sin(40*math.Atan2(p.Y, p.X))
	}
	must(t)(m.Loop(t.Context(), s, Loop{Holds: ragged}, Paint{Region: 1}))
	before := areaOf(s, m, 1)
	copied := m.Clone()
	paint := func(region uint16) Paint { return Paint{Region: region} }
	out := must(t)(m.SmoothOutline(t.Context(), s, 1, Smoothing{LengthMM: 4, Levels: 3, Paint: paint}))
	near(t, "area", areaOf(s, m, 1), before, 0.001)
	radius := math.Sqrt(before / math.Pi)
	worst := 0.0
	for i := range 360 {
		a := float64(i) * math.Pi / 180
		in, _ := m.At(at(t, s, r3.Vec{X: (radius - 0.6) * math.Cos(a), Y: (radius - 0.6) * math.Sin(a)}), nil)
		outside, _ := m.At(at(t, s, r3.Vec{X: (radius + 0.6) * math.Cos(a), Y: (radius + 0.6) * math.Sin(a)}), nil)
		if in != 1 || outside != 2 {
			worst++
		}
	}
	if worst > 7 { // 2 % of the directions
		t.Errorf("in %g of 360 directions the outline is more than 0.6 mm off a circle", worst)
	}
	if err := m.Apply(out.Diff.Inverse()); err != nil {
		t.Fatal(err)
	}
	if !sameLabels(m, copied) {
		t.Error("the inverse does not give the map back")
	}
}

func allFaces(s *Surface) []uint32 {
	out := make([]uint32, s.Mesh.FaceCount())
	for i := range out {
		out[i] = uint32(i)
	}
	return out
}

func sameLabels(a, b *Map) bool {
	x, errX := a.Encode()
	y, errY := b.Encode()
	return errX == nil && errY == nil && string(x) == string(y)
}

// A loop on a sphere seen from +Z: without leave it takes the near side only,
// with leave both. Reference: the cap inside a cylinder of radius ρ about the
// axis has area 2πR(R-√(R²-ρ²)).
func TestLoopTakesWhatIsSeen(t *testing.T) {
	const big, rho = 25.0, 15.0
	s := NewSurface(solid.Icosphere(6, big))
	want := 2 * math.Pi * big * (big - math.Sqrt(big*big-rho*rho))
	holds := func(p r3.Vec) bool { return math.Hypot(p.X, p.Y) < rho }
	m := newMap(t, s)
	must(t)(m.Loop(t.Context(), s, Loop{Holds: holds, Sight: s.NewSightAlong(r3.Vec{Z: -1}, 200), Levels: 3}, Paint{Region: 1}))
	near(t, "seen", areaOf(s, m, 1), want, 0.002)
	must(t)(m.Loop(t.Context(), s, Loop{Holds: holds, Levels: 3}, Paint{Region: 2}))
	near(t, "through", areaOf(s, m, 2), 2*want, 0.002)
}

// Two plates one behind the other: the loop, the growth and the stroke of
// somebody who looks from +Z take nothing of the one behind.
func TestSightIsBlocked(t *testing.T) {
	front, behind := solid.Plane(20, 40), solid.Plane(60, 60)
	for i := range behind.VertexCount() {
		behind.Positions[3*i+2] -= 10
	}
	n := uint32(front.VertexCount())
	both := &mesh.Mesh{Positions: append(front.Positions, behind.Positions...), Triangles: front.Triangles}
	frontFaces := front.FaceCount()
	for _, v := range behind.Triangles {
		both.Triangles = append(both.Triangles, v+n)
	}
	s := NewSurface(both)
	m := newMap(t, s)
	must(t)(m.Loop(t.Context(), s, Loop{Holds: func(r3.Vec) bool { return true }, Sight: s.NewSight(r3.Vec{Z: 500})}, Paint{Region: 1}))
	hidden := 0
	for _, f := range m.Faces(1) {
		if c := s.Mesh.At(centreOf(f, 0, 0)); int(f) >= frontFaces && max(math.Abs(c.X), math.Abs(c.Y)) < 8 {
			hidden++
		}
	}
	if hidden > 0 {
		t.Errorf("%d faces behind the front plate were taken", hidden)
	}
	near(t, "area", areaOf(s, m, 1), 60*60, 0.04)
	must(t)(m.Stroke(s, at(t, s, r3.Vec{X: 12, Y: 3, Z: -10}), Brush{RadiusMM: 6, Sight: s.NewSight(r3.Vec{Z: 500})}, Paint{Region: 3}))
	for _, f := range m.Faces(3) {
		if c := s.Mesh.At(centreOf(f, 0, 0)); max(math.Abs(c.X), math.Abs(c.Y)) < 8.5 {
			t.Fatalf("the stroke took the hidden face at %v", c)
		}
	}
}
