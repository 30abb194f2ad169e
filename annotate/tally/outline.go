package tally

import (
	"maps"
	"math/bits"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate/facemap"
	"rigatino/mesh"
)

// smoothingRounds is how often the indicator of a region is averaged before its
// outline is measured: the loop of triangle edges is 20 to 36 % too long, the
// 0.5 iso-line after a few rounds about 3 % (our own measurements on jittered
// meshes).
const smoothingRounds = 5

// outlineLength returns the length in mm of the border between the faces of
// which inside gives a share of 0.5 or more and the rest, as the 0.5 iso-line of
// the smoothed indicator. Where the surface itself ends there is no outline.
// Only a strip about the border is looked at.
func outlineLength(s *facemap.Surface, inside *faceShares) float64 {
	strip := borderStrip(s, inside)
	if len(strip.vertices) == 0 {
		return 0
	}
	now := make([]float64, len(strip.vertices))
	for i, v := range strip.vertices {
		now[i] = indicator(s, inside, v)
	}
	next := make([]float64, len(now))
	var ring []uint32
	for range smoothingRounds {
		for i, v := range strip.vertices {
			ring = s.Topology.Ring(v, ring[:0])
			sum := now[i]
			for _, o := range ring {
				if j, ok := strip.at[o]; ok {
					sum += now[j]
				} else {
					sum += indicator(s, inside, o)
				}
			}
			next[i] = sum / float64(1+len(ring))
		}
		now, next = next, now
	}
	return isoLength(s, strip, now)
}

// vertexStrip is welded vertices with their places in a list.
type vertexStrip struct {
	vertices []uint32
	at       map[uint32]int
}

// add puts in the corners of a face.
func (w *vertexStrip) add(s *facemap.Surface, f uint32) {
	a, b, c := s.Topology.Face(f)
	for _, v := range [3]uint32{a, b, c} {
		if _, ok := w.at[v]; !ok {
			w.at[v] = len(w.vertices)
			w.vertices = append(w.vertices, v)
		}
	}
}

// borderStrip finds the vertices that smoothing can reach from the border.
func borderStrip(s *facemap.Surface, inside *faceShares) *vertexStrip {
	w := &vertexStrip{at: map[uint32]int{}}
	within := slices.Clone(inside.whole)
	parts := slices.Sorted(maps.Keys(inside.part))
	for _, f := range parts {
		if inside.part[f] >= 0.5 {
			within[f/64] |= 1 << (f % 64)
		}
		w.add(s, f) // an outline runs inside
	}
	for i, word := range within {
		for ; word != 0; word &= word - 1 {
			f := uint32(64*i + bits.TrailingZeros64(word))
			for _, n := range s.Topology.Neighbour[3*f : 3*f+3] {
				if n >= 0 && within[n/64]>>(n%64)&1 == 0 {
					w.add(s, f)
					break
				}
			}
		}
	}
	done := 0
	for range smoothingRounds + 2 {
		end := len(w.vertices)
		for ; done < end; done++ {
			for _, f := range s.Topology.FacesOf(w.vertices[done]) {
				w.add(s, f)
			}
		}
	}
	return w
}

// indicator is the share of the area round a vertex that lies inside.
func indicator(s *facemap.Surface, inside *faceShares, v uint32) float64 {
	sum, all := 0.0, 0.0
	for _, f := range s.Topology.FacesOf(v) {
		w := r3.Norm(s.Mesh.AreaVector(f))
		sum, all = sum+w*inside.of(f), all+w
	}
	if all == 0 {
		return 0
	}
	return sum / all
}

// isoLength sums the 0.5 iso-line over the faces whose corners all have values.
func isoLength(s *facemap.Surface, w *vertexStrip, value []float64) float64 {
	var total mesh.Sum
	for i, v := range w.vertices {
		for _, f := range s.Topology.FacesOf(v) {
			a, b, c := s.Topology.Face(f)
			x, okA := w.at[a]
			y, okB := w.at[b]
			z, okC := w.at[c]
			if !okA || !okB || !okC || min(x, y, z) != i { // each face once
				continue
			}
			p := [3]float64{value[x] - 0.5, value[y] - 0.5, value[z] - 0.5}
			var q [3]r3.Vec
			q[0], q[1], q[2] = s.Mesh.Corners(f)
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
				total.Add(r3.Norm(r3.Sub(ends[1], ends[0])))
			}
		}
	}
	return total.Value()
}
