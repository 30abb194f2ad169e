package project

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
)

// sameSize is a relative difference of size that changes nothing: 0.01 mm on a
// metre.
const sameSize = 1e-5

// rescaled carries over everything that rests on the size of a use whose factor
// was just multiplied by grown, and returns the uses whose alignment is out of
// date by it, in the order of the record.
//
// A scan grows about the zero of its own frame. Each scan that was aligned with
// it stays where it was in relation to it, held at the middle of the surface that
// both share. Where both grew by the same factor (the other's size was found on
// this one) that is exact, and the alignment still holds; where one grew and the
// other did not it is the best place known, and the alignment is marked.
func rescaled(r *annotate.Record, key annotate.UseKey, grown float64) []annotate.UseKey {
	if grown == 1 {
		return nil
	}
	base, _ := r.BaseUse(key.Piece)
	m := mover{r: r, key: key, base: base.Key(), by: grown, done: map[annotate.UseKey]carried{}}
	if m.base == key {
		movePiece(r, key.Piece, grown)
	}
	var stale []annotate.UseKey
	for i := range r.Uses {
		u := &r.Uses[i]
		if u.Piece != key.Piece {
			continue
		}
		if m.carry(u.Key(), len(r.Uses)); m.done[u.Key()].stale {
			stale = append(stale, u.Key())
		}
	}
	return stale
}

// carried is how a use was moved: x to by·x + shift, in the piece's frame.
type carried struct {
	by    float64
	shift r3.Vec
	stale bool
}

func (c carried) apply(v r3.Vec) r3.Vec { return r3.Add(r3.Scale(c.by, v), c.shift) }

type mover struct {
	r    *annotate.Record
	key  annotate.UseKey
	base annotate.UseKey
	by   float64
	done map[annotate.UseKey]carried
}

// carry moves a use after the one that it was aligned with; depth bounds chains
// that a damaged record leads round in a circle.
func (m *mover) carry(key annotate.UseKey, depth int) carried {
	if c, ok := m.done[key]; ok {
		return c
	}
	out := carried{by: 1}
	u := m.r.Use(key)
	if u == nil {
		return out
	}
	if key == m.key {
		out.by = m.by
	}
	if key != m.base && u.Alignment != nil && depth > 0 {
		if to, err := annotate.ParseUseKey(u.Alignment.To); err == nil {
			under := m.carry(to, depth-1)
			if key != m.key && u.Scale.Verdict == annotate.ScaleDifferenceOnly && len(u.Scale.Bars) == 0 {
				// Its size was found on the other scan and follows it.
				out.by = under.by
				u.Scale.Factor = u.Scale.Calibrated() * out.by
			}
			out = moveAlignment(u, to, out.by, under)
		}
	}
	m.done[key] = out
	return out
}

// moveAlignment carries the alignment of a use over: its scan grew by a factor,
// the one under it was moved.
func moveAlignment(u *annotate.Use, to annotate.UseKey, by float64, under carried) carried {
	a := u.Alignment
	centre := vec(a.Centre)
	out := carried{by: by}
	out.shift = r3.Sub(under.apply(centre), r3.Scale(by, centre))
	origin := out.apply(r3.Vec{X: a.ScanToPiece[3], Y: a.ScanToPiece[7], Z: a.ScanToPiece[11]})
	a.ScanToPiece[3], a.ScanToPiece[7], a.ScanToPiece[11] = origin.X, origin.Y, origin.Z
	moved := out.apply(centre)
	a.Centre = [3]float64{moved.X, moved.Y, moved.Z}
	if a.RelativeScale != 0 {
		a.RelativeScale *= under.by / by
	}
	if by == under.by {
		a.FitResidualRMS *= by
		a.CheckRMS *= by
		for i := range a.Covariance {
			for _, k := range [2]int{i / 6, i % 6} {
				if len(a.Covariance) == 36 && k >= 3 { // a translation
					a.Covariance[i] *= by
				}
			}
		}
		return out
	}
	if math.Abs(by/under.by-1) > sameSize && (a.Verdict == annotate.VerdictAccepted || a.ScaleChanged) {
		out.stale = true
		a.Verdict, a.ScaleChanged = annotate.VerdictAmbiguous, true
		a.Reason = fmt.Sprintf("the size of %v against %v was changed after it was found, to %.6g times what it was", u.Key(), to, by/under.by)
		a.NextStep = "align it again: it begins where the scans lay"
	}
	return out
}

// movePiece lets the frame of a piece grow: where change areas were, and where
// pieces stand in the specimen frame if it is the body's. What a dry fit measured
// was at another size and goes.
func movePiece(r *annotate.Record, piece string, by float64) {
	for i := range r.Changes {
		c := &r.Changes[i]
		if key, err := annotate.ParseUseKey(c.To); err == nil && key.Piece == piece {
			for k := range c.Centroid {
				c.Centroid[k] *= by
			}
		}
	}
	for i := range r.Pieces {
		if piece == annotate.Body || r.Pieces[i].ID == piece {
			r.Pieces[i].DryFit = nil
		}
	}
	if piece != annotate.Body {
		return
	}
	for i := range r.Pieces {
		if m := r.Pieces[i].PieceToSpecimen; m != nil {
			for _, k := range []int{3, 7, 11} {
				m[k] *= by
			}
		}
	}
}
