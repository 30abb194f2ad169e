package project

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/history"
	"rigatino/mesh"
	"rigatino/mesh/frame"
	"rigatino/mesh/register"
)

// pairing is two scans in memory that are to be laid on one another.
type pairing struct{ before, after *Loaded }

// loadPair loads the scans of two uses, the first of which has a known place.
func (p *Project) loadPair(ctx context.Context, before, after annotate.UseKey, picks []annotate.Pick, progress func(float64, string)) (out pairing, err error) {
	if n := len(picks); n > 0 && n < 3 {
		return out, fmt.Errorf("%d picked pairs hold nothing in place: pick three or more, far apart and not in a line", n)
	}
	if out.before, err = p.LoadUse(ctx, before, part(progress, 0, 0.5)); err != nil {
		return out, err
	}
	if !out.before.Aligned {
		return out, fmt.Errorf("%v is not aligned with its piece's first scan: align it first", before)
	}
	out.after, err = p.LoadUse(ctx, after, part(progress, 0.5, 1))
	return out, err
}

// places are picked pairs with the scale of their scans.
func (l pairing) places(picks []annotate.Pick) []register.Pick {
	var out []register.Pick
	for _, pick := range picks {
		out = append(out, register.Pick{Before: r3.Scale(l.before.factor(), vec(pick.Before)), After: r3.Scale(l.after.factor(), vec(pick.After))})
	}
	return out
}

// fitMasks are the faces of a scan that alone carry its alignment and that carry
// none of it, nil where nobody said.
func fitMasks(l *Loaded) (trust, never []bool, err error) {
	f := l.Use.FitFaces
	if f == nil {
		return nil, nil, nil
	}
	faces := l.Surface.Mesh.FaceCount()
	if trust, err = annotate.MaskOf(f.Trust, faces); err != nil {
		return nil, nil, fmt.Errorf("%v: %w", l.Use.Key(), err)
	}
	if never, err = annotate.MaskOf(f.Never, faces); err != nil {
		return nil, nil, fmt.Errorf("%v: %w", l.Use.Key(), err)
	}
	return trust, never, nil
}

// SetFitFaces says which faces of a use alone carry its alignment and which never
// do, as one action; empty masks take back what was said. An alignment that is in
// the record stays until the use is aligned again.
func (p *Project) SetFitFaces(key annotate.UseKey, trust, never []bool) error {
	next := &annotate.FitFaces{Trust: annotate.RunsOf(trust), Never: annotate.RunsOf(never)}
	if len(next.Trust) == 0 && len(next.Never) == 0 {
		next = nil
	}
	_, err := p.do(fmt.Sprintf("marked what carries the fit of %v", key), func(d *history.Draft) error {
		u := d.Record.Use(key)
		if u == nil {
			return fmt.Errorf("use %v does not exist: add its scan first", key)
		}
		s, _ := d.Record.Scan(u.Scan)
		for _, mask := range [][]bool{trust, never} {
			if mask != nil && len(mask) != s.Triangles {
				return fmt.Errorf("%d faces are marked on %v, whose scan has %d", len(mask), key, s.Triangles)
			}
		}
		if next != nil && u.FitFaces != nil {
			next.Newer = u.FitFaces.Newer
		}
		u.FitFaces = next
		return nil
	})
	return err
}

// roundTripFaces is how many places of a scan a round trip is measured at.
const roundTripFaces = 2000

// roundTrip compares where an alignment puts a scan with where an earlier one put
// it by way of another scan; nil where there is none that was accepted. Both are
// accepted motions of the same scan into the same frame, so that what they differ
// by is the error of going round the chain of scans.
func roundTrip(l *Loaded, now *annotate.Alignment) *annotate.RoundTrip {
	was := l.Use.Alignment
	if was == nil || was.Verdict != annotate.VerdictAccepted || was.ScaleChanged || now.Verdict != annotate.VerdictAccepted {
		return nil
	}
	if was.To == now.To {
		return nil
	}
	a, b := frame.FromMatrix(was.ScanToPiece), frame.FromMatrix(now.ScanToPiece)
	m, sum, n := l.Surface.Mesh, 0.0, 0.0
	out := &annotate.RoundTrip{By: was.To}
	step := max(1, m.FaceCount()/roundTripFaces)
	for f := 0; f < m.FaceCount(); f += step {
		at := r3.Scale(l.factor(), m.At(mesh.SurfacePoint{Face: uint32(f), Weights: [3]float64{1. / 3, 1. / 3, 1. / 3}}))
		d := r3.Norm(r3.Sub(a.Apply(at), b.Apply(at)))
		sum, n = sum+d*d, n+1
		out.Max = math.Max(out.Max, d)
	}
	if n > 0 {
		out.RMS = math.Sqrt(sum / n)
	}
	return out
}
