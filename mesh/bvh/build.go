package bvh

import (
	"context"
	"math"
	"math/bits"
	"slices"
	"sync"

	"rigatino/mesh"
)

const (
	// parallelFrom is the number of faces above which the children of a node
	// are built side by side.
	parallelFrom = 1 << 14
	// sampleFrom is the number of faces above which the longest axis is looked
	// for on a sample of that many.
	sampleFrom, sampleSize = 1024, 512
	// sizeStep is the ratio of face sizes above which faces get a tree of
	// their own, so that the few large faces of a table or of closed holes do
	// not blow up the bounds of the many small ones.
	sizeStep = 8
	// buildBlock is the number of faces one worker reads at a time.
	buildBlock = 1 << 14
)

// middle is the centre of a face's bounds, which places it in the tree.
type middle struct {
	at   [3]float32
	face uint32
}

// builder holds what is needed only while a tree is built.
type builder struct {
	*Tree
	middles []middle
}

// Build makes the tree of all faces of m, which must not change afterwards.
//
// Faces are cut at the median of the longest axis until every leaf is full; a
// median tree asks no more of a query than one built by surface areas, on
// scans, and is built in a third of the time.
func Build(m *mesh.Mesh) *Tree {
	offset := max(math.Abs(m.Origin.X), math.Abs(m.Origin.Y), math.Abs(m.Origin.Z))
	b := builder{Tree: &Tree{m: m, scale: 1, offset: offset, root: nowhere}}
	sizes := b.read()
	if len(b.middles) == 0 {
		return b.Tree
	}
	classes := b.classes(sizes)
	node, first := 0, 0
	if len(classes) > 1 {
		node = 1
	}
	nodes, leaves := node, 0
	for _, c := range classes {
		nodes += nodesFor(len(c))
		leaves += leavesFor(len(c))
	}
	b.spheres, b.boxes, b.leaves = make([]spheres, nodes), make([]boxes, nodes), make([]leaf, leaves)
	parts := make([]part, len(classes))
	for i, c := range classes {
		parts[i] = b.subtree(c, node, first)
		node += nodesFor(len(c))
		first += leavesFor(len(c))
	}
	if len(parts) == 1 {
		b.root = parts[0].child
	} else {
		b.join(0, parts)
		b.root = 0
	}
	b.Tree.box = nothing()
	for _, p := range parts {
		b.Tree.box.add(p.box)
	}
	return b.Tree
}

// read finds the scale of the tree and the middles of all faces that have a
// place, and the largest extent of each.
func (b *builder) read() (sizes []float32) {
	m := b.m
	n := m.FaceCount()
	blocks := (n + buildBlock - 1) / buildBlock
	parts := make([][]middle, blocks)
	extents := make([][]float32, blocks)
	largest := make([]float32, blocks)
	_ = mesh.Parallel(context.Background(), blocks, func(block int) {
		from, to := block*buildBlock, min(n, (block+1)*buildBlock)
		list, size := make([]middle, 0, to-from), make([]float32, 0, to-from)
		for f := from; f < to; f++ {
			v := m.Triangles[3*f : 3*f+3 : 3*f+3]
			c := boxRound(&[3][3]float32{b.corner(v[0]), b.corner(v[1]), b.corner(v[2])})
			var mid middle
			mid.face = uint32(f)
			var extent, reach float32
			for k := range 3 {
				mid.at[k] = c.low[k]/2 + c.high[k]/2
				extent = max(extent, c.high[k]-c.low[k])
				reach = max(reach, c.high[k], -c.low[k])
			}
			// Not a number, infinite, or so large that squares would be.
			if !(reach < math.MaxFloat32/4) {
				continue
			}
			list, size = append(list, mid), append(size, extent)
			largest[block] = max(largest[block], reach)
		}
		parts[block], extents[block] = list, size
	})
	total := 0
	for _, p := range parts {
		total += len(p)
	}
	b.middles, sizes = make([]middle, 0, total), make([]float32, 0, total)
	for block := range parts {
		b.middles = append(b.middles, parts[block]...)
		sizes = append(sizes, extents[block]...)
		b.largest = max(b.largest, largest[block])
	}
	// Coordinates between 512 and 1024: squares and fourth powers of edges
	// stay well inside float32. The scale itself must be a float32 too.
	if b.largest > 0 {
		_, exp := math.Frexp(float64(b.largest))
		b.scale = math.Ldexp(1, min(max(10-exp, -120), 120))
	}
	b.largest *= float32(b.scale)
	for i := range b.middles {
		for k := range 3 {
			b.middles[i].at[k] *= float32(b.scale)
		}
	}
	return sizes
}

// boxRound is the box round a triangle.
func boxRound(p *[3][3]float32) (c box) {
	for k := range 3 {
		c.low[k] = min(p[0][k], p[1][k], p[2][k])
		c.high[k] = max(p[0][k], p[1][k], p[2][k])
	}
	return c
}

// classes sorts the middles into at most three runs by the size of their faces:
// up to sizeStep times the median size, up to sizeStep² times, and larger.
func (b *builder) classes(sizes []float32) [][]middle {
	sample := make([]float32, 0, sampleSize)
	for i := 0; i < len(sizes); i += max(1, len(sizes)/sampleSize) {
		sample = append(sample, sizes[i])
	}
	slices.Sort(sample)
	limit := sample[len(sample)/2] * sizeStep
	var large [2][]middle
	small := b.middles[:0]
	for i, m := range b.middles {
		switch {
		case sizes[i] <= limit || limit == 0:
			small = append(small, m)
		case sizes[i] <= sizeStep*limit:
			large[0] = append(large[0], m)
		default:
			large[1] = append(large[1], m)
		}
	}
	out := [][]middle{small}
	for _, l := range large {
		if len(l) > 0 {
			out = append(out, l)
		}
	}
	return out
}

// capacity is the largest 8·8ᵏ below n: children are cut at its multiples, so
// that all leaves but the last one are full.
func capacity(n int) int {
	k := (bits.Len(uint(n-1)) - 1) / 3
	return 1 << (3 * k)
}

// leavesFor and nodesFor count what a subtree of n faces takes.
func leavesFor(n int) int { return (n + width - 1) / width }

func nodesFor(n int) int {
	if n <= width {
		return 0
	}
	c := capacity(n)
	full := (n - 1) / c
	return 1 + full*(c/width-1)/(width-1) + nodesFor(n-full*c)
}

// part is a finished subtree with its bounds.
type part struct {
	box
	centre [3]float32
	radius float32
	child  uint32
}

// subtree builds the tree of the faces in list, whose nodes are numbered from
// node and leaves from first.
func (b *builder) subtree(list []middle, node, first int) part {
	if len(list) <= width {
		return b.leaf(list, first)
	}
	c := capacity(len(list))
	count := (len(list) + c - 1) / c
	cut(list, c, count)
	parts := make([]part, count)
	var wait sync.WaitGroup
	at := node + 1
	for i := range count {
		own, nodeAt, leafAt := list[i*c:min(len(list), (i+1)*c)], at, first+i*c/width
		at += nodesFor(len(own))
		if len(own) >= parallelFrom {
			wait.Go(func() { parts[i] = b.subtree(own, nodeAt, leafAt) })
		} else {
			parts[i] = b.subtree(own, nodeAt, leafAt)
		}
	}
	wait.Wait()
	return b.join(node, parts)
}

// cut partitions list into count runs of c faces, halving along the longest
// axis each time.
func cut(list []middle, c, count int) {
	if count == 1 {
		return
	}
	left := count / 2
	selectNth(list, left*c, longest(list))
	cut(list[:left*c], c, left)
	cut(list[left*c:], c, count-left)
}

// longest is the axis along which the middles spread most.
func longest(list []middle) int {
	step := 1
	if len(list) > sampleFrom {
		step = len(list) / sampleSize
	}
	low, high := list[0].at, list[0].at
	for i := 0; i < len(list); i += step {
		for k := range 3 {
			low[k] = min(low[k], list[i].at[k])
			high[k] = max(high[k], list[i].at[k])
		}
	}
	x, y, z := high[0]-low[0], high[1]-low[1], high[2]-low[2]
	switch {
	case x >= y && x >= z:
		return 0
	case y >= z:
		return 1
	}
	return 2
}

// selectNth puts the n smallest middles along the axis first (quickselect with
// the median of nine as pivot).
func selectNth(list []middle, n, axis int) {
	low, high := 0, len(list)-1
	for high-low > 16 {
		pivot := pivotOf(list[low:high+1], axis)
		i, j := low, high
		for i <= j {
			for list[i].at[axis] < pivot {
				i++
			}
			for list[j].at[axis] > pivot {
				j--
			}
			if i <= j {
				list[i], list[j] = list[j], list[i]
				i++
				j--
			}
		}
		switch {
		case n <= j:
			high = j
		case n >= i:
			low = i
		default:
			return
		}
	}
	for i := low + 1; i <= high; i++ {
		for j := i; j > low && list[j].at[axis] < list[j-1].at[axis]; j-- {
			list[j], list[j-1] = list[j-1], list[j]
		}
	}
}

func pivotOf(list []middle, axis int) float32 {
	median := func(a, b, c float32) float32 { return max(min(a, b), min(max(a, b), c)) }
	at := func(i int) float32 { return list[i].at[axis] }
	n := len(list)
	if n < 128 {
		return median(at(0), at(n/2), at(n-1))
	}
	s := n / 8
	return median(
		median(at(0), at(s), at(2*s)),
		median(at(3*s), at(4*s), at(5*s)),
		median(at(6*s), at(7*s), at(n-1)))
}

// join fills a node with its children.
func (b *builder) join(node int, parts []part) part {
	s, x := &b.spheres[node], &b.boxes[node]
	out := part{box: nothing(), child: uint32(node)}
	for k := range width {
		if k >= len(parts) {
			s.clear(k, x)
			continue
		}
		p := &parts[k]
		s.set(k, p.centre[0], p.centre[1], p.centre[2], p.radius, p.child)
		x.set(k, p.box)
		out.box.add(p.box)
	}
	out.enclose(parts)
	return out
}

// enclose puts a sphere round the parts about the middle of the box: each part
// is as far as its own sphere or the farthest corner of its box, whichever is
// nearer.
func (p *part) enclose(parts []part) {
	for k := range 3 {
		p.centre[k] = p.low[k]/2 + p.high[k]/2
	}
	for i := range parts {
		q := &parts[i]
		var apart, corner float32
		for k := range 3 {
			d := q.centre[k] - p.centre[k]
			apart += d * d
			c := max(p.centre[k]-q.low[k], q.high[k]-p.centre[k])
			corner += c * c
		}
		p.radius = max(p.radius, rounded(min(root(apart)+q.radius, root(corner))))
	}
}

func root(x float32) float32 { return float32(math.Sqrt(float64(x))) }

// rounded makes a radius large enough for the rounding of its own arithmetic.
// The rounding of coordinates is allowed for by the query.
func rounded(r float32) float32 { return r * 1.00001 }

// leaf fills a leaf with up to eight faces.
func (b *builder) leaf(list []middle, at int) part {
	l := &b.leaves[at]
	parts := make([]part, 0, width)
	out := part{box: nothing(), child: uint32(at) | isLeaf}
	for k := range width {
		if k >= len(list) {
			l.clear(k, &l.boxes)
			continue
		}
		f := list[k].face
		t := b.m.Triangles[3*f : 3*f+3 : 3*f+3]
		corners := [3][3]float32{b.corner(t[0]), b.corner(t[1]), b.corner(t[2])}
		p := part{box: boxRound(&corners), child: f}
		l.faces[k], p.centre, p.radius = sift(&corners)
		l.spheres.set(k, p.centre[0], p.centre[1], p.centre[2], p.radius, f)
		l.boxes.set(k, p.box)
		out.box.add(p.box)
		parts = append(parts, p)
	}
	out.enclose(parts)
	return out
}
