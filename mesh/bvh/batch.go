package bvh

import (
	"context"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// queryBlock is the number of queries that one worker takes at a time.
const queryBlock = 4096

// ClosestAll answers Closest for the points at(0) … at(n-1) in parallel and
// puts the answers in out, which must hold n; Face is None where there is
// none. The points are asked in the order of a space-filling curve, each with
// the answer of the one before as a first guess. at is called twice for each,
// from several goroutines. It stops with ctx's error when ctx is done; out is
// then partly filled.
func (t *Tree) ClosestAll(ctx context.Context, n int, at func(i int) r3.Vec, within float64, out []Hit) error {
	order, err := t.curveOrder(ctx, n, at)
	if err != nil {
		return err
	}
	return mesh.Parallel(ctx, (n+queryBlock-1)/queryBlock, func(b int) {
		s := search{t: t}
		guess := None
		for _, i := range order[b*queryBlock : min(n, (b+1)*queryBlock)] {
			s.ask(at(int(i)), within, guess)
			out[i] = s.hit()
			if s.face != None {
				guess = s.face
			}
		}
	})
}
