//go:build !amd64

package bvh

func (n *node) near(p *probe, d2 *[width]float32) uint32 { return n.nearPlain(p, d2) }

func (l *leaf) near(p *probe, d2 *[width]float32) uint32 { return l.nearPlain(p, d2) }
