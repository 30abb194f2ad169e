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
	next := make([]float64, n)
	for range rounds {
		_ = Parallel(context.Background(), (n+topologyBlock-1)/topologyBlock, func(b int) {
			var ring []uint32
			for v := uint32(b * topologyBlock); int(v) < min(n, (b+1)*topologyBlock); v++ {
				next[v] = now[v]
				if math.IsNaN(now[v]) {
					continue
				}
				ring = t.Ring(v, ring[:0])
				sum, count := now[v], 1.0
				for _, u := range ring {
					if !math.IsNaN(now[u]) {
						sum += now[u]
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
