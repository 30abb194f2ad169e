package demo

import (
	"context"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// lattice gives n directions spread evenly (a spiral with the golden angle),
// each standing for the same solid angle.
func lattice(n int) []r3.Vec {
	out := make([]r3.Vec, n)
	for i := range out {
		out[i] = evenly(i, n)
	}
	return out
}

// finer splits every face of a tessellation in four.
func finer(t *tessellation) *tessellation {
	t = &tessellation{surface: t.surface, at: t.at, on: t.on, tri: t.tri, adj: t.adj}
	t.split(0)
	return t
}

// solidOf is the area and the volume of a triangulated sphere of directions on
// a surface, by facets.
func solidOf(t *tessellation, surface func(r3.Vec) r3.Vec) (area, volume float64) {
	on := make([]r3.Vec, len(t.at))
	for i, d := range t.at {
		on[i] = surface(d)
	}
	for _, c := range t.tri {
		a, b, d := on[c[0]], on[c[1]], on[c[2]]
		area += r3.Norm(r3.Cross(r3.Sub(b, a), r3.Sub(d, a))) / 2
		volume += r3.Dot(a, r3.Cross(b, d)) / 6
	}
	return area, volume
}

// Every volume of the truth, counted in three other ways that share nothing
// with its quadratures but the formula of the surface: an even lattice of
// directions; facet volumes of triangulated bodies at two finenesses, with the
// error of second order taken out; and points of a grid in millimetres that
// lie in one body and not in the other.
func TestVolumesByOtherCounts(t *testing.T) {
	s := newSpecimen()
	truth, err := Known()
	if err != nil {
		t.Fatal(err)
	}
	directions := lattice(120_000)
	coarse, err := tessellate(context.Background(), s.at(AirAbrasive), s.at(AirAbrasive), nil, 30_000, &splitmix{5})
	if err != nil {
		t.Fatal(err)
	}
	fine := finer(coarse)
	for _, v := range truth.Volumes {
		if v.Piece != "body" || v.Parts == nil {
			continue
		}
		a, b := rank(v.From), rank(v.To)
		net := v.Removed - v.Added

		var sum float64
		for _, d := range directions {
			sum += s.cubed(d, a) - s.cubed(d, b)
		}
		byLattice := s.det() / 3 * sum * 4 * math.Pi / float64(len(directions))

		_, a1 := solidOf(coarse, s.at(v.From))
		_, b1 := solidOf(coarse, s.at(v.To))
		_, a2 := solidOf(fine, s.at(v.From))
		_, b2 := solidOf(fine, s.at(v.To))
		byFacets := (4*(a2-b2) - (a1 - b1)) / 3

		byGrid := s.gridCount(v, 60_000)
		t.Logf("%s to %s: truth %.3f, lattice %+.4f %%, facets %+.4f %%, grid %+.3f %%", v.From, v.To, net,
			100*(byLattice/net-1), 100*(byFacets/net-1), 100*(byGrid/net-1))
		for _, c := range []struct {
			way       string
			got, most float64
		}{{"lattice", byLattice, 2e-3}, {"facets", byFacets, 1e-3}, {"grid", byGrid, 0.03}} {
			if e := math.Abs(c.got/net - 1); e > c.most {
				t.Errorf("%s to %s by %s: %.3f mm³, truth %.3f, off by %.3f %%", v.From, v.To, c.way, c.got, net, 100*e)
			}
		}
	}
}

// gridCount throws points of a low-discrepancy sequence (Halton, bases 2, 3,
// 5) into the box of the two bodies and counts those inside the first only,
// less those inside the second only.
func (s *specimen) gridCount(v TrueVolume, n int) float64 {
	a, b := rank(v.From), rank(v.To)
	lo, hi := r3.Vec{X: math.Inf(1), Y: math.Inf(1), Z: math.Inf(1)}, r3.Vec{X: math.Inf(-1), Y: math.Inf(-1), Z: math.Inf(-1)}
	for _, d := range lattice(20_000) {
		p, q := s.cubed(d, a), s.cubed(d, b)
		if math.Abs(p-q) < 1e-12 {
			continue
		}
		for _, x := range []float64{p, q} {
			at := s.place(d, math.Cbrt(x))
			lo = r3.Vec{X: min(lo.X, at.X), Y: min(lo.Y, at.Y), Z: min(lo.Z, at.Z)}
			hi = r3.Vec{X: max(hi.X, at.X), Y: max(hi.Y, at.Y), Z: max(hi.Z, at.Z)}
		}
	}
	const room = 1.0 // mm round the change
	one := r3.Vec{X: room, Y: room, Z: room}
	lo, size := r3.Sub(lo, one), r3.Add(r3.Sub(hi, lo), r3.Scale(2, one))
	count := 0
	for i := 1; i <= n; i++ {
		d, rho := s.polar(r3.Add(lo, r3.Vec{X: size.X * halton(i, 2), Y: size.Y * halton(i, 3), Z: size.Z * halton(i, 5)}))
		cube := rho * rho * rho
		if cube < s.cubed(d, a) {
			count++
		}
		if cube < s.cubed(d, b) {
			count--
		}
	}
	return size.X * size.Y * size.Z * float64(count) / float64(n)
}

func halton(i, base int) float64 {
	f, out := 1.0, 0.0
	for ; i > 0; i /= base {
		f /= float64(base)
		out += f * float64(i%base)
	}
	return out
}

// The areas of the last stage against facets: of the whole, by two finenesses
// with the error of second order taken out; of the regions, by the share of
// facets of a fine mesh whose middle lies in them.
func TestAreasByFacets(t *testing.T) {
	s := newSpecimen()
	truth, err := Known()
	if err != nil {
		t.Fatal(err)
	}
	last := truth.Stages[rank(Retouch)]
	surface := s.at(Retouch)
	coarse, err := tessellate(context.Background(), surface, surface, nil, 40_000, &splitmix{6})
	if err != nil {
		t.Fatal(err)
	}
	fine := finer(coarse)
	a1, _ := solidOf(coarse, surface)
	a2, _ := solidOf(fine, surface)
	if got := (4*a2 - a1) / 3; math.Abs(got/last.Area-1) > 2e-4 {
		t.Errorf("whole area %.3f mm² by facets, truth %.3f", got, last.Area)
	}
	sums := map[string]float64{}
	for _, c := range fine.tri {
		a, b, d := fine.on[c[0]], fine.on[c[1]], fine.on[c[2]]
		area := r3.Norm(r3.Cross(r3.Sub(b, a), r3.Sub(d, a))) / 2
		middle := r3.Unit(r3.Add(fine.at[c[0]], r3.Add(fine.at[c[1]], fine.at[c[2]])))
		for _, name := range outlineNames {
			if s.region(name).inside(middle) {
				sums[name] += area
			}
		}
	}
	for _, name := range outlineNames {
		// Outlines of 80 to 200 mm crossed by facets of 0.8 mm: the count is
		// good to a few parts in a thousand.
		if e := sums[name]/last.Regions[name] - 1; math.Abs(e) > 6e-3 {
			t.Errorf("%s: %.2f mm² by facets, truth %.2f (%+.2f %%)", name, sums[name], last.Regions[name], 100*e)
		}
	}
}

// The places of the specimen keep off each other, the order of the stages is
// kept (nothing is put on by work that takes off), and every ray from the
// corner's axis meets the crease once.
func TestPlacesAndOrder(t *testing.T) {
	s := newSpecimen()
	b := rank(AirAbrasive)
	for _, d := range lattice(60_000) {
		var in []string
		note := func(name string, inside bool) {
			if inside {
				in = append(in, name)
			}
		}
		for _, name := range outlineNames {
			if name != "retouch" && name != "lowered" {
				note(name, s.region(name).inside(d))
			}
		}
		note("chipped edge", s.chipped.inside(d) && !s.putty.inside(d))
		note("lowered", s.lowered.inside(d))
		note("skin", s.skin.inside(d))
		for i, p := range s.rocks {
			note(rockNames[i], p.inside(d))
		}
		if s.retouched.inside(d) && !s.putty.inside(d) {
			note("retouch on bone", true)
		}
		if len(in) > 1 && !(len(in) == 2 && in[0] == "chipped edge" && in[1] == "retouch on bone") {
			t.Fatalf("%v overlap at %v", in, d)
		}
		if r := s.edge.radius(d); r*r*r < s.whole(s.column(d), b) { // in the corner
			for _, name := range in {
				switch name {
				case "putty", "chipped edge", "skin", "retouch on bone":
				default:
					t.Fatalf("%s reaches on to the corner at %v", name, d)
				}
			}
		} else if s.skin.inside(d) {
			t.Fatalf("the rock on the fragment reaches past the break at %v", d)
		}
		v := make([]float64, len(Stages))
		for i := range Stages {
			v[i] = s.cubed(d, i)
		}
		const eps = 1e-12
		if v[0] < v[1]-eps || v[1] < v[2]-eps || v[3] < v[2]-eps || v[4] < v[3]-eps || v[5] != v[4] {
			t.Fatalf("at %v r³ runs %v", d, v)
		}
		if v[2] < 0.05 {
			t.Fatalf("at %v the bone is hollowed out: r³ = %v", d, v[2])
		}
	}
	for i := range 400 {
		phi := 2 * math.Pi * float64(i) / 400
		crossings, last := 0, true
		for j := range 300 {
			d := s.edge.direction(1.5*float64(j)/300, phi)
			r := s.edge.radius(d)
			inside := r*r*r < s.whole(s.column(d), b)
			if inside != last {
				crossings++
			}
			last = inside
		}
		if crossings != 1 {
			t.Fatalf("the break meets the surface %d times at φ = %.3f", crossings, phi)
		}
	}
}
