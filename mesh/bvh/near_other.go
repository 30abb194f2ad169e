//go:build !amd64

package bvh

func (n *eight) near(p *probe, d2 *[width]float32) uint32 { return n.nearPlain(p, d2) }
