package render

import (
	"cmp"
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"rigatino/mesh"
	"rigatino/mesh/solid"
)

// Interleaving bits by hand, bit by bit, is the definition of a Morton code.
func TestSpread(t *testing.T) {
	for x := range uint32(1024) {
		var want uint32
		for b := range 10 {
			want |= uint32(x>>b&1) << (3 * b)
		}
		if got := spread(x); got != want {
			t.Fatalf("spread(%d) = %b, want %b", x, got, want)
		}
	}
}

func TestRadixSortIsAStableSort(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		keys := rapid.SliceOfN(rapid.Uint32Range(0, 1<<31), 0, 300).Draw(t, "keys")
		if rapid.Bool().Draw(t, "few") {
			for i := range keys {
				keys[i] %= 7
			}
		}
		a := make([]uint64, len(keys))
		for i, k := range keys {
			a[i] = uint64(k)<<32 | uint64(i)
		}
		want := slices.Clone(a)
		slices.Sort(want) // the low bits are the place, so equals stay in order
		if got := radixSort(a, make([]uint64, len(a))); !slices.Equal(got, want) {
			t.Fatalf("got %x, want %x", got, want)
		}
	})
}

// Places come in the order that a stable sort of the standard library gives,
// what is no number left out, also where most keys are in one bucket.
func TestSortedPlacesAreAStableSort(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		keys := rapid.SliceOfN(rapid.Uint32Range(0, notANumber), 0, 400).Draw(t, "keys")
		few := rapid.Uint32Range(1, notANumber).Draw(t, "range")
		want := []uint32{}
		for i := range keys {
			if keys[i] != notANumber {
				keys[i] %= few
				want = append(want, uint32(i))
			}
		}
		slices.SortStableFunc(want, func(i, j uint32) int { return cmp.Compare(keys[i], keys[j]) })
		if got := sortedPlaces(keys); !slices.Equal(got, want) {
			t.Fatalf("got %v, want %v", got, want)
		}
	})
	// More than a block.
	r := rand.New(rand.NewPCG(1, 2))
	keys := make([]uint32, 600_000)
	for i := range keys {
		keys[i] = uint32(r.IntN(1<<30)) >> r.IntN(30)
	}
	want := make([]uint32, len(keys))
	for i := range want {
		want[i] = uint32(i)
	}
	slices.SortStableFunc(want, func(i, j uint32) int { return cmp.Compare(keys[i], keys[j]) })
	if !slices.Equal(sortedPlaces(keys), want) {
		t.Error("600 000 keys are out of order")
	}
}

// Every face of the mesh is in exactly one slot, with its own corners in its
// own order, inside its cluster's sphere; normals of faces lie within the
// cluster's cone.
func TestClustersHoldEveryFaceOnce(t *testing.T) {
	for name, m := range map[string]*mesh.Mesh{
		"torus": solid.Torus(30, 12, 90, 50), "soup": soup(1000, 3), "one": solid.Tetrahedron(1, 2, 3),
	} {
		b := prepared(t, m, false)
		l := b.full
		seen := make([]int, m.FaceCount())
		for c := range l.clusters {
			info := &l.clusters[c]
			if info.used == 0 || info.used > slots || info.vertices > 256 {
				t.Fatalf("%s: cluster of %d faces, %d vertices", name, info.used, info.vertices)
			}
			centre := r3.Vec{X: float64(info.centre[0]), Y: float64(info.centre[1]), Z: float64(info.centre[2])}
			axis := r3.Vec{X: float64(info.axis[0]), Y: float64(info.axis[1]), Z: float64(info.axis[2])}
			for s := range int(info.used) {
				id := uint32(c*slots + s)
				f := l.face[id]
				seen[f]++
				p, q, r := l.corners(id)
				x, y, z := m.Corners(f)
				for i, d := range [3]float64{r3.Norm(r3.Sub(p, x)), r3.Norm(r3.Sub(q, y)), r3.Norm(r3.Sub(r, z))} {
					if d > 1e-5 {
						t.Fatalf("%s: corner %d of face %d is %g off", name, i, f, d)
					}
				}
				for _, v := range [3]r3.Vec{p, q, r} {
					if d := r3.Norm(r3.Sub(v, centre)); d > float64(info.radius)*(1+1e-5) {
						t.Fatalf("%s: a corner lies outside its cluster's sphere", name)
					}
				}
				if n, ok := unit(m.AreaVector(f)); ok && info.cone <= 1 {
					if s := r3.Norm(r3.Cross(n, axis)); r3.Dot(n, axis) < 0 || s > float64(info.cone)+1e-4 {
						t.Fatalf("%s: a normal lies outside its cluster's cone", name)
					}
				}
			}
		}
		for f, n := range seen {
			if n != 1 {
				t.Fatalf("%s: face %d is in %d slots", name, f, n)
			}
		}
	}
}

// The proxy has about as many triangles as asked for, lies near the surface,
// and each of its triangles names a scan face near it.
func TestProxy(t *testing.T) {
	m := solid.Icosphere(6, 50) // 81 920 faces
	b, err := Prepare(context.Background(), m, Options{ProxyTriangles: 10000})
	if err != nil {
		t.Fatal(err)
	}
	l := b.proxy
	if l == nil || l.drawn < 6000 || l.drawn > 15000 {
		t.Fatalf("a proxy of %d triangles was asked for, not %v", 10000, l)
	}
	cell := math.Sqrt(2.8 * mesh.Area(m) / 10000)
	for c, info := range l.clusters {
		for s := range int(info.used) {
			id := uint32(c*slots + s)
			p, q, r := l.corners(id)
			middle := r3.Scale(1.0/3, r3.Add(p, r3.Add(q, r)))
			if d := math.Abs(r3.Norm(middle) - 50); d > 0.1*cell {
				t.Fatalf("the proxy is %.3f mm off a sphere, cells are %.3f mm", d, cell)
			}
			x, y, z := m.Corners(l.face[id])
			source := r3.Scale(1.0/3, r3.Add(x, r3.Add(y, z)))
			if d := r3.Norm(r3.Sub(middle, source)); d > 2*cell {
				t.Fatalf("a proxy triangle stands for a face %.2f mm away, cells are %.2f mm", d, cell)
			}
		}
	}
	small, err := Prepare(context.Background(), m, Options{})
	if err != nil || small.proxy != nil {
		t.Errorf("a small mesh gets a proxy (%v)", err)
	}
}

// A sketch is the coarse copy alone, whether the file has normals or not; it can
// be drawn and turned, and what Prepare makes with it is what it makes without.
func TestSketch(t *testing.T) {
	const w, h = 160, 120
	ctx := context.Background()
	m := solid.Icosphere(6, 50)
	given := *m
	for v := range m.VertexCount() {
		p := m.Vertex(uint32(v))
		given.Normals = append(given.Normals, float32(p.X/50), float32(p.Y/50), float32(p.Z/50))
	}
	for name, m := range map[string]*mesh.Mesh{"bare": m, "with normals": &given} {
		sketch, err := Sketch(ctx, m, Options{ProxyTriangles: 10000})
		if err != nil || sketch == nil {
			t.Fatalf("%s: no sketch: %v", name, err)
		}
		if got := sketch.full.drawn; got < 6000 || got > 15000 {
			t.Errorf("%s: %d triangles, 10 000 were asked for", name, got)
		}
		var pictures [3]*Frame
		var bodies [3]*Body
		bodies[0] = sketch
		for i, s := range []*Body{nil, sketch} {
			if bodies[1+i], err = Prepare(ctx, m, Options{ProxyTriangles: 10000, Sketch: s}); err != nil {
				t.Fatal(err)
			}
		}
		if bodies[2].proxy != sketch.full {
			t.Errorf("%s: the sketch was made again", name)
		}
		camera := LookFrom(r3.Vec{X: 1, Y: 2, Z: 3}, r3.Vec{Y: 1}).Whole(r3.Vec{}, 50, w, h)
		for i, b := range bodies {
			pictures[i] = drawn(t, &Scene{Camera: camera, Background: grey, Bodies: []Placed{{Body: b}}}, w, h, Settled, 2)
		}
		same(t, name+": with a sketch and without", pictures[1], pictures[2])
		var sum float64
		for i, v := range pictures[0].Picture.Pix {
			sum += math.Abs(float64(v) - float64(pictures[1].Picture.Pix[i]))
		}
		if mean := sum / float64(len(pictures[0].Picture.Pix)); mean > 3 {
			t.Errorf("%s: the sketch differs by %.1f of 255 from the whole", name, mean)
		}
		if p, ok := pictures[0].Pick(w/2, h/2); !ok || !p.Coarse {
			t.Errorf("%s: what is picked from the sketch is not called coarse", name)
		}
	}
	if small, err := Sketch(ctx, m, Options{}); small != nil || err != nil {
		t.Errorf("a small mesh gets a sketch: %v, %v", small, err)
	}
	of, err := Sketch(ctx, m, Options{ProxyTriangles: 10000})
	if err != nil {
		t.Fatal(err)
	}
	other := *m
	b, err := Prepare(ctx, &other, Options{ProxyTriangles: 10000, Sketch: of})
	if err != nil {
		t.Fatal(err)
	}
	if b.proxy == nil || b.proxy == of.full {
		t.Error("the sketch of another mesh was taken")
	}
}

// A moving picture of a big mesh is drawn from its proxy, differs little from
// the settled one, and picking from it says that it is coarse.
func TestMovingPicturesUseTheProxy(t *testing.T) {
	const w, h = 200, 160
	m := solid.Icosphere(7, 50) // 327 680 faces
	b, err := Prepare(context.Background(), m, Options{ProxyTriangles: 60000})
	if err != nil {
		t.Fatal(err)
	}
	s := &Scene{Background: grey}
	// Enough of them in sight to be too many.
	for range 5 {
		s.Bodies = append(s.Bodies, Placed{Body: b})
	}
	s.Camera = LookFrom(r3.Vec{X: 1, Y: 2, Z: 3}, r3.Vec{Y: 1}).Whole(r3.Vec{}, 50, w, h)
	moving, settled := drawn(t, s, w, h, Moving, 2), drawn(t, s, w, h, Settled, 2)
	p, ok := moving.Pick(w/2, h/2)
	q, ok2 := settled.Pick(w/2, h/2)
	if !ok || !ok2 || !p.Coarse || q.Coarse {
		t.Fatalf("moving is coarse: %v, settled: %v", p.Coarse, q.Coarse)
	}
	if d := r3.Norm(r3.Sub(p.Point, q.Point)); d > 0.2 {
		t.Errorf("the proxy is %.2f mm off in the middle", d)
	}
	var sum float64
	for i, v := range moving.Picture.Pix {
		sum += math.Abs(float64(v) - float64(settled.Picture.Pix[i]))
	}
	if mean := sum / float64(len(moving.Picture.Pix)); mean > 3 {
		t.Errorf("moving and settled differ by %.1f of 255", mean)
	}
}

// Preparing stops when told to, and says how far it is.
func TestPrepareStops(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	last := 0.0
	_, err := Prepare(ctx, solid.Icosphere(3, 1), Options{Progress: func(done float64, words string) {
		if done < last || words == "" {
			t.Errorf("progress goes from %g to %g, %q", last, done, words)
		}
		if last = done; done > 0.2 {
			cancel()
		}
	}})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("stopped preparing gives %v", err)
	}
}

// Scans whose triangles stand for faces of an earlier mesh are picked and marked
// by those.
func TestSourceFaces(t *testing.T) {
	m := solid.Plane(20, 2)
	m.Source = make([]uint32, m.FaceCount())
	for f := range m.Source {
		m.Source[f] = uint32(100 + f)
	}
	marks := &Marks{Faces: make([]uint16, 100+m.FaceCount()), Looks: []Look{{}, {Paper: grey, Opacity: 1}}}
	for f := 100; f < len(marks.Faces); f++ {
		marks.Faces[f] = 1
	}
	f := drawn(t, &Scene{Camera: straight(1, 20), Light: evenLight(), Bodies: []Placed{{Body: prepared(t, m, false), Marks: marks}}}, 20, 20, Settled, 1)
	p, ok := f.Pick(5, 5)
	if !ok || p.Face < 100 || p.Place.Face != p.Face-100 {
		t.Errorf("picked %v", p)
	}
	if c := f.Picture.RGBAAt(5, 5); c != grey {
		t.Errorf("a marked face is drawn %v", c)
	}
}
