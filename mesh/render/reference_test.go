package render

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/solid"
)

// soup is triangles at random, some of them needles, that share nothing.
func soup(n int, seed uint64) *mesh.Mesh {
	r := rand.New(rand.NewPCG(seed, 1))
	m := &mesh.Mesh{}
	for f := range n {
		c := [3]float64{r.NormFloat64() * 20, r.NormFloat64() * 20, r.NormFloat64() * 20}
		size := math.Exp(r.NormFloat64()) * 4
		for k := range 3 {
			for i := range 3 {
				m.Positions = append(m.Positions, float32(c[i]+size*r.NormFloat64()))
			}
			m.Triangles = append(m.Triangles, uint32(3*f+k))
		}
	}
	return m
}

// holdAgainstRays compares every pixel with the brute-force ray. Corners are
// snapped to 1/256 pixel, so a pixel may differ where its ray passes that near
// an edge: then the triangle it shows must be as near to the ray.
func holdAgainstRays(t *testing.T, name string, m *mesh.Mesh, camera Camera, w, h int) {
	t.Helper()
	b := prepared(t, m, false)
	f := drawn(t, &Scene{Camera: camera, Bodies: []Placed{{Body: b}}}, w, h, Settled, 1)
	start := camera.near()
	if camera.Orthographic {
		start = -1e6
	}
	differ, seen := 0, 0
	for y := range h {
		for x := range w {
			from, dir := camera.Ray(float64(x)+0.5, float64(y)+0.5, w, h)
			face, depth, margin := meets(m, from, dir, start)
			got, gotDepth, ok := f.sampleAt(x, y)
			if ok {
				seen++
			}
			if ok == (face >= 0) && (!ok || int(got) == face) {
				// A nearness of 24 bits; snapping tilts needles a little.
				if ok && margin > 0.05 && math.Abs(gotDepth-depth) > 2e-3*(1+depth-start)/100+depth*1e-6 && math.Abs(gotDepth-depth) > slack(m, got, camera, dir, h, depth) {
					t.Fatalf("%s: depth at %d,%d is %g, the ray's %g", name, x, y, gotDepth, depth)
				}
				continue
			}
			differ++
			// Some ray within 1/100 pixel, or a depth within rounding, explains it.
			if !explained(m, camera, x, y, w, h, start, got, ok) {
				t.Fatalf("%s: %d,%d shows face %d (%v) at %g, the ray meets face %d at %g (margin %g)", name, x, y, got, ok, gotDepth, face, depth, margin)
			}
		}
	}
	if seen == 0 {
		t.Errorf("%s: nothing to be seen", name)
	}
	if differ > 3+w*h/400 {
		t.Errorf("%s: %d of %d pixels differ from the rays", name, differ, w*h)
	}
	t.Logf("%s: %d pixels covered, %d differ", name, seen, differ)
}

// slack is how much snapping may move a face's depth: 1/256 pixel along the
// slope of the face.
func slack(m *mesh.Mesh, face uint32, camera Camera, dir r3.Vec, h int, depth float64) float64 {
	a := m.AreaVector(face)
	cos := math.Abs(r3.Dot(a, dir)) / r3.Norm(a) / r3.Norm(dir)
	pixel := 1 / camera.PixelsPerMM(h)
	if !camera.Orthographic {
		pixel *= depth / camera.DistanceMM
	}
	return pixel * 3 / 256 / max(cos, 1e-3)
}

func explained(m *mesh.Mesh, camera Camera, x, y, w, h int, start float64, got uint32, ok bool) bool {
	for _, step := range []float64{0.004, 0.01} {
		for _, d := range [][2]float64{{1, 0}, {-1, 0}, {0, 1}, {0, -1}, {.7, .7}, {-.7, .7}, {.7, -.7}, {-.7, -.7}} {
			from, dir := camera.Ray(float64(x)+0.5+step*d[0], float64(y)+0.5+step*d[1], w, h)
			face, _, _ := meets(m, from, dir, start)
			if (face >= 0) == ok && (!ok || uint32(face) == got) {
				return true
			}
		}
	}
	// Or both lie at the same depth within rounding.
	if ok {
		from, dir := camera.Ray(float64(x)+0.5, float64(y)+0.5, w, h)
		_, first, _ := meets(m, from, dir, start)
		one := &mesh.Mesh{Origin: m.Origin, Positions: m.Positions, Triangles: m.Triangles[3*got : 3*got+3]}
		_, mine, _ := meets(one, from, dir, start)
		return math.Abs(mine-first) < 1e-5*math.Abs(first)
	}
	return false
}

func TestTrianglesAgainstRays(t *testing.T) {
	const w, h = 120, 90
	blob := solid.Ellipsoid(3, 50, 30, 20)
	for name, camera := range tryCameras(50, w, h) {
		holdAgainstRays(t, "ellipsoid, "+name, blob, camera, w, h)
	}
	some := soup(400, 7)
	for name, camera := range tryCameras(60, w, h) {
		holdAgainstRays(t, "soup, "+name, some, camera, w, h)
	}
}

// At extreme zoom a triangle is thousands of pictures wide and reaches behind
// the eye: clipping and edge arithmetic must hold.
func TestExtremeZoomAgainstRays(t *testing.T) {
	const w, h = 120, 90
	m := solid.Ellipsoid(2, 50, 30, 20)
	for _, zoom := range []float64{30, 1e3, 1e5} {
		for _, ortho := range []bool{false, true} {
			camera := LookFrom(r3.Vec{X: 0.2, Y: 0.3, Z: 1}, r3.Vec{Y: 1})
			camera.Target = m.At(mesh.SurfacePoint{Face: 40, Weights: [3]float64{0.2, 0.3, 0.5}})
			camera = camera.Facing(camera.Target, r3.Add(m.AreaVector(40), r3.Vec{X: 0.3}))
			camera.DistanceMM = 100 / zoom
			camera.Orthographic = ortho
			holdAgainstRays(t, map[bool]string{false: "perspective", true: "orthographic"}[ortho]+" zoom", m, camera, w, h)
		}
	}
	// From inside, with walls in front, beside and behind.
	camera := LookFrom(r3.Vec{X: 1, Y: 0.1}, r3.Vec{Z: 1})
	camera.Target, camera.DistanceMM, camera.FieldOfView = r3.Vec{X: 3, Y: 2}, 5, 2.4
	holdAgainstRays(t, "inside", m, camera, w, h)
	// A corner of the picture grazed by a surface that runs through the eye's
	// own plane.
	plane := solid.Plane(1000, 4)
	camera = LookFrom(r3.Vec{Y: -1, Z: 0.02}, r3.Vec{Z: 1})
	camera.Target, camera.DistanceMM, camera.FieldOfView = r3.Vec{Z: 0.5}, 10, 1.2
	holdAgainstRays(t, "grazing", plane, camera, w, h)
}

// Triangles that share edges cover every pixel exactly once, whatever the
// angle: each triangle is drawn alone and the pixels are counted.
func TestSharedEdgesCoverOnce(t *testing.T) {
	const w, h = 96, 80
	m := solid.Plane(60, 5)
	r := NewRenderer(1)
	defer r.Close()
	for i, angle := range []float64{0, math.Pi / 4, 0.3, 1.234, math.Pi / 2} {
		camera := LookFrom(r3.Vec{X: 0.1 * float64(i), Z: 1}, r3.Vec{Y: 1}).Rolled(angle).Whole(r3.Vec{}, 25, w, h)
		camera.Orthographic = i%2 == 0
		if i == 0 {
			// Sixteen pixels a cell, with the grid's lines through the middles of
			// pixels: the edge rule alone decides.
			camera.DistanceMM = 12.0 / 16 * h / (2 * math.Tan(camera.FieldOfView/2))
			camera = camera.Moved(0.5*12/16, 0.5*12/16)
		}
		count := make([]int, w*h)
		for f := range m.FaceCount() {
			one := &mesh.Mesh{Origin: m.Origin, Positions: m.Positions, Triangles: m.Triangles[3*f : 3*f+3]}
			fr := NewFrame(w, h)
			if err := r.Draw(t.Context(), fr, &Scene{Camera: camera, Bodies: []Placed{{Body: prepared(t, one, false)}}}, Settled); err != nil {
				t.Fatal(err)
			}
			for i, d := range fr.depth {
				if d != 0 {
					count[i]++
				}
			}
		}
		inside := 0
		for y := range h {
			for x := range w {
				from, dir := camera.Ray(float64(x)+0.5, float64(y)+0.5, w, h)
				s := -from.Z / dir.Z
				p := r3.Add(from, r3.Scale(s, dir))
				edge := 30 - max(math.Abs(p.X), math.Abs(p.Y))
				n := count[y*w+x]
				if edge > 0.02 {
					inside++
					if n != 1 {
						t.Fatalf("angle %.2f: pixel %d,%d covered %d times", angle, x, y, n)
					}
				} else if edge < -0.02 && n != 0 {
					t.Fatalf("angle %.2f: pixel %d,%d outside is covered", angle, x, y)
				}
			}
		}
		if inside < 1000 {
			t.Errorf("angle %.2f: only %d pixels inside", angle, inside)
		}
	}
}
