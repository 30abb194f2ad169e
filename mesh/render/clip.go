package render

import "math"

// corner3 is a corner on the grid at depth 1 (see placed.grid), and its depth.
type corner3 struct{ x, y, z float64 }

// rasterClipped draws a cluster some of whose triangles may reach behind the
// near plane or far outside the picture: those are cut at the near plane and at
// four planes of the guard first (Sutherland and Hodgman 1974). Corners that
// need no cut are snapped exactly as in rasterCluster, and a cut edge is always
// cut from the same end, so that neighbours still share their edges.
func (f *Frame) rasterClipped(p *placed, cluster, top, end int) {
	l := p.level
	c := &l.clusters[cluster]
	m, t := p.grid, p.gridShift
	for s := range int(c.used) {
		id := uint32(cluster*slots + s)
		a, b, d := l.places(id)
		var poly [12]corner3
		for i, v := range [3]int{a, b, d} {
			px, py, pz := l.xyz[3*v], l.xyz[3*v+1], l.xyz[3*v+2]
			poly[i] = corner3{
				float64(m[0]*px + m[1]*py + m[2]*pz + t[0]),
				float64(m[3]*px + m[4]*py + m[5]*pz + t[1]),
				float64(m[6]*px + m[7]*py + m[8]*pz + t[2]),
			}
		}
		n := f.clip(&poly, 3)
		for i := 1; i+1 < n; i++ {
			f.fill(p, poly[0], poly[i], poly[i+1], uint64(p.base)+uint64(id), top, end)
		}
	}
}

// The planes that triangles are cut at.
const (
	nearPlane = iota
	rightPlane
	leftPlane
	bottomPlane
	topPlane
	planes
)

// inside is how far within a plane a corner lies, in units of its own.
func (v *view) inside(plane int, c *corner3) float64 {
	const edge = (guard - 1) * subOne
	z := c.z
	if v.ortho {
		z = 1
	}
	switch plane {
	case nearPlane:
		if v.ortho {
			return 1 // everything is drawn
		}
		return c.z - v.near
	case rightPlane:
		return edge*z - c.x
	case leftPlane:
		return edge*z + c.x
	case bottomPlane:
		return edge*z - c.y
	default:
		return edge*z + c.y
	}
}

// clip cuts a polygon of n corners and returns how many are left.
func (f *Frame) clip(poly *[12]corner3, n int) int {
	v := &f.view
	var out [12]corner3
	for plane := range planes {
		cut := false
		for i := range n {
			cut = cut || v.inside(plane, &poly[i]) < 0
		}
		if !cut {
			continue
		}
		k := 0
		for i := range n {
			a, b := &poly[i], &poly[(i+1)%n]
			da, db := v.inside(plane, a), v.inside(plane, b)
			if da >= 0 {
				out[k] = *a
				k++
			}
			switch {
			case da >= 0 && db < 0:
				out[k] = cutEdge(*a, *b, da, db)
				k++
			case da < 0 && db >= 0:
				out[k] = cutEdge(*b, *a, db, da)
				k++
			}
		}
		copy(poly[:k], out[:k])
		n = k
		if n < 3 {
			return 0
		}
	}
	return n
}

// cutEdge is where the edge from a, inside, to b, outside, meets the plane.
func cutEdge(a, b corner3, da, db float64) corner3 {
	k := da / (da - db)
	return corner3{a.x + k*(b.x-a.x), a.y + k*(b.y-a.y), a.z + k*(b.z-a.z)}
}

// fill draws one triangle in front of the near plane and within the guard. An
// edge value is twice the area between the edge and a sample, positive inside;
// a sample on an edge belongs to the triangle of which it is the top or left
// edge.
func (f *Frame) fill(p *placed, a, b, c corner3, id uint64, top, end int) {
	v := &f.view
	var x, y [3]int64
	var q [3]float32
	for i, k := range [3]corner3{a, b, c} {
		q[i] = float32(v.far) - float32(k.z)
		s := float32(1)
		if !v.ortho {
			q[i] = 1 / float32(k.z)
			s = q[i]
		}
		x[i], y[i] = int64(snap(float32(k.x)*s)+f.originX), int64(snap(float32(k.y)*s)+f.originY)
	}
	area := (x[1]-x[0])*(y[2]-y[0]) - (x[2]-x[0])*(y[1]-y[0])
	if area >= 0 {
		if area == 0 || p.cullBack {
			return
		}
	} else {
		x[1], y[1], q[1], x[2], y[2], q[2] = x[2], y[2], q[2], x[1], y[1], q[1]
		area = -area
	}
	minX := max((min(x[0], x[1], x[2])+subOne-1)>>subBits, int64(f.room.Min.X))
	maxX := min(max(x[0], x[1], x[2])>>subBits, int64(f.room.Max.X-1))
	minY := max((min(y[0], y[1], y[2])+subOne-1)>>subBits, int64(top))
	maxY := min(max(y[0], y[1], y[2])>>subBits, int64(end-1))
	if minX > maxX {
		return
	}
	var dx, dy, bias [3]int64
	for i := range 3 {
		j, k := (i+1)%3, (i+2)%3
		dx[i], dy[i] = x[k]-x[j], y[k]-y[j]
		bias[i] = topLeft(dx[i], dy[i])
	}
	inv := 1 / float32(area)
	q0, q1, q2 := q[0]*inv, q[1]*inv, q[2]*inv
	qt := float32(bias[0])*q0 + float32(bias[1])*q1 + float32(bias[2])*q2 // see rasterCluster
	for row := minY; row <= maxY; row++ {
		var w [3]int64
		for i := range 3 {
			j := (i + 1) % 3
			w[i] = dx[i]*(row<<subBits-y[j]) - dy[i]*(minX<<subBits-x[j]) + bias[i]
		}
		// The part of the row inside all three edges.
		lo, hi := minX, maxX
		for i := range 3 {
			step := dy[i] << subBits // w falls by it from sample to sample
			switch {
			case step > 0 && w[i] < 0, step == 0 && w[i] < 0:
				hi = lo - 1
			case step > 0:
				hi = min(hi, minX+w[i]/step)
			case step < 0 && w[i] < 0:
				lo = max(lo, minX+(-w[i]+(-step)-1)/(-step))
			}
		}
		at := int(row) * f.vw
		for col := lo; col <= hi; col++ {
			k := col - minX
			w0, w1, w2 := w[0]-k*(dy[0]<<subBits), w[1]-k*(dy[1]<<subBits), w[2]-k*(dy[2]<<subBits)
			d := uint64(math.Float32bits(float32(w0)*q0+float32(w1)*q1+float32(w2)*q2-qt))<<32 | id
			if i := at + int(col); d > f.depth[i] {
				f.depth[i] = d
			}
		}
	}
}
