//go:build landed

package project

import (
	"context"
	"fmt"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/annotate/history"
	"rigatino/mesh"
	"rigatino/mesh/frame"
	"rigatino/mesh/register"
)

// Aligning says how a use is aligned.
type Aligning struct {
	// Against is the use to align with; nil for the one before it in the
	// course of events whose place is known, or else the nearest after.
	Against    *annotate.UseKey
	Picks      []annotate.Pick // places that match: Before in the scan of Against, After in this one, mm
	Similarity bool
	Progress   func(done float64, words string)
}

// Aligned is what came of it.
type Aligned struct {
	Against annotate.UseKey
	Result  *register.Result
	// Stored says that the alignment is in the record now. A refused one is
	// not put in the place of one that was accepted.
	Stored bool
}

// Align finds the place of a use in its piece's frame and stores it with its
// evidence, as one action; what was aligned with this use moves along. The
// verdict is the program's: nothing that is not accepted is measured with.
func (p *Project) Align(ctx context.Context, key annotate.UseKey, a Aligning) (*Aligned, error) {
	record := p.Record()
	against, err := partner(&record, key, a.Against)
	if err != nil {
		return nil, err
	}
	if len(a.Picks) > 0 && len(a.Picks) < 3 {
		return nil, fmt.Errorf("%d picked pairs hold nothing in place: pick three or more, far apart and not in a line", len(a.Picks))
	}
	before, err := p.LoadUse(ctx, against, part(a.Progress, 0, 0.2))
	if err != nil {
		return nil, err
	}
	after, err := p.LoadUse(ctx, key, part(a.Progress, 0.2, 0.4))
	if err != nil {
		return nil, err
	}
	opt := register.Options{Similarity: a.Similarity, Progress: part(a.Progress, 0.4, 1)}
	if opt.BeforeIgnore, err = p.support(against); err != nil {
		return nil, err
	}
	if opt.AfterIgnore, err = p.support(key); err != nil {
		return nil, err
	}
	for _, pick := range a.Picks {
		opt.Picks = append(opt.Picks, register.Pick{
			Before: r3.Scale(before.factor(), vec(pick.Before)), After: r3.Scale(after.factor(), vec(pick.After)),
		})
	}
	if after.Aligned {
		// Aligned already: begin where it lies.
		start := after.ScanToPiece.Then(before.ScanToPiece.Inverse())
		opt.Start = &start
	}
	result, err := register.Align(ctx, before.calibrated(), after.calibrated(), opt)
	if err != nil {
		return nil, fmt.Errorf("align %v with %v: %w", key, against, err)
	}
	out := &Aligned{Against: against, Result: result}
	if result.Verdict == annotate.VerdictRefused && after.Aligned && after.Use.Alignment != nil {
		return out, nil
	}
	entry := alignmentOf(result, against, before.ScanToPiece, a.Picks)
	_, err = p.do(fmt.Sprintf("aligned %v", key), func(d *history.Draft) error {
		u := d.Record.Use(key)
		if u == nil {
			return fmt.Errorf("use %v was taken away meanwhile", key)
		}
		was, moved := scanToPiece(d.Record, *u)
		u.Alignment = &entry
		out.Stored = true
		if moved && entry.Verdict == annotate.VerdictAccepted {
			follow(&d.Record, key, was, frame.FromMatrix(entry.ScanToPiece))
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	if entry.Verdict == annotate.VerdictAccepted {
		return out, p.countParts(ctx, key)
	}
	return out, nil
}

// factor is the scale factor of a use.
func (l *Loaded) factor() float64 {
	if l.Use.Scale.Factor == 0 {
		return 1
	}
	return l.Use.Scale.Factor
}

// calibrated returns the mesh with the scale factor applied, about zero.
func (l *Loaded) calibrated() *mesh.Mesh {
	f := l.factor()
	if f == 1 {
		return l.Surface.Mesh
	}
	return mesh.Transform(l.Surface.Mesh, func(v r3.Vec) r3.Vec { return r3.Scale(f, v) })
}

func vec(v [3]float64) r3.Vec { return r3.Vec{X: v[0], Y: v[1], Z: v[2]} }

// partner finds the use to align with.
func partner(r *annotate.Record, key annotate.UseKey, named *annotate.UseKey) (annotate.UseKey, error) {
	u := r.Use(key)
	if u == nil {
		return key, fmt.Errorf("use %v does not exist: add its scan first", key)
	}
	if base, _ := r.BaseUse(key.Piece); base.Key() == key {
		return key, fmt.Errorf("%v gives piece %s its frame and needs no alignment: align the others with it", key, key.Piece)
	}
	if named != nil {
		other := r.Use(*named)
		switch {
		case other == nil:
			return key, fmt.Errorf("use %v does not exist: add its scan first", *named)
		case other.Piece != key.Piece:
			return key, fmt.Errorf("%v and %v are different pieces: only scans of one piece are aligned", key, *named)
		case *named == key:
			return key, fmt.Errorf("%v cannot be aligned with itself", key)
		}
		if _, known := scanToPiece(*r, *other); !known {
			return key, fmt.Errorf("%v has no accepted alignment itself: align it first", *named)
		}
		if rests(r, *named, key) {
			return key, fmt.Errorf("%v was itself aligned with %v: align it with another scan first", *named, key)
		}
		return *named, nil
	}
	chain := r.Chain(key.Piece)
	at := slices.IndexFunc(chain, func(c annotate.Use) bool { return c.Key() == key })
	before, after := slices.Clone(chain[:at]), chain[at+1:]
	slices.Reverse(before)
	for _, c := range slices.Concat(before, after) {
		if _, known := scanToPiece(*r, c); known && !rests(r, c.Key(), key) {
			return c.Key(), nil
		}
	}
	return key, fmt.Errorf("no other scan of piece %s has a known place: align one with %v first", key.Piece, chain[0].Key())
}

// rests says whether the place of a use was found by way of another.
func rests(r *annotate.Record, key, on annotate.UseKey) bool {
	for range len(r.Uses) {
		u := r.Use(key)
		if u == nil || u.Alignment == nil {
			return false
		}
		next, err := annotate.ParseUseKey(u.Alignment.To)
		if err != nil {
			return false
		}
		if next == on {
			return true
		}
		key = next
	}
	return false
}

// alignmentOf writes a result down, chained to the piece's frame.
func alignmentOf(result *register.Result, against annotate.UseKey, beforeToPiece frame.Rigid, picks []annotate.Pick) annotate.Alignment {
	centre := beforeToPiece.Apply(result.Centre)
	return annotate.Alignment{
		To: against.String(), ScanToPiece: result.AfterToBefore.Then(beforeToPiece).Matrix(),
		Verdict: result.Verdict, Reason: result.Reason, NextStep: result.NextStep,
		RelativeScale: result.RelativeScale, FitResidualRMS: result.FitResidualRMS, CheckRMS: result.CheckRMS,
		StableShareAfter: result.StableShareAfter, StableShareBefore: result.StableShareBefore, WeakestDirection: result.Weakest,
		Covariance: turned(result.Covariance, beforeToPiece), Centre: [3]float64{centre.X, centre.Y, centre.Z}, Picks: picks,
	}
}

// turned expresses a covariance of rotation and translation in a turned frame.
func turned(c [36]float64, g frame.Rigid) []float64 {
	j := mat.NewDense(6, 6, nil)
	for block := range 2 {
		for row := range 3 {
			for col := range 3 {
				j.Set(3*block+row, 3*block+col, g.R[3*row+col])
			}
		}
	}
	return sandwich(j, c[:])
}

// moved expresses a covariance of a rotation about one centre and a translation
// as one about another: a turn ω about c shifts c' by ω × (c' − c).
func moved(c []float64, from, to r3.Vec) []float64 {
	d := r3.Sub(to, from)
	j := mat.NewDense(6, 6, nil)
	for i := range 6 {
		j.Set(i, i, 1)
	}
	// ω × d = −[d]ₓ ω
	cross := [3][3]float64{{0, d.Z, -d.Y}, {-d.Z, 0, d.X}, {d.Y, -d.X, 0}}
	for row := range 3 {
		for col := range 3 {
			j.Set(3+row, col, cross[row][col])
		}
	}
	return sandwich(j, c)
}

// sandwich returns J C Jᵀ.
func sandwich(j *mat.Dense, c []float64) []float64 {
	var left, out mat.Dense
	left.Mul(j, mat.NewDense(6, 6, slices.Clone(c)))
	out.Mul(&left, j.T())
	return slices.Clone(out.RawMatrix().Data)
}

// follow moves everything that was aligned by way of a use along with it.
func follow(r *annotate.Record, key annotate.UseKey, was, is frame.Rigid) {
	step := was.Inverse().Then(is) // in the piece's frame: from the old place to the new one
	for i := range r.Uses {
		u := &r.Uses[i]
		if u.Alignment == nil || !rests(r, u.Key(), key) {
			continue
		}
		a := u.Alignment
		a.ScanToPiece = frame.FromMatrix(a.ScanToPiece).Then(step).Matrix()
		if len(a.Covariance) == 36 {
			a.Covariance = turned([36]float64(a.Covariance), step)
		}
		c := step.Apply(vec(a.Centre))
		a.Centre = [3]float64{c.X, c.Y, c.Z}
	}
}

// support returns the faces of a use that are marked as support: out of every
// value and every alignment. nil for none.
func (p *Project) support(key annotate.UseKey) ([]bool, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	use := key.String()
	if !p.hasMap(use) {
		return nil, nil
	}
	m, err := p.liveMap(use)
	if err != nil {
		return nil, err
	}
	record := p.history.Record()
	regions := record.RegionsOf(use)
	var out []bool
	for f, number := range m.Labels() {
		if number != 0 && regions[number].Kind == annotate.Support {
			if out == nil {
				out = make([]bool, m.FaceCount())
			}
			out[f] = true
		}
	}
	return out, nil
}

// part passes progress on as a stretch of a longer job.
func part(progress func(float64, string), from, to float64) func(float64, string) {
	if progress == nil {
		return nil
	}
	return func(done float64, words string) { progress(from+(to-from)*done, words) }
}

// Overlap of parts: a face counts in the earlier part if that part's surface
// lies within this many of its mean edges and faces the same way.
const (
	overlapEdges = 2
	overlapCos   = 0.5 // 60 degrees
)

// countParts finds, for the later parts of a stage, the faces that an earlier
// part shows as well, and lists them as counted elsewhere, as one action. Parts
// whose place is not known are left alone.
func (p *Project) countParts(ctx context.Context, key annotate.UseKey) error {
	record := p.Record()
	uses := record.UsesAt(key.Stage, key.Piece)
	if len(uses) < 2 {
		return nil
	}
	var loaded []*Loaded
	for _, u := range uses {
		l, err := p.LoadUse(ctx, u.Key(), nil)
		if err != nil {
			return err
		}
		if l.Aligned {
			loaded = append(loaded, l)
		}
	}
	covered := map[string][]uint32{}
	for i, l := range loaded {
		var faces []uint32
		for f := range uint32(l.Surface.Mesh.FaceCount()) {
			if f%4096 == 0 && ctx.Err() != nil {
				return ctx.Err()
			}
			if slices.ContainsFunc(loaded[:i], func(e *Loaded) bool { return shows(e, l, f) }) {
				faces = append(faces, f)
			}
		}
		covered[l.Use.Key().String()] = faces
	}
	_, err := p.do("overlap of parts counted", func(d *history.Draft) error {
		for _, l := range loaded {
			use := l.Use.Key().String()
			m, err := d.Map(use)
			if err != nil {
				return err
			}
			diff, err := m.CountElsewhere(covered[use])
			if err != nil {
				return err
			}
			d.Note(use, diff)
		}
		return nil
	})
	return err
}

// shows says whether the surface of an earlier part covers a face of a later
// one; its open border does not count as covering what lies beyond.
func shows(earlier, later *Loaded, f uint32) bool {
	m, e := later.Surface.Mesh, earlier.Surface.Mesh
	a, b, c := m.Corners(f)
	toEarlier := later.ScanToPiece.Then(earlier.ScanToPiece.Inverse())
	centre := toEarlier.Apply(r3.Scale(later.factor()/3, r3.Add(a, r3.Add(b, c))))
	centre = r3.Scale(1/earlier.factor(), centre)
	reach := overlapEdges * max(later.Surface.MeanEdge(), earlier.Surface.MeanEdge())
	hit, ok := earlier.Surface.Tree().Closest(centre, reach)
	if !ok || atBorder(earlier.Surface, hit.Face, hit.Weights) {
		return false
	}
	n, o := toEarlier.Turn(m.AreaVector(f)), e.AreaVector(hit.Face)
	return r3.Dot(n, o) >= overlapCos*r3.Norm(n)*r3.Norm(o)
}

// atBorder says whether a place lies on an edge without a face beyond.
func atBorder(s *facemap.Surface, f uint32, w [3]float64) bool {
	for k := range uint32(3) {
		if s.Topology.Neighbour[3*f+k] == mesh.BorderEdge && w[(k+2)%3] == 0 {
			return true
		}
	}
	return false
}
