package register

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/frame"
)

// Moved is a piece that lies elsewhere now: one rigid motion of its own inside
// the change, under which its surface agrees as that of the rest does under the
// main pose. It is looked for where less than all of the after-scan is explained,
// and only in a search; a piece of less than three hundredths of its surface is
// not found.
type Moved struct {
	// AfterToBefore brings the piece's places of the after-scan to where they were.
	AfterToBefore frame.Rigid
	// Motion is what the piece went through, in the frame of the before-scan.
	Motion frame.Rigid
	Turn   float64 // rad, of Motion
	Shift  float64 // mm, how far the middle of the piece went
	// Faces of the after-scan and BeforeFaces of the before-scan are the piece now
	// and then.
	Faces, BeforeFaces []bool
	Share              float64 // of the after-scan, by area of all faces that take part
	FitResidualRMS     float64 // mm, of the piece alone; no accuracy
}

// moved fits the second motion closely and marks what follows it; nil if too
// little does.
func (f *fine) moved(ctx context.Context, r *Result, pose frame.Similarity) (*Moved, error) {
	g := &fine{before: f.before, after: f.after, opt: f.opt, tree: f.tree, bw: f.bw, aw: f.aw,
		beforeNormals: f.beforeNormals, afterNormals: f.afterNormals, size: f.size, radius: f.radius, pose: pose}
	g.opt.BeforeIgnore, g.opt.AfterIgnore = either(f.opt.BeforeIgnore, r.StableBefore), either(f.opt.AfterIgnore, r.StableAfter)
	for i := range f.points {
		if !f.stable(i) {
			g.points, g.normals = append(g.points, f.points[i]), append(g.normals, f.normals[i])
		}
	}
	n := len(g.points)
	g.use = n
	g.at, g.facing, g.gap, g.ok = make([]r3.Vec, n), make([]r3.Vec, n), make([]float64, n), make([]bool, n)
	g.mine, g.theirs = make([]r3.Vec, n), make([]r3.Vec, n)
	if err := g.polish(ctx, false); err != nil {
		return nil, err
	}
	if err := g.look(ctx, 4*g.size); err != nil {
		return nil, err
	}
	g.measure()
	var sub Result
	if err := g.masks(ctx, &sub); err != nil {
		return nil, err
	}
	out := &Moved{AfterToBefore: g.pose.Rigid, Faces: sub.StableAfter, BeforeFaces: sub.StableBefore}
	var piece, all mesh.Sum
	var middle r3.Vec
	for i := range f.after.FaceCount() {
		a := r3.Norm(f.after.AreaVector(uint32(i)))
		if f.opt.AfterIgnore == nil || !f.opt.AfterIgnore[i] {
			all.Add(a)
		}
		if out.Faces[i] {
			piece.Add(a)
			middle = r3.Add(middle, r3.Scale(a, middleOf(f.after, uint32(i))))
		}
	}
	if !(piece.Value() > 0) || piece.Value() < secondLeast/2*all.Value() {
		return nil, nil
	}
	out.Share = piece.Value() / all.Value()
	middle = r3.Scale(1/piece.Value(), middle)
	out.Motion = g.pose.Rigid.Inverse().Then(f.pose.Rigid)
	out.Turn = out.Motion.Angle()
	out.Shift = r3.Norm(r3.Sub(f.pose.Apply(middle), g.pose.Apply(middle)))
	sum, count := 0.0, 0.0
	for i := range g.gap {
		if g.stable(i) {
			sum, count = sum+g.gap[i]*g.gap[i], count+1
		}
	}
	if count > 0 {
		out.FitResidualRMS = math.Sqrt(sum / count)
	}
	return out, nil
}

// either marks what one of two masks marks; a may be nil.
func either(a, b []bool) []bool {
	out := make([]bool, len(b))
	for i := range out {
		out[i] = b[i] || a != nil && a[i]
	}
	return out
}
