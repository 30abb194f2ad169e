package facemap

import (
	"context"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/solid"
)

// Labels carried to another tessellation of the same sphere, elsewhere and
// turned, keep their areas to 0.5 %: two caps with exact area 2πR²(1 − cos a), in
// layers of their own, one of them small. What changed and what has a label keeps
// what it had. The diff leads back.
func TestCarry(t *testing.T) {
	const radius = 50.0
	from := NewSurface(solid.Icosphere(5, radius))
	turn := r3.NewRotation(0.9, r3.Vec{X: 1, Y: -2, Z: 0.5})
	shift := r3.Vec{X: 30, Y: -7, Z: 100}
	to := NewSurface(mesh.Transform(solid.Icosphere(5, radius), func(p r3.Vec) r3.Vec { return r3.Add(turn.Rotate(p), shift) }))
	back := func(p r3.Vec) r3.Vec { return r3.Sub(p, shift) } // the sphere is round: another turn, the same body

	m := newMap(t, from)
	caps := []struct {
		axis   r3.Vec
		angle  float64
		region uint16
		layer  Layer
	}{{r3.Vec{Z: 1}, 0.7, 1, Substance}, {r3.Unit(r3.Vec{X: 1, Z: 1}), 0.25, 2, Applied}}
	for _, c := range caps {
		e1, e2 := r3.Unit(r3.Cross(c.axis, r3.Vec{X: 0.3, Y: 1})), r3.Vec{}
		e2 = r3.Cross(c.axis, e1)
		var line []r3.Vec
		for i := range 240 {
			s, co := math.Sincos(2 * math.Pi * float64(i) / 240)
			d := r3.Add(r3.Scale(math.Cos(c.angle), c.axis), r3.Scale(math.Sin(c.angle), r3.Add(r3.Scale(co, e1), r3.Scale(s, e2))))
			line = append(line, r3.Scale(radius, d))
		}
		must(t)(m.Outline(from, Outline{Points: line, Levels: 2}, Paint{Layer: c.layer, Region: c.region}))
	}
	// One face is taken already, the side of negative y changed.
	out := newMap(t, to)
	first := at(t, to, r3.Add(shift, r3.Vec{Z: radius})).Face
	must(t)(out.AssignFaces([]uint32{first}, Paint{Layer: Substance, Region: 9}))
	before := out.Clone()
	changed := func(f uint32) bool {
		p, q, r := to.Mesh.Corners(f)
		return back(r3.Scale(1.0/3, r3.Add(p, r3.Add(q, r)))).Y < -40
	}
	done := must(t)(out.Carry(context.Background(), to, Carrying{
		From: m, FromSurface: from, ToFrom: back, Changed: changed, WithinMM: 1, Numbers: map[uint16]uint16{1: 4, 2: 5}, Levels: 2,
	}))
	if out.Substance(first) != 9 {
		t.Error("a face that was marked lost its region")
	}
	for _, c := range []struct {
		here  uint16
		angle float64
		less  float64
	}{{4, 0.7, r3.Norm(to.Mesh.AreaVector(first))}, {5, 0.25, 0}} {
		near(t, "area", areaOf(to, out, c.here), 2*math.Pi*radius*radius*(1-math.Cos(c.angle))-c.less, 0.005)
	}
	left := 0
	for f := range uint32(out.FaceCount()) {
		if changed(f) {
			left++
			if out.Substance(f) != 0 {
				t.Fatalf("face %d changed and is in region %d", f, out.Substance(f))
			}
		}
	}
	if done.Skipped != left || left == 0 {
		t.Errorf("%d faces skipped, %d changed", done.Skipped, left)
	}
	if err := out.Apply(done.Diff.Inverse()); err != nil {
		t.Fatal(err)
	}
	a, err := out.Encode()
	if err != nil {
		t.Fatal(err)
	}
	b, err := before.Encode()
	if err != nil || string(a) != string(b) {
		t.Errorf("undoing leaves another map (%v)", err)
	}
	// A surface that is not there gives nothing.
	far := must(t)(out.Carry(context.Background(), to, Carrying{
		From: m, FromSurface: from, ToFrom: func(p r3.Vec) r3.Vec { return r3.Add(p, r3.Vec{X: 1000}) }, Changed: changed, WithinMM: 1, Numbers: map[uint16]uint16{1: 4}, Levels: 2,
	}))
	if far.Taken != 0 {
		t.Errorf("%d faces took labels from a metre away", far.Taken)
	}
	if _, err := out.Carry(context.Background(), to, Carrying{From: out, FromSurface: &Surface{Mesh: &mesh.Mesh{}}}); err == nil {
		t.Error("a map of another scan was carried")
	}
}
