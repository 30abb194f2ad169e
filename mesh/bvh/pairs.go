package bvh

import (
	"cmp"
	"context"
	"slices"

	"rigatino/mesh"
)

const (
	// pairBlock is the number of leaves one worker takes at a time.
	pairBlock = 64
	// pairsPerLeaf bounds the pairs that are looked at for one leaf. A scan has
	// some hundred; a file made to take for ever has as many as it has faces.
	pairsPerLeaf = 1 << 15
)

// Pairs returns the pairs of faces, the lower id first and in ascending order,
// whose boxes touch and for which test says yes; test is called from several
// goroutines. Where very many boxes lie on each other some pairs are not looked
// at, and all is false. It stops with ctx's error when ctx is done.
func (t *Tree) Pairs(ctx context.Context, test func(f, g uint32) bool, progress func(done float64)) (pairs [][2]uint32, all bool, err error) {
	blocks := (len(t.leaves) + pairBlock - 1) / pairBlock
	found := make([][][2]uint32, blocks)
	cut := make([]bool, blocks)
	const step = 64 // blocks between two words of progress
	for from := 0; from < blocks; from += step {
		if progress != nil {
			progress(float64(from) / float64(blocks))
		}
		err := mesh.Parallel(ctx, min(step, blocks-from), func(i int) {
			b := from + i
			for l := b * pairBlock; l < min(len(t.leaves), (b+1)*pairBlock); l++ {
				if ctx.Err() != nil {
					return
				}
				var whole bool
				found[b], whole = t.pairsOf(uint32(l), test, found[b])
				cut[b] = cut[b] || !whole
			}
		})
		if err != nil {
			return nil, false, err
		}
	}
	pairs = slices.Concat(found...)
	slices.SortFunc(pairs, func(p, q [2]uint32) int {
		return cmp.Or(cmp.Compare(p[0], q[0]), cmp.Compare(p[1], q[1]))
	})
	return pairs, !slices.Contains(cut, true), nil
}

// pairsOf adds the pairs of the faces of a leaf with each other and with those
// of later leaves.
func (t *Tree) pairsOf(at uint32, test func(f, g uint32) bool, out [][2]uint32) (pairs [][2]uint32, all bool) {
	own := &t.leaves[at]
	round := nothing()
	for k := range width {
		if own.child[k] != nowhere {
			round.add(own.boxes.get(k))
		}
	}
	left := pairsPerLeaf
	look := func(i int, l *leaf, from int) {
		b := own.boxes.get(i)
		for k := from; k < width; k++ {
			if l.child[k] == nowhere || !l.boxes.touches(k, &b) {
				continue
			}
			f, g := own.child[i], l.child[k]
			left--
			if test(min(f, g), max(f, g)) {
				out = append(out, [2]uint32{min(f, g), max(f, g)})
			}
		}
	}
	for i := range width {
		if own.child[i] != nowhere {
			look(i, own, i+1)
		}
	}
	stack := []uint32{t.root}
	for len(stack) > 0 && left > 0 {
		child := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		if child&isLeaf == 0 {
			n, b := &t.spheres[child], &t.boxes[child]
			for k := range width {
				if c := n.child[k]; c != nowhere && (c&isLeaf == 0 || c&^isLeaf > at) && b.touches(k, &round) {
					stack = append(stack, c)
				}
			}
			continue
		}
		if child&^isLeaf <= at { // a root that is a leaf
			continue
		}
		l := &t.leaves[child&^isLeaf]
		for i := range width {
			if own.child[i] != nowhere {
				look(i, l, 0)
			}
		}
	}
	return out, left > 0
}

// get returns box k.
func (b *boxes) get(k int) box {
	return box{[3]float32{b.lowX[k], b.lowY[k], b.lowZ[k]}, [3]float32{b.highX[k], b.highY[k], b.highZ[k]}}
}

// touches says whether box k and c have a point in common. Tree coordinates are
// the mesh's own times a power of two, so the answer is exact.
func (b *boxes) touches(k int, c *box) bool {
	return b.lowX[k] <= c.high[0] && b.highX[k] >= c.low[0] &&
		b.lowY[k] <= c.high[1] && b.highY[k] >= c.low[1] &&
		b.lowZ[k] <= c.high[2] && b.highZ[k] >= c.low[2]
}
