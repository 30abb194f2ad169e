package demo

import (
	"context"
	"errors"
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// Scans are closed and oriented, near their size and their true volume and
// area, evenly cut, and the same every time.
func TestScans(t *testing.T) {
	ctx := context.Background()
	const faces = 12_000
	scans, err := Scans(ctx, faces, nil)
	if err != nil {
		t.Fatal(err)
	}
	truth, err := Known()
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range scans {
		m := s.Mesh
		topology := mesh.NewTopology(m, mesh.NewWeld(m))
		if !topology.Closed() || !topology.Oriented() || topology.Components != 1 {
			t.Errorf("%s: closed %v, oriented %v, %d components", s.Name(), topology.Closed(), topology.Oriented(), topology.Components)
		}
		want := faces
		if s.Piece == "fragment" {
			want = faces * fragmentShare / 100
		}
		if n := m.FaceCount(); n < want*7/10 || n > want*13/10 {
			t.Errorf("%s has %d faces, not about %d", s.Name(), n, want)
		}
		mean := mesh.MeanEdge(m)
		longest := 0.0
		for f := range uint32(m.FaceCount()) {
			a, b, c := m.Corners(f)
			longest = max(longest, r3.Norm(r3.Sub(a, b)), r3.Norm(r3.Sub(b, c)), r3.Norm(r3.Sub(c, a)))
		}
		if longest > 3.5*mean {
			t.Errorf("%s: an edge of %.2f mm beside a mean of %.2f", s.Name(), longest, mean)
		}
		for _, st := range truth.Stages {
			if st.Stage != s.Stage || st.Piece != s.Piece {
				continue
			}
			// Facets of edge e lie inside a body of radius R by about e²/8R.
			if e := mesh.Volume(m)/st.Volume - 1; math.Abs(e) > 0.01 {
				t.Errorf("%s: volume %.0f mm³, truth %.0f", s.Name(), mesh.Volume(m), st.Volume)
			}
			if e := mesh.Area(m)/st.Area - 1; math.Abs(e) > 0.015 {
				t.Errorf("%s: area %.0f mm², truth %.0f", s.Name(), mesh.Area(m), st.Area)
			}
		}
	}
	again, err := Scans(ctx, faces, nil)
	if err != nil {
		t.Fatal(err)
	}
	for i := range scans {
		a, b := scans[i].Mesh, again[i].Mesh
		if a.Origin != b.Origin || !slices.Equal(a.Positions, b.Positions) || !slices.Equal(a.Triangles, b.Triangles) || !slices.Equal(a.Colours, b.Colours) {
			t.Errorf("%s came out different the second time", scans[i].Name())
		}
	}
}

// Two scans of one surface share no place: their noise alone would part them,
// so here the shapes are compared before it.
func TestTessellationsDoNotCorrespond(t *testing.T) {
	s := newSpecimen()
	surface := s.at(Fill)
	seen := map[r3.Vec]bool{}
	for seed := range uint64(2) {
		m, err := tessellate(context.Background(), surface, surface, nil, 4000, &splitmix{100 + seed})
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range m.on {
			if seed == 1 && seen[p] {
				t.Fatalf("both tessellations have a vertex at %v", p)
			}
			seen[p] = true
		}
	}
}

// The meshes of the broken pieces follow the sharp edge of the break: no edge
// crosses it.
func TestMeshFollowsTheBreak(t *testing.T) {
	s := newSpecimen()
	l := s.newLoose().when(AirAbrasive)
	m, err := tessellate(context.Background(), s.at(AirAbrasive), s.at(AirAbrasive), l.breakOf, 12_000, &splitmix{9})
	if err != nil {
		t.Fatal(err)
	}
	across, on := 0, 0
	for _, c := range m.tri {
		for k := range 3 {
			a, b := m.side[c[k]], m.side[c[(k+1)%3]]
			if a*b < 0 {
				across++
			}
			if a == 0 && b == 0 {
				on++
			}
		}
	}
	// Each edge counts twice. The crease is 130 mm long, edges 2.6 mm.
	if across > 2 || on < 60 {
		t.Errorf("%d edges lie on the break's edge and %d across it", on/2, across/2)
	}
}

// Outlines run round their region on its left, seen from outside.
func TestOutlinesTurnLeft(t *testing.T) {
	s := newSpecimen()
	surface := s.at(Retouch)
	for _, name := range outlineNames {
		p := s.region(name)
		line := p.outline(240)
		for i, d := range line {
			next := line[(i+1)%len(line)]
			at := surface(d)
			way := r3.Sub(surface(next), at)
			e1, e2 := across(d)
			tangent := func(e r3.Vec) r3.Vec {
				return derivative(func(t float64) r3.Vec { return surface(r3.Unit(r3.Add(d, r3.Scale(t, e)))) }, 1e-4)
			}
			out := r3.Unit(r3.Cross(tangent(e1), tangent(e2)))
			step := r3.Scale(0.2, r3.Unit(r3.Cross(out, way)))
			toward := func(sign float64) bool {
				q, _ := s.polar(r3.Add(r3.Add(at, r3.Scale(0.5, way)), r3.Scale(sign, step)))
				return p.inside(q)
			}
			if !toward(1) && toward(-1) {
				t.Errorf("%s: at point %d of %d the region lies to the right", name, i, len(line))
				break
			}
		}
	}
}

// Picks are off by what they are said to be.
func TestPicksAreOffByAThousandth(t *testing.T) {
	scans := make([]Scan, len(scanned))
	for i, x := range scanned {
		scans[i] = Scan{Stage: x.stage, Piece: x.piece, SpecimenToScan: pose(i)}
	}
	for _, g := range Given(scans) {
		if len(g.Pairs) != 6 {
			t.Errorf("%d pairs from %s to %s", len(g.Pairs), scans[g.Before].Name(), scans[g.After].Name())
		}
		for _, p := range g.Pairs {
			a := scans[g.Before].SpecimenToScan.Inverse().Apply(p.Before)
			b := scans[g.After].SpecimenToScan.Inverse().Apply(p.After)
			if off := r3.Norm(r3.Sub(a, b)); math.Abs(off-0.245) > 1e-9 {
				t.Errorf("a pair is %.4f mm apart, not 0.1 %% of 245 mm", off)
			}
		}
	}
}

// A stopped context stops the work.
func TestScansStop(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Scans(ctx, 4000, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped, Scans returned %v", err)
	}
}
