package volume

import (
	"context"
	"slices"

	"rigatino/mesh"
	"rigatino/mesh/change"
)

// zone is the neighbourhood of one area on one scan: the faces that its
// outline may hold or cross at any distance used, ascending, and their
// vertices.
type zone struct {
	side     *change.Side
	faces    []uint32
	corners  [][3]uint32 // of each face, as numbers of vertices
	vertices []uint32
}

// zoneOf makes the zone of the faces given. numbers is as long as the scan has
// vertices and all zero, and is left so.
func zoneOf(side *change.Side, faces []uint32, numbers []uint32) *zone {
	z := &zone{side: side, faces: faces, corners: make([][3]uint32, len(faces)), vertices: make([]uint32, 0, len(faces)/2+3)}
	for n, f := range faces {
		a, b, c := side.Topology.Face(f)
		for k, v := range [3]uint32{a, b, c} {
			if numbers[v] == 0 {
				z.vertices = append(z.vertices, v)
				numbers[v] = uint32(len(z.vertices))
			}
			z.corners[n][k] = numbers[v] - 1
		}
	}
	for _, v := range z.vertices {
		numbers[v] = 0
	}
	return z
}

// zones makes the zones of area k on both scans.
func (w *work) zones(k int32) (before, after *zone) {
	numbers, _ := w.numbers.Get().(*[]uint32)
	if most := max(w.change.Before.Weld.Count, w.change.After.Weld.Count); numbers == nil || len(*numbers) < most {
		made := make([]uint32, most)
		numbers = &made
	}
	before = zoneOf(w.change.Before, w.beforeFaces[k], *numbers)
	after = zoneOf(w.change.After, w.afterFaces[k], *numbers)
	w.numbers.Put(numbers)
	return before, after
}

// gatherBlock is the number of faces that one worker looks through at a time.
const gatherBlock = 1 << 14

// gather lists for every area the faces of a scan that have one of its labels
// at a corner; labels appends those of a vertex.
func (w *work) gather(s *change.Side, labels func(v uint32, out []int32) []int32) [][]uint32 {
	// Most vertices have one label or none, and it is dear to ask.
	const several = none - 1
	single := make([]int32, s.Weld.Count)
	_ = mesh.Parallel(context.Background(), (len(single)+zoneBlock-1)/zoneBlock, func(b int) {
		var few [8]int32
		for v := b * zoneBlock; v < min(len(single), (b+1)*zoneBlock); v++ {
			single[v] = none
			for _, l := range labels(uint32(v), few[:0]) {
				switch {
				case l < 0 || l == single[v]:
				case single[v] == none:
					single[v] = l
				default:
					single[v] = several
				}
			}
		}
	})
	type hit struct {
		label int32
		face  uint32
	}
	parts := make([][]hit, (len(s.Topology.Component)+gatherBlock-1)/gatherBlock)
	_ = mesh.Parallel(context.Background(), len(parts), func(b int) {
		var hits []hit
		var few [24]int32
		for f := b * gatherBlock; f < min(len(s.Topology.Component), (b+1)*gatherBlock); f++ {
			if s.Topology.Component[f] < 0 {
				continue
			}
			i, j, k := s.Topology.Face(uint32(f))
			if l := single[i]; l == single[j] && l == single[k] && l != several {
				if l >= 0 {
					hits = append(hits, hit{l, uint32(f)})
				}
				continue
			}
			all := few[:0]
			for _, v := range [3]uint32{i, j, k} {
				all = labels(v, all)
			}
			for n, l := range all {
				if l >= 0 && !slices.Contains(all[:n], l) {
					hits = append(hits, hit{l, uint32(f)})
				}
			}
		}
		parts[b] = hits
	})
	count := make([]int, len(w.change.Areas))
	for _, p := range parts {
		for _, h := range p {
			count[h.label]++
		}
	}
	out := make([][]uint32, len(count))
	for k, n := range count {
		out[k] = make([]uint32, 0, n)
	}
	for b, p := range parts {
		for _, h := range p {
			out[h.label] = append(out[h.label], h.face)
		}
		parts[b] = nil
	}
	return out
}

// gatherFaces finds the faces of every area's zones.
func (w *work) gatherFaces() {
	b := w.change.Before
	w.afterFaces = w.gather(w.change.After, func(v uint32, out []int32) []int32 {
		return append(out, w.reached[v].label[0], w.reached[v].label[1])
	})
	w.beforeFaces = w.gather(b, func(v uint32, out []int32) []int32 {
		out = append(out, b.Core[v])
		if corners, _, ok := w.lands(v); ok {
			for _, u := range corners {
				out = append(out, w.reached[u].label[0], w.reached[u].label[1])
			}
		} else if o, ok := w.beyond[v]; ok {
			for _, u := range o.corners {
				out = append(out, w.reached[u].label[0], w.reached[u].label[1])
			}
		}
		return out
	})
}

// levelsAfter are, for each distance, the outlines of area k on the scan after,
// positive inside, at the vertices of its zone.
func (w *work) levelsAfter(z *zone, k int32, distances []float64) [][]float64 {
	return levels(z, distances, func(v uint32, d float64) float64 { return w.reached[v].level(k, d) })
}

// levelsBefore are the same pulled back to the scan before.
func (w *work) levelsBefore(z *zone, k int32, distances []float64) [][]float64 {
	b, a := w.change.Before, w.change.After
	return levels(z, distances, func(v uint32, d float64) float64 {
		f, inCore := -d, false
		if corners, weights, ok := w.lands(v); ok {
			f = 0
			for n, u := range corners {
				f += weights[n] * w.reached[u].level(k, d)
				inCore = inCore || a.Core[u] >= 0
			}
		} else if o, ok := w.beyond[v]; ok {
			f = w.levelBeyond(&o, k, d)
		}
		// A core of the scan before is inside whatever the scan after says (the
		// lid of a pit, the top of an overhang), unless the two scans call the
		// place parts of different areas: then both follow the scan after, or
		// their outlines would not be the same line.
		if core := b.Core[v]; core >= 0 && !inCore {
			f = -d
			if core == k {
				f = d
			}
		}
		return f
	})
}

func levels(z *zone, distances []float64, at func(v uint32, d float64) float64) [][]float64 {
	out := make([][]float64, len(distances))
	for i := range out {
		out[i] = make([]float64, len(z.vertices))
	}
	_ = mesh.Parallel(context.Background(), (len(z.vertices)+zoneBlock-1)/zoneBlock, func(b int) {
		for n := b * zoneBlock; n < min(len(z.vertices), (b+1)*zoneBlock); n++ {
			for i, d := range distances {
				out[i][n] = at(z.vertices[n], d)
			}
		}
	})
	return out
}
