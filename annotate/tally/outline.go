package tally

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate/facemap"
)

// smoothingRounds is how often the indicator of a region is averaged before its
// outline is measured: the loop of triangle edges is 20 to 36 % too long, the
// 0.5 iso-line after a few rounds about 3 % (our own measurements on jittered
// meshes).
const smoothingRounds = 5

// outlineLength returns the length in mm of the border between the faces of
// which inside gives a share of 0.5 or more and the rest, as the 0.5 iso-line of
// the smoothed indicator. Where the surface itself ends there is no outline.
func outlineLength(s *facemap.Surface, inside []float32) float64 {
	m, topo := s.Mesh, s.Topology
	band := map[uint32]float64{} // welded vertex → indicator
	var front []uint32
	mark := func(v uint32) {
		if _, ok := band[v]; !ok {
			band[v] = 0
			front = append(front, v)
		}
	}
	for f := range uint32(m.FaceCount()) {
		for k := range uint32(3) {
			n := topo.Neighbour[3*f+k]
			if n >= 0 && (inside[f] >= 0.5) != (inside[n] >= 0.5) {
				a, b, c := s.Weld.Face(m, f)
				ends := [3]uint32{a, b, c}
				mark(ends[k])
				mark(ends[(k+1)%3])
			}
		}
		if v := inside[f]; v > 0 && v < 1 { // an outline may run inside a cut face
			a, b, c := s.Weld.Face(m, f)
			mark(a)
			mark(b)
			mark(c)
		}
	}
	if len(front) == 0 {
		return 0
	}
	for range smoothingRounds + 2 {
		next := front
		front = nil
		for _, v := range next {
			for _, f := range topo.FacesOf(v) {
				a, b, c := s.Weld.Face(m, f)
				mark(a)
				mark(b)
				mark(c)
			}
		}
	}
	area := func(f uint32) float64 { return r3.Norm(m.AreaVector(f)) }
	order := make([]uint32, 0, len(band))
	for v := range band {
		order = append(order, v)
	}
	at := func(v uint32) float64 {
		sum, all := 0.0, 0.0
		for _, f := range topo.FacesOf(v) {
			w := area(f)
			sum, all = sum+w*float64(inside[f]), all+w
		}
		if all == 0 {
			return 0
		}
		return sum / all
	}
	for _, v := range order {
		band[v] = at(v)
	}
	for range smoothingRounds {
		next := make(map[uint32]float64, len(band))
		for _, v := range order {
			// Each neighbour counts once for each of its two faces round v; the
			// sum over corners of the fan does just that.
			sum, n := 2*band[v], 2.0
			for _, f := range topo.FacesOf(v) {
				a, b, c := s.Weld.Face(m, f)
				for _, o := range [3]uint32{a, b, c} {
					if o == v {
						continue
					}
					x, ok := band[o]
					if !ok {
						x = at(o)
					}
					sum, n = sum+x, n+1
				}
			}
			next[v] = sum / n
		}
		band = next
	}
	return isoLength(s, band)
}

// isoLength sums the 0.5 iso-line over the faces whose corners all have values.
func isoLength(s *facemap.Surface, value map[uint32]float64) float64 {
	m := s.Mesh
	total := 0.0
	for f := range uint32(m.FaceCount()) {
		a, b, c := s.Weld.Face(m, f)
		x, okA := value[a]
		y, okB := value[b]
		z, okC := value[c]
		if !okA || !okB || !okC {
			continue
		}
		p := [3]float64{x - 0.5, y - 0.5, z - 0.5}
		pa, pb, pc := m.Corners(f)
		q := [3]r3.Vec{pa, pb, pc}
		var ends []r3.Vec
		for k := range 3 {
			j := (k + 1) % 3
			if (p[k] >= 0) == (p[j] >= 0) {
				continue
			}
			t := p[k] / (p[k] - p[j])
			ends = append(ends, r3.Add(r3.Scale(1-t, q[k]), r3.Scale(t, q[j])))
		}
		if len(ends) == 2 {
			total += r3.Norm(r3.Sub(ends[1], ends[0]))
		}
	}
	if math.IsNaN(total) {
		return 0
	}
	return total
}
