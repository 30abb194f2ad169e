package quality_test

import (
	"context"
	"errors"
	"math"
	"math/big"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/quality"
	"rigatino/mesh/scan"
	"rigatino/mesh/solid"
	"rigatino/testdata/shared"
)

func TestCrossingsOfTheOpenScansAgreeWithCGAL(t *testing.T) {
	// Source: a program that asks CGAL 5.5.1 (Debian libcgal-dev 5.5.1-2):
	// box_self_intersection_d over the welded faces without repeats, and for each
	// pair the predicates do_intersect (two triangles; segment and triangle where
	// a corner is shared) and coplanar_orientation (where a side is shared) of
	// the kernel with exact predicates. Pairs, faces and area as it printed them,
	// areas in the file's unit cubed where that is the metre.
	for _, want := range []struct {
		file         string
		pairs, faces int
		area         float64
	}{
		{"bunny/bun_zipper.ply.gz", 0, 0, 0},
		{"bone/krapina-d1-tooth.ply", 3, 4, 0.0094004166091},
		{"fossil/usnm-1145291.glb", 2736, 2436, 3431.85315829},
	} {
		s, err := scan.Open(context.Background(), shared.Path(t, "data/"+want.file), scan.Options{})
		if err != nil {
			t.Fatal(err)
		}
		got := inspect(t, s.Mesh).Crossing
		t.Logf("checked: %s: %d pairs, %d faces, area %.12g; CGAL 5.5.1: %d, %d, %.12g", want.file, got.Pairs, len(got.Faces), got.Area, want.pairs, want.faces, want.area)
		if got.Pairs != want.pairs || len(got.Faces) != want.faces || math.Abs(got.Area-want.area) > 1e-11*want.area || got.AtLeast {
			t.Errorf("%s: %d pairs, %d faces, area %.12g", want.file, got.Pairs, len(got.Faces), got.Area)
		}
	}
}

// rational is a vertex in exact numbers.
type rational [3]*big.Rat

func (p rational) minus(q rational) (d rational) {
	for k := range 3 {
		d[k] = new(big.Rat).Sub(p[k], q[k])
	}
	return d
}

func dot(p, q rational) *big.Rat {
	sum := new(big.Rat)
	for k := range 3 {
		sum.Add(sum, new(big.Rat).Mul(p[k], q[k]))
	}
	return sum
}

func crossed(p, q rational) (c rational) {
	for k := range 3 {
		i, j := (k+1)%3, (k+2)%3
		c[k] = new(big.Rat).Sub(new(big.Rat).Mul(p[i], q[j]), new(big.Rat).Mul(p[j], q[i]))
	}
	return c
}

// separated says whether a plane lies between two triangles, both closed: of the
// normals of both, the products of their sides, and the normals of their sides
// in their planes, one tells them apart, or none does (Gottschalk, Lin and
// Manocha, SIGGRAPH 1996, with the axes for triangles in one plane).
func separated(p, q [3]rational) bool {
	side := func(t [3]rational, k int) rational { return t[(k+1)%3].minus(t[k]) }
	np, nq := crossed(side(p, 0), side(p, 1)), crossed(side(q, 0), side(q, 1))
	axes := []rational{np, nq}
	for i := range 3 {
		axes = append(axes, crossed(np, side(p, i)), crossed(nq, side(q, i)))
		for j := range 3 {
			axes = append(axes, crossed(side(p, i), side(q, j)))
		}
	}
	for _, a := range axes {
		span := func(t [3]rational) (low, high *big.Rat) {
			for _, v := range t {
				h := dot(v, a)
				if low == nil || h.Cmp(low) < 0 {
					low = h
				}
				if high == nil || h.Cmp(high) > 0 {
					high = h
				}
			}
			return low, high
		}
		pl, ph := span(p)
		ql, qh := span(q)
		if ph.Cmp(ql) < 0 || qh.Cmp(pl) < 0 {
			return true
		}
	}
	return false
}

func TestCrossingsAgreeWithEveryPairInExactNumbers(t *testing.T) {
	// Triangles without common corners thrown together, on a coarse grid so that
	// many touch in a corner, along a side or lie in one plane. Source: the
	// theorem of separating axes, in rational numbers, for every pair.
	random := rand.New(rand.NewPCG(3, 5))
	for round := range 6 {
		m := &mesh.Mesh{Origin: r3.Vec{X: 1000}}
		grid := float32(5)
		if round%2 == 1 {
			grid = 0
		}
		for range 32 {
			for range 3 {
				base := uint32(m.VertexCount())
				for k := range 3 {
					x := 10 * random.Float32()
					switch {
					case k == 2 && round >= 4:
						x = 1 // all in one plane
					case grid > 0:
						x = float32(int(x*grid/10)) / 3
					}
					m.Positions = append(m.Positions, x)
				}
				m.Triangles = append(m.Triangles, base)
			}
		}
		w := mesh.NewWeld(m)
		top := mesh.NewTopology(m, w)
		at := func(f uint32) (c [3]rational) {
			for k, v := range m.Triangles[3*f : 3*f+3] {
				for i := range 3 {
					c[k][i] = new(big.Rat).SetFloat64(float64(m.Positions[3*v+uint32(i)]))
				}
			}
			return c
		}
		flat := func(c [3]rational) bool {
			n := crossed(c[1].minus(c[0]), c[2].minus(c[0]))
			return dot(n, n).Sign() == 0
		}
		shares := func(f, g uint32) bool {
			a, b, c := top.Face(f)
			x, y, z := top.Face(g)
			for _, v := range [3]uint32{a, b, c} {
				if v == x || v == y || v == z {
					return true
				}
			}
			return false
		}
		// Pairs that share a corner after welding are another rule's: their faces
		// are left out by counting only the faces of the other pairs.
		var want, shared int
		in := map[uint32]bool{}
		n := uint32(m.FaceCount())
		for f := range n {
			for g := f + 1; g < n; g++ {
				if top.Component[f] < 0 || top.Component[g] < 0 || flat(at(f)) || flat(at(g)) {
					continue
				}
				if shares(f, g) {
					shared++
					continue
				}
				if !separated(at(f), at(g)) {
					want++
					in[f], in[g] = true, true
				}
			}
		}
		got := inspect(t, m).Crossing
		t.Logf("checked: round %d: %d pairs meet, %d more share a corner; found %d", round, want, shared, got.Pairs)
		if got.Pairs < want || got.Pairs > want+shared || shared == 0 && len(got.Faces) != len(in) {
			t.Errorf("round %d: %d pairs, want %d and up to %d that share a corner", round, got.Pairs, want, shared)
		}
		if want == 0 {
			t.Error("nothing met: the test proves nothing")
		}
	}
}

func TestCrossingsOfFacesThatShareCorners(t *testing.T) {
	// Pairs by hand, in the plane and out of it.
	at := func(p ...float32) []float32 { return p }
	for _, row := range []struct {
		name      string
		positions []float32
		triangles []uint32
		pairs     int
	}{
		{"side by side", at(0, 0, 0, 1, 0, 0, 0, 1, 0, 1, 1, 0), []uint32{0, 1, 2, 1, 3, 2}, 0},
		{"folded back into the plane", at(0, 0, 0, 1, 0, 0, 0, 1, 0, 0.2, 0.2, 0), []uint32{0, 1, 2, 2, 1, 3}, 1},
		{"folded sharply, but not flat", at(0, 0, 0, 1, 0, 0, 0, 1, 0, 0.2, 0.2, 1e-30), []uint32{0, 1, 2, 2, 1, 3}, 0},
		{"a fan about one corner", at(0, 0, 0, 1, 0, 0, 0, 1, 0, -1, 0, 0, 0, -1, 0), []uint32{0, 1, 2, 0, 3, 4}, 0},
		{"a corner in common, the other through the face", at(0, 0, 0, 2, 0, 0, 0, 2, 0, 0.5, 0.5, 1, 0.5, 0.5, -1), []uint32{0, 1, 2, 0, 3, 4}, 1},
		{"a corner in common and a side on the other's side", at(0, 0, 0, 2, 0, 0, 0, 2, 0, 1, 0, 0, 0, 0, 1), []uint32{0, 1, 2, 0, 3, 4}, 1},
		{"a corner on a face", at(0, 0, 0, 2, 0, 0, 0, 2, 0, 0.5, 0.5, 0, 0.5, 0.5, 1, 0.6, 0.5, 1), []uint32{0, 1, 2, 3, 4, 5}, 1},
		{"a corner just above a face", at(0, 0, 0, 2, 0, 0, 0, 2, 0, 0.5, 0.5, 1e-38, 0.5, 0.5, 1, 0.6, 0.5, 1), []uint32{0, 1, 2, 3, 4, 5}, 0},
		{"one inside the other in a plane", at(0, 0, 0, 4, 0, 0, 0, 4, 0, 1, 1, 0, 1.5, 1, 0, 1, 1.5, 0), []uint32{0, 1, 2, 3, 4, 5}, 1},
		{"a repeat", at(0, 0, 0, 1, 0, 0, 0, 1, 0), []uint32{0, 1, 2, 1, 2, 0}, 0},
		{"a face without area through another", at(0, 0, 0, 4, 0, 0, 0, 4, 0, 1, 1, -1, 1, 1, 0, 1, 1, 1), []uint32{0, 1, 2, 3, 4, 5}, 0},
	} {
		m := &mesh.Mesh{Positions: row.positions, Triangles: row.triangles}
		if got := inspect(t, m).Crossing; got.Pairs != row.pairs {
			t.Errorf("%s: %d pairs, want %d", row.name, got.Pairs, row.pairs)
		}
	}
	if got := inspect(t, &mesh.Mesh{Positions: at(0, 0, 0, 1, 1, 1, 2, 2, 2), Triangles: []uint32{0, 1, 2}}).ZeroArea; got != 1 {
		t.Errorf("%d faces without area, want 1", got)
	}
}

func TestInspectIsTheSameOnOneProcessorAndStops(t *testing.T) {
	// Two balls through each other: their faces cross along a circle.
	m, _ := joined(noisy(solid.Icosphere(4, 20), 0.05, nil), noisy(shifted(solid.Icosphere(4, 20), r3.Vec{X: 15, Y: 1, Z: 2}), 0.05, nil))
	many := inspect(t, m)
	if many.Crossing.Pairs == 0 {
		t.Fatal("balls through each other do not cross")
	}
	before := runtime.GOMAXPROCS(1)
	one := inspect(t, m)
	runtime.GOMAXPROCS(before)
	if one.Crossing.Pairs != many.Crossing.Pairs || one.Crossing.Area != many.Crossing.Area || *one.Resolution.Noise != *many.Resolution.Noise ||
		!slices.Equal(one.Crossing.Faces, many.Crossing.Faces) || !slices.Equal(kinds(one), kinds(many)) {
		t.Errorf("one processor: %+v, many: %+v", one, many)
	}
	w := mesh.NewWeld(m)
	ctx, stop := context.WithCancel(context.Background())
	told := 0
	_, err := quality.Inspect(ctx, m, w, mesh.NewTopology(m, w), quality.Options{Progress: func(done float64, words string) {
		if told++; done > 0.3 {
			stop()
		}
		if done < 0 || done > 1 || words == "" {
			t.Errorf("progress %g %q", done, words)
		}
	}})
	stop()
	if !errors.Is(err, context.Canceled) || told < 3 {
		t.Errorf("stopped with %v after %d words of progress", err, told)
	}
}
