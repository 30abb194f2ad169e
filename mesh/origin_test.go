package mesh_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

func TestChosenOriginKeepsFloat32Bits(t *testing.T) {
	// Coordinates are float32 numbers, as files store them. Far from zero, taking
	// the origin away must lose no bit (Sterbenz, Floating-Point Computation, 1974:
	// the difference of near numbers is exact); about zero the origin is zero.
	rows := []struct {
		name   string
		at     r3.Vec
		extent float64
	}{
		{"national grid", r3.Vec{X: 691234, Y: 5334567, Z: 512}, 100},
		{"17 m away", r3.Vec{X: 0.05, Y: -0.2, Z: 16.9}, 0.4},
		{"about zero", r3.Vec{X: 0.1, Y: -0.1}, 50},
		{"tiny and far", r3.Vec{Z: 1}, 1e-3},
	}
	for _, row := range rows {
		var points []r3.Vec
		for i := range 1000 {
			f := func(k int) float64 { return row.extent * (math.Mod(float64(i*k)*0.6180339887, 1) - 0.5) }
			p := r3.Add(row.at, r3.Vec{X: f(1), Y: f(7), Z: f(31)})
			points = append(points, r3.Vec{X: float64(float32(p.X)), Y: float64(float32(p.Y)), Z: float64(float32(p.Z))})
		}
		o := mesh.ChooseOrigin(len(points), func(i int) r3.Vec { return points[i] })
		if row.name == "about zero" && o != (r3.Vec{}) {
			t.Errorf("%s: origin %v", row.name, o)
		}
		if d := r3.Norm(r3.Sub(o, row.at)); d > row.extent/4*math.Sqrt(3) {
			t.Errorf("%s: origin %v is %g from the middle", row.name, o, d)
		}
		far := max(math.Abs(row.at.X), math.Abs(row.at.Y), math.Abs(row.at.Z)) > 2*row.extent
		for _, p := range points {
			for _, c := range [3][2]float64{{p.X, o.X}, {p.Y, o.Y}, {p.Z, o.Z}} {
				x := float64(float32(c[0]-c[1])) + c[1]
				if lost := math.Abs(x - c[0]); lost > row.extent*0x1p-24 || far && math.Abs(c[0]) > 2*row.extent && lost > 0 {
					t.Fatalf("%s: %v about %v comes back as %v", row.name, c[0], c[1], x)
				}
			}
		}
	}
}

func TestChosenOriginOfOddInput(t *testing.T) {
	none := mesh.ChooseOrigin(0, nil)
	one := mesh.ChooseOrigin(1, func(int) r3.Vec { return r3.Vec{X: 5e6, Y: 1, Z: -2} })
	broken := mesh.ChooseOrigin(2, func(i int) r3.Vec { return r3.Vec{X: math.Inf(i)} })
	nan := mesh.ChooseOrigin(2, func(int) r3.Vec { return r3.Vec{X: math.NaN()} })
	if none != (r3.Vec{}) || one != (r3.Vec{X: 5e6, Y: 1, Z: -2}) || broken != (r3.Vec{}) || nan != (r3.Vec{}) {
		t.Errorf("origins %v, %v, %v, %v", none, one, broken, nan)
	}
}

func TestImageType(t *testing.T) {
	// First bytes: PNG (ISO/IEC 15948, 5.2), JPEG (SOI marker and the next marker's
	// 0xFF, ITU-T T.81 B.1.1).
	for data, want := range map[string]string{
		"\x89PNG\r\n\x1a\nrest": "image/png", "\xff\xd8\xff\xe0rest": "image/jpeg",
		"": "", "\x89PNG": "", "\xff\xd8": "", "RIFF\x00\x00\x00\x00WEBP": "", "GIF89a": "",
	} {
		if got := mesh.ImageType([]byte(data)); got != want {
			t.Errorf("%q is %q, want %q", data, got, want)
		}
	}
}
