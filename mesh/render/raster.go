package render

import "math"

// subBits is the precision to which corners are snapped: 1/256 of a sample.
const (
	subBits = 8
	subOne  = 1 << subBits
)

// snap rounds a place in samples to the grid of corners, measured so that the
// middle of a sample lies on a multiple of subOne.
func snap(x float32) int32 {
	const bias = 1 << 30
	return int32(int64(float64(x)*subOne+(bias+0.5-subOne/2)) - bias)
}

// raster draws all clusters in sight into one band.
func (r *Renderer) raster(band int, s *scratch) {
	f := r.frame
	top, end := r.bands[band], r.bands[band+1]
	clear(f.depth[top*f.vw : end*f.vw])
	for i, c := range r.visible[:r.count.Load()] {
		if i&63 == 0 && r.stop() {
			return
		}
		if int(c.end) <= top || int(c.top) >= end {
			continue
		}
		p := &f.bodies[c.body]
		if c.clip {
			f.rasterClipped(p, int(c.cluster), top, end)
		} else {
			f.rasterCluster(p, int(c.cluster), top, end, s)
		}
	}
}

// rasterCluster draws a cluster that lies wholly in front of the near plane and
// within the guard.
func (f *Frame) rasterCluster(p *placed, cluster, top, end int, s *scratch) {
	l := p.level
	c := &l.clusters[cluster]
	m, t := p.turn, p.shift
	v := &f.view
	scale, cx, cy := float32(v.scale), float32(v.cx), float32(v.cy)
	far := float32(v.far)
	xyz := l.xyz[3*int(c.first) : 3*(int(c.first)+int(c.vertices))]
	xs, ys, qs := &s.x, &s.y, &s.q
	for i := 0; i+2 < len(xyz); i += 3 {
		px, py, pz := xyz[i], xyz[i+1], xyz[i+2]
		x := m[0]*px + m[1]*py + m[2]*pz + t[0]
		y := m[3]*px + m[4]*py + m[5]*pz + t[1]
		z := m[6]*px + m[7]*py + m[8]*pz + t[2]
		k := scale
		q := far - z
		if !v.ortho {
			q = 1 / z
			k *= q
		}
		j := uint8(i / 3)
		xs[j], ys[j], qs[j] = snap(cx+x*k), snap(cy-y*k), q
	}

	width := f.vw
	lastX, lastY := int32(width-1), int32(end-1)
	firstY := int32(top)
	corner := l.corner[3*slots*cluster : 3*slots*cluster+3*int(c.used)]
	id := uint64(p.base) + uint64(cluster*slots)
	cullBack := p.cullBack
	depth := f.depth
	for ; len(corner) >= 3; corner, id = corner[3:], id+1 {
		i, j, k := corner[0], corner[1], corner[2]
		x0, y0, x1, y1, x2, y2 := xs[i], ys[i], xs[j], ys[j], xs[k], ys[k]
		// Twice the area in the picture, positive when the corners run clockwise
		// on the screen. Faces that look at us run anticlockwise.
		area := int64(x1-x0)*int64(y2-y0) - int64(x2-x0)*int64(y1-y0)
		if area >= 0 {
			if area == 0 || cullBack {
				continue
			}
		} else {
			j, k = k, j
			x1, y1, x2, y2 = x2, y2, x1, y1
			area = -area
		}
		minX := (min(x0, x1, x2) + subOne - 1) >> subBits
		maxX := max(x0, x1, x2) >> subBits
		minY := (min(y0, y1, y2) + subOne - 1) >> subBits
		maxY := max(y0, y1, y2) >> subBits
		minX, minY = max(minX, 0), max(minY, firstY)
		maxX, maxY = min(maxX, lastX), min(maxY, lastY)
		if minX > maxX || minY > maxY {
			continue
		}
		// Edge values at the first sample; see fill.
		px, py := int64(minX)<<subBits, int64(minY)<<subBits
		ax, ay := int64(x2-x1), int64(y2-y1)
		bx, by := int64(x0-x2), int64(y0-y2)
		gx, gy := int64(x1-x0), int64(y1-y0)
		t0, t1, t2 := topLeft(ax, ay), topLeft(bx, by), topLeft(gx, gy)
		e0 := ax*(py-int64(y1)) - ay*(px-int64(x1)) + t0
		e1 := bx*(py-int64(y2)) - by*(px-int64(x2)) + t1
		e2 := gx*(py-int64(y0)) - gy*(px-int64(x0)) + t2
		inv := 1 / float32(area)
		q0, q1, q2 := qs[i]*inv, qs[j]*inv, qs[k]*inv
		// What the edge rule took off must not count as weight: triangles may be
		// a few steps of the grid across.
		qt := float32(t0)*q0 + float32(t1)*q1 + float32(t2)*q2
		for y := minY; ; y++ {
			row := int(y) * width
			w0, w1, w2 := e0, e1, e2
			for x := minX; ; x++ {
				if w0|w1|w2 >= 0 {
					q := float32(w0)*q0 + float32(w1)*q1 + float32(w2)*q2 - qt
					d := uint64(math.Float32bits(q))<<32 | id
					if at := row + int(x); d > depth[at] {
						depth[at] = d
					}
				}
				if x == maxX {
					break
				}
				w0 -= ay << subBits
				w1 -= by << subBits
				w2 -= gy << subBits
			}
			if y == maxY {
				break
			}
			e0 += ax << subBits
			e1 += bx << subBits
			e2 += gx << subBits
		}
	}
}

// topLeft is 0 for an edge whose own samples belong to its triangle, the top
// and left ones, and -1 for the others, so that each sample on a shared edge
// belongs to one triangle.
func topLeft(dx, dy int64) int64 {
	if dy < 0 || (dy == 0 && dx > 0) {
		return 0
	}
	return -1
}
