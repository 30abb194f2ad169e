package demo

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// round is a form whose base surface is an ellipsoid.
func round(stretch r3.Vec) *form {
	return &form{Stretch: stretch, Gauge: func(x r3.Vec) (float64, r3.Vec) { return r3.Norm(x), r3.Unit(x) }}
}

// around gives polar coordinates about an axis that is nothing special.
func around(axis r3.Vec) *fracture {
	b := &fracture{axis: r3.Unit(axis)}
	b.e1, b.e2 = across(b.axis)
	return b
}

// Area of the ellipsoid 50, 20, 15 mm: closed form with elliptic integrals,
// 9074.944679584562 mm² (Legendre's formula, worked in double precision).
func TestAreaOfAnEllipsoid(t *testing.T) {
	f := round(r3.Vec{X: 50, Y: 20, Z: 15})
	surface := func(d r3.Vec) r3.Vec { return f.place(d, f.base(d)) }
	got := around(r3.Vec{X: 1, Y: -2, Z: 0.5}).polarArea(surface, 0, 2*math.Pi, fineness{24, 400},
		func(float64) []float64 { return pieces(0.6) })
	if e := got/9074.944679584562 - 1; math.Abs(e) > 1e-9 {
		t.Errorf("area %.9f, off by %.2g", got, e)
	}
}

// Cap of a sphere R 20, h 5 mm: dome 2πRh = 628.3185307 mm², whatever the
// chart's axes are.
func TestAreaOfACap(t *testing.T) {
	f := round(r3.Vec{X: 20, Y: 20, Z: 20})
	r := 20 * math.Tan(math.Acos(15.0/20))
	p := &patch{chart: f.newChart(r3.Vec{X: 0.3, Y: 0.5, Z: -0.7}, r3.Vec{X: 1, Y: 1}), rx: r, ry: r, flat: 0.4}
	got := p.areaOf(func(d r3.Vec) r3.Vec { return f.place(d, 1) }, fineness{20, 60})
	if e := got/(200*math.Pi) - 1; math.Abs(e) > 1e-9 {
		t.Errorf("dome %.9f, off by %.2g", got, e)
	}
}

// A layer on a sphere: r³ grows by 3R²·t in mm³ terms, so its volume is
// 2πR² ∫ t sin θ dθ, here by Simpson's rule, which knows nothing of charts.
func TestVolumeOfALayer(t *testing.T) {
	s := &specimen{form: *round(r3.Vec{X: 20, Y: 20, Z: 20})}
	const edge, flat, thick = 0.6, 0.3, 1.7
	r := 20 * math.Tan(edge)
	p := &patch{chart: s.newChart(r3.Vec{Y: 1}, r3.Vec{X: 1}), rx: r, ry: r, flat: flat}
	got := s.layerVolume(p, thick, fineness{20, 40})
	const n = 20000
	var want float64
	for i := 0; i <= n; i++ {
		w := 2.0 + 2*float64(i%2)
		if i == 0 || i == n {
			w = 1
		}
		theta := edge * float64(i) / n
		want += w * thick * shoulder(math.Tan(theta)/math.Tan(edge), flat) * math.Sin(theta)
	}
	want *= 2 * math.Pi * 400 * edge / n / 3
	if e := got/want - 1; math.Abs(e) > 1e-9 {
		t.Errorf("layer %.9f, by Simpson %.9f", got, want)
	}
}

// The map keeps volumes up to the constant det: its Jacobian by differences.
func TestMapHasAConstantJacobian(t *testing.T) {
	s := newSpecimen()
	random := &splitmix{7}
	for range 200 {
		x := r3.Scale(0.3+0.9*random.uniform(), random.direction())
		at := func(e r3.Vec) func(float64) r3.Vec {
			return func(t float64) r3.Vec {
				q := r3.Add(x, r3.Scale(t, e))
				return s.place(r3.Unit(q), r3.Norm(q))
			}
		}
		u, v, w := derivative(at(r3.Vec{X: 1}), 1e-3), derivative(at(r3.Vec{Y: 1}), 1e-3), derivative(at(r3.Vec{Z: 1}), 1e-3)
		if j := r3.Dot(u, r3.Cross(v, w)); math.Abs(j/s.det()-1) > 1e-8 {
			t.Fatalf("at %v the Jacobian is %.6f, not %.6f", x, j, s.det())
		}
		d, rho := s.polar(s.place(r3.Unit(x), r3.Norm(x)))
		if back := r3.Scale(rho, d); r3.Norm(r3.Sub(back, x)) > 1e-12 {
			t.Fatalf("%v comes back as %v", x, back)
		}
	}
}

// The gauge's gradient, and the area element that rests on it, against
// differences of the gauge and of the surface.
func TestGroundAgreesWithDifferences(t *testing.T) {
	s := newSpecimen()
	b := around(r3.Vec{X: 1, Y: 1, Z: 1})
	element := b.element(func(d r3.Vec) r3.Vec { return s.place(d, s.base(d)) })
	random := &splitmix{8}
	for range 200 {
		d := random.direction()
		_, g := s.Gauge(d)
		for k, e := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
			want := derivative(func(t float64) r3.Vec {
				v, _ := s.Gauge(r3.Add(d, r3.Scale(t, e)))
				return r3.Vec{X: v}
			}, 1e-3).X
			if got := []float64{g.X, g.Y, g.Z}[k]; math.Abs(got-want) > 1e-8 {
				t.Fatalf("gradient at %v is %v, by differences %v in coordinate %d", d, g, want, k)
			}
		}
		theta, phi := b.polar(d)
		_, k := s.ground(d)
		got := s.det() / 3 * k * math.Sin(theta)
		if want := element(theta, phi); math.Abs(got/want-1) > 1e-7 {
			t.Fatalf("area element at %v is %.9f, by differences %.9f", d, got, want)
		}
	}
}
