package quality

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

const (
	// noiseNeeded is the least noise, in mean edges, on which something can look
	// too smooth: a computed body has none.
	noiseNeeded = 0.01
	// A face is coarse whose longest side is coarseSide times that of half the
	// faces; smooth where the mean angle between faces thereabouts is
	// smoothAngle of that about half the faces.
	coarseSide, smoothAngle = 2.5, 0.35
	smoothRounds            = 6
	// A face's texture is stretched where it has textureThin of the texture of
	// half the faces, by area.
	textureThin = 1.0 / 16
	// A patch has at least holeFaces faces and holeShare of the area, but no
	// more than holeMost; a patch that is only smooth has smoothFaces.
	holeFaces, smoothFaces = 6, 60
	holeShare, holeMost    = 0.0005, 0.4
	// About a patch, over ringWidth faces, the surface is so many times finer
	// and rougher than in it.
	ringWidth             = 4
	coarser, muchCoarser  = 2.0, 3.0
	smoother, muchSmooth  = 0.5, 0.35
	ringCoarse, patchSame = 0.25, 0.7
)

// closedHoles proposes patches that a scan program made up: too coarse and too
// smooth, much too smooth, or with stretched texture and too smooth or coarse,
// each against a ring of surface about the patch. What is too smooth is told by
// the mean angle between neighbouring faces.
func (s *surface) closedHoles(ctx context.Context, r *Result, progress func(float64, string)) ([]Proposal, error) {
	progress(0, "looking for holes that a scan program closed")
	n := s.m.FaceCount()
	noisy := r.Resolution.Noise != nil && *r.Resolution.Noise >= noiseNeeded*r.Resolution.MeanEdge
	sides, angles := make([]float64, n), make([]float64, n)
	err := mesh.Parallel(ctx, (n+faceBlock-1)/faceBlock, func(b int) {
		for f := uint32(b * faceBlock); int(f) < min(n, (b+1)*faceBlock); f++ {
			sides[f], angles[f] = s.longest(f), s.bend(f)
		}
	})
	if err != nil {
		return nil, err
	}
	around, err := s.spread(ctx, angles, smoothRounds)
	if err != nil {
		return nil, err
	}
	not := make([]bool, n) // what is proposed as something else
	for _, p := range r.Proposals {
		for _, f := range p.Faces {
			not[f] = true
		}
	}
	typicalSide, typicalBend := median(sides), median(around)
	thin := s.thinTexture()
	look := holeLook{s: s, sides: sides, angles: angles, noisy: noisy, thin: thin, signs: make([]uint8, n)}
	if noisy {
		look.candidates(coarse, holeFaces, func(f uint32) bool { return !not[f] && sides[f] >= coarseSide*typicalSide })
		look.candidates(smooth, smoothFaces, func(f uint32) bool { return !not[f] && around[f] <= smoothAngle*typicalBend })
	}
	if thin != nil {
		look.candidates(stretched, holeFaces, func(f uint32) bool { return !not[f] && thin[f] })
	}
	var out []Proposal
	for _, patch := range s.patches(func(f uint32) bool { return look.signs[f] != 0 }) {
		area := s.sum(patch)
		if area > holeMost*s.total {
			continue
		}
		var words []string
		for _, sign := range []struct {
			bit  uint8
			word string
		}{{coarse, "coarse"}, {smooth, "smooth"}, {stretched, "of stretched texture"}} {
			if slices.ContainsFunc(patch, func(f uint32) bool { return look.signs[f]&sign.bit != 0 }) {
				words = append(words, sign.word)
			}
		}
		out = append(out, Proposal{Kind: ClosedHole, Faces: patch, Area: area, Reason: fmt.Sprintf(
			"%d triangles are %s against the surface about them, as where a scan program closed a hole", len(patch), strings.Join(words, " and "))})
	}
	return out, nil
}

// Signs of a closed hole.
const (
	coarse = 1 << iota
	smooth
	stretched
)

// holeLook is what candidates are judged by.
type holeLook struct {
	s             *surface
	sides, angles []float64
	noisy         bool
	thin          []bool
	signs         []uint8
}

// candidates marks the faces of the patches of candidate faces that differ from
// the surface about them.
func (l *holeLook) candidates(sign uint8, fewest int, in func(f uint32) bool) {
	s := l.s
	member := make([]bool, s.m.FaceCount())
	for f := range member {
		member[f] = s.t.Component[f] >= 0 && in(uint32(f))
	}
	s.close(member)
	for _, patch := range s.patches(func(f uint32) bool { return member[f] }) {
		if len(patch) < fewest || s.sum(patch) < holeShare*s.total || !l.differs(sign, patch) {
			continue
		}
		for _, f := range patch {
			l.signs[f] |= sign
		}
	}
}

// differs holds a patch against the ring about it.
func (l *holeLook) differs(sign uint8, patch []uint32) bool {
	ring, inside := l.s.ring(patch)
	if len(ring) < 6 {
		return false
	}
	pick := func(values []float64, of []uint32) []float64 {
		out := make([]float64, len(of))
		for i, f := range of {
			out[i] = values[f]
		}
		return out
	}
	coarsened := median(pick(l.sides, patch)) / median(pick(l.sides, ring))
	smoothed := math.Inf(1)
	if bend := median(pick(l.angles, ring)); l.noisy && bend > 0 {
		smoothed = l.s.bendWithin(inside, patch) / bend
	}
	switch sign {
	case coarse:
		return coarsened >= muchCoarser || coarsened >= coarser && smoothed <= smoother
	case smooth:
		return smoothed <= muchSmooth
	}
	thin := 0
	for _, f := range ring {
		if l.thin[f] {
			thin++
		}
	}
	return float64(thin) <= ringCoarse*float64(len(ring)) && (coarsened >= coarser || smoothed <= patchSame)
}

// close fills in faces between candidates: those with two candidates at their
// sides.
func (s *surface) close(member []bool) {
	for range 3 {
		var more []uint32
		for f := range uint32(len(member)) {
			if member[f] || s.t.Component[f] < 0 {
				continue
			}
			n := 0
			for k := range uint32(3) {
				if g := s.t.Neighbour[3*f+k]; g >= 0 && member[g] {
					n++
				}
			}
			if n >= 2 {
				more = append(more, f)
			}
		}
		for _, f := range more {
			member[f] = true
		}
	}
}

// ring returns the faces about a patch, and the patch as a set.
func (s *surface) ring(patch []uint32) (ring []uint32, inside map[uint32]bool) {
	inside = make(map[uint32]bool, len(patch))
	met := make(map[uint32]bool, 2*len(patch))
	for _, f := range patch {
		inside[f], met[f] = true, true
	}
	edge := patch
	for range ringWidth {
		var next []uint32
		for _, f := range edge {
			for k := range uint32(3) {
				if g := s.t.Neighbour[3*f+k]; g >= 0 && !met[uint32(g)] {
					met[uint32(g)] = true
					next = append(next, uint32(g))
				}
			}
		}
		ring = append(ring, next...)
		edge = next
	}
	return ring, inside
}

// bendWithin is the median angle between neighbours that are both in the patch.
func (s *surface) bendWithin(inside map[uint32]bool, patch []uint32) float64 {
	var angles []float64
	for _, f := range patch {
		for k := range uint32(3) {
			if g := s.t.Neighbour[3*f+k]; g > int32(f) && inside[uint32(g)] {
				angles = append(angles, angle(s.m.AreaVector(f), s.m.AreaVector(uint32(g))))
			}
		}
	}
	return median(angles)
}

// longest is the longest side of a face.
func (s *surface) longest(f uint32) float64 {
	a, b, c := s.m.Corners(f)
	return math.Sqrt(max(r3.Norm2(r3.Sub(b, a)), r3.Norm2(r3.Sub(c, b)), r3.Norm2(r3.Sub(a, c))))
}

// bend is the mean angle between a face and its neighbours.
func (s *surface) bend(f uint32) float64 {
	own, sum, n := s.m.AreaVector(f), 0.0, 0.0
	for k := range uint32(3) {
		if g := s.t.Neighbour[3*f+k]; g >= 0 {
			sum += angle(own, s.m.AreaVector(uint32(g)))
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return sum / n
}

func angle(a, b r3.Vec) float64 { return math.Atan2(r3.Norm(r3.Cross(a, b)), r3.Dot(a, b)) }

// spread averages a value per face over the faces about it.
func (s *surface) spread(ctx context.Context, values []float64, rounds int) ([]float64, error) {
	n := len(values)
	now, next := slices.Clone(values), make([]float64, n)
	for range rounds {
		err := mesh.Parallel(ctx, (n+faceBlock-1)/faceBlock, func(b int) {
			for f := b * faceBlock; f < min(n, (b+1)*faceBlock); f++ {
				sum, count := now[f], 1.0
				for k := range 3 {
					if g := s.t.Neighbour[3*f+k]; g >= 0 {
						sum += now[g]
						count++
					}
				}
				next[f] = sum / count
			}
		})
		if err != nil {
			return nil, err
		}
		now, next = next, now
	}
	return now, nil
}

// thinTexture says which faces have much less texture by area than others; nil
// for a scan without texture.
func (s *surface) thinTexture() []bool {
	if s.m.UVs == nil || len(s.m.Images) == 0 {
		return nil
	}
	n := s.m.FaceCount()
	density := make([]float64, n)
	for f := range n {
		var p [3][2]float64
		for k, v := range s.m.Triangles[3*f : 3*f+3] {
			p[k] = [2]float64{float64(s.m.UVs[2*v]), float64(s.m.UVs[2*v+1])}
		}
		if s.areas[f] > 0 {
			density[f] = math.Abs(leftOf(p[0], p[1], p[2])) / 2 / s.areas[f]
		}
	}
	typical := median(density)
	if !(typical > 0) {
		return nil
	}
	out := make([]bool, n)
	for f, d := range density {
		out[f] = d < textureThin*typical
	}
	return out
}

// median is the middle one of some values; 0 for none.
func median(values []float64) float64 {
	if len(values) == 0 {
		return 0
	}
	v := slices.Clone(values)
	slices.Sort(v)
	return v[len(v)/2]
}
