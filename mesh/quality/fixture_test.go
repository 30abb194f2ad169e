package quality_test

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/quality"
	"rigatino/mesh/solid"
)

// inspect looks at a mesh in millimetres.
func inspect(t *testing.T, m *mesh.Mesh) *quality.Result {
	t.Helper()
	w := mesh.NewWeld(m)
	r, err := quality.Inspect(context.Background(), m, w, mesh.NewTopology(m, w), quality.Options{Millimetres: true})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// moved returns a copy of m with every vertex moved by f; the topology stays.
func moved(m *mesh.Mesh, f func(v uint32, at r3.Vec) r3.Vec) *mesh.Mesh {
	out := *m
	out.Positions = make([]float32, len(m.Positions))
	for v := range uint32(m.VertexCount()) {
		p := r3.Sub(f(v, m.Vertex(v)), m.Origin)
		out.Positions[3*v], out.Positions[3*v+1], out.Positions[3*v+2] = float32(p.X), float32(p.Y), float32(p.Z)
	}
	return &out
}

// noisy moves the vertices along their normals by normally distributed values
// of the given standard deviation, those only for which at says so.
func noisy(m *mesh.Mesh, sigma float64, at func(v uint32) bool) *mesh.Mesh {
	w := mesh.NewWeld(m)
	normals := mesh.VertexNormals(m, w)
	random := rand.New(rand.NewPCG(7, 11))
	by := make([]float64, w.Count)
	for i := range by {
		by[i] = sigma * random.NormFloat64()
	}
	return moved(m, func(v uint32, p r3.Vec) r3.Vec {
		if at != nil && !at(v) {
			return p
		}
		return r3.Add(p, r3.Scale(by[w.Of[v]], normals[w.Of[v]]))
	})
}

// joined puts meshes into one, and returns the first face of each.
func joined(parts ...*mesh.Mesh) (*mesh.Mesh, []uint32) {
	out := &mesh.Mesh{}
	var first []uint32
	for _, p := range parts {
		first = append(first, uint32(out.FaceCount()))
		base := uint32(out.VertexCount())
		for v := range uint32(p.VertexCount()) {
			at := p.Vertex(v)
			out.Positions = append(out.Positions, float32(at.X), float32(at.Y), float32(at.Z))
		}
		for _, v := range p.Triangles {
			out.Triangles = append(out.Triangles, base+v)
		}
	}
	return out, first
}

func shifted(m *mesh.Mesh, by r3.Vec) *mesh.Mesh {
	return moved(m, func(_ uint32, p r3.Vec) r3.Vec { return r3.Add(p, by) })
}

func turnedOver(m *mesh.Mesh) *mesh.Mesh {
	out := *m
	out.Triangles = slices.Clone(m.Triangles)
	for f := range m.FaceCount() {
		out.Triangles[3*f], out.Triangles[3*f+1] = out.Triangles[3*f+1], out.Triangles[3*f]
	}
	return &out
}

// specimen is a lumpy body of half axes 30, 14 and 12.
func specimen(level int) *mesh.Mesh {
	return moved(solid.Icosphere(level, 1), func(_ uint32, p r3.Vec) r3.Vec {
		r := 1 + 0.08*math.Sin(5*p.X+1)*math.Cos(4*p.Y) + 0.05*math.Sin(7*p.Z+3*p.X)
		return r3.Vec{X: 30 * r * p.X, Y: 14 * r * p.Y, Z: 12 * r * p.Z}
	})
}

// kinds lists the kinds of the proposals.
func kinds(r *quality.Result) []string {
	var out []string
	for _, p := range r.Proposals {
		out = append(out, p.Kind)
	}
	return out
}

// agree holds the faces proposed as a kind against the truth by area: at least
// found of the true area must be proposed, and at least right of what is
// proposed be true.
func agree(t *testing.T, m *mesh.Mesh, r *quality.Result, kind string, truth []uint32, found, right float64) {
	t.Helper()
	in := map[uint32]bool{}
	for _, f := range truth {
		in[f] = true
	}
	var proposed, both []uint32
	for _, p := range r.Proposals {
		if p.Kind != kind {
			continue
		}
		if !slices.IsSorted(p.Faces) || p.Reason == "" || math.Abs(p.Area-mesh.AreaOf(m, p.Faces)) > 1e-9*p.Area {
			t.Errorf("proposal %s: faces not sorted, no reason, or area %g is not that of its faces", p.Kind, p.Area)
		}
		proposed = append(proposed, p.Faces...)
	}
	for _, f := range proposed {
		if in[f] {
			both = append(both, f)
		}
	}
	all, said, good := mesh.AreaOf(m, truth), mesh.AreaOf(m, proposed), mesh.AreaOf(m, both)
	t.Logf("checked: %s: %.1f %% of the area found, %.1f %% of what is proposed is right; source: the fixture's own faces", kind, 100*good/all, 100*good/said)
	if !(good >= found*all) || !(good >= right*said) {
		t.Errorf("%s: %.1f %% of the area found (want %.0f), %.1f %% of what is proposed right (want %.0f)",
			kind, 100*good/all, 100*found, 100*good/said, 100*right)
	}
}

// faces lists the faces of m whose middle is where in says.
func faces(m *mesh.Mesh, in func(middle r3.Vec) bool) []uint32 {
	var out []uint32
	for f := range uint32(m.FaceCount()) {
		a, b, c := m.Corners(f)
		if in(r3.Scale(1.0/3, r3.Add(a, r3.Add(b, c)))) {
			out = append(out, f)
		}
	}
	return out
}

// faceRange lists the faces from one to the one before another.
func faceRange(from, to uint32) []uint32 {
	var out []uint32
	for f := from; f < to; f++ {
		out = append(out, f)
	}
	return out
}
