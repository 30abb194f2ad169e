package quality

import (
	"context"
	"sync"

	"rigatino/mesh"
	"rigatino/mesh/bvh"
)

// Options says how to look.
type Options struct {
	// Millimetres says that the mesh is in millimetres; else its unit is not
	// known, and distances are judged by the size of the scan.
	Millimetres bool
	// Progress, if not nil, is told how far the work is (0 to 1).
	Progress func(done float64, words string)
}

// Result is what was found. Lengths and areas are in the mesh's unit.
type Result struct {
	ZeroArea    int     // faces with three corners at different places on one line
	Closure     float64 // |Σ area vectors| / Σ area, 0 for a closed surface
	Orientation Orientation
	Crossing    Crossing
	Resolution  Resolution
	Openings    []Opening // largest first
	Proposals   []Proposal
}

// Kinds of a Proposal.
const (
	Bed        = "bed"         // what the specimen lies or stands on
	Bar        = "bar"         // a straight bar of one thickness, unconnected with the specimen
	Island     = "island"      // a small part by itself
	InnerWall  = "inner_wall"  // surface that cannot be seen from outside
	ClosedHole = "closed_hole" // surface that a scan program made up
)

// Proposal is a part of the surface that may be no specimen, or no surface that
// was scanned.
type Proposal struct {
	Kind   string
	Faces  []uint32 // ascending
	Area   float64
	Reason string // one sentence without end stop: what it looks like
}

// surface is a mesh with what the checks ask of it.
type surface struct {
	m       *mesh.Mesh
	w       *mesh.Weld
	t       *mesh.Topology
	mm      bool
	areas   []float64
	total   float64 // area
	box     mesh.Box
	without []bool // faces that take no part, or have no area
	tree    func() *bvh.Tree
}

// Inspect looks at a mesh whose weld and topology are given. It stops with
// ctx's error when ctx is done. The result is the same on any number of
// processors.
func Inspect(ctx context.Context, m *mesh.Mesh, w *mesh.Weld, t *mesh.Topology, opt Options) (*Result, error) {
	progress := opt.Progress
	if progress == nil {
		progress = func(float64, string) {}
	}
	part := func(from, to float64) func(float64, string) {
		return func(done float64, words string) { progress(from+(to-from)*done, words) }
	}
	s := &surface{
		m: m, w: w, t: t, mm: opt.Millimetres, areas: mesh.FaceAreas(m), box: mesh.Bounds(m),
		tree: sync.OnceValue(func() *bvh.Tree { return bvh.Build(m) }),
	}
	s.total = s.sum(nil)
	out := &Result{ZeroArea: s.findWithout(), Closure: mesh.ClosureRatio(m)}
	out.Orientation, _, _ = s.orientation()
	progress(0.05, "measuring resolution and noise")
	var err error
	if out.Resolution, err = s.resolution(ctx); err != nil {
		return nil, err
	}
	out.Openings = s.openings()
	progress(0.1, "sorting the faces by place")
	s.tree()
	if out.Crossing, err = s.crossing(ctx, part(0.15, 0.4)); err != nil {
		return nil, err
	}
	for _, look := range []struct {
		from, to float64
		do       func(context.Context, *Result, func(float64, string)) ([]Proposal, error)
	}{
		{0.4, 0.5, s.standing},
		{0.5, 0.6, s.closedHoles},
		{0.6, 1, s.innerWalls},
	} {
		found, err := look.do(ctx, out, part(look.from, look.to))
		if err != nil {
			return nil, err
		}
		out.Proposals = append(out.Proposals, found...)
	}
	return out, ctx.Err()
}

// findWithout marks the faces that take no part or have no area, and counts
// those of the second kind only.
func (s *surface) findWithout() (flat int) {
	n := s.m.FaceCount()
	s.without = make([]bool, n)
	_ = mesh.Parallel(context.Background(), (n+faceBlock-1)/faceBlock, func(b int) {
		for f := b * faceBlock; f < min(n, (b+1)*faceBlock); f++ {
			t := s.triangle(uint32(f))
			s.without[f] = s.t.Component[f] < 0 || !t.hasArea()
		}
	})
	for f, out := range s.without {
		if out && s.t.Component[f] >= 0 {
			flat++
		}
	}
	return flat
}

// faceBlock is the number of faces one worker takes at a time.
const faceBlock = 1 << 13

// sum is the area of the faces listed, nil for all.
func (s *surface) sum(faces []uint32) float64 {
	if faces == nil {
		return mesh.SumBlocks(len(s.areas), func(i int) float64 { return s.areas[i] })
	}
	return mesh.SumBlocks(len(faces), func(i int) float64 { return s.areas[faces[i]] })
}

// patches returns the connected patches of the faces for which in holds, each
// in ascending order, in order of their first faces.
func (s *surface) patches(in func(f uint32) bool) [][]uint32 {
	n := s.m.FaceCount()
	seen := make([]bool, n)
	var out [][]uint32
	for f := range uint32(n) {
		if seen[f] || s.t.Component[f] < 0 || !in(f) {
			continue
		}
		seen[f] = true
		patch := []uint32{f}
		for i := 0; i < len(patch); i++ {
			for k := range uint32(3) {
				if g := s.t.Neighbour[3*patch[i]+k]; g >= 0 && !seen[g] && in(uint32(g)) {
					seen[g] = true
					patch = append(patch, uint32(g))
				}
			}
		}
		out = append(out, sorted(patch))
	}
	return out
}
