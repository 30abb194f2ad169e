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
	var boxes [width]box // the exact ones
	round := nothing()
	for k, f := range own.child {
		if f != nowhere {
			boxes[k] = faceBox(t.m, f, float32(t.scale))
			round.add(&boxes[k])
		}
	}
	left := pairsPerLeaf
	look := func(l *eight, itself bool) {
		for k, g := range l.child {
			if g == nowhere {
				continue
			}
			c := &boxes[k]
			if !itself {
				if there := faceBox(t.m, g, float32(t.scale)); round.touches(&there) {
					c = &there
				} else {
					continue
				}
			}
			for i, f := range own.child {
				if f == nowhere || (itself && i >= k) || !boxes[i].touches(c) {
					continue
				}
				left--
				if test(min(f, g), max(f, g)) {
					out = append(out, [2]uint32{min(f, g), max(f, g)})
				}
			}
		}
	}
	look(own, true)
	stack := []uint32{t.root}
	for len(stack) > 0 && left > 0 {
		child := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		if child&isLeaf == 0 {
			n := &t.nodes[child]
			for k, c := range n.child {
				if c == nowhere || (c&isLeaf != 0 && c&^isLeaf <= at) {
					continue
				}
				if b := t.boxOf(n, k); b.touches(&round) {
					stack = append(stack, c)
				}
			}
			continue
		}
		if child&^isLeaf <= at { // a root that is a leaf
			continue
		}
		look(&t.leaves[child&^isLeaf], false)
	}
	return out, left > 0
}

// boxOf returns the box of child k, made a little larger for rounding.
func (t *Tree) boxOf(n *eight, k int) box {
	slack := rounding * t.largest
	low, high := [3]uint8{n.lowX[k], n.lowY[k], n.lowZ[k]}, [3]uint8{n.highX[k], n.highY[k], n.highZ[k]}
	var out box
	for i := range 3 {
		out.low[i] = n.base[i] + float32(low[i])*n.step[i] - slack
		out.high[i] = n.base[i] + float32(high[i])*n.step[i] + slack
	}
	return out
}

// touches says whether two boxes have a point in common: exactly, for boxes
// round faces, as tree coordinates are the mesh's own times a power of two.
func (b *box) touches(c *box) bool {
	return b.low[0] <= c.high[0] && b.high[0] >= c.low[0] &&
		b.low[1] <= c.high[1] && b.high[1] >= c.low[1] &&
		b.low[2] <= c.high[2] && b.high[2] >= c.low[2]
}
