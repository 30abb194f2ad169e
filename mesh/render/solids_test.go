package render

import (
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
	for range 4000 {
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
		scene := &Scene{Bodies: []Placed{{Body: prepared(t, b.mesh, false)}}}
		for name, camera := range tryCameras(b.radius, w, h) {
			scene.Camera = camera
			f := drawn(t, scene, w, h, Settled, 2)
			covered, worst := 0, 0.0
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
			if covered == 0 {
				t.Errorf("%s, %s: nothing to be seen", b.name, name)
			}
			t.Logf("%s, %s: %d pixels, surface at most %.2g mm off, mesh strays %.2g mm", b.name, name, covered, worst, b.stray)
		}
	}
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
