package facemap

import (
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/colour"
)

// facets is a patch of faces with what lies beside what.
type facets struct {
	faces []uint32   // ascending
	next  [][3]int32 // across each edge, -1 for none or outside
	mid   []r3.Vec
	step  float64 // what a round of spreading adds to the Gaussian's variance, mm²
}

// of is the place of a face in the patch. Patches of hundreds of thousands of
// faces are looked through here as fast as in a map and cost no memory.
func (r *facets) of(face uint32) (int32, bool) {
	i, ok := slices.BinarySearch(r.faces, face)
	return int32(i), ok
}

// blockOf faces are worked on at a time, by whichever goroutine is free.
const blockOf = 1 << 12

// each does something with the faces of the patch, in blocks side by side; it
// leaves off when ctx is done.
func (r *facets) each(ctx context.Context, do func(from, to int)) {
	n := len(r.faces)
	_ = mesh.Parallel(ctx, (n+blockOf-1)/blockOf, func(b int) { do(b*blockOf, min(n, (b+1)*blockOf)) })
}

// newFacets gathers a patch; it is not whole if ctx is done.
func (s *Surface) newFacets(ctx context.Context, faces []uint32) *facets {
	slices.Sort(faces)
	n := len(faces)
	r := &facets{faces: faces, next: make([][3]int32, n), mid: make([]r3.Vec, n)}
	r.each(ctx, func(from, to int) {
		for i := from; i < to; i++ {
			r.mid[i] = s.Mesh.At(centreOf(faces[i], 0, 0))
		}
	})
	r.each(ctx, func(from, to int) {
		for i := from; i < to; i++ {
			for k := range 3 {
				r.next[i][k] = -1
				if g := s.Topology.Neighbour[3*faces[i]+uint32(k)]; g >= 0 {
					if j, ok := r.of(uint32(g)); ok {
						r.next[i][k] = j
					}
				}
			}
		}
	})
	var apart mesh.Sum
	count := 0
	for i, next := range r.next {
		for _, j := range next {
			if j >= 0 {
				apart.Add(r3.Norm2(r3.Sub(r.mid[i], r.mid[j])))
				count++
			}
		}
	}
	if count > 0 {
		r.step = 3.0 / 8 * apart.Value() / float64(count)
	}
	return r
}

// rounds is how often to spread for a Gaussian of this width, and its width.
// Where the mesh is far finer than that, the work is bounded and the Gaussian
// narrower.
func (r *facets) rounds(scaleMM float64, most int) (n int, scale float64) {
	if r.step == 0 {
		return 0, 0
	}
	n = int(min(max(math.Ceil(scaleMM*scaleMM/r.step), 2), float64(most)))
	return n, math.Sqrt(r.step * float64(n))
}

// relief says of every face of a patch how sharply the surface bends and the
// colour changes there, on a scale in mm, so that it depends on the specimen and
// not on how fine the mesh is: on a mesh of 0.1 mm edges and 0.03 mm noise the
// bare angle between two faces is some 30 degrees everywhere.
//
// Normals and colours are spread from face to face, a quarter staying and a
// quarter going to each neighbour, which is a Gaussian: each round widens it by
// 3/8 of the squared distance of two middles. The bend at a face is then the
// angle between the spread normals one scale before and behind it, in the
// direction in which they turn fastest; with colours likewise.
type relief struct {
	*facets
	bend                  []float64 // degrees
	shade                 []float64 // ΔE00; nil without colours
	bendSlope, shadeSlope []float64 // a mm, at the face itself
	bendStep, shadeStep   []float64 // to the neighbour that differs most: highest beside the edge
}

// mostRounds of spreading normals and colours.
const mostRounds = 64

// newRelief looks at the faces given on a scale; lab may be nil. It returns
// ctx.Err() once ctx is done.
func (s *Surface) newRelief(ctx context.Context, faces []uint32, scaleMM float64, lab func(face uint32) colour.Lab) (*relief, error) {
	r := &relief{facets: s.newFacets(ctx, faces)}
	n := len(faces)
	rounds, _ := r.rounds(scaleMM/2, mostRounds)
	if rounds == 0 {
		r.bend, r.bendSlope, r.bendStep = make([]float64, n), make([]float64, n), make([]float64, n)
		return r, ctx.Err()
	}
	normal := make([][3]float64, n)
	r.each(ctx, func(from, to int) {
		for i := from; i < to; i++ {
			if v := s.Mesh.AreaVector(r.faces[i]); r3.Norm2(v) > 0 {
				v = r3.Unit(v)
				normal[i] = [3]float64{v.X, v.Y, v.Z}
			}
		}
	})
	// The less it is spread, the nearer to the edge lies what changes most.
	first := max(rounds/4, 1)
	normal = r.spread(ctx, normal, first)
	turn := func(i, j int32) float64 { return angle(vector(normal[i]), vector(normal[j])) }
	r.bendStep = r.steps(ctx, turn)
	normal = r.spread(ctx, normal, rounds-first)
	r.bend, r.bendSlope = r.across(ctx, scaleMM, turn)
	if lab == nil {
		return r, ctx.Err()
	}
	shades := r.shades(ctx, lab)
	differ := func(i, j int32) float64 {
		return colour.WeightedDifference(labOf(shades[i]), labOf(shades[j]), lightness)
	}
	shades = r.spread(ctx, shades, first)
	r.shadeStep = r.steps(ctx, differ)
	shades = r.spread(ctx, shades, rounds-first)
	r.shade, r.shadeSlope = r.across(ctx, scaleMM, differ)
	return r, ctx.Err()
}

// shades are the colours of the faces.
func (r *facets) shades(ctx context.Context, lab func(face uint32) colour.Lab) [][3]float64 {
	out := make([][3]float64, len(r.faces))
	r.each(ctx, func(from, to int) {
		for i := from; i < to; i++ {
			c := lab(r.faces[i])
			out[i] = [3]float64{c.L, c.A, c.B}
		}
	})
	return out
}

func labOf(v [3]float64) colour.Lab { return colour.Lab{L: v[0], A: v[1], B: v[2]} }

// angle of two vectors, degrees.
func angle(a, b r3.Vec) float64 {
	return math.Atan2(length(r3.Cross(a, b)), r3.Dot(a, b)) * 180 / math.Pi
}

// steps is the largest change from each face to a neighbour.
func (r *facets) steps(ctx context.Context, change func(i, j int32) float64) []float64 {
	out := make([]float64, len(r.faces))
	r.each(ctx, func(from, to int) {
		for i := from; i < to; i++ {
			for _, j := range r.next[i] {
				if j >= 0 {
					out[i] = max(out[i], change(int32(i), j))
				}
			}
		}
	})
	return out
}

// across measures how much changes from one scale before each face to one scale
// behind it, and how fast it changes at the face itself, a mm.
func (r *facets) across(ctx context.Context, scale float64, change func(i, j int32) float64) (whole, slope []float64) {
	whole, slope = make([]float64, len(r.faces)), make([]float64, len(r.faces))
	r.each(ctx, func(from, to int) {
		for i := int32(from); i < int32(to); i++ {
			var way gradient
			for _, j := range r.next[i] {
				if j >= 0 {
					// A way shorter than a sixteenth of the scale counts as
					// that: slivers lie side by side.
					d := r3.Sub(r.mid[j], r.mid[i])
					l := max(length(d), scale/16)
					c := change(i, j) / l
					slope[i] = max(slope[i], c)
					way.add(r3.Scale(1/l, d), c*c)
				}
			}
			d, ok := way.direction()
			if !ok {
				continue
			}
			whole[i] = change(r.walk(i, d, scale), r.walk(i, r3.Scale(-1, d), scale))
		}
	})
	return whole, slope
}

// length of a vector. Millimetres squared neither over- nor underflow, so that
// the guard of r3.Norm against both, four times as slow, is not needed.
func length(v r3.Vec) float64 { return math.Sqrt(r3.Norm2(v)) }

// gradient gathers how much changes in which directions, whichever way along
// them: the sum of w·d·dᵀ.
type gradient struct{ xx, xy, xz, yy, yz, zz float64 }

func (g *gradient) add(d r3.Vec, w float64) {
	g.xx += w * d.X * d.X
	g.xy += w * d.X * d.Y
	g.xz += w * d.X * d.Z
	g.yy += w * d.Y * d.Y
	g.yz += w * d.Y * d.Z
	g.zz += w * d.Z * d.Z
}

func (g *gradient) apply(v r3.Vec) r3.Vec {
	return r3.Vec{
		X: g.xx*v.X + g.xy*v.Y + g.xz*v.Z,
		Y: g.xy*v.X + g.yy*v.Y + g.yz*v.Z,
		Z: g.xz*v.X + g.yz*v.Y + g.zz*v.Z,
	}
}

// direction is that of the fastest change, by power iteration.
func (g *gradient) direction() (r3.Vec, bool) {
	v := r3.Vec{X: g.xx, Y: g.xy, Z: g.xz}
	for _, row := range []r3.Vec{{X: g.xy, Y: g.yy, Z: g.yz}, {X: g.xz, Y: g.yz, Z: g.zz}} {
		if r3.Norm2(row) > r3.Norm2(v) {
			v = row
		}
	}
	for range 8 {
		l := length(v)
		if !(l > 0) {
			return v, false
		}
		v = g.apply(r3.Scale(1/l, v))
	}
	l := length(v)
	if !(l > 0) {
		return v, false
	}
	return r3.Scale(1/l, v), true
}

// walk goes from face to face as straight as it can for a distance, or up to
// where the patch ends.
func (r *facets) walk(from int32, way r3.Vec, far float64) int32 {
	at, last := from, int32(-1)
	for range 64 {
		gone := r3.Dot(r3.Sub(r.mid[at], r.mid[from]), way)
		if gone >= far {
			break
		}
		best, bestOff := int32(-1), math.Inf(1)
		for _, j := range r.next[at] {
			if j < 0 || j == last {
				continue
			}
			step := length(r3.Sub(r.mid[j], r.mid[at]))
			ahead := r3.Add(r.mid[from], r3.Scale(gone+step, way))
			if off := r3.Norm2(r3.Sub(r.mid[j], ahead)); off < bestOff {
				best, bestOff = j, off
			}
		}
		if best < 0 {
			break
		}
		at, last = best, at
	}
	return at
}

// lightness is the weight of lightness in colour differences: the shading that
// is baked into a scan's texture counts half.
const lightness = 2

func vector(v [3]float64) r3.Vec { return r3.Vec{X: v[0], Y: v[1], Z: v[2]} }

// spread moves values from face to face; those given are used up.
func (r *facets) spread(ctx context.Context, v [][3]float64, rounds int) [][3]float64 {
	out := make([][3]float64, len(v))
	for range rounds {
		r.each(ctx, func(from, to int) {
			for i := from; i < to; i++ {
				sum := v[i]
				for _, j := range r.next[i] {
					if j < 0 {
						j = int32(i)
					}
					for c := range 3 {
						sum[c] += v[j][c]
					}
				}
				for c := range 3 {
					out[i][c] = sum[c] / 4
				}
			}
		})
		v, out = out, v
	}
	return v
}

// patch returns the faces that hang together with a place within a straight
// distance of the segment from there to another.
func (s *Surface) patch(from, to mesh.SurfacePoint, radiusMM float64) []uint32 {
	var out []uint32
	c := capsule{s.Mesh.At(from), s.Mesh.At(to), radiusMM}
	s.reach(from.Face, c, -1, func(f uint32) { out = append(out, f) })
	return out
}
