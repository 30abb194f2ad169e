package render

import (
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/solid"
)

// body is a solid with its signed distance in closed form, negative inside, and
// how far its mesh strays from it at most.
type body struct {
	name   string
	mesh   *mesh.Mesh
	dist   func(p r3.Vec) float64
	radius float64 // of a sphere round zero that holds it
	stray  float64
}

func solids() []body {
	const cone, height, sides = 20.0, 45.0, 720
	return []body{
		{
			// An inscribed sphere strays by the sagitta of its longest edge,
			// e²/8R times 4/3 in the middle of a face.
			"sphere", solid.Icosphere(6, 50), func(p r3.Vec) float64 { return r3.Norm(p) - 50 }, 50,
			4.0 / 3 * square(0.02*50) / (8 * 50),
		},
		{
			"torus", solid.Torus(30, 12, 720, 360), func(p r3.Vec) float64 {
				return math.Hypot(math.Hypot(p.X, p.Y)-30, p.Z) - 12
			}, 42, 42*(1-math.Cos(math.Pi/720)) + 12*(1-math.Cos(math.Pi/360)),
		},
		{
			"cone", solid.Cone(cone, height, sides), coneDistance(cone, height), 50,
			cone * (1 - math.Cos(math.Pi/sides)),
		},
	}
}

func square(x float64) float64 { return x * x }

// coneDistance is the signed distance to a cone with its base disc in the plane
// z = 0 and its tip at z = height (in the half plane through the axis it is the
// distance to a right-angled triangle).
func coneDistance(radius, height float64) func(p r3.Vec) float64 {
	l := math.Hypot(radius, height)
	return func(p r3.Vec) float64 {
		r, z := math.Hypot(p.X, p.Y), p.Z
		slant := ((r-radius)*height + z*radius) / l // distance to the slant's line
		along := ((radius-r)*radius + z*height) / l // from the rim towards the tip
		inside := z >= 0 && slant <= 0
		d := math.Hypot(max(r-radius, 0), z) // base disc
		switch {
		case along < 0:
			d = min(d, math.Hypot(r-radius, z))
		case along > l:
			d = min(d, math.Hypot(r, z-height))
		default:
			d = min(d, math.Abs(slant))
		}
		if inside {
			return -d
		}
		return d
	}
}

// trace follows a ray by steps of the distance (Hart 1996): the depth at which
// it meets the solid, and the least distance it ever had.
func trace(dist func(r3.Vec) float64, from, dir r3.Vec, start, far float64) (depth, least float64, hit bool) {
	l := r3.Norm(dir)
	t := start
	least = math.Inf(1)
	for range 40000 { // many where the ray runs along the surface
		d := dist(r3.Add(from, r3.Scale(t, dir)))
		least = min(least, d)
		if d < 1e-7 {
			return t, d, true
		}
		if t += d / l; t > far {
			break
		}
	}
	return t, least, false
}

// Every pixel of every view is held against the solid's closed form: covered
// where the ray meets the solid, free where it does not, with a doubt of the
// mesh's own error at the rim; and at the depth where the ray meets it. A mesh
// that strays by s lies up to s/cos deeper where the surface is tilted.
func TestSolidsAgainstClosedForms(t *testing.T) {
	const w, h = 320, 256
	for _, b := range solids() {
		drawnBody := prepared(t, b.mesh, false)
		for name, camera := range tryCameras(b.radius, w, h) {
			if covered, _ := holdAgainstForm(t, b, drawnBody, name, camera, w, h); covered == 0 {
				t.Errorf("%s, %s: nothing to be seen", b.name, name)
			}
		}
	}
}

// The same from so near that one triangle is wider than the picture: looking down
// on places of sphere, torus (outside, on the brow and in the hole) and cone (slant,
// rim and tip), and along the surface there, so that the silhouette runs through
// the picture.
func TestSolidsFromVeryNear(t *testing.T) {
	const w, h = 80, 64
	places := map[string][]struct{ at, along r3.Vec }{
		"sphere": {{r3.Vec{X: 30, Y: 40}, r3.Vec{Z: 1}}, {r3.Vec{X: 28.2842712474619, Y: -28.2842712474619, Z: 30}, r3.Vec{X: 1, Y: 1}}},
		"torus":  {{r3.Vec{X: 42}, r3.Vec{Y: 1, Z: 1}}, {r3.Vec{X: 18, Y: 24, Z: 12}, r3.Vec{X: 3, Y: 4}}, {r3.Vec{Y: 18}, r3.Vec{Z: 1}}},
		"cone":   {{r3.Vec{X: 10, Z: 22.5}, r3.Vec{Y: 1}}, {r3.Vec{Y: 20}, r3.Vec{X: 1}}, {r3.Vec{Z: 45}, r3.Vec{X: 1, Y: 2}}},
	}
	for _, b := range solids() {
		drawnBody := prepared(t, b.mesh, false)
		for i, place := range places[b.name] {
			p, up := place.at, place.along
			if d := math.Abs(b.dist(p)); d > 1e-9 {
				t.Fatalf("%s: place %d lies %g mm off", b.name, i, d)
			}
			out := outward(b.dist, p)
			for _, distance := range []float64{10, 0.1, 1e-3} {
				for _, ortho := range []bool{false, true} {
					for view, back := range map[string]r3.Vec{"down": r3.Add(out, r3.Scale(0.3, up)), "along": up} {
						camera := LookFrom(back, out)
						camera.Target, camera.DistanceMM, camera.Orthographic = p, distance, ortho
						name := fmt.Sprintf("place %d, %s from %g mm, orthographic %v", i, view, distance, ortho)
						covered, free := holdAgainstForm(t, b, drawnBody, name, camera, w, h)
						if view == "down" && covered == 0 {
							t.Errorf("%s, %s: nothing to be seen", b.name, name)
						}
						if view == "along" && distance >= 0.1 && (covered == 0 || free == 0) {
							t.Errorf("%s, %s: no silhouette in the picture", b.name, name)
						}
					}
				}
			}
		}
	}
}

// outward returns the direction in which a distance grows at a place of its zero.
func outward(dist func(r3.Vec) float64, p r3.Vec) r3.Vec {
	const e = 1e-4
	slope := func(d r3.Vec) float64 { return dist(r3.Add(p, r3.Scale(e, d))) - dist(r3.Sub(p, r3.Scale(e, d))) }
	return r3.Unit(r3.Vec{X: slope(r3.Vec{X: 1}), Y: slope(r3.Vec{Y: 1}), Z: slope(r3.Vec{Z: 1})})
}

// holdAgainstForm holds one view against the closed form and returns how many
// pixels show the solid and how many do not.
func holdAgainstForm(t *testing.T, b body, drawnBody *Body, name string, camera Camera, w, h int) (covered, free int) {
	t.Helper()
	f := drawn(t, &Scene{Camera: camera, Bodies: []Placed{{Body: drawnBody}}}, w, h, Settled, 2)
	worst := 0.0
	for y := range h {
		for x := range w {
			from, dir := camera.Ray(float64(x)+0.5, float64(y)+0.5, w, h)
			start := camera.near()
			if camera.Orthographic {
				start = -4 * b.radius
			}
			if b.dist(r3.Add(from, r3.Scale(start, dir))) <= 0 {
				continue // the eye is inside: another test
			}
			want, least, hit := trace(b.dist, from, dir, start, camera.DistanceMM+4*b.radius)
			_, depth, ok := f.sampleAt(x, y)
			// A pixel of doubt at the rim: the mesh's error and the snapping
			// of corners to 1/256 pixel.
			pixel := 1 / camera.PixelsPerMM(h)
			doubt := b.stray + pixel*2/subOne*max(1, want/camera.DistanceMM)
			if !ok {
				free++
			}
			if ok != hit {
				if hit {
					// The ray dives no deeper than doubt?
					if dive(b.dist, from, dir, want) > 1.5*doubt {
						t.Fatalf("%s, %s: hole at %d,%d", b.name, name, x, y)
					}
				} else if least > doubt {
					t.Fatalf("%s, %s: covered at %d,%d, %g mm off", b.name, name, x, y, least)
				}
				continue
			}
			if !hit {
				continue
			}
			covered++
			at := r3.Add(from, r3.Scale(depth, dir))
			miss := math.Abs(b.dist(at))
			worst = max(worst, miss)
			// Depth is kept as a 32-bit nearness: one part in 2^23.
			if miss > 1.5*doubt+depth*4e-7 {
				t.Fatalf("%s, %s: at %d,%d the surface is %g mm off (allowed %g)", b.name, name, x, y, miss, 1.5*doubt)
			}
		}
	}
	t.Logf("%s, %s: %d pixels, surface at most %.2g mm off, mesh strays %.2g mm", b.name, name, covered, worst, b.stray)
	return covered, free
}

// dive is how deep a ray runs inside the solid, as the largest depth below the
// surface over a few places behind the entry.
func dive(dist func(r3.Vec) float64, from, dir r3.Vec, entry float64) float64 {
	deepest := 0.0
	l := r3.Norm(dir)
	for s := 1e-4; s < 100; s *= 1.15 {
		d := -dist(r3.Add(from, r3.Scale(entry+s/l, dir)))
		if d < 0 && s > 1e-3 {
			break
		}
		deepest = max(deepest, d)
	}
	return deepest
}

// The outline of a sphere seen in perspective from distance d is a circle of
// radius f·R/√(d²-R²): its pixels are counted.
func TestSphereOutlineArea(t *testing.T) {
	const w, h, radius = 640, 640, 50.0
	m := solid.Icosphere(7, radius)
	b := prepared(t, m, true)
	for _, factor := range []float64{1.02, 1.3, 3, 40} {
		camera := LookFrom(r3.Vec{X: 1, Y: 2, Z: 3}, r3.Vec{Y: 1}).Whole(r3.Vec{}, radius, w, h).Nearer(1.02)
		camera.DistanceMM *= factor
		f := drawn(t, &Scene{Camera: camera, Bodies: []Placed{{Body: b, Plain: grey}}}, w, h, Settled, 2)
		n := 0
		for _, d := range f.depth {
			if d != 0 {
				n++
			}
		}
		d := camera.DistanceMM
		r := camera.PixelsPerMM(h) * d * radius / math.Sqrt(d*d-radius*radius)
		want := math.Pi * r * r
		// Gauss's circle problem: the count strays by less than a few √r; the
		// mesh is short by its faceting, 0.0019 % of the area at level 7.
		if diff := math.Abs(float64(n) - want); diff > 4*math.Sqrt(r)+2e-5*want+1 {
			t.Errorf("distance %.1f: %d pixels, want %.1f", d, n, want)
		}
	}
}
