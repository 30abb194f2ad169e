package bvh

import "golang.org/x/sys/cpu"

// eightAtOnce says that the processor takes all eight boxes of a node in one
// instruction.
var eightAtOnce = cpu.X86.HasAVX2

// nearNode and nearLeaf are nearPlain, to the last bit, by AVX2.
//
//go:noescape
func nearNode(n *node, p *probe, d2 *[width]float32) uint32

//go:noescape
func nearLeaf(l *leaf, p *probe, d2 *[width]float32) uint32

func (n *node) near(p *probe, d2 *[width]float32) uint32 {
	if eightAtOnce {
		return nearNode(n, p, d2)
	}
	return n.nearPlain(p, d2)
}

func (l *leaf) near(p *probe, d2 *[width]float32) uint32 {
	if eightAtOnce {
		return nearLeaf(l, p, d2)
	}
	return l.nearPlain(p, d2)
}
