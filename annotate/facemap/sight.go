package facemap

import (
	"context"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// Sight says which faces somebody sees from one place, so that a tool maps
// nothing on the far side or behind something else. A face is seen if its
// smoothed normal looks towards the eye and nothing lies before its middle,
// but for what is nearer to it than a mean edge: noise, and its neighbours at
// the rim. It remembers what it has found, a bit for each face in words of 64: two
// goroutines may ask at once only about faces of different words.
type Sight struct {
	s     *Surface
	eye   r3.Vec // the place, or
	ahead r3.Vec // the unit direction of sight, where everything is seen along it
	far   float64
	known []uint64
	seen  []uint64
}

// NewSight looks from a place, mm in the mesh's frame.
func (s *Surface) NewSight(eye r3.Vec) *Sight {
	words := (s.Mesh.FaceCount() + 63) / 64
	return &Sight{s: s, eye: eye, known: make([]uint64, words), seen: make([]uint64, words)}
}

// NewSightAlong looks along one direction from outside, as in a picture without
// perspective. far is a distance from which all of the mesh lies ahead, mm.
func (s *Surface) NewSightAlong(ahead r3.Vec, far float64) *Sight {
	k := s.NewSight(r3.Vec{})
	k.ahead, k.far = r3.Unit(ahead), far
	return k
}

// Sees says whether a face is seen.
func (k *Sight) Sees(face uint32) bool {
	word, bit := face/64, uint64(1)<<(face%64)
	if k.known[word]&bit == 0 {
		k.known[word] |= bit
		if k.look(face) {
			k.seen[word] |= bit
		}
	}
	return k.seen[word]&bit != 0
}

// know looks at many faces at once, side by side: where the brush is first put down
// on a fine mesh, ten thousand are asked about.
func (k *Sight) know(faces []uint32) {
	const block = 256
	var open []uint32
	for _, f := range faces {
		if k.known[f/64]>>(f%64)&1 == 0 {
			open = append(open, f)
		}
	}
	if len(open) <= block {
		return // soon asked one by one
	}
	sees := make([]bool, len(open))
	_ = mesh.Parallel(context.Background(), (len(open)+block-1)/block, func(b int) {
		for i := b * block; i < min(len(open), (b+1)*block); i++ {
			sees[i] = k.look(open[i])
		}
	})
	for i, f := range open {
		k.known[f/64] |= 1 << (f % 64)
		if sees[i] {
			k.seen[f/64] |= 1 << (f % 64)
		}
	}
}

func (k *Sight) look(face uint32) bool {
	a, b, c := k.s.Mesh.Corners(face)
	middle := r3.Scale(1.0/3, r3.Add(a, r3.Add(b, c)))
	from := k.eye
	if k.far > 0 {
		from = r3.Sub(middle, r3.Scale(k.far, k.ahead))
	}
	way := r3.Sub(middle, from)
	if r3.Dot(way, k.s.normalAt(face)) >= 0 {
		return false
	}
	f, dist, ok := k.s.Tree().Ray(from, way)
	return !ok || f == face || dist >= r3.Norm(way)-k.s.edge
}
