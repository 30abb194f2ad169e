package bvh

import "golang.org/x/sys/cpu"

// eightAtOnce says that the processor takes all eight boxes of a node in one
// instruction.
var eightAtOnce = cpu.X86.HasAVX2

// near8 is nearPlain, to the last bit, by AVX2.
//
//go:noescape
func near8(n *eight, p *probe, d2 *[width]float32) uint32

func (n *eight) near(p *probe, d2 *[width]float32) uint32 {
	if eightAtOnce {
		return near8(n, p, d2)
	}
	return n.nearPlain(p, d2)
}
