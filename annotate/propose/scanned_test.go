package propose

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate/facemap"
	"rigatino/mesh"
	"rigatino/mesh/change"
	"rigatino/mesh/colour"
	"rigatino/mesh/frame"
	"rigatino/mesh/scan"
	"rigatino/mesh/volume"
	"rigatino/testdata/shared"
)

// The open fossil scan, with the colours of its own picture, against itself in
// another invented light and with an invented retouch of known place: the light
// is told as light, the retouch is found within 90 % and little besides. What is
// painted on it exists in this test only.
func TestScannedFossilUnderOtherLight(t *testing.T) {
	path := shared.Path(t, "data/fossil/usnm-1145291.glb")
	s, err := scan.Open(t.Context(), path, scan.Options{})
	if err != nil {
		t.Fatal(err)
	}
	m := s.Mesh
	t.Logf("%d faces, %d pictures", m.FaceCount(), len(m.Images))
	c, err := change.Compare(t.Context(), m, m, frame.Identity(), change.Options{})
	if err != nil {
		t.Fatal(err)
	}
	colours := linearColours(m, c.Before)
	if colours == nil {
		t.Fatal("the scan has no colours")
	}
	normals := mesh.VertexNormals(c.Before.Mesh, c.Before.Weld)
	middle := c.Before.Vertex(uint32(c.Before.Weld.Count / 2))
	radius := mesh.Bounds(m).Diagonal() / 15
	facing := normals[c.Before.Weld.Count/2]
	in := func(v uint32) bool {
		return r3.Norm(r3.Sub(c.Before.Vertex(v), middle)) < radius && r3.Dot(normals[v], facing) > 0
	}
	lit := func(after bool) *mesh.Mesh {
		out := *m
		out.UVs, out.Images, out.Materials = nil, nil, nil
		out.Colours = make([]uint8, 4*m.VertexCount())
		from, ambient := r3.Vec{X: 1, Z: 1}, 0.6
		if after {
			from = r3.Vec{X: -1, Y: 0.4, Z: 0.2}
		}
		light := lamp(from, ambient)
		for i := range m.VertexCount() {
			v := c.Before.Weld.Of[i]
			x, l := colours[v], light(normals[v])
			if after && in(v) {
				x = colour.Linear{R: 0.7*x.R + 0.05, G: 0.5 * x.G, B: 0.4 * x.B}
			}
			k := colour.Linear{R: x.R * l.R, G: x.G * l.G, B: x.B * l.B}.RGBA8()
			copy(out.Colours[4*i:], []uint8{k.R, k.G, k.B, 255})
		}
		return &out
	}
	before, after := lit(false), lit(true)
	v, err := volume.Measure(t.Context(), c, volume.Options{})
	if err != nil {
		t.Fatal(err)
	}
	list, err := Make(t.Context(), Input{
		Change: c, Volume: v, What: slices.Repeat([]string{"unknown"}, len(c.Areas)),
		Before: Scan{Surface: facemap.NewSurface(before)}, After: Scan{Surface: facemap.NewSurface(after)},
		StageKind: "retouch", FromStage: "fill", ToStage: "retouch",
	})
	if err != nil {
		t.Fatal(err)
	}
	found, leaked, whole, all := 0.0, 0.0, 0.0, 0.0
	marked := map[uint32]bool{}
	for i, p := range list {
		t.Logf("%d: %s, %v: %s", i+1, p.Kind, p.Surface, p.Evidence)
		if p.Kind == Colour {
			for _, f := range p.Marks[0].Faces {
				marked[f] = true
			}
		}
	}
	for f := range uint32(m.FaceCount()) {
		a, b, k := c.Before.Topology.Face(f)
		size := r3.Norm(m.AreaVector(f))
		switch n := count(in, a, b, k); {
		case n == 3:
			whole += size
			if marked[f] {
				found += size
			}
		case n == 0:
			all += size
			if marked[f] {
				leaked += size
			}
		}
	}
	t.Logf("checked: retouch found %.2f %%, other surface marked %.3f %%", 100*found/whole, 100*leaked/all)
	if math.IsNaN(found/whole) || found < 0.9*whole || leaked > 0.01*all {
		t.Errorf("found %.1f of %.1f mm², %.1f of %.1f besides", found, whole, leaked, all)
	}
	if len(list) == 0 || list[0].Kind != Body {
		t.Error("the other light is not said")
	}
}
