package register

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/frame"
)

// survey says how well two clouds lie on one another under a pose, as shares of
// the after cloud's area.
type survey struct {
	same    float64 // within the limit, normals within 25°
	flank   float64 // from there to three times the limit
	outside float64 // clearly outside the before-scan, where nothing was before
}

// net is what lies together beyond chance. Where two surfaces only cross, as
// much area lies in any band of gaps as in any other of the same width, so the
// flanks, twice as wide as the limits, tell what chance gives.
func (s survey) net() float64 { return max(0, s.same-s.flank/2) }

// rank is what poses are compared by. Preparation takes matter away, so matter
// that appears speaks against a pose, unless it was put on.
func (s survey) rank(mayAppear bool) float64 {
	if mayAppear {
		return s.net()
	}
	return max(0, s.net()-s.outside/2)
}

// surveyor looks at after patches under poses.
type surveyor struct {
	before, after *cloud
	patches       []uint32 // that are looked at; nil for all
	limit         float64  // mm
	reach         float64  // mm, within which matter counts as outside; 0 for not looking
}

// farEvery is which of the patches are asked for what lies farther off.
const farEvery = 4

// look surveys a pose. taking may be nil, or say for each before patch and each
// after patch whether it takes part.
func (s *surveyor) look(ctx context.Context, pose frame.Similarity, takingBefore, takingAfter []bool) (survey, error) {
	n := len(s.after.points)
	if s.patches != nil {
		n = len(s.patches)
	}
	const block = 256
	type part struct{ same, flank, outside, all float64 }
	parts := make([]part, (n+block-1)/block)
	tree := s.before.tree
	near := math.Hypot(3*s.limit, 1.5*s.before.size)
	err := mesh.Parallel(ctx, len(parts), func(b int) {
		var sum part
		last := noPatch
		for k := b * block; k < min(n, (b+1)*block); k++ {
			i := uint32(k)
			if s.patches != nil {
				i = s.patches[k]
			}
			if takingAfter != nil && !takingAfter[i] {
				continue
			}
			area := s.after.areas[i]
			sum.all += area
			p, np := pose.Apply(s.after.points[i]), pose.Turn(s.after.normals[i])
			gate := near
			// Far ones are dear to look for: one in four stands for all.
			if k%farEvery == 0 {
				gate = max(near, s.reach)
			}
			at, d2 := tree.nearest(p, np, gate*gate, last)
			if at == noPatch {
				continue
			}
			last = at
			if takingBefore != nil && !takingBefore[tree.patch[at]] {
				continue
			}
			facing := r3.Add(np, tree.normals[at])
			e := r3.Dot(r3.Sub(p, tree.points[at]), facing) / length(facing)
			switch aside2 := d2 - e*e; {
			case math.Abs(e) <= 3*s.limit && aside2 <= 2.25*s.before.size*s.before.size:
				if r3.Dot(np, tree.normals[at]) < facingCos {
					continue
				}
				if math.Abs(e) <= s.limit {
					sum.same += area
				} else {
					sum.flank += area
				}
			case k%farEvery == 0 && e > 3*s.limit && e*e > 0.8*d2:
				sum.outside += farEvery * area
			}
		}
		parts[b] = sum
	})
	if err != nil {
		return survey{}, err
	}
	var all part
	for _, p := range parts {
		all.same, all.flank, all.outside, all.all = all.same+p.same, all.flank+p.flank, all.outside+p.outside, all.all+p.all
	}
	if !(all.all > 0) {
		return survey{}, nil
	}
	return survey{all.same / all.all, all.flank / all.all, all.outside / all.all}, nil
}
