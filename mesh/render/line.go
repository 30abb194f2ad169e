package render

import (
	"image"
	"image/color"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Line is a drawn line on the surface, or through the specimen. Lengths are mm
// on the specimen; on screen the casing is never under 1 pixel, the line never
// under 1.5.
type Line struct {
	Points   []r3.Vec // the scene's frame
	Ink      color.RGBA
	Casing   color.RGBA
	WidthMM  float64
	CasingMM float64
	DashMM   []float64 // drawn and left out in turn from the start; nil for solid. A drawn length of 0 is a dot
	DotMM    float64   // across, for dots
	TickMM   float64   // length of a stitch across the line; 0 for none
	TickAtMM float64   // from stitch to stitch; 0 with dashes: one in the middle of each dash
	GapMM    float64   // between the middles of two parallel lines; 0 for one line
	EndMM    float64   // ring at each end, across; 0 for none
	Through  bool      // drawn over whatever lies before it
}

// pen draws the parts of one line into the frame's mask.
type pen struct {
	f       *Frame
	line    *Line
	clip    image.Rectangle
	touched image.Rectangle
}

// drawLine draws a line within a rectangle of the picture. All parts go into a
// mask first, so that overlapping parts are neither darker nor cut by each
// other's casing.
func (f *Frame) drawLine(l *Line, clip image.Rectangle) {
	if len(l.Points) < 2 || clip.Empty() {
		return
	}
	f.mask = grow(f.mask, 2*f.w*f.h)
	p := pen{f: f, line: l, clip: clip}
	p.walk()
	if l.EndMM > 0 {
		p.ring(l.Points[0], l.EndMM/2)
		p.ring(l.Points[len(l.Points)-1], l.EndMM/2)
	}
	// The mask is all zero outside a draw; what was touched is cleared again.
	casing, ink := rgb32(l.Casing), rgb32(l.Ink)
	for y := p.touched.Min.Y; y < p.touched.Max.Y; y++ {
		for x := p.touched.Min.X; x < p.touched.Max.X; x++ {
			m := f.mask[2*(y*f.w+x) : 2*(y*f.w+x)+2 : 2*(y*f.w+x)+2]
			if m[0] == 0 && m[1] == 0 {
				continue
			}
			o := f.Picture.Pix[y*f.Picture.Stride+4*x : y*f.Picture.Stride+4*x+4]
			c := [3]float32{float32(o[0]), float32(o[1]), float32(o[2])}
			if opaque(l.Casing) {
				c = over(c, casing, float32(m[0])/255)
			}
			c = over(c, ink, float32(m[1])/255)
			o[0], o[1], o[2] = code8(c[0]), code8(c[1]), code8(c[2])
			m[0], m[1] = 0, 0
		}
	}
}

// walk goes along the line and draws its dashes, dots and stitches.
func (p *pen) walk() {
	l := p.line
	at := 0.0 // length so far
	var total float64
	for i := 1; i < len(l.Points); i++ {
		total += r3.Norm(r3.Sub(l.Points[i], l.Points[i-1]))
	}
	period := 0.0
	for _, d := range l.DashMM {
		period += d
	}
	if len(l.DashMM)%2 != 0 || period <= 0 || total/period > 1e5 {
		period = 0
	}
	for i := 1; i < len(l.Points); i++ {
		a, b := l.Points[i-1], l.Points[i]
		d := r3.Sub(b, a)
		length := r3.Norm(d)
		if !(length > 0) || math.IsInf(length, 0) {
			continue
		}
		dir := r3.Scale(1/length, d)
		on := func(s float64) r3.Vec { return r3.Add(a, r3.Scale(s-at, dir)) }
		if period == 0 {
			p.stroke(a, b)
			if l.TickMM > 0 && l.TickAtMM > 0 && total/l.TickAtMM < 1e5 {
				// Half a step is left at each end.
				for k := math.Ceil((at - l.TickAtMM/2) / l.TickAtMM); ; k++ {
					s := l.TickAtMM * (k + 0.5)
					if s >= at+length {
						break
					}
					if s >= at {
						p.tick(on(s), dir)
					}
				}
			}
		} else {
			p.dashes(on, dir, at, at+length, period)
		}
		at += length
	}
}

// dashes draws the part of the dash pattern that lies between two lengths.
func (p *pen) dashes(on func(s float64) r3.Vec, dir r3.Vec, from, to, period float64) {
	l := p.line
	for start := math.Floor(from/period) * period; start < to; start += period {
		s := start
		for i := 0; i < len(l.DashMM); i += 2 {
			end := s + l.DashMM[i]
			if l.DashMM[i] == 0 {
				if s >= from && s < to {
					p.dot(on(s), l.DotMM/2)
				}
			} else if a, b := max(s, from), min(end, to); a < b {
				p.stroke(on(a), on(b))
			}
			if mid := (s + end) / 2; l.TickMM > 0 && l.DashMM[i] > 0 && mid >= from && mid < to {
				p.tick(on(mid), dir)
			}
			s = end + l.DashMM[i+1]
		}
	}
}

// spot is a projected point.
type spot struct{ x, y, depth, scale float64 }

// at projects a point; scale is pixels per mm there.
func (p *pen) at(v r3.Vec) (spot, bool) {
	c := &p.f.scene.Camera
	x, y, d, ok := c.Project(v, p.f.w, p.f.h)
	s := c.PixelsPerMM(p.f.h)
	if !c.Orthographic {
		s *= c.DistanceMM / d
	}
	return spot{x, y, d, s}, ok
}

// stroke draws a straight part, cut at the near plane.
func (p *pen) stroke(a, b r3.Vec) {
	if c := &p.f.scene.Camera; !c.Orthographic {
		eye, near := c.Eye(), c.near()*1.001
		da, db := -r3.Dot(r3.Sub(a, eye), c.Back), -r3.Dot(r3.Sub(b, eye), c.Back)
		switch {
		case da < near && db < near:
			return
		case da < near:
			a = r3.Add(a, r3.Scale((near-da)/(db-da), r3.Sub(b, a)))
		case db < near:
			b = r3.Add(b, r3.Scale((near-db)/(da-db), r3.Sub(a, b)))
		}
	}
	s, ok := p.at(a)
	e, ok2 := p.at(b)
	if !ok || !ok2 {
		return
	}
	half := p.line.WidthMM / 2
	if p.line.GapMM <= 0 {
		p.capsule(s, e, half, half)
		return
	}
	dx, dy := e.x-s.x, e.y-s.y
	l := math.Hypot(dx, dy)
	if l == 0 {
		return
	}
	off := p.line.GapMM / 2
	// Casing fills the room between the two lines.
	p.cover(s, e, 0, (off+half)*s.scale+p.casing(s), (off+half)*e.scale+p.casing(e), 0, half+off)
	for _, side := range [2]float64{-1, 1} {
		u, v := s, e
		k := side * off
		u.x, u.y = u.x-dy/l*k*s.scale, u.y+dx/l*k*s.scale
		v.x, v.y = v.x-dy/l*k*e.scale, v.y+dx/l*k*e.scale
		p.capsule(u, v, half, half+off)
	}
}

// tick draws a stitch across the line at a place.
func (p *pen) tick(at, dir r3.Vec) {
	s, ok := p.at(at)
	e, ok2 := p.at(r3.Add(at, r3.Scale(0.01, dir)))
	if !ok || !ok2 {
		return
	}
	dx, dy := e.x-s.x, e.y-s.y
	l := math.Hypot(dx, dy)
	if l < 1e-6 {
		return
	}
	k := p.line.TickMM / 2 * s.scale
	a, b := s, s
	a.x, a.y = s.x-dy/l*k, s.y+dx/l*k
	b.x, b.y = s.x+dy/l*k, s.y-dx/l*k
	p.capsule(a, b, p.line.WidthMM/2, p.line.TickMM/2)
}

// dot draws a round dot.
func (p *pen) dot(at r3.Vec, radiusMM float64) {
	if s, ok := p.at(at); ok {
		p.capsule(s, s, radiusMM, radiusMM)
	}
}

// ring draws an open circle.
func (p *pen) ring(at r3.Vec, radiusMM float64) {
	s, ok := p.at(at)
	if !ok {
		return
	}
	half := p.ink(s, p.line.WidthMM/2)
	r := radiusMM * s.scale
	p.cover(s, s, r, half+p.casing(s), half+p.casing(s), 0, radiusMM)
	p.cover(s, s, r, half, half, 1, radiusMM)
}

func (p *pen) ink(s spot, halfMM float64) float64 {
	return max(halfMM*s.scale, 0.75*p.f.scene.PixelScale)
}

func (p *pen) casing(s spot) float64 {
	return max(p.line.CasingMM*s.scale, p.f.scene.PixelScale)
}

// capsule draws a straight stroke with round ends: casing and ink.
func (p *pen) capsule(a, b spot, halfMM, slackMM float64) {
	ia, ib := p.ink(a, halfMM), p.ink(b, halfMM)
	p.cover(a, b, 0, ia+p.casing(a), ib+p.casing(b), 0, slackMM)
	p.cover(a, b, 0, ia, ib, 1, slackMM)
}

// cover raises the mask (0 casing, 1 ink) where pixels lie within ra to rb of
// the segment from a to b, or, with a radius, of the circle round a. Where the
// surface lies before the line by more than the line's own width can explain,
// it hides it.
func (p *pen) cover(a, b spot, radius, ra, rb float64, which int, slackMM float64) {
	f := p.f
	r := max(ra, rb) + radius + 1
	box := image.Rect(
		int(math.Floor(clampPx(min(a.x, b.x)-r))), int(math.Floor(clampPx(min(a.y, b.y)-r))),
		int(math.Ceil(clampPx(max(a.x, b.x)+r)))+1, int(math.Ceil(clampPx(max(a.y, b.y)+r)))+1).Intersect(p.clip)
	if box.Empty() {
		return
	}
	p.touched = p.touched.Union(box)
	dx, dy := b.x-a.x, b.y-a.y
	l2 := dx*dx + dy*dy
	ortho := f.scene.Camera.Orthographic
	for y := box.Min.Y; y < box.Max.Y; y++ {
		for x := box.Min.X; x < box.Max.X; x++ {
			qx, qy := float64(x)+0.5-a.x, float64(y)+0.5-a.y
			t := 0.0
			if l2 > 0 {
				t = min(max((qx*dx+qy*dy)/l2, 0), 1)
			}
			dist := math.Hypot(qx-t*dx, qy-t*dy)
			if radius > 0 {
				dist = math.Abs(dist - radius)
			}
			cover := ra + t*(rb-ra) - dist + 0.5
			if cover <= 0 {
				continue
			}
			if !p.line.Through {
				i, j := f.middle(x, y)
				if d := f.depth[j*f.vw+i]; d != 0 {
					depth := a.depth + t*(b.depth-a.depth)
					if !ortho {
						depth = 1 / (1/a.depth + t*(1/b.depth-1/a.depth))
					}
					surface := float64(f.view.depthOf(math.Float32frombits(uint32(d >> 32))))
					if depth > surface+slackMM+0.4+2/a.scale {
						continue
					}
				}
			}
			m := &f.mask[2*(y*f.w+x)+which]
			*m = max(*m, uint8(255*min(cover, 1)))
		}
	}
}

func clampPx(x float64) float64 { return min(max(x, -1e6), 1e6) }
