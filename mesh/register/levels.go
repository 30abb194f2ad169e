package register

import (
	"context"
	"math"

	"rigatino/mesh"
	"rigatino/mesh/frame"
)

// levels are both scans as patches, coarse to fine.
type levels struct {
	size          float64 // mm, of the finest patches
	radius        float64 // mm, of the before-scan about its middle
	before, after [3]*cloud
}

func newLevels(ctx context.Context, before, after *mesh.Mesh, opt Options) (*levels, error) {
	area := math.Min(mesh.Area(before), mesh.Area(after))
	l := &levels{size: math.Max(math.Sqrt(area/refinePatches), 1e-9), radius: mesh.Bounds(before).Diagonal() / 4}
	for _, side := range []struct {
		m      *mesh.Mesh
		ignore []bool
		to     *[3]*cloud
	}{{before, opt.BeforeIgnore, &l.before}, {after, opt.AfterIgnore, &l.after}} {
		fine, err := gather(ctx, side.m, side.ignore, l.size)
		if err != nil {
			return nil, err
		}
		side.to[2] = fine
		side.to[1] = fine.coarser(2.2 * l.size)
		side.to[0] = fine.coarser(5 * l.size)
	}
	return l, nil
}

// refine narrows the kernel from the reach of the first pose down, level by
// level. Widths are in patch sizes: about a patch and a third on the coarse
// level, a half on the middle one, two fifths on the fine one.
func (l *levels) refine(ctx context.Context, pose frame.Similarity, reach float64, scaled bool, say func(float64, string)) (frame.Similarity, error) {
	n := rigidPart
	if scaled {
		n = unknowns
	}
	h := l.size
	runs := []schedule{
		{from: math.Max(reach, 3*h), to: 1.3 * h, factor: 0.8, settle: 10},
		{from: 1.3 * h, to: 0.55 * h, factor: 0.7, settle: 6},
		{from: 0.55 * h, to: 0.4 * h, factor: 0.7, settle: 6},
	}
	centre := l.before[0].centroid()
	for i, s := range runs {
		if len(l.before[i].points) == 0 || len(l.after[i].points) == 0 {
			continue
		}
		var err error
		m := newMatcher(l.before[i], l.after[i], centre)
		if pose, _, err = m.anneal(ctx, pose, n, s, l.radius); err != nil {
			return pose, err
		}
		say(0.25+0.1*float64(i+1), "Laying the scans on one another")
	}
	return pose, nil
}
