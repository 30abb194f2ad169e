package main

import (
	"bytes"
	"encoding/json"
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
	case args[0] == "before":
		m = bentbody.New(bodySeed).Before(bentbody.Scanning{Triangles: int(n[0])})
	case args[0] == "after":
		m = mesh.Transform(bentbody.New(bodySeed).After(bentbody.Scanning{Triangles: int(n[0])}), pose().Apply)
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
