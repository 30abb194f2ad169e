package register

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/frame"
)

// levels are both scans as patches, coarse to fine.
type levels struct {
	size          float64 // mm, by which all limits are measured: sixty thousand patches of it cover the smaller scan
	radius        float64 // mm, of the before-scan about its middle
	before, after [2]*cloud
}

// Sizes of the patches of the two levels.
const (
	coarseSize = 5.0
	middleSize = 2.2
)

func newLevels(ctx context.Context, before, after *mesh.Mesh, opt Options) (*levels, error) {
	// Limits stay what they are where only part of a scan is to be trusted.
	boxB, areaB := extent(before, opt.beforeSupport)
	_, areaA := extent(after, opt.afterSupport)
	l := &levels{size: math.Max(math.Sqrt(math.Min(areaB, areaA)/refinePatches), 1e-9), radius: boxB.Diagonal() / 4}
	for _, side := range []struct {
		m      *mesh.Mesh
		ignore []bool
		to     *[2]*cloud
	}{{before, opt.BeforeIgnore, &l.before}, {after, opt.AfterIgnore, &l.after}} {
		fine, err := gather(ctx, side.m, side.ignore, middleSize*l.size)
		if err != nil {
			return nil, err
		}
		side.to[1] = fine
		side.to[0] = fine.coarser(coarseSize * l.size)
	}
	return l, nil
}

// extent is the box and the area of the faces that take part.
func extent(m *mesh.Mesh, ignore []bool) (mesh.Box, float64) {
	if ignore == nil {
		return mesh.Bounds(m), mesh.Area(m)
	}
	inf := math.Inf(1)
	box := mesh.Box{Min: r3.Vec{X: inf, Y: inf, Z: inf}, Max: r3.Vec{X: -inf, Y: -inf, Z: -inf}}
	var area mesh.Sum
	for f := range uint32(m.FaceCount()) {
		if ignore[f] {
			continue
		}
		area.Add(r3.Norm(m.AreaVector(f)))
		a, b, c := m.Corners(f)
		for _, p := range []r3.Vec{a, b, c} {
			box.Min = r3.Vec{X: min(box.Min.X, p.X), Y: min(box.Min.Y, p.Y), Z: min(box.Min.Z, p.Z)}
			box.Max = r3.Vec{X: max(box.Max.X, p.X), Y: max(box.Max.Y, p.Y), Z: max(box.Max.Z, p.Z)}
		}
	}
	return box, area.Value()
}

// refine narrows the kernel from the reach of the first pose down, level by
// level, to a few tenths of a patch.
func (l *levels) refine(ctx context.Context, pose frame.Similarity, reach, low float64, scaled bool) (frame.Similarity, error) {
	n := rigidPart
	if scaled {
		n = unknowns
	}
	h := l.size
	runs := []schedule{
		{from: math.Max(reach, 3*h), to: 1.3 * h, factor: 0.8, settle: 10, low: low},
		{from: 1.3 * h, to: 0.55 * h, factor: 0.7, settle: 6},
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
	}
	return pose, nil
}
