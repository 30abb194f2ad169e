package quality_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/quality"
	"rigatino/mesh/solid"
)

func TestNoiseIsWhatWasPutOn(t *testing.T) {
	// Normally distributed noise of a known standard deviation on bodies in
	// closed form: it must come back within 10 %, and a body without noise must
	// show less than 1 % of its mean edge.
	for _, row := range []struct {
		name string
		m    *mesh.Mesh
	}{{"ball", solid.Icosphere(5, 20)}, {"specimen", specimen(6)}, {"ring", solid.Torus(20, 6, 200, 64)}, {"plane", solid.Plane(50, 60)}} {
		for _, sigma := range []float64{0, 0.02, 0.08} {
			r := inspect(t, noisy(row.m, sigma, nil)).Resolution
			if r.Noise == nil {
				t.Fatalf("%s: no estimate", row.name)
			}
			t.Logf("checked: %s: noise %.4f; put on: %.4f; mean edge %.3f", row.name, *r.Noise, sigma, r.MeanEdge)
			if sigma == 0 && *r.Noise > 0.01*r.MeanEdge || math.Abs(*r.Noise-sigma) > 0.1*sigma+0.01*r.MeanEdge {
				t.Errorf("%s: noise %g, put on %g", row.name, *r.Noise, sigma)
			}
		}
	}
	if r := inspect(t, solid.Cube(20)).Resolution; r.Noise != nil {
		t.Errorf("a cube of 12 triangles is too small to tell, but %g", *r.Noise)
	}
}

func TestEdgesOfAGrid(t *testing.T) {
	// A square grid of cell 1 has edges 1, 1 and √2 in equal number.
	r := inspect(t, solid.Plane(50, 50)).Resolution
	if math.Abs(r.MeanEdge-(2+math.Sqrt2)/3) > 1e-6 || math.Abs(r.Edge5-1) > 1e-6 || math.Abs(r.Edge95-math.Sqrt2) > 1e-6 {
		t.Errorf("edges %+v", r)
	}
}

func TestOpenings(t *testing.T) {
	// A dome of radius 30 and height 10 has a rim of radius √(30²-20²), a polygon
	// of 64 sides; a tube two circles. A ball has none.
	area := func(n int, r float64) float64 { return float64(n) / 2 * r * r * math.Sin(2*math.Pi/float64(n)) }
	r := inspect(t, solid.Dome(30, 10, 64, 16))
	if len(r.Openings) != 1 || r.Openings[0].Edges != 64 || math.Abs(r.Openings[0].Area-area(64, math.Sqrt(500))) > 1e-3 || r3.Norm(r.Openings[0].Centre) > 1e-4 {
		t.Errorf("dome: %+v", r.Openings)
	}
	tube := solid.Lantern(10, 40, 48, 20)
	if r = inspect(t, tube); len(r.Openings) != 2 || math.Abs(r.Openings[0].Area-area(48, 10)) > 1e-3 || math.Abs(r.Openings[0].Length-2*48*10*math.Sin(math.Pi/48)) > 1e-3 {
		t.Errorf("tube: %+v", r.Openings)
	}
	if r = inspect(t, solid.Icosphere(3, 10)); len(r.Openings) != 0 || r.Closure > 1e-12 {
		t.Errorf("ball: %+v, closure %g", r.Openings, r.Closure)
	}
	// A dome's vector areas add up to its opening's.
	if r = inspect(t, solid.Dome(30, 30, 64, 16)); math.Abs(r.Closure-0.5) > 0.01 {
		t.Errorf("half a ball: closure ratio %g, want about 1/2", r.Closure)
	}
}

func TestOrientation(t *testing.T) {
	ball := solid.Icosphere(3, 10)
	some := *ball
	some.Triangles = append([]uint32(nil), ball.Triangles...)
	for _, f := range []int{5, 6, 100, 700} {
		some.Triangles[3*f], some.Triangles[3*f+1] = some.Triangles[3*f+1], some.Triangles[3*f]
	}
	two, _ := joined(ball, shifted(turnedOver(ball), r3.Vec{X: 30}))
	cavity, _ := joined(solid.Icosphere(3, 20), turnedOver(ball))
	for name, row := range map[string]struct {
		m    *mesh.Mesh
		want quality.Orientation
	}{
		"ball":                    {ball, quality.Orientation{}},
		"inside out":              {turnedOver(ball), quality.Orientation{InsideOut: 1}},
		"four turned":             {&some, quality.Orientation{Turned: 4}},
		"four turned, inside out": {turnedOver(&some), quality.Orientation{Turned: 4, InsideOut: 1}},
		"one of two inside out":   {two, quality.Orientation{InsideOut: 1}},
		"cavity":                  {cavity, quality.Orientation{}},
		"Möbius band":             {band(40), quality.Orientation{OneSided: 1}},
	} {
		if got := inspect(t, row.m).Orientation; got != row.want {
			t.Errorf("%s: %+v, want %+v", name, got, row.want)
		}
		// What can be turned is turned: a second look finds nothing.
		w := mesh.NewWeld(row.m)
		better, n := quality.Upright(row.m, w, mesh.NewTopology(row.m, w))
		if (n > 0) != (row.want.Turned > 0 || row.want.InsideOut > 0) || (n == 0) != (better == row.m) {
			t.Errorf("%s: %d faces turned", name, n)
		}
		if got := inspect(t, better).Orientation; got != (quality.Orientation{OneSided: row.want.OneSided}) {
			t.Errorf("%s, turned: %+v", name, got)
		}
	}
}

// band is a Möbius band of n cells.
func band(n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range n {
		a := 2 * math.Pi * float64(i) / float64(n)
		for _, w := range [2]float64{-2, 2} {
			r := 10 + w*math.Cos(a/2)
			m.Positions = append(m.Positions, float32(r*math.Cos(a)), float32(r*math.Sin(a)), float32(w*math.Sin(a/2)))
		}
		p, q, s, u := uint32(2*i), uint32(2*i+1), uint32(2*i+2), uint32(2*i+3)
		if i == n-1 {
			s, u = 1, 0
		}
		m.Triangles = append(m.Triangles, p, s, q, q, s, u)
	}
	return m
}
