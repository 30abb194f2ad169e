package mesh

import (
	"context"
	"math"
	"slices"
)

// SmoothField averages a value per welded vertex with those of its neighbours
// over edges, itself included (umbrella average), the given number of rounds.
// NaN means undefined: such a vertex stays undefined and gives nothing to its
// neighbours. The values given are left as they are.
func SmoothField(t *Topology, values []float64, rounds int) []float64 {
	now := append([]float64(nil), values...)
	if rounds <= 0 {
		return now
	}
	n := t.VertexCount()
	blocks := (n + topologyBlock - 1) / topologyBlock
	// Rings are found once and kept flat, block by block: finding them is dearer
	// than all rounds of averaging.
	rings := make([][]uint32, blocks) // of the block's vertices, one after another
	ends := make([]uint32, n)         // of a vertex's ring in its block's list
	next := make([]float64, n)
	_ = Parallel(context.Background(), blocks, func(b int) {
		list := make([]uint32, 0, 7*topologyBlock)
		for v := uint32(b * topologyBlock); int(v) < min(n, (b+1)*topologyBlock); v++ {
			list = t.Ring(v, list)
			ends[v] = uint32(len(list))
		}
		rings[b] = list
	})
	for range rounds {
		_ = Parallel(context.Background(), blocks, func(b int) {
			list, from := rings[b], uint32(0)
			for v := uint32(b * topologyBlock); int(v) < min(n, (b+1)*topologyBlock); v++ {
				ring := list[from:ends[v]]
				from = ends[v]
				next[v] = now[v]
				if math.IsNaN(now[v]) {
					continue
				}
				sum, count := now[v], 1.0
				for _, u := range ring {
					if g := now[u]; !math.IsNaN(g) {
						sum += g
						count++
					}
				}
				next[v] = sum / count
			}
		})
		now, next = next, now
	}
	return now
}

// Ring appends the welded vertices that share an edge with v, each once, in
// the order of the faces round v.
func (t *Topology) Ring(v uint32, ring []uint32) []uint32 {
	from := len(ring)
	faces := t.FacesOf(v)
	var met map[uint32]bool
	if len(faces) > 64 { // a hub: looking through the ring would take too long
		met = make(map[uint32]bool, 2*len(faces))
	}
	for _, f := range faces {
		for _, u := range t.corners[3*f : 3*f+3] {
			if u == v || met[u] || (met == nil && slices.Contains(ring[from:], u)) {
				continue
			}
			if met != nil {
				met[u] = true
			}
			ring = append(ring, u)
		}
	}
	return ring
}
