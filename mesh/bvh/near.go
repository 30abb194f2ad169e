package bvh

import "math"

// probe is a place and a squared distance in tree coordinates.
type probe struct{ x, y, z, bound2 float32 }

// nearPlain is the set of children whose boxes come no farther from p than its
// bound, a bit each, and all their squared distances; those of children that
// are not there mean nothing.
func (n *eight) nearPlain(p *probe, d2 *[width]float32) (set uint32) {
	x, y, z := p.x-n.base[0], p.y-n.base[1], p.z-n.base[2]
	sx, sy, sz := n.step[0], n.step[1], n.step[2]
	for k := range width {
		dx := max(float32(float32(n.lowX[k])*sx)-x, x-float32(float32(n.highX[k])*sx), 0)
		dy := max(float32(float32(n.lowY[k])*sy)-y, y-float32(float32(n.highY[k])*sy), 0)
		dz := max(float32(float32(n.lowZ[k])*sz)-z, z-float32(float32(n.highZ[k])*sz), 0)
		d := float32(dx*dx) + float32(dy*dy) + float32(dz*dz)
		d2[k] = d
		set |= notMore(d, p.bound2) << k
	}
	return set
}

// notMore is 1 where d <= bound, else 0, without a branch: the sign of a
// difference.
func notMore(d, bound float32) uint32 {
	return ^math.Float32bits(bound-d) >> 31
}
