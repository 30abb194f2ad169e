package quality

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

const (
	// viewDirections is the number of directions from which a face may be seen.
	viewDirections = 128
	// viewSample is the most faces that are looked at one by one; on a larger
	// scan the others are as the nearest one over the surface that was.
	viewSample = 20_000
	// hiddenShare and hiddenPatch are the shares of the area that all hidden
	// patches together, and each of them, must have to be proposed: every scan
	// has clefts into which no direction reaches.
	hiddenShare, hiddenPatch = 0.01, 0.004
	// offFace is how far off a face a ray starts, in longest sides of the face.
	offFace = 1e-3
)

// directions returns n unit vectors spread evenly over the sphere along a
// spiral by the golden angle (Swinbank and Purser, Q. J. R. Meteorol. Soc. 132,
// 2006). Each is followed by those far from it, so that a face open to the
// outside is seen after few of them.
func directions(n int) []r3.Vec {
	out := make([]r3.Vec, n)
	golden := math.Pi * (3 - math.Sqrt(5))
	const stride = 37 // without a common divisor with a power of two
	for i := range out {
		k := i * stride % n
		z := 1 - (2*float64(k)+1)/float64(n)
		r := math.Sqrt(1 - z*z)
		out[i] = r3.Vec{X: r * math.Cos(golden*float64(k)), Y: r * math.Sin(golden*float64(k)), Z: z}
	}
	return out
}

// innerWalls proposes the patches of the surface that cannot be seen from
// outside: neither side of a face is met by light from any of many directions.
// So the way the faces look does not matter, and an open scan, into which light
// comes from where nothing was scanned, has no inner walls.
func (s *surface) innerWalls(ctx context.Context, _ *Result, progress func(float64, string)) ([]Proposal, error) {
	hidden, err := s.hidden(ctx, progress)
	if err != nil {
		return nil, err
	}
	var out []Proposal
	var all float64
	for _, patch := range s.patches(func(f uint32) bool { return hidden[f] }) {
		area := s.sum(patch)
		if area < hiddenPatch*s.total {
			continue
		}
		all += area
		out = append(out, Proposal{Kind: InnerWall, Faces: patch, Area: area, Reason: fmt.Sprintf(
			"%d triangles (%.2g %% of the area) cannot be seen from outside from any of %d directions, as inner walls of a segmented scan cannot",
			len(patch), 100*area/s.total, viewDirections)})
	}
	if all < hiddenShare*s.total {
		return nil, nil
	}
	return out, nil
}

// hidden says of each face whether it cannot be seen from outside.
func (s *surface) hidden(ctx context.Context, progress func(float64, string)) ([]bool, error) {
	n := s.m.FaceCount()
	dirs := directions(viewDirections)
	step := max(1, (n+viewSample-1)/viewSample)
	count := (n + step - 1) / step
	const (
		unknown = iota
		seen
		unseen
	)
	state := make([]uint8, n)
	const block, round = 256, 64
	blocks := (count + block - 1) / block
	for from := 0; from < blocks; from += round {
		progress(float64(from)/float64(blocks), "looking which surface can be seen from outside")
		err := mesh.Parallel(ctx, min(round, blocks-from), func(i int) {
			b := from + i
			for k := b * block; k < min(count, (b+1)*block); k++ {
				f := uint32(k * step)
				switch {
				case ctx.Err() != nil:
					return
				case s.without[f]:
				case s.seen(f, dirs):
					state[f] = seen
				default:
					state[f] = unseen
				}
			}
		})
		if err != nil {
			return nil, err
		}
	}
	// From the faces looked at over the surface to the others.
	var queue []uint32
	for f, is := range state {
		if is != unknown {
			queue = append(queue, uint32(f))
		}
	}
	for i := 0; i < len(queue); i++ {
		f := queue[i]
		for k := range uint32(3) {
			if g := s.t.Neighbour[3*f+k]; g >= 0 && state[g] == unknown {
				state[g] = state[f]
				queue = append(queue, uint32(g))
			}
		}
	}
	out := make([]bool, n)
	for f, is := range state {
		out[f] = is == unseen
	}
	return out, nil
}

// seen says whether a straight line leads from the middle of a face, on either
// side, out of the scan.
func (s *surface) seen(f uint32, dirs []r3.Vec) bool {
	a, b, c := s.m.Corners(f)
	normal := r3.Unit(r3.Cross(r3.Sub(b, a), r3.Sub(c, a)))
	centre := r3.Scale(1.0/3, r3.Add(a, r3.Add(b, c)))
	size := math.Sqrt(max(r3.Norm2(r3.Sub(b, a)), r3.Norm2(r3.Sub(c, b)), r3.Norm2(r3.Sub(a, c))))
	out := r3.Scale(offFace*size, normal)
	front, back := r3.Add(centre, out), r3.Sub(centre, out)
	for _, d := range dirs {
		if r3.Dot(d, normal) > 0 && s.tree().Free(front, d) {
			return true
		}
	}
	for _, d := range dirs {
		if r3.Dot(d, normal) < 0 && s.tree().Free(back, d) {
			return true
		}
	}
	return false
}
