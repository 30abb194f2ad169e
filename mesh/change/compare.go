package change

import (
	"context"
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/frame"
	"rigatino/mesh/quantity"
)

// Kind says which way a change goes.
type Kind string

// The two kinds of change area.
const (
	Removed Kind = "removed"
	Added   Kind = "added"
)

// Options is what is known of the alignment, for the limits and for the budget
// of volumes. The zero value claims nothing is known.
type Options struct {
	// RegistrationCovariance is the covariance of the alignment, row-major:
	// rotation (rad, x y z) about Centre, then translation (mm), in the frame
	// of the scan before.
	RegistrationCovariance [36]float64
	Centre                 r3.Vec
	// CheckRMSMM is the root mean square distance at places held out of the
	// alignment; 0 if there were none.
	CheckRMSMM float64
	// ScaleU is the relative standard uncertainty of the common scale,
	// RelativeScaleU that of one scan's scale against the other's; 0 when not
	// known, which keeps the term out of budgets.
	ScaleU, RelativeScaleU float64
	// BeforeIgnore and AfterIgnore mark scan faces that take no part: bed,
	// mount, scale bar.
	BeforeIgnore, AfterIgnore []bool
	Progress                  func(done float64, words string)
}

// Change is what two scans differ by.
type Change struct {
	Before, After *Side
	AfterToBefore frame.Rigid
	Options       Options

	// SmallestMM is the smallest change this pair can show: an area exists
	// only where the averaged gap passes it. LimitMM, below it, bounds the
	// cores of areas that exist.
	// SmallestAt says it for a place, where it may be more.
	SmallestMM, LimitMM float64
	// Variogram is that of the averaged gap where nothing changed.
	Variogram Variogram
	// StepMM is half the distance at which outlines are drawn outside a core:
	// the mean edge of the coarser scan, or 1 mm on large specimens (a 200th of
	// the diagonal on small ones) if that is more.
	StepMM float64

	// BeforeGap and AfterGap are the gaps per stored vertex of either scan as
	// given; NaN is undefined. AfterGap < 0: the surface lies inside the former
	// one, matter was removed. BeforeGap > 0 says the same.
	BeforeGap, AfterGap []float32

	Areas []Area // removed first, then by falling surface

	places *places
}

// Area is one connected change.
type Area struct {
	Kind Kind
	// BeforeFaces and AfterFaces are the scan faces of its core, ascending.
	BeforeFaces, AfterFaces []uint32
	// Surface is how much of the scan after lies in the core (of the scan
	// before, where the former has nothing left of it).
	Surface quantity.Measured
	// MeanDepthMM and MaxDepthMM are from closest distances, which fall short
	// under overhangs.
	MeanDepthMM, MaxDepthMM float64
	// SmallestMM is the smallest change that the pair can show at its deepest place.
	SmallestMM float64
	CentroidMM r3.Vec
}

// Compare finds the changes between two scans in mm. The motion brings points
// of the scan after into the frame of the scan before. It fails when there is
// nothing to compare and when ctx is done.
func Compare(ctx context.Context, before, after *mesh.Mesh, afterToBefore frame.Rigid, opt Options) (*Change, error) {
	for _, s := range []struct {
		name string
		m    *mesh.Mesh
	}{{"before", before}, {"after", after}} {
		if s.m == nil || s.m.FaceCount() == 0 {
			return nil, fmt.Errorf("the scan %s has no faces to compare: choose another scan", s.name)
		}
	}
	if !proper(afterToBefore) {
		return nil, errors.New("the alignment is not a motion (its rotation is not one): align the scans again")
	}
	say := opt.Progress
	if say == nil {
		say = func(float64, string) {}
	}
	c := &Change{AfterToBefore: afterToBefore, Options: opt}
	say(0, "preparing the two scans")
	moved := after
	if afterToBefore != frame.Identity() {
		moved = mesh.Transform(after, afterToBefore.Apply)
	}
	// One scan on each of two processors.
	err := mesh.Parallel(ctx, 2, func(i int) {
		if i == 0 {
			c.Before = newSide(before, opt.BeforeIgnore)
		} else {
			c.After = newSide(moved, opt.AfterIgnore)
		}
	})
	if err != nil {
		return nil, err
	}
	if c.Before.Mesh.FaceCount() == 0 || c.After.Mesh.FaceCount() == 0 {
		return nil, errors.New("all faces of a scan are marked as support: nothing is left to compare")
	}
	say(0.35, "measuring the gap between the scans")
	if err := c.After.measure(ctx, c.Before, func(x float64) { say(0.35+0.2*x, "measuring the gap between the scans") }); err != nil {
		return nil, err
	}
	if err := c.Before.measure(ctx, c.After, func(x float64) { say(0.55+0.2*x, "measuring the gap between the scans") }); err != nil {
		return nil, err
	}
	say(0.75, "finding what changed")
	if err := c.find(ctx); err != nil {
		return nil, err
	}
	say(1, "")
	return c, ctx.Err()
}

// find finds the areas once every vertex has its gap.
func (c *Change) find(ctx context.Context) error {
	if err := mesh.Parallel(ctx, 2, func(i int) { [2]*Side{c.Before, c.After}[i].smooth() }); err != nil {
		return err
	}
	if math.IsNaN(c.Before.SpreadMM) || math.IsNaN(c.After.SpreadMM) {
		return errors.New("no part of the scans faces the other one: check the alignment")
	}
	c.setLimits()
	c.BeforeGap, c.AfterGap = c.Before.perFileVertex(), c.After.perFileVertex()
	c.findAreas()
	return nil
}

// proper says whether the rotation of g is one, to rounding.
func proper(g frame.Rigid) bool {
	r := g.R
	for i := range 3 {
		for j := range 3 {
			d := r[3*i]*r[3*j] + r[3*i+1]*r[3*j+1] + r[3*i+2]*r[3*j+2]
			if i == j {
				d--
			}
			if !(math.Abs(d) < 1e-6) {
				return false
			}
		}
	}
	det := r[0]*(r[4]*r[8]-r[5]*r[7]) - r[1]*(r[3]*r[8]-r[5]*r[6]) + r[2]*(r[3]*r[7]-r[4]*r[6])
	n := r3.Norm(g.T)
	return det > 0 && !math.IsNaN(n) && !math.IsInf(n, 0)
}

func (c *Change) setLimits() {
	edge := max(c.Before.EdgeMM, c.After.EdgeMM)
	diagonal := max(c.Before.DiagonalMM, c.After.DiagonalMM)
	c.StepMM = max(edge, min(1, diagonal/200))
	c.LimitMM = max(limitSigmas*max(c.Before.SpreadMM, c.After.SpreadMM), floorMM)
	c.SmallestMM = existence*c.LimitMM + 2*c.poseMM()
	shareNoise(c.Before, c.After, c.LimitMM)
}

// poseMM is the standard uncertainty of the gap that the alignment's
// covariance leaves on the whole surface, root mean square over directions and
// places. It is added as a bias, not in quadrature (Lague, Brodu, Leroux, ISPRS
// J. 82:10, 2013).
func (c *Change) poseMM() float64 {
	sum, n := 0.0, 0.0
	m := c.After.Mesh
	step := uint32(max(1, m.FaceCount()/2000))
	for f := uint32(0); f < uint32(m.FaceCount()); f += step {
		a := m.AreaVector(f)
		l := length(a)
		if l == 0 {
			continue
		}
		p, q, r := m.Corners(f)
		u := c.poseAt(r3.Scale(1.0/3, r3.Add(p, r3.Add(q, r))), r3.Scale(1/l, a))
		sum += u * u
		n++
	}
	if n == 0 || !(sum > 0) {
		return 0
	}
	return math.Sqrt(sum / n)
}
