package bvh

import "math"

// probe is a place and a squared distance in tree coordinates.
type probe struct{ x, y, z, bound2 float32 }

// nearPlain is the set of children whose boxes come no farther from p than its
// bound, a bit each, and all their squared distances.
func (n *node) nearPlain(p *probe, d2 *[width]float32) (set uint32) {
	for k := range width {
		dx := max(n.lowX[k]-p.x, p.x-n.highX[k], 0)
		dy := max(n.lowY[k]-p.y, p.y-n.highY[k], 0)
		dz := max(n.lowZ[k]-p.z, p.z-n.highZ[k], 0)
		d := float32(dx*dx) + float32(dy*dy) + float32(dz*dz)
		d2[k] = d
		set |= notMore(d, p.bound2) << k
	}
	return set
}

// nearPlain is the same for the faces of a leaf.
func (l *leaf) nearPlain(p *probe, d2 *[width]float32) (set uint32) {
	x, y, z := p.x-l.base[0], p.y-l.base[1], p.z-l.base[2]
	sx, sy, sz := l.step[0], l.step[1], l.step[2]
	for k := range width {
		dx := max(float32(float32(l.lowX[k])*sx)-x, x-float32(float32(l.highX[k])*sx), 0)
		dy := max(float32(float32(l.lowY[k])*sy)-y, y-float32(float32(l.highY[k])*sy), 0)
		dz := max(float32(float32(l.lowZ[k])*sz)-z, z-float32(float32(l.highZ[k])*sz), 0)
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
