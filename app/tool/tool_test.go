package tool

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate/facemap"
	"rigatino/mesh"
	"rigatino/mesh/frame"
	"rigatino/mesh/render"
	"rigatino/mesh/solid"
)

// Inside a drawn circle by its radius: the closed form x² + y² < r², but for a
// rim as wide as the polygon's sagitta r(1 - cos(π/n)).
func TestLassoHolds(t *testing.T) {
	var l Lasso
	const r, n = 50.0, 90
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / n)
		l.Add(200+r*c, 100+r*s)
	}
	if !l.Encloses() || len(l.Points()) != n {
		t.Fatalf("%d points, encloses %v", len(l.Points()), l.Encloses())
	}
	random := rand.New(rand.NewPCG(1, 2))
	rim := r * (1 - math.Cos(math.Pi/n))
	for range 2000 {
		x, y := 130+140*random.Float64(), 30+140*random.Float64()
		if d := math.Hypot(x-200, y-100); math.Abs(d-r) > rim && l.Holds(x, y) != (d < r) {
			t.Fatalf("(%.2f, %.2f), %.2f from the middle: held %v", x, y, d, l.Holds(x, y))
		}
	}
	if got := l.Rect(2); got.Min.X > 148 || got.Max.X < 252 || got.Min.Y > 48 || got.Max.Y < 152 {
		t.Errorf("rectangle %v", got)
	}
}

func TestLassoPressIsNoLoop(t *testing.T) {
	var l Lasso
	l.Add(10, 10)
	l.Add(10.5, 10)
	l.Add(12, 11)
	if l.Encloses() || l.Holds(10.5, 10.2) {
		t.Error("a press without a drag encloses something")
	}
}

// A loop in the picture takes the places of the scan that the camera shows
// there, whatever the scan's scale and place: reference is the camera's own
// projection, tried on its rays elsewhere.
func TestLassoOverAPlacedScan(t *testing.T) {
	place := frame.Rotation(r3.Vec{X: 1, Y: 0.3}, 0.8)
	place.T = r3.Vec{X: 30, Y: -4, Z: 100}
	middle := place.Apply(r3.Vec{})
	c := render.LookFrom(r3.Vec{X: 0.2, Y: 0.5, Z: 1}, r3.Vec{Y: 1}).Whole(middle, 40, 640, 480)
	var l Lasso
	for _, p := range [][2]float64{{300, 220}, {340, 220}, {340, 260}, {300, 260}} {
		l.Add(p[0], p[1])
	}
	holds := l.Over(c, 640, 480, 2, &place)
	if !holds(r3.Vec{}) {
		t.Error("the middle of the scan is not in the middle of the picture")
	}
	eye, dir := c.Ray(360, 240, 640, 480)
	beside := r3.Scale(0.5, place.Inverse().Apply(r3.Add(eye, r3.Scale(c.DistanceMM, dir))))
	if holds(beside) {
		t.Error("a place beside the loop is held")
	}
	behind := r3.Scale(0.5, place.Inverse().Apply(r3.Add(c.Eye(), r3.Scale(10, c.Back))))
	if holds(behind) {
		t.Error("a place behind the eye is held")
	}
}

// On a sphere without any break the line between places is at least as long as
// the great circle and, drawn straight, exactly that.
func TestDrawing(t *testing.T) {
	const big = 30.0
	s := facemap.NewSurface(solid.Icosphere(6, big))
	on := func(lon, lat float64) mesh.SurfacePoint {
		sl, cl := math.Sincos(lon)
		sb, cb := math.Sincos(lat)
		p, _, ok := s.Locate(r3.Vec{X: big * cb * cl, Y: big * cb * sl, Z: big * sb})
		if !ok {
			t.Fatal("no place on the sphere")
		}
		return p
	}
	long := func(way []r3.Vec) (sum float64) {
		for i := 1; i < len(way); i++ {
			sum += r3.Norm(r3.Sub(way[i], way[i-1]))
		}
		return sum
	}
	for _, straight := range []bool{true, false} {
		d := Drawing{Surface: s, Straight: straight}
		for _, lon := range []float64{0, 0.4, 0.8} {
			if err := d.Add(on(lon, 0)); err != nil {
				t.Fatal(err)
			}
		}
		want, most := 0.8*big, 1.02
		if !straight {
			most = 1.16 // along edges: 2/√3 at most
		}
		if got := long(d.Way()); got < 0.995*want || got > most*want {
			t.Errorf("straight %v: %.2f mm, wanted from %.2f to %.2f", straight, got, want, most*want)
		}
		// The middle one moved, the line runs through its new place.
		if err := d.Move(1, on(0.4, 0.3)); err != nil {
			t.Fatal(err)
		}
		there := s.Mesh.At(on(0.4, 0.3))
		near := math.Inf(1)
		for _, p := range d.Way() {
			near = min(near, r3.Norm(r3.Sub(p, there)))
		}
		if near > 1e-9 {
			t.Errorf("the line passes its moved point at %.3f mm", near)
		}
		d.TakeBack()
		d.TakeBack()
		if len(d.Places()) != 1 || len(d.Way()) != 1 {
			t.Errorf("after taking back two of three: %d places, %d points", len(d.Places()), len(d.Way()))
		}
		if err := d.Move(3, on(0, 0)); err == nil {
			t.Error("moving a point that is not there was not refused")
		}
		d.TakeBack()
		d.TakeBack()
		if len(d.Places()) != 0 {
			t.Error("places are left")
		}
	}
}

// Every tool has a word and a key of its own, and none takes a key that turns
// or shows the specimen.
func TestToolsHaveKeysOfTheirOwn(t *testing.T) {
	taken := map[rune]string{'w': "whole", 'f': "facing me", 'l': "raking light", 'x': "rub out", 'e': "stops at edges", 't': "through"}
	for _, a := range All {
		if was, ok := taken[a.Key]; ok {
			t.Errorf("key %c is for %s and for %s", a.Key, was, a.Word)
		}
		taken[a.Key] = a.Word
		if k, ok := ByKey(a.Key); !ok || k != a.Kind || Get(a.Kind).Word != a.Word {
			t.Errorf("key %c gives %s", a.Key, k)
		}
	}
}
