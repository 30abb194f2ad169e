package register

import (
	"cmp"
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/frame"
)

// search finds where the after-scan lies with no help.
type search struct {
	l        *levels
	middle   r3.Vec // of the after-scan, in its own frame
	diagonal float64
	appear   bool    // matter may have appeared
	seeds    int     // matches that poses are drawn from, at most
	most     int     // proposals refined at a time
	enough   float64 // a score that ends the search, 0 for none

	found []candidate // distinct, best first
	drawn [2][]uint32
	kept  [3]struct{ before, after *places }
}

// candidate is a refined proposal.
type candidate struct {
	pose frame.Similarity
	survey
	score float64
}

// Numbers of the search.
const (
	searchPatches = 6000 // of the larger scan, about
	leastPatches  = 1500 // of the smaller one
	quickPatches  = 400  // that a proposal is scored by
	mostRefined   = 10
	firstSeeds    = 64
	mostSeeds     = 2560
	// and where a search only has to find what speaks against a pose:
	fewSeeds   = 1280
	fewRefined = 4
	basin      = 14 // patch sizes that a proposal may be off
	// clearShare and clearRatio end the search early: so much of the after-scan
	// lies together beyond chance, and the best rival has so much less.
	clearShare = 0.12
	clearRatio = 3.0
)

// attempts are the sizes that are tried in turn: of the patches, in search
// patches, and of the neighbourhood that describes one, in its patches.
var attempts = []struct{ size, radius float64 }{{1, 5}, {0.65, 5}, {1, 8}}

func newSearch(l *levels, appear bool) *search {
	s := &search{l: l, appear: appear, seeds: mostSeeds, most: mostRefined, middle: l.after[0].centroid()}
	s.diagonal = 4 * l.radius
	s.some(0)
	s.some(1)
	return s
}

// run looks for poses, beside those found already; the best stand in found.
func (s *search) run(ctx context.Context, say func(float64)) error {
	for k := range attempts {
		if s.clear() {
			break
		}
		before, after, err := s.places(ctx, k)
		if err != nil {
			return err
		}
		if err := s.attempt(ctx, before, after, nil); err != nil {
			return err
		}
		say(float64(k+1) / float64(len(attempts)))
	}
	return nil
}

// clear says whether one pose is far better than all others.
func (s *search) clear() bool {
	if s.enough > 0 && len(s.found) > 0 && s.found[0].score > s.enough {
		return true
	}
	if len(s.found) == 0 || s.found[0].score < clearShare {
		return false
	}
	return len(s.found) == 1 || s.found[0].score >= clearRatio*s.found[1].score
}

// places makes the patches of an attempt and describes them.
func (s *search) places(ctx context.Context, attempt int) (before, after *places, err error) {
	if k := &s.kept[attempt]; k.before != nil {
		return k.before, k.after, nil
	}
	a := attempts[attempt]
	fine := [2]*cloud{s.l.before[1], s.l.after[1]}
	large, small := max(fine[0].total, fine[1].total), min(fine[0].total, fine[1].total)
	size := a.size * math.Sqrt(min(large/searchPatches, small/leastPatches))
	size = max(size, s.l.size)
	var out [2]*places
	for i, c := range fine {
		p := &places{cloud: c.coarser(size)}
		if p.described, err = p.describe(ctx, a.radius*size); err != nil {
			return nil, nil, err
		}
		out[i] = p
	}
	s.kept[attempt].before, s.kept[attempt].after = out[0], out[1]
	return out[0], out[1], nil
}

// attempt proposes poses from the matches of two described clouds, scores them
// and refines the best.
func (s *search) attempt(ctx context.Context, before, after *places, taking func(uint32) bool) error {
	all, err := matches(ctx, before, after, taking)
	if err != nil || len(all) < 3 {
		return err
	}
	l := &linked{before: before, after: after, all: all, size: before.size}
	seeds := make([]int32, len(all))
	for i := range seeds {
		seeds[i] = int32(i)
	}
	// The best matches first; the rest follow where no pose comes out of them.
	slices.SortStableFunc(seeds, func(i, j int32) int {
		switch x, y := all[i].off, all[j].off; {
		case x < y:
			return -1
		case x > y:
			return 1
		}
		return 0
	})
	const batch = firstSeeds
	quick := s.quick(before, after)
	if p, ok := l.graduate(); ok {
		if err := s.take(ctx, l, quick, []proposal{p}); err != nil {
			return err
		}
	}
	for from := 0; from < min(len(seeds), s.seeds); from = 4*from + batch {
		proposals, err := l.draw(ctx, seeds[from:min(len(seeds), s.seeds, 4*from+batch)])
		if err != nil {
			return err
		}
		if err := s.take(ctx, l, quick, proposals); err != nil {
			return err
		}
		if s.clear() {
			return nil
		}
	}
	return nil
}

// quick is a surveyor of few patches.
func (s *search) quick(before, after *places) *surveyor {
	q := &surveyor{before: before.cloud, after: after.cloud, limit: 0.5 * before.size, reach: 0.06 * s.diagonal}
	if n := len(after.points); n > quickPatches {
		random := rand.New(rand.NewPCG(9, 4))
		for _, i := range random.Perm(n)[:quickPatches] {
			q.patches = append(q.patches, uint32(i))
		}
		slices.Sort(q.patches)
	}
	return q
}

// take settles and scores proposals, drops those that are near a better one, and
// refines the best, as long as they may come near the best one found.
func (s *search) take(ctx context.Context, l *linked, quick *surveyor, proposals []proposal) error {
	proposals = s.distinct(proposals, 60)
	if err := l.settle(ctx, proposals); err != nil {
		return err
	}
	slices.SortStableFunc(proposals, func(a, b proposal) int { return b.count - a.count })
	proposals = s.distinct(proposals, 40)
	errs := make([]error, len(proposals))
	err := mesh.Parallel(ctx, len(proposals), func(i int) {
		var v survey
		v, errs[i] = quick.look(ctx, frame.Similarity{Scale: 1, Rigid: proposals[i].pose}, nil, nil)
		// Before it is refined a pose is no nearer than a patch or two: count what
		// lies about there.
		proposals[i].score = v.same + v.flank
		if !s.appear {
			proposals[i].score -= v.outside / 2
		}
	})
	if err := errors.Join(append(errs, err)...); err != nil {
		return err
	}
	slices.SortStableFunc(proposals, func(a, b proposal) int { return cmp.Compare(b.score, a.score) })
	proposals = proposals[:min(len(proposals), s.most)]
	const pair = 2
	for len(proposals) > 0 {
		n := min(pair, len(proposals))
		if err := s.refineAll(ctx, proposals[:n]); err != nil {
			return err
		}
		proposals = proposals[n:]
		if s.clear() && len(proposals) > 0 && proposals[0].score < s.found[0].score/clearRatio {
			break
		}
	}
	return nil
}

// distinct keeps the first of proposals that are near one another, at most n.
func (s *search) distinct(proposals []proposal, n int) []proposal {
	var out []proposal
	for _, p := range proposals {
		fresh := true
		for _, o := range out {
			turn := o.pose.Inverse().Then(p.pose).Angle()
			if turn < 0.09 && r3.Norm(r3.Sub(o.pose.Apply(s.middle), p.pose.Apply(s.middle))) < 0.02*s.diagonal {
				fresh = false
				break
			}
		}
		if fresh {
			out = append(out, p)
		}
		if len(out) == n {
			break
		}
	}
	return out
}

// refineAll refines proposals on the coarse and the middle clouds and puts them
// among the candidates. Those that cannot come near the best any more are left.
func (s *search) refineAll(ctx context.Context, proposals []proposal) error {
	results := make([]candidate, len(proposals))
	errs := make([]error, len(proposals))
	err := mesh.Parallel(ctx, len(proposals), func(i int) {
		results[i], errs[i] = s.refine(ctx, frame.Similarity{Scale: 1, Rigid: proposals[i].pose}, basin*s.l.size)
	})
	if err != nil {
		return err
	}
	for i, r := range results {
		if errs[i] != nil {
			return errs[i]
		}
		s.add(r)
	}
	return nil
}

// add puts a candidate among those found: better ones first, only the best of
// those that are near one another.
func (s *search) add(c candidate) {
	for i, o := range s.found {
		if apartFrom(o.pose.Rigid, c.pose.Rigid, s.middle, s.diagonal) {
			continue
		}
		if o.score >= c.score {
			return
		}
		s.found = slices.Delete(s.found, i, i+1)
		s.add(c)
		return
	}
	at, _ := slices.BinarySearchFunc(s.found, c, func(a, b candidate) int {
		if a.score >= b.score {
			return -1
		}
		return 1
	})
	s.found = slices.Insert(s.found, at, c)
	s.found = s.found[:min(len(s.found), 2*mostRefined)]
}

// low is how narrow the kernel is for what lies under the before-scan.
func (s *search) low() float64 {
	if s.appear {
		return 0
	}
	return oneSided
}

// refine brings a pose home on the coarse clouds and the middle ones, and
// surveys it there.
func (s *search) refine(ctx context.Context, pose frame.Similarity, reach float64) (candidate, error) {
	h := s.l.size
	var err error
	for i, run := range []schedule{
		{from: max(reach, 3*h), to: 1.5 * h, factor: 0.75, settle: 4, low: s.low()},
		{from: 1.3 * h, to: 0.7 * h, factor: 0.7, settle: 3},
	} {
		m := newMatcher(s.l.before[i], s.l.after[i], s.l.before[0].centroid())
		m.some = s.some(i)
		if pose, _, err = m.anneal(ctx, pose, rigidPart, run, s.l.radius); err != nil {
			return candidate{}, err
		}
	}
	return s.assess(ctx, pose)
}

// Patches that a candidate is refined and assessed by: of the coarse and of the
// middle cloud.
var candidatePatches = [2]int{900, 2500}

// some draws the patches of a level that candidates are refined by; nil for all.
func (s *search) some(level int) []uint32 {
	n, most := len(s.l.after[level].points), candidatePatches[level]
	if n <= most {
		return nil
	}
	if s.drawn[level] == nil {
		random := rand.New(rand.NewPCG(21, uint64(level)))
		for _, i := range random.Perm(n)[:most] {
			s.drawn[level] = append(s.drawn[level], uint32(i))
		}
		slices.Sort(s.drawn[level])
	}
	return s.drawn[level]
}

// assess surveys a pose on the middle clouds.
func (s *search) assess(ctx context.Context, pose frame.Similarity) (candidate, error) {
	look := surveyor{before: s.l.before[1], after: s.l.after[1], patches: s.some(1), limit: 0.6 * s.l.size, reach: 0.06 * s.diagonal}
	v, err := look.look(ctx, pose, nil, nil)
	return candidate{pose, v, v.rank(s.appear)}, err
}
