package quality

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/bvh"
)

const (
	// A bar is at least barLong times as long as wide; in barBins pieces along
	// it, without the first and the last, widths differ by no more than
	// barEven from their median, and middles lie no more than barStraight
	// widths off the axis.
	barLong     = 4
	barBins     = 10
	barEven     = 0.2
	barStraight = 0.15
	// farLooks is the number of places of a part from which the distance to the
	// main part is measured.
	farLooks = 16
)

// principal returns the mean of some points, their principal axes by falling
// spread, and how far they reach along each.
func principal(points []r3.Vec) (mean r3.Vec, axes [3]r3.Vec, reach [3]float64) {
	mean, axes, _ = mesh.Principal(points)
	for k := range 3 {
		low, high := math.Inf(1), math.Inf(-1)
		for _, p := range points {
			h := r3.Dot(r3.Sub(p, mean), axes[k])
			low, high = min(low, h), max(high, h)
		}
		reach[k] = high - low
	}
	return mean, axes, reach
}

// corners returns places on the faces listed, about as dense everywhere.
func (s *surface) corners(faces []uint32) []r3.Vec {
	part := *s.m
	part.Triangles, part.MaterialOf, part.Source = nil, nil, nil
	for _, f := range faces {
		part.Triangles = append(part.Triangles, s.m.Triangles[3*f:3*f+3]...)
	}
	places := mesh.Sample(&part, 2000, 1)
	out := make([]r3.Vec, 0, len(places)+1)
	for _, p := range places {
		out = append(out, part.At(p))
	}
	if len(out) == 0 {
		out = append(out, s.centre(faces[0]))
	}
	return out
}

// straight says whether a part is shaped like a bar.
func (s *surface) straight(part []uint32) bool {
	if len(part) < 4 {
		return false
	}
	points := s.corners(part)
	mean, axes, reach := principal(points)
	if !(reach[1] > 0) || reach[0] < barLong*reach[1] {
		return false
	}
	low := math.Inf(1)
	for _, p := range points {
		low = min(low, r3.Dot(r3.Sub(p, mean), axes[0]))
	}
	type bin struct {
		n         int
		low, high [2]float64
	}
	var bins [barBins]bin
	for _, p := range points {
		d := r3.Sub(p, mean)
		k := min(int(float64(barBins)*(r3.Dot(d, axes[0])-low)/reach[0]), barBins-1)
		b := &bins[k]
		for i, axis := range axes[1:] {
			h := r3.Dot(d, axis)
			if b.n == 0 {
				b.low[i], b.high[i] = h, h
			}
			b.low[i], b.high[i] = min(b.low[i], h), max(b.high[i], h)
		}
		b.n++
	}
	widths := make([]float64, 0, barBins)
	for _, b := range bins[1 : barBins-1] {
		if b.n < 10 {
			return false
		}
		for i := range 2 {
			if math.Abs(b.low[i]+b.high[i])/2 > barStraight*reach[1] {
				return false
			}
		}
		widths = append(widths, b.high[0]-b.low[0])
	}
	slices.Sort(widths)
	middle := widths[len(widths)/2]
	return widths[0] >= (1-barEven)*middle && widths[len(widths)-1] <= (1+barEven)*middle
}

// farFrom returns a function that says whether a part is farther than a
// distance from the main part.
func (s *surface) farFrom(main []uint32, distance float64) func(part []uint32) bool {
	body := *s.m
	body.Triangles, body.MaterialOf, body.Source = nil, nil, nil
	for _, f := range main {
		body.Triangles = append(body.Triangles, s.m.Triangles[3*f:3*f+3]...)
	}
	tree := bvh.Build(&body)
	return func(part []uint32) bool {
		for i := 0; i < len(part); i += max(1, len(part)/farLooks) {
			a, b, c := s.m.Corners(part[i])
			for _, v := range [3]r3.Vec{a, b, c} {
				if _, near := tree.Closest(v, distance); near {
					return false
				}
			}
		}
		return true
	}
}

// hull is the convex hull of points in a plane, turning left (Andrew, Inf.
// Process. Lett. 9, 1979).
func hull(points [][2]float64) [][2]float64 {
	p := slices.Clone(points)
	slices.SortFunc(p, func(a, b [2]float64) int {
		if c := compare(a[0], b[0]); c != 0 {
			return c
		}
		return compare(a[1], b[1])
	})
	if len(p) < 3 {
		return p
	}
	var out [][2]float64
	half := func(at func(i int) [2]float64) {
		from := len(out)
		for i := range p {
			for len(out)-from >= 2 && leftOf(out[len(out)-2], out[len(out)-1], at(i)) <= 0 {
				out = out[:len(out)-1]
			}
			out = append(out, at(i))
		}
		out = out[:len(out)-1]
	}
	half(func(i int) [2]float64 { return p[i] })
	half(func(i int) [2]float64 { return p[len(p)-1-i] })
	return out
}

// leftOf is positive where c lies to the left of the way from a to b.
func leftOf(a, b, c [2]float64) float64 {
	return (b[0]-a[0])*(c[1]-a[1]) - (b[1]-a[1])*(c[0]-a[0])
}

func hullArea(h [][2]float64) float64 {
	sum := 0.0
	for i := 2; i < len(h); i++ {
		sum += leftOf(h[0], h[i-1], h[i]) / 2
	}
	return sum
}

func inHull(h [][2]float64, p [2]float64) bool {
	for i := range h {
		if leftOf(h[i], h[(i+1)%len(h)], p) < 0 {
			return false
		}
	}
	return len(h) > 2
}
