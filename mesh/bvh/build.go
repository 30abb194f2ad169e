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
	// parallelFrom is the number of faces above which the parts of a node are
	// cut and built side by side.
	parallelFrom = 1 << 14
	// sampleSize is the number of faces that the longest axis and the first
	// guess of a median are taken from.
	sampleSize = 64
	// surveySize is the number of faces that bounds and sizes are first taken
	// from.
	surveySize = 1 << 12
	// sizeStep is the ratio of face sizes above which faces get a tree of
	// their own, so that the few large faces of a table or of closed holes do
	// not blow up the bounds of the many small ones.
	sizeStep = 8
	// buildBlock is the number of faces one worker reads at a time.
	buildBlock = 1 << 14
)

// builder holds what is needed only while a tree is built.
type builder struct {
	*Tree
	idBits   int // a face number takes the low bits of its place
	axisBits int // and x, y and z so many each, above it
}

// place is where the middle of a face's box lies on a grid, with the face:
// numbers of axisBits bits for z, y and x above the face's own.
type place uint64

// grid is the grid that places are counted on.
type grid struct {
	low    [3]float32 // mesh unit, about the mesh's Origin
	cell   [3]float32
	finest bool // no other would be finer
}

// Build makes the tree of all faces of m, which must not change afterwards.
//
// Faces are cut at the median of the longest axis until every leaf is full; a
// median tree asks no more of a query than one built by surface areas, on
// scans, and is built in a third of the time.
func Build(m *mesh.Mesh) *Tree {
	offset := max(math.Abs(m.Origin.X), math.Abs(m.Origin.Y), math.Abs(m.Origin.Z))
	b := builder{Tree: &Tree{m: m, scale: 1, offset: offset, root: nowhere}}
	b.idBits = max(1, bits.Len(uint(max(0, m.FaceCount()-1))))
	b.axisBits = min(16, (64-b.idBits)/3)
	classes, g := b.read()
	nodes, first := 0, 0
	if len(classes) > 1 {
		nodes = 1
	}
	at, leaves := nodes, 0
	for _, c := range classes {
		nodes += nodesFor(len(c))
		leaves += leavesFor(len(c))
	}
	if leaves == 0 {
		return b.Tree
	}
	b.nodes, b.leaves = make([]eight, nodes), make([]eight, leaves)
	parts := make([]part, len(classes))
	for i, c := range classes {
		parts[i] = b.subtree(c, g, at, first)
		at += nodesFor(len(c))
		first += leavesFor(len(c))
	}
	all := parts[0]
	if len(parts) > 1 {
		all = b.join(0, parts)
	}
	b.root, b.Tree.box = all.child, all.box
	return b.Tree
}

// survey looks at some faces: a grid that holds most, and the size above which
// a face is large.
func (b *builder) survey() (g grid, large float32) {
	n := b.m.FaceCount()
	round := nothing()
	var sizes []float32
	for f := 0; f < n; f += max(1, n/surveySize) {
		c := faceBox(b.m, uint32(f), 1)
		size, _, ok := c.measure()
		if !ok {
			continue
		}
		round.add(&c)
		sizes = append(sizes, size)
	}
	if len(sizes) == 0 {
		return grid{}, 0
	}
	slices.Sort(sizes)
	return b.gridOver(&round), sizes[len(sizes)/2] * sizeStep
}

// gridOver is the finest grid over a box.
func (b *builder) gridOver(c *box) (g grid) {
	for k := range 3 {
		g.low[k] = c.low[k]
		g.cell[k] = (c.high[k]/2 - c.low[k]/2) / float32(int(1)<<(b.axisBits-1))
	}
	return g
}

// measure returns the largest side of a box and its largest coordinate; ok is
// false where that is not a number, infinite, or so large that squares would
// be.
func (c *box) measure() (size, reach float32, ok bool) {
	for k := range 3 {
		size = max(size, c.high[k]-c.low[k])
		reach = max(reach, c.high[k], -c.low[k])
	}
	return size, reach, reach < math.MaxFloat32/4
}

// place puts face f, whose box in the mesh's unit is c, on a grid; what lies
// beyond it counts as on its border.
func (b *builder) place(g *grid, c *box, f uint32) place {
	p := place(f)
	for k := range 3 {
		var n uint64
		if at := (c.low[k]/2 + c.high[k]/2 - g.low[k]) / g.cell[k]; at > 0 {
			n = min(uint64(min(at, 1<<20)), 1<<b.axisBits-1)
		}
		p |= place(n << (b.idBits + k*b.axisBits))
	}
	return p
}

// read finds the scale of the tree and the places of all faces that have one,
// in at most three runs by the size of the faces: up to sizeStep times the
// median size, up to sizeStep² times, and larger.
func (b *builder) read() (classes [][]place, g grid) {
	m := b.m
	n := m.FaceCount()
	g, limit := b.survey()
	blocks := (n + buildBlock - 1) / buildBlock
	type found struct {
		small   int
		large   [2][]place
		largest float32
	}
	places := make([]place, n)
	parts := make([]found, blocks)
	_ = mesh.Parallel(context.Background(), blocks, func(block int) {
		var own found
		from, to := block*buildBlock, min(n, (block+1)*buildBlock)
		list := places[from:to]
		for f := from; f < to; f++ {
			c := faceBox(m, uint32(f), 1)
			size, reach, ok := c.measure()
			if !ok {
				continue
			}
			own.largest = max(own.largest, reach)
			p := b.place(&g, &c, uint32(f))
			switch {
			case size <= limit || limit == 0:
				list[own.small] = p
				own.small++
			case size <= sizeStep*limit:
				own.large[0] = append(own.large[0], p)
			default:
				own.large[1] = append(own.large[1], p)
			}
		}
		parts[block] = own
	})
	small := 0
	var large [2][]place
	for block := range parts {
		p := &parts[block]
		from := block * buildBlock
		small += copy(places[small:], places[from:from+p.small])
		for i := range large {
			large[i] = append(large[i], p.large[i]...)
		}
		b.largest = max(b.largest, p.largest)
	}
	for _, list := range [][]place{places[:small], large[0], large[1]} {
		if len(list) > 0 {
			classes = append(classes, list)
		}
	}
	// Coordinates between 512 and 1024: squares stay well inside float32. The
	// scale itself must be a float32 too.
	if b.largest > 0 {
		_, exp := math.Frexp(float64(b.largest))
		b.scale = math.Ldexp(1, min(max(10-exp, -120), 120))
	}
	b.largest *= float32(b.scale)
	return classes, g
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
	child uint32
}

// subtree builds the tree of the faces in list, placed on grid g, whose nodes
// are numbered from node and leaves from first.
func (b *builder) subtree(list []place, g grid, node, first int) part {
	if len(list) < parallelFrom {
		return b.small(list, g, node, first)
	}
	c := capacity(len(list))
	parts := make([]part, (len(list)+c-1)/c)
	b.cutBeside(list, g, c, node+1, first, parts)
	return b.join(node, parts)
}

// small is subtree on this goroutine alone, which takes no memory.
func (b *builder) small(list []place, g grid, node, first int) part {
	if len(list) <= width {
		return b.leaf(list, first)
	}
	c := capacity(len(list))
	var parts [width]part
	count := (len(list) + c - 1) / c
	b.cut(list, g, c, node+1, first, parts[:count])
	return b.join(node, parts[:count])
}

// cut halves list at multiples of c along the longest axis until each run has c
// faces, and builds the subtrees of the runs.
func (b *builder) cut(list []place, g grid, c, node, first int, parts []part) {
	if len(parts) == 1 {
		parts[0] = b.small(list, g, node, first)
		return
	}
	half := len(parts) / 2
	g = b.halve(list, g, half*c)
	b.cut(list[:half*c], g, c, node, first, parts[:half])
	b.cut(list[half*c:], g, c, node+half*nodesFor(c), first+half*c/width, parts[half:])
}

// cutBeside is cut with both halves at the same time.
func (b *builder) cutBeside(list []place, g grid, c, node, first int, parts []part) {
	if len(parts) == 1 {
		parts[0] = b.subtree(list, g, node, first)
		return
	}
	half := len(parts) / 2
	g = b.halve(list, g, half*c)
	var wait sync.WaitGroup
	wait.Go(func() { b.cutBeside(list[:half*c], g, c, node, first, parts[:half]) })
	b.cutBeside(list[half*c:], g, c, node+half*nodesFor(c), first+half*c/width, parts[half:])
	wait.Wait()
}

// halve puts the n faces first that come first along the longest axis, and
// returns the grid that list is now placed on.
func (b *builder) halve(list []place, g grid, n int) grid {
	axis, crowded := b.longest(list, &g)
	if crowded {
		g = b.refine(list, g)
		axis, _ = b.longest(list, &g)
	}
	b.selectNth(list, n, axis)
	return g
}

// longest is the axis along which the places spread most, on a sample, and
// whether they lie so close that the grid is too coarse for them.
func (b *builder) longest(list []place, g *grid) (axis int, crowded bool) {
	mask := place(1)<<b.axisBits - 1
	sx, sy, sz := b.idBits&63, (b.idBits+b.axisBits)&63, (b.idBits+2*b.axisBits)&63
	lowX, lowY, lowZ := mask, mask, mask
	var highX, highY, highZ place
	step := max(1, len(list)/sampleSize)
	for i := 0; i < len(list); i += step {
		p := list[i]
		x, y, z := p>>sx&mask, p>>sy&mask, p>>sz&mask
		lowX, highX = min(lowX, x), max(highX, x)
		lowY, highY = min(lowY, y), max(highY, y)
		lowZ, highZ = min(lowZ, z), max(highZ, z)
	}
	spread := [3]place{highX - lowX, highY - lowY, highZ - lowZ}
	most := float32(-1)
	for k, n := range spread {
		// All of the last cell may belong to it.
		if long := float32(n+1) * g.cell[k]; long > most {
			axis, most = k, long
		}
	}
	return axis, spread[axis]*spread[axis] < place(len(list)) && !g.finest
}

// refine puts the faces of list on a grid of their own, if that is finer.
func (b *builder) refine(list []place, old grid) grid {
	round := nothing()
	for _, p := range list {
		c := faceBox(b.m, b.face(p), 1)
		for k := range 3 {
			middle := c.low[k]/2 + c.high[k]/2
			round.low[k], round.high[k] = min(round.low[k], middle), max(round.high[k], middle)
		}
	}
	g := b.gridOver(&round)
	if max(g.cell[0], g.cell[1], g.cell[2]) > max(old.cell[0], old.cell[1], old.cell[2])/2 {
		old.finest = true
		return old
	}
	g.finest = g.cell == [3]float32{}
	for i, p := range list {
		f := b.face(p)
		c := faceBox(b.m, f, 1)
		list[i] = b.place(&g, &c, f)
	}
	return g
}

// face is the face of a place.
func (b *builder) face(p place) uint32 { return uint32(p & (1<<b.idBits - 1)) }

// selectNth puts the n smallest places along the axis first: quickselect, the
// pivot from a sample near the rank looked for, each pass without a branch that
// depends on the places.
func (b *builder) selectNth(list []place, n, axis int) {
	// Places are compared turned so that the axis leads and all the rest decides
	// between equals: no two are alike.
	turn := 64 - b.idBits - (axis+1)*b.axisBits
	var sample [sampleSize]uint64
	for len(list) > 12 && n > 0 && n < len(list) {
		// Guess beside the rank, so that the next pass has only the few
		// between; from the other side if this one falls short.
		count := sampleSize / 4
		if len(list) > 1024 {
			count = sampleSize
		} else if len(list) < 64 {
			count = 5
		}
		for i := range count {
			sample[i] = bits.RotateLeft64(uint64(list[i*len(list)/count]), turn)
		}
		picks := sample[:count]
		slices.Sort(picks)
		pivot := picks[min(count-1, (n*count+len(list)/2)/len(list))]

		left := 0
		for i, p := range list {
			list[i] = list[left]
			list[left] = p
			_, less := bits.Sub64(bits.RotateLeft64(uint64(p), turn), pivot, 0)
			left += int(less)
		}
		// The pivot itself is among the right ones: at least one is there, and
		// none on the left means it is the smallest.
		switch {
		case left == 0:
			for i, p := range list {
				if bits.RotateLeft64(uint64(p), turn) == pivot {
					list[0], list[i] = p, list[0]
					break
				}
			}
			list, n = list[1:], n-1
		case n <= left:
			list = list[:left]
		default:
			list, n = list[left:], n-left
		}
	}
	if n <= 0 || n >= len(list) {
		return
	}
	for i := 1; i < len(list); i++ {
		p := list[i]
		own := bits.RotateLeft64(uint64(p), turn)
		j := i
		for j > 0 && bits.RotateLeft64(uint64(list[j-1]), turn) > own {
			list[j] = list[j-1]
			j--
		}
		list[j] = p
	}
}

// join fills a node with its children.
func (b *builder) join(at int, parts []part) part {
	var boxes [width]box
	var children [width]uint32
	for k := range parts {
		boxes[k], children[k] = parts[k].box, parts[k].child
	}
	return part{b.nodes[at].fill(boxes[:len(parts)], &children), uint32(at)}
}

// leaf fills a leaf with up to eight faces.
func (b *builder) leaf(list []place, at int) part {
	var boxes [width]box
	var faces [width]uint32
	for k, p := range list {
		faces[k] = b.face(p)
		boxes[k] = faceBox(b.m, faces[k], float32(b.scale))
	}
	return part{b.leaves[at].fill(boxes[:len(list)], &faces), uint32(at) | isLeaf}
}
