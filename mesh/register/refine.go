package register

import (
	"context"
	"math"

	"rigatino/mesh/frame"
)

// schedule is one run of the annealed fit on one level.
type schedule struct {
	from, to float64 // mm, kernel widths
	factor   float64
	settle   int     // most rounds at the last width
	low      float64 // see oneSided; 0 for alike on both sides
	plain    bool
}

// oneSided is how much narrower than the kernel it is for after places under the
// before-scan. Preparation takes matter off, so they most likely lie under what
// was taken, while a place outside can only be brought in by moving: that alone
// lets the fit find home from 10 degrees with three quarters of the surface
// changed, where a kernel alike on both sides is caught after 4 (tried on the
// fabricated bones of the tests).
const oneSided = 0.15

// anneal narrows the kernel round by round and returns the pose.
func (m *matcher) anneal(ctx context.Context, pose frame.Similarity, n int, s schedule, radius float64) (frame.Similarity, int, error) {
	rounds := 0
	for c := s.from; ; c = max(s.to, c*s.factor) {
		last := c <= s.to
		reps := 1
		if last {
			reps = s.settle
		}
		for range reps {
			k := kernel{c, c}
			if !last && s.low > 0 {
				k.lower = max(c*s.low, s.to)
			}
			if s.plain {
				k = kernel{}
			}
			gate := math.Hypot(1.5*c, 1.5*m.before.size)
			sys, err := m.pair(ctx, pose, k, gate)
			if err != nil {
				return pose, rounds, err
			}
			rounds++
			x, ok := sys.solve(n, radius, 1e-6)
			if !ok {
				return pose, rounds, nil
			}
			pose = advance(pose, x, n, m.centre)
			if last && size(x, n, radius) < 1e-3*c {
				return pose, rounds, nil
			}
		}
		if last {
			return pose, rounds, nil
		}
	}
}
