package render

import "math"

// subBits is the precision to which corners are snapped: 1/256 of a sample.
const (
	subBits = 8
	subOne  = 1 << subBits
)

// snap rounds a place, in steps of the grid from the picture's middle. Adding
// 1.5·2^23 leaves the nearest whole number in the low bits of a float32, which
// holds for 16384 samples on either side.
func snap(x float32) int32 {
	const magic = 3 << 22
	return int32(math.Float32bits(x+magic)) - magicBits
}

const magicBits = 0x4B400000 // the bits of 3·2^22

// raster draws all clusters in sight into one band.
func (r *Renderer) raster(band int, s *scratch) {
	f := r.frame
	top, end := r.bands[band], r.bands[band+1]
	for y := top; y < end; y++ {
		clear(f.depth[y*f.vw+f.room.Min.X : y*f.vw+f.room.Max.X])
	}
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
	v := &f.view
	spots := &s.spots
	project(l.xyz[3*int(c.first):3*(int(c.first)+int(c.vertices))], &p.grid, &p.gridShift, float32(v.far), v.ortho, spots)
	corners := (*[3 * slots]uint8)(l.corner[3*slots*cluster:])
	list := &s.list
	candidates := sift(corners, int(c.used), spots, f.originX, f.originY, p.cullBack, list)

	width := f.vw
	firstX, firstY := int32(f.room.Min.X), int32(top)
	lastX, lastY := int32(f.room.Max.X-1), int32(end-1)
	originX, originY := f.originX, f.originY
	first := uint64(p.base) + uint64(cluster*slots)
	depth := f.depth
	for _, slot := range list[:candidates] {
		at := 3 * int(slot&(slots-1))
		id := first + uint64(slot)
		a, b, d := &spots[corners[at]], &spots[corners[at+1]], &spots[corners[at+2]]
		x0, y0, x1, y1, x2, y2 := a.x, a.y, b.x, b.y, d.x, d.y
		// Twice the area in the picture, positive when the corners run clockwise
		// on the screen. Faces that look at us run anticlockwise.
		area := int64(x1-x0)*int64(y2-y0) - int64(x2-x0)*int64(y1-y0)
		if area < 0 {
			b, d = d, b
			x1, y1, x2, y2 = x2, y2, x1, y1
			area = -area
		}
		// The samples whose middles may lie inside.
		minX := (min(x0, x1, x2) + originX + subOne - 1) >> subBits
		maxX := (max(x0, x1, x2) + originX) >> subBits
		minY := (min(y0, y1, y2) + originY + subOne - 1) >> subBits
		maxY := (max(y0, y1, y2) + originY) >> subBits
		minX, minY = max(minX, firstX), max(minY, firstY)
		maxX, maxY = min(maxX, lastX), min(maxY, lastY)
		if minX > maxX || minY > maxY {
			continue
		}
		// Edge values at the first sample; see fill.
		px, py := int64(minX)<<subBits-int64(originX), int64(minY)<<subBits-int64(originY)
		ax, ay := int64(x2-x1), int64(y2-y1)
		bx, by := int64(x0-x2), int64(y0-y2)
		gx, gy := int64(x1-x0), int64(y1-y0)
		t0, t1, t2 := topLeft(ax, ay), topLeft(bx, by), topLeft(gx, gy)
		e0 := ax*(py-int64(y1)) - ay*(px-int64(x1)) + t0
		e1 := bx*(py-int64(y2)) - by*(px-int64(x2)) + t1
		e2 := gx*(py-int64(y0)) - gy*(px-int64(x0)) + t2
		// What the edge rule took off must not count as weight: triangles may be
		// a few steps of the grid across.
		inv := 1 / float32(area)
		q0, q1, q2 := a.q*inv, b.q*inv, d.q*inv
		qt := float32(t0)*q0 + float32(t1)*q1 + float32(t2)*q2
		if minX == maxX && minY == maxY { // most triangles of a big scan
			if e0|e1|e2 >= 0 {
				q := float32(e0)*q0 + float32(e1)*q1 + float32(e2)*q2 - qt
				z := uint64(math.Float32bits(q))<<32 | id
				if at := int(minY)*width + int(minX); z > depth[at] {
					depth[at] = z
				}
			}
			continue
		}
		ax, bx, gx = ax<<subBits, bx<<subBits, gx<<subBits
		ay, by, gy = ay<<subBits, by<<subBits, gy<<subBits
		for y := minY; y <= maxY; y++ {
			row := depth[int(y)*width+int(minX) : int(y)*width+int(maxX)+1]
			w0, w1, w2 := e0, e1, e2
			x := 0
			for ; x < len(row) && w0|w1|w2 < 0; x++ {
				w0 -= ay
				w1 -= by
				w2 -= gy
			}
			for ; x < len(row) && w0|w1|w2 >= 0; x++ {
				q := float32(w0)*q0 + float32(w1)*q1 + float32(w2)*q2 - qt
				if z := uint64(math.Float32bits(q))<<32 | id; z > row[x] {
					row[x] = z
				}
				w0 -= ay
				w1 -= by
				w2 -= gy
			}
			e0 += ax
			e1 += bx
			e2 += gx
		}
	}
}

// corner2 is a projected corner: snapped, from the picture's middle, and its
// nearness.
type corner2 struct {
	x, y int32
	q    float32
	_    uint32 // a place is then a shift, not a product
}

// sift lists the triangles of a cluster that face the eye, or all of some area
// where back faces are wanted, and whose box holds the middle of a sample. On a
// big scan it drops most, at random, so it runs without branches: a triangle is
// written down always and counted only if it is kept.
func sift(corners *[3 * slots]uint8, used int, spots *[256]corner2, originX, originY int32, cullBack bool, list *[slots]uint8) (n int) {
	both := uint64(1)
	if cullBack {
		both = 0
	}
	for s, at := 0, 0; s < used && at < 3*slots-2; s, at = s+1, at+3 {
		a, b, c := &spots[corners[at]], &spots[corners[at+1]], &spots[corners[at+2]]
		x0, y0, x1, y1, x2, y2 := a.x, a.y, b.x, b.y, c.x, c.y
		area := int64(x1-x0)*int64(y2-y0) - int64(x2-x0)*int64(y1-y0)
		keep := uint64(area)>>63 | uint64(-area)>>63&both
		wide := (max(x0, x1, x2)+originX)>>subBits - (min(x0, x1, x2)+originX+subOne-1)>>subBits
		high := (max(y0, y1, y2)+originY)>>subBits - (min(y0, y1, y2)+originY+subOne-1)>>subBits
		list[n&(slots-1)] = uint8(s)
		n += int(keep &^ (uint64(uint32(wide|high)) >> 31))
	}
	return n
}

// project moves the corners of a cluster on to the grid of the picture: turn
// and shift are scaled to steps of the grid at depth 1, or in a picture without
// perspective to steps a mm.
func project(xyz []float32, turn *[9]float32, shift *[3]float32, far float32, ortho bool, out *[256]corner2) {
	m0, m1, m2, t0 := turn[0], turn[1], turn[2], shift[0]
	m3, m4, m5, t1 := turn[3], turn[4], turn[5], shift[1]
	m6, m7, m8, t2 := turn[6], turn[7], turn[8], shift[2]
	i := 0
	if ortho {
		for ; len(xyz) >= 3; xyz = xyz[3:] {
			px, py, pz := xyz[0], xyz[1], xyz[2]
			o := &out[i&255]
			o.x, o.y = snap(m0*px+m1*py+m2*pz+t0), snap(m3*px+m4*py+m5*pz+t1)
			o.q = far - (m6*px + m7*py + m8*pz + t2)
			i++
		}
		return
	}
	for ; len(xyz) >= 3; xyz = xyz[3:] {
		px, py, pz := xyz[0], xyz[1], xyz[2]
		q := 1 / (m6*px + m7*py + m8*pz + t2)
		o := &out[i&255]
		o.x, o.y = snap((m0*px+m1*py+m2*pz+t0)*q), snap((m3*px+m4*py+m5*pz+t1)*q)
		o.q = q
		i++
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
