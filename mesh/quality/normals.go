package quality

import (
	"context"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// smoothNormals returns a unit normal per face, averaged by area over the faces
// about it in the given number of rounds; zero where there is no area. A face
// that is large itself needs no averaging and is not averaged, so that a side of
// two triangles keeps its own direction.
func (s *surface) smoothNormals(ctx context.Context, rounds int) ([]r3.Vec, error) {
	n := s.m.FaceCount()
	now, next := make([]r3.Vec, n), make([]r3.Vec, n)
	each := func(do func(f uint32)) error {
		return mesh.Parallel(ctx, (n+faceBlock-1)/faceBlock, func(b int) {
			for f := b * faceBlock; f < min(n, (b+1)*faceBlock); f++ {
				do(uint32(f))
			}
		})
	}
	if err := each(func(f uint32) { now[f] = s.m.AreaVector(f) }); err != nil {
		return nil, err
	}
	large := largeFace * s.total
	for range rounds {
		if err := each(func(f uint32) {
			sum := now[f]
			if s.areas[f] > large {
				next[f] = sum
				return
			}
			for k := range uint32(3) {
				if g := s.t.Neighbour[3*f+k]; g >= 0 {
					sum = r3.Add(sum, now[g])
				}
			}
			next[f] = r3.Scale(0.25, sum)
		}); err != nil {
			return nil, err
		}
		now, next = next, now
	}
	err := each(func(f uint32) {
		if l := r3.Norm(now[f]); l > 0 {
			now[f] = r3.Scale(1/l, now[f])
		}
	})
	return now, err
}

// largeFace is the share of the area from which a face is large.
const largeFace = 1e-3

// centre is the middle of a face.
func (s *surface) centre(f uint32) r3.Vec {
	a, b, c := s.m.Corners(f)
	return r3.Scale(1.0/3, r3.Add(a, r3.Add(b, c)))
}
