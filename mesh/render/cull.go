package render

import (
	"image"
	"math"
)

// visibleCluster is a cluster that may be in sight.
type visibleCluster struct {
	body     uint16
	clip     bool // may reach behind the near plane or far outside the picture
	cluster  uint32
	top, end int32 // rows it may touch
}

const cullBlock = 1024

// scratch is the memory of one thread.
type scratch struct {
	found [cullBlock]visibleCluster
	spots [256]corner2
	list  [slots]uint8
}

// cullAll finds the clusters that may be in sight, of the proxies if told so.
func (r *Renderer) cullAll(proxies bool) {
	f := r.frame
	if proxies {
		f.useProxies()
	}
	parts, total := 0, 0
	for i := range f.bodies {
		n := len(f.bodies[i].level.clusters)
		parts += (n + cullBlock - 1) / cullBlock
		total += n
	}
	r.visible = grow(r.visible, total)
	r.count.Store(0)
	r.run(doCull, parts)
}

// cull looks at one block of clusters.
func (r *Renderer) cull(part int, s *scratch) {
	f := r.frame
	body := 0
	for ; ; body++ {
		n := (len(f.bodies[body].level.clusters) + cullBlock - 1) / cullBlock
		if part < n {
			break
		}
		part -= n
	}
	p := &f.bodies[body]
	all := p.level.clusters
	n := 0
	for i := part * cullBlock; i < min(len(all), (part+1)*cullBlock); i++ {
		if c, ok := f.clusterInSight(p, &all[i]); ok {
			c.body, c.cluster = uint16(body), uint32(i)
			s.found[n] = c
			n++
		}
	}
	at := int(r.count.Add(int64(n))) - n
	copy(r.visible[at:], s.found[:n])
}

// guard is how far, in samples, a corner may lie from the picture's middle
// before its triangle is clipped: what snap can hold. Edge products then stay
// far within 64 bits.
const guard = 16000

func (f *Frame) clusterInSight(p *placed, c *clusterInfo) (visibleCluster, bool) {
	v := &f.view
	m, t := &p.turn, &p.shift
	cx, cy, cz := c.centre[0], c.centre[1], c.centre[2]
	x := m[0]*cx + m[1]*cy + m[2]*cz + t[0]
	y := m[3]*cx + m[4]*cy + m[5]*cz + t[1]
	z := m[6]*cx + m[7]*cy + m[8]*cz + t[2]
	// A little more than the radius makes up for the rounding of the corners.
	rad := c.radius + 1e-5*(abs32(x)+abs32(y)+abs32(z)) + float32(v.near)*1e-3
	hw, hh := float32(v.halfW), float32(v.halfH)
	out := visibleCluster{top: int32(f.room.Min.Y), end: int32(f.room.Max.Y)}

	if v.ortho {
		if abs32(x) > hw+rad || abs32(y) > hh+rad {
			return out, false
		}
		if p.cullBack && facesAway(c, p.ahead[0], p.ahead[1], p.ahead[2], 0) {
			return out, false
		}
		s := float32(v.scale)
		out.rows(float32(v.cy)-(y+rad)*s, float32(v.cy)-(y-rad)*s, f.room)
		if cx := float32(v.cx) + x*s; cx+rad*s < float32(f.room.Min.X)-2 || cx-rad*s > float32(f.room.Max.X)+2 {
			return out, false
		}
		out.clip = (max(abs32(x), abs32(y))+rad)*s > guard
		return out, out.top < out.end
	}
	if z+rad < float32(v.near) {
		return out, false
	}
	if abs32(x)-hw*z > rad*sqrt32(1+hw*hw) || abs32(y)-hh*z > rad*sqrt32(1+hh*hh) {
		return out, false
	}
	if p.cullBack {
		dx, dy, dz := cx-p.eye[0], cy-p.eye[1], cz-p.eye[2]
		if d := sqrt32(dx*dx + dy*dy + dz*dz); d > 0 && facesAway(c, dx/d, dy/d, dz/d, rad/d) {
			return out, false
		}
	}
	zn := z - rad
	if zn <= float32(v.near) {
		out.clip = true
		return out, true
	}
	s := float32(v.scale)
	at := func(y float32) float32 {
		if y > 0 {
			return float32(v.cy) - s*y/zn
		}
		return float32(v.cy) - s*y/(z+rad)
	}
	bottom := func(y float32) float32 {
		if y < 0 {
			return float32(v.cy) - s*y/zn
		}
		return float32(v.cy) - s*y/(z+rad)
	}
	out.rows(at(y+rad), bottom(y-rad), f.room)
	if f.besides(x, zn, z+rad, rad) {
		return out, false
	}
	out.clip = (max(abs32(x), abs32(y))+rad)*s/zn > guard
	return out, out.top < out.end
}

// besides says whether a sphere, seen from depths near to far, lies left or
// right of what is drawn.
func (f *Frame) besides(x, near, far, radius float32) bool {
	s, cx := float32(f.view.scale), float32(f.view.cx)
	edge := func(x float32, outward bool) float32 {
		if (x > 0) == outward {
			return cx + s*x/near
		}
		return cx + s*x/far
	}
	return edge(x+radius, true) < float32(f.room.Min.X)-2 || edge(x-radius, false) > float32(f.room.Max.X)+2
}

// rows sets the range of rows from two heights in the picture.
func (c *visibleCluster) rows(top, bottom float32, clip image.Rectangle) {
	lo, hi := float32(clip.Min.Y), float32(clip.Max.Y)
	c.top = int32(min(max(top-1, lo), hi))
	c.end = int32(min(max(bottom+2, lo), hi))
}

// facesAway says whether all normals of a cluster point away from an eye that
// looks along d, with a little in hand for rounding; spread is the sine of half
// the angle under which the cluster is seen.
func facesAway(c *clusterInfo, dx, dy, dz, spread float32) bool {
	if c.cone > 1 {
		return false
	}
	cos := c.axis[0]*dx + c.axis[1]*dy + c.axis[2]*dz
	if cos <= 0 {
		return false
	}
	sin := sqrt32(max(0, 1-cos*cos))
	return cos*sqrt32(1-c.cone*c.cone)-sin*c.cone > spread+0.02
}

// setBands cuts the picture into bands of about equally many clusters, so that
// threads finish together. Pixels do not depend on the cut.
func (r *Renderer) setBands() {
	from, to := r.frame.room.Min.Y, r.frame.room.Max.Y
	const block = 8
	r.rows = grow(r.rows, (to-from)/block+2)
	clear(r.rows)
	total := 0
	for _, c := range r.visible[:r.count.Load()] {
		// Every cluster counts once, spread over the rows it touches.
		r.rows[(int(c.top+c.end)/2-from)/block]++
		total++
	}
	bands := 1
	if r.threads > 1 {
		bands = 4 * r.threads
	}
	r.bands = append(r.bands[:0], from)
	sum := 0
	for i, n := range r.rows {
		sum += n
		row := from + (i+1)*block
		if sum*bands >= total*len(r.bands) && len(r.bands) < bands && row < to && row > r.bands[len(r.bands)-1] {
			r.bands = append(r.bands, row)
		}
	}
	r.bands = append(r.bands, to)
}

func abs32(x float32) float32 { return float32(math.Abs(float64(x))) }

func sqrt32(x float32) float32 { return float32(math.Sqrt(float64(x))) }
