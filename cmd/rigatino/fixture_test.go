package main

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"

	"github.com/rogpeppe/go-internal/testscript"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/mesh"
	"rigatino/mesh/frame"
	"rigatino/mesh/gltf"
	"rigatino/mesh/ply"
	"rigatino/mesh/solid"
	"rigatino/mesh/solid/bentbody"
)

// bodySeed picks the body that the scripts prepare: exactly 2097.588 mm³ are
// removed from it and 149.926 mm³ added (integrals in package bentbody, and the
// truth file they are held against there).
const bodySeed = 1

// pose is where the scan after lies in its own frame: far from the scan before
// and turned, as two sessions at a scanner leave it.
func pose() frame.Rigid {
	g := frame.Rotation(r3.Vec{X: -1, Y: 0.4, Z: 0.7}, 2.1)
	g.T = r3.Vec{X: 140, Y: -60, Z: 35}
	return g
}

// makeSolid writes a mesh, as GLB or PLY by the name's end:
//
//	solid ball LEVEL RADIUS FILE      a sphere of 20·4^LEVEL triangles
//	solid cube SIDE FILE
//	solid plane SIDE FILE             an open square of 200 triangles
//	solid before TRIANGLES FILE       the bent body
//	solid after TRIANGLES FILE        the same prepared, elsewhere
//	solid endmoved TRIANGLES FILE     the same, and its end moved by a motion of 4°
//	solid socket LEVEL RADIUS FILE    more than half of a hollow ball, seen from inside
//	solid half SIDE ROUGH FILE        half of a broken block, below the break for
//	                                  SIDE < 0; the other lies elsewhere
func makeSolid(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 3 {
		ts.Fatalf("usage: solid KIND NUMBER… FILE")
	}
	file := args[len(args)-1]
	var n []float64
	for _, a := range args[1 : len(args)-1] {
		v, err := strconv.ParseFloat(a, 64)
		ts.Check(err)
		n = append(n, v)
	}
	var m *mesh.Mesh
	switch {
	case args[0] == "ball" && len(n) == 2:
		m = solid.Icosphere(int(n[0]), n[1])
	case args[0] == "cube":
		m = solid.Cube(n[0])
	case args[0] == "plane":
		m = solid.Plane(n[0], 10)
	case args[0] == "crossed" && len(n) == 2: // two balls through each other
		m = together(solid.Icosphere(int(n[0]), n[1]), solid.Icosphere(int(n[0]), n[1]), r3.Vec{X: n[1]})
	case args[0] == "onbed" && len(n) == 2: // a ball with a cavity, on a square bed
		m = together(solid.Icosphere(int(n[0]), n[1]), solid.Icosphere(int(n[0]), -0.75*n[1]), r3.Vec{})
		m = together(m, solid.Plane(10*n[1], 40), r3.Vec{Z: -n[1]})
	case args[0] == "socket" && len(n) == 2:
		m = socket(int(n[0]), n[1])
	case args[0] == "before":
		m = bentbody.New(bodySeed).Before(bentbody.Scanning{Triangles: int(n[0])})
	case args[0] == "after":
		m = mesh.Transform(bentbody.New(bodySeed).After(bentbody.Scanning{Triangles: int(n[0])}), pose().Apply)
	case args[0] == "endmoved":
		m = mesh.Transform(endMoved(bentbody.New(bodySeed).After(bentbody.Scanning{Triangles: int(n[0])})), pose().Apply)
	case args[0] == "half" && len(n) == 2:
		m = half(n[0] < 0, n[1])
	default:
		ts.Fatalf("no solid %v", args)
	}
	var buf bytes.Buffer
	switch filepath.Ext(file) {
	case ".ply":
		ts.Check(ply.Write(&buf, m, ply.WriteOptions{}))
	case ".glb":
		ts.Check(gltf.Write(&buf, m, 1e-3))
	default:
		ts.Fatalf("%s is neither GLB nor PLY", file)
	}
	ts.Check(os.WriteFile(ts.MkAbs(file), buf.Bytes(), 0o644))
}

// endMoved is the bent body with the faces beyond z = 66 mm turned by 4° about an
// axis through the origin and shifted by (4, -2, 3) mm.
func endMoved(m *mesh.Mesh) *mesh.Mesh {
	g := frame.Rotation(r3.Vec{X: 1, Y: -0.5, Z: 0.3}, 4*math.Pi/180)
	g.T = r3.Vec{X: 4, Y: -2, Z: 3}
	there := mesh.Transform(m, g.Apply)
	out := together(m, there, r3.Vec{})
	out.Triangles = nil
	for f := range uint32(m.FaceCount()) {
		a, b, c := m.Corners(f)
		from := uint32(0)
		if a.Z+b.Z+c.Z > 3*66 {
			from = uint32(m.VertexCount())
		}
		for _, v := range m.Triangles[3*f : 3*f+3] {
			out.Triangles = append(out.Triangles, v+from)
		}
	}
	return out
}

// half is one half of a block of 20 × 16 mm, broken along a wavy surface of the
// given height, mm, whose faces come first: 1280 of the lower half, 1600 of the
// upper.
func half(lower bool, height float64) *mesh.Mesh {
	nx, ny, far := 32, 20, 7.0
	if !lower {
		nx, ny, far = 40, 20, 5
	}
	m := &mesh.Mesh{}
	for layer := range 2 {
		for k := range ny + 1 {
			for i := range nx + 1 {
				x, y := 20*(float64(i)/float64(nx)-0.5), 16*(float64(k)/float64(ny)-0.5)
				z := height * (math.Sin(0.7*x+0.3)*math.Cos(0.5*y) + 0.6*math.Sin(0.9*y+0.25*x) + 0.5*math.Cos(0.9*x-0.7*y))
				if layer == 1 {
					z = far + 0.02*x*x
					if lower {
						z = -far - 0.02*y*y
					}
				}
				m.Positions = append(m.Positions, float32(x), float32(y), float32(z))
			}
		}
	}
	at := func(layer, i, k int) uint32 { return uint32((layer*(ny+1)+k)*(nx+1) + i) }
	quad := func(a, b, c, d uint32) {
		if !lower {
			b, d = d, b
		}
		m.Triangles = append(m.Triangles, a, b, c, a, c, d)
	}
	for layer := range 2 {
		for k := range ny {
			for i := range nx {
				if layer == 0 {
					quad(at(0, i, k), at(0, i+1, k), at(0, i+1, k+1), at(0, i, k+1))
				} else {
					quad(at(1, i, k), at(1, i, k+1), at(1, i+1, k+1), at(1, i+1, k))
				}
			}
		}
	}
	for i := range nx {
		quad(at(1, i, 0), at(1, i+1, 0), at(0, i+1, 0), at(0, i, 0))
		quad(at(1, i+1, ny), at(1, i, ny), at(0, i, ny), at(0, i+1, ny))
	}
	for k := range ny {
		quad(at(1, 0, k+1), at(1, 0, k), at(0, 0, k), at(0, 0, k+1))
		quad(at(1, nx, k), at(1, nx, k+1), at(0, nx, k+1), at(0, nx, k))
	}
	if lower {
		return m
	}
	return mesh.Transform(m, pose().Apply)
}

// socket is what of a ball lies below 0.3 of its radius, turned inside out.
func socket(level int, radius float64) *mesh.Mesh {
	ball := solid.Icosphere(level, radius)
	out := &mesh.Mesh{Positions: ball.Positions, Origin: ball.Origin}
	for f := range uint32(ball.FaceCount()) {
		if a, b, c := ball.Corners(f); a.Z+b.Z+c.Z < 3*0.3*radius {
			t := ball.Triangles[3*f : 3*f+3]
			out.Triangles = append(out.Triangles, t[0], t[2], t[1])
		}
	}
	return out
}

// together puts two meshes into one, the second shifted.
func together(a, b *mesh.Mesh, by r3.Vec) *mesh.Mesh {
	out := &mesh.Mesh{Positions: slices.Clone(a.Positions), Triangles: slices.Clone(a.Triangles), Origin: a.Origin}
	for v := range uint32(b.VertexCount()) {
		p := r3.Sub(r3.Add(b.Vertex(v), by), a.Origin)
		out.Positions = append(out.Positions, float32(p.X), float32(p.Y), float32(p.Z))
	}
	for _, v := range b.Triangles {
		out.Triangles = append(out.Triangles, v+uint32(a.VertexCount()))
	}
	return out
}

// makePicks writes four pairs of places of the bent body that did not change,
// each off by half a millimetre, as a hand picks them.
func makePicks(ts *testscript.TestScript, neg bool, args []string) {
	need(ts, neg, args, 1, "picks FILE")
	body, g := bentbody.New(bodySeed), pose()
	var file struct {
		Unit  string          `json:"unit"`
		Pairs []annotate.Pick `json:"pairs"`
	}
	file.Unit = "mm"
	for i, towards := range []r3.Vec{{X: 1, Y: -1, Z: 0.5}, {X: -1, Y: -0.2, Z: 0.8}, {X: 0.3, Y: 1, Z: -0.6}, {X: -0.4, Y: -0.3, Z: -1}} {
		p, q := body.On(towards, false), g.Apply(body.On(towards, true))
		off := 0.5 - float64(i%2)
		file.Pairs = append(file.Pairs, annotate.Pick{Before: [3]float64{p.X, p.Y, p.Z}, After: [3]float64{q.X + off, q.Y, q.Z}})
	}
	data, err := json.Marshal(file)
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), data, 0o644))
}
