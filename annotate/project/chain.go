package project

import (
	"errors"
	"fmt"
	"slices"

	"rigatino/annotate"
	"rigatino/mesh/frame"
)

// scanToPiece returns where a use lies in its piece's frame, if that is known.
func scanToPiece(record annotate.Record, u annotate.Use) (frame.Rigid, bool) {
	if base, ok := record.BaseUse(u.Piece); ok && base.Key() == u.Key() {
		return frame.Identity(), true
	}
	if a := u.Alignment; a != nil && a.Verdict == annotate.VerdictAccepted && changedUnder(&record, u.Key()) == nil {
		return frame.FromMatrix(a.ScanToPiece), true
	}
	return frame.Identity(), false
}

// changedUnder returns the use on the way from one to its piece's frame whose
// alignment went out of date when a scale was changed, nil if there is none.
func changedUnder(r *annotate.Record, key annotate.UseKey) *annotate.Use {
	for range len(r.Uses) {
		u := r.Use(key)
		if u == nil || u.Alignment == nil {
			return nil
		}
		if u.Alignment.ScaleChanged {
			return u
		}
		next, err := annotate.ParseUseKey(u.Alignment.To)
		if err != nil {
			return nil
		}
		key = next
	}
	return nil
}

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

// between returns the alignments on the way from one use to another: those of
// both, down to the one they share.
func between(r *annotate.Record, from, to annotate.UseKey) ([]annotate.Alignment, error) {
	down := func(key annotate.UseKey) ([]annotate.UseKey, error) {
		path := []annotate.UseKey{key}
		for range len(r.Uses) {
			u := r.Use(key)
			if u == nil {
				return nil, fmt.Errorf("an alignment leads to %v, which does not exist: align again", key)
			}
			if base, _ := r.BaseUse(key.Piece); base.Key() == key || u.Alignment == nil {
				return path, nil
			}
			next, err := annotate.ParseUseKey(u.Alignment.To)
			if err != nil {
				return nil, err
			}
			path, key = append(path, next), next
		}
		return nil, errors.New("alignments lead round in a circle: align one of them with the scan that gives the piece its frame")
	}
	a, err := down(from)
	if err != nil {
		return nil, err
	}
	b, err := down(to)
	if err != nil {
		return nil, err
	}
	for len(a) > 1 && len(b) > 1 && a[len(a)-2] == b[len(b)-2] {
		a, b = a[:len(a)-1], b[:len(b)-1]
	}
	var links []annotate.Alignment
	for _, key := range slices.Concat(b[:len(b)-1], a[:len(a)-1]) {
		links = append(links, *r.Use(key).Alignment)
	}
	return links, nil
}
