package shell

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/bvh"
	"rigatino/mesh/frame"
)

// Options say what layer is put where.
type Options struct {
	Radius, Thick float64           // in shares of the scan's diagonal
	Where         func(r3.Vec) bool // where its middle may lie; nil for anywhere
	Tries         int               // middles looked at, evenly over the faces
	Seed          uint64
}

// Fixture is a scan with a layer of matrix, the scan without, and what is true
// of them.
type Fixture struct {
	// Before has the layer, in a frame of its own; After is the scan itself.
	Before, After *mesh.Mesh
	AfterToBefore frame.Rigid
	// Picks are pairs of places off the layer, wrong by 0.1 % of the diagonal.
	Picks []Pick
	// RemovedMM3 is the layer's volume, the sum of its prisms; Counts are the
	// other counts of it, by name.
	RemovedMM3 float64
	Counts     map[string]float64
	// FromFacetsMM are the largest distances from the new vertices and the new
	// faces' middles to the exact facets, and back from the exact facets'
	// corners and middles to the new faces.
	FromFacetsMM, ToFacetsMM float64
	Radius, Thick            float64 // mm
}

// Pick is a pair of places that match, each in its own scan's frame, mm.
type Pick struct{ Before, After r3.Vec }

// agree is how far the four counts of the layer may differ.
const agree = 5e-4

// On puts a layer on a scan in mm. It fails if the scan has no place for it or
// if any check of its truth fails.
func On(ctx context.Context, scan *mesh.Mesh, opt Options) (*Fixture, error) {
	diagonal := mesh.Bounds(scan).Diagonal()
	b := newBody(scan)
	p := b.smoothest(opt.Radius*diagonal, opt.Tries, opt.Where)
	if p.faces == nil {
		return nil, errNoPlace
	}
	l := b.put(p, opt.Thick*diagonal)
	f := &Fixture{After: scan, Counts: map[string]float64{}, Radius: opt.Radius * diagonal, Thick: opt.Thick * diagonal}
	var err error
	if f.RemovedMM3, err = l.prisms(); err != nil {
		return nil, err
	}
	covered := l.covered()
	if err := l.clear(covered); err != nil {
		return nil, err
	}
	f.Counts["closed shell"] = l.closedShell()
	f.Counts["whole bodies"] = mesh.Volume(covered.mesh()) - mesh.Volume(b.mesh())
	f.Counts["lines"] = l.lines(p, 900)
	for name, v := range f.Counts {
		if math.Abs(v/f.RemovedMM3-1) > agree {
			return nil, fmt.Errorf("the layer is %.6g mm³ by prisms and %.6g mm³ by %s", f.RemovedMM3, v, name)
		}
	}

	cut := covered.cut(opt.Seed + 1)
	random := rand.New(rand.NewPCG(opt.Seed, 99))
	direction := func() r3.Vec {
		return r3.Unit(r3.Vec{X: random.NormFloat64(), Y: random.NormFloat64(), Z: random.NormFloat64()})
	}
	g := frame.Rotation(direction(), math.Pi*random.Float64())
	g.T = r3.Scale(diagonal, direction())
	exact, anew := covered.mesh(), cut.mesh()
	if f.FromFacetsMM, err = farthest(ctx, anew, exact); err != nil {
		return nil, err
	}
	if f.ToFacetsMM, err = farthest(ctx, exact, anew); err != nil {
		return nil, err
	}
	f.Before, f.AfterToBefore = mesh.Transform(anew, g.Apply), g
	for _, v := range b.apart(p, 6) {
		slip := r3.Scale(0.001*diagonal, direction())
		f.Picks = append(f.Picks, Pick{g.Apply(r3.Add(b.at[v], slip)), b.at[v]})
	}
	return f, nil
}

// farthest is the largest distance from the corners and middles of the faces
// of m to the surface of another.
func farthest(ctx context.Context, m, to *mesh.Mesh) (float64, error) {
	n := m.VertexCount()
	hits := make([]bvh.Hit, n+m.FaceCount())
	err := bvh.Build(to).ClosestAll(ctx, len(hits), func(i int) r3.Vec {
		if i < n {
			return m.Vertex(uint32(i))
		}
		a, b, c := m.Corners(uint32(i - n))
		return r3.Scale(1.0/3, r3.Add(a, r3.Add(b, c)))
	}, 0, hits)
	far := 0.0
	for _, h := range hits {
		far = max(far, h.Distance)
	}
	return far, err
}

// apart are n vertices off the place, each as far as can be from those before.
func (b *body) apart(p place, n int) []uint32 {
	far := make([]float64, len(b.at))
	for v, at := range b.at {
		d := r3.Sub(at, p.middle)
		far[v] = r3.Norm(d)
		if far[v] < 1.3*p.radius || len(b.around(uint32(v))) == 0 {
			far[v] = -1
		}
	}
	var out []uint32
	for range n {
		best := 0
		for v := range far {
			if far[v] > far[best] {
				best = v
			}
		}
		out = append(out, uint32(best))
		for v := range far {
			if far[v] >= 0 {
				far[v] = min(far[v], r3.Norm(r3.Sub(b.at[v], b.at[best])))
			}
		}
	}
	return out
}
