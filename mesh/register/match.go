package register

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/frame"
)

// matcher pairs the patches of the after-scan with those of the before-scan
// under a pose.
type matcher struct {
	before, after *cloud
	centre        r3.Vec // of the before cloud, about which steps are made

	some     []uint32  // after patches that take part; nil for all
	place    []uint32  // per after patch, its pair's place in the tree, or noPatch
	residual []float64 // per after patch, mm along the common normal; NaN without a pair
	parts    []system
}

func newMatcher(before, after *cloud, centre r3.Vec) *matcher {
	m := &matcher{
		before: before, after: after, centre: centre,
		place: make([]uint32, len(after.points)), residual: make([]float64, len(after.points)),
		parts: make([]system, (len(after.points)+patchBlock-1)/patchBlock),
	}
	for i := range m.place {
		m.place[i] = noPatch
	}
	return m
}

// kernel is the weight of a residual: Tukey's biweight of the given width (mm,
// 0 means that every pair has weight 1). lower is the width for residuals of
// after points under the before surface, where matter was taken away.
type kernel struct {
	width, lower float64
}

func (k kernel) weight(e float64) float64 {
	switch {
	case k.width == 0:
		return 1
	case e < 0:
		return tukey(e, k.lower)
	}
	return tukey(e, k.width)
}

// pair finds for every after patch the nearest before patch that looks the
// same way and is no farther than gate, and sums up the step. Patches count by
// area.
func (m *matcher) pair(ctx context.Context, pose frame.Similarity, width kernel, gate float64) (*system, error) {
	n := len(m.after.points)
	if m.some != nil {
		n = len(m.some)
	}
	tree := m.before.tree
	err := mesh.Parallel(ctx, len(m.parts), func(b int) {
		s := &m.parts[b]
		*s = system{}
		for k := b * patchBlock; k < min(n, (b+1)*patchBlock); k++ {
			i := k
			if m.some != nil {
				i = int(m.some[k])
			}
			p := pose.Apply(m.after.points[i])
			np := pose.Turn(m.after.normals[i])
			at, _ := tree.nearest(p, np, gate*gate, m.place[i])
			m.place[i], m.residual[i] = at, math.NaN()
			if at == noPatch {
				continue
			}
			q, nn := tree.points[at], r3.Add(np, tree.normals[at])
			nn = r3.Scale(1/length(nn), nn)
			e := r3.Dot(r3.Sub(p, q), nn)
			m.residual[i] = e
			w := m.after.areas[i] * width.weight(e)
			// Rock seldom looks the same way as the bone under it.
			turned := r3.Dot(np, tree.normals[at])
			turned *= turned
			w *= turned * turned * turned
			if w > 0 {
				s.add(r3.Sub(p, m.centre), r3.Sub(q, m.centre), nn, w)
			}
		}
	})
	if err != nil {
		return nil, err
	}
	var total system
	for b := range m.parts {
		total.merge(&m.parts[b], 1)
	}
	return &total, nil
}
