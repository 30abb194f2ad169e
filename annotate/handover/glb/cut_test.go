package glb

import (
	"math"
	"math/rand/v2"
	"testing"

	"rigatino/annotate/facemap"
	"rigatino/mesh"
	"rigatino/mesh/solid"
)

// A closed surface stays closed when some of its faces are cut (Euler
// characteristic 2 for a sphere, no border), and its area is that of the uncut
// mesh: cutting a flat triangle changes neither.
func TestCutKeepsTheSurfaceClosed(t *testing.T) {
	m := solid.Icosphere(3, 25)
	w := mesh.NewWeld(m)
	s := facemap.NewSurface(m)
	labels, err := facemap.New("", m.FaceCount())
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(7, 1))
	for n := range uint16(40) {
		at := mesh.SurfacePoint{Face: r.Uint32N(uint32(m.FaceCount())), Weights: [3]float64{1. / 3, 1. / 3, 1. / 3}}
		layer := facemap.Layer(n % 3)
		out, err := labels.Stroke(s, at, facemap.Brush{RadiusMM: 1 + 5*r.Float64(), Levels: uint8(1 + n%3)}, facemap.Paint{Region: n + 1, Layer: layer})
		if err != nil {
			t.Fatal(err)
		}
		_ = out
	}
	if len(labels.SplitFaces()) < 100 {
		t.Fatalf("only %d faces are split: the test shows nothing", len(labels.SplitFaces()))
	}
	cutMesh := &mesh.Mesh{Origin: m.Origin}
	cut(m, w, labels, func(tri triangle) {
		for _, c := range tri.corners {
			p := position(m, tri.source, c)
			cutMesh.Triangles = append(cutMesh.Triangles, uint32(len(cutMesh.Positions)/3))
			cutMesh.Positions = append(cutMesh.Positions, float32(p[0]), float32(p[1]), float32(p[2]))
		}
	})
	cw := mesh.NewWeld(cutMesh)
	topo := mesh.NewTopology(cutMesh, cw)
	if topo.Border != 0 || topo.NonManifold != 0 || topo.Degenerate != 0 || topo.Turned != 0 {
		t.Errorf("cut surface: %d border, %d non-manifold, %d turned edges, %d degenerate faces; wanted none", topo.Border, topo.NonManifold, topo.Turned, topo.Degenerate)
	}
	faces := cutMesh.FaceCount()
	if euler := cw.Count - faces*3/2 + faces; euler != 2 {
		t.Errorf("Euler characteristic %d, wanted 2", euler)
	}
	if a, b := mesh.Area(cutMesh), mesh.Area(m); math.Abs(a/b-1) > 1e-6 {
		t.Errorf("area %v after cutting, %v before", a, b)
	}
	if a, b := mesh.Volume(cutMesh), mesh.Volume(m); math.Abs(a/b-1) > 1e-6 {
		t.Errorf("volume %v after cutting, %v before", a, b)
	}
}

// The areas by label of the cut surface are those the map itself counts.
func TestCutKeepsAreasByLabel(t *testing.T) {
	m := solid.Icosphere(4, 25)
	s := facemap.NewSurface(m)
	labels, err := facemap.New("", m.FaceCount())
	if err != nil {
		t.Fatal(err)
	}
	at := mesh.SurfacePoint{Face: 100, Weights: [3]float64{1. / 3, 1. / 3, 1. / 3}}
	if _, err := labels.Stroke(s, at, facemap.Brush{RadiusMM: 6, Levels: 3}, facemap.Paint{Region: 3}); err != nil {
		t.Fatal(err)
	}
	want := map[uint16]float64{}
	labels.Visit(0, uint32(m.FaceCount()), func(f uint32, share float64, substance uint16, _ []uint16) {
		v := m.AreaVector(f)
		want[substance] += share * math.Sqrt(v.X*v.X+v.Y*v.Y+v.Z*v.Z)
	})
	got := map[uint16]float64{}
	cut(m, mesh.NewWeld(m), labels, func(tri triangle) {
		var p [3][3]float64
		for k, c := range tri.corners {
			p[k] = position(m, tri.source, c)
		}
		got[tri.substance] += area(p)
	})
	for k, v := range want {
		if math.Abs(got[k]/v-1) > 1e-9 {
			t.Errorf("region %d: %v mm² cut, %v mm² counted", k, got[k], v)
		}
	}
	if want[3] < 100 { // a cap of radius 6 on the sphere has about 113 mm²
		t.Errorf("the stroke marked %v mm² only", want[3])
	}
}

func area(p [3][3]float64) float64 {
	var u, v [3]float64
	for j := range 3 {
		u[j], v[j] = p[1][j]-p[0][j], p[2][j]-p[0][j]
	}
	x := u[1]*v[2] - u[2]*v[1]
	y := u[2]*v[0] - u[0]*v[2]
	z := u[0]*v[1] - u[1]*v[0]
	return math.Sqrt(x*x+y*y+z*z) / 2
}
