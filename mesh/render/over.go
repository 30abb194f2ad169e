package render

import (
	"image"
	"image/color"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Ring is a ball's cut with the surface: the reach of a brush, in true mm.
type Ring struct {
	Centre   r3.Vec // on the surface, the scene's frame
	RadiusMM float64
	Inner    color.RGBA // thin line in the middle, 2 pixels
	Outer    color.RGBA // round it, 5 pixels
}

// drawOver draws lines and ring over a rectangle of the finished surface.
func (f *Frame) drawOver(clip image.Rectangle) {
	for i := range f.scene.Lines {
		f.drawLine(&f.scene.Lines[i], clip)
	}
	if f.scene.Ring != nil {
		f.drawRing(f.scene.Ring, clip)
	}
}

// RingRect is the part of the picture that a ring may touch, to be shaded again
// when it goes or comes.
func (f *Frame) RingRect(r *Ring) image.Rectangle {
	x, y, depth, ok := f.scene.Camera.Project(r.Centre, f.w, f.h)
	if !ok {
		return f.Picture.Rect
	}
	s := f.scene.Camera.PixelsPerMM(f.h)
	if !f.scene.Camera.Orthographic {
		near := depth - r.RadiusMM
		if near < f.scene.Camera.near() {
			return f.Picture.Rect
		}
		s *= f.scene.Camera.DistanceMM / near
	}
	reach := clampPx(r.RadiusMM*s*1.1 + 4*f.scene.PixelScale)
	x, y = clampPx(x), clampPx(y)
	return image.Rect(int(x-reach)-1, int(y-reach)-1, int(x+reach)+2, int(y+reach)+2).Intersect(f.Picture.Rect)
}

// drawRing draws where the surface lies at the ring's radius from its centre.
func (f *Frame) drawRing(r *Ring, clip image.Rectangle) {
	scale := f.scene.PixelScale
	clip = clip.Intersect(f.RingRect(r))
	if clip.Empty() {
		return
	}
	// How far the surface is from the centre at every pixel and those around it.
	around := clip.Inset(-1)
	w := around.Dx()
	f.ringMM = grow(f.ringMM, w*around.Dy())
	f.distances(r.Centre, around, f.ringMM)
	inner, outer := rgb32(r.Inner), rgb32(r.Outer)
	size := 1 / f.scene.Camera.PixelsPerMM(f.h)
	for y := clip.Min.Y; y < clip.Max.Y; y++ {
		for x := clip.Min.X; x < clip.Max.X; x++ {
			at := (y-around.Min.Y)*w + x - around.Min.X
			off, ok := fromRing(f.ringMM, at, w, r.RadiusMM, size)
			if !ok {
				continue
			}
			a, b := 2.5*scale-off+0.5, 1*scale-off+0.5
			if a <= 0 {
				continue
			}
			o := f.Picture.Pix[y*f.Picture.Stride+4*x : y*f.Picture.Stride+4*x+4]
			c := over([3]float32{float32(o[0]), float32(o[1]), float32(o[2])}, outer, clamp32(float32(a)))
			c = over(c, inner, clamp32(float32(b)))
			o[0], o[1], o[2] = code8(c[0]), code8(c[1]), code8(c[2])
		}
	}
}

// distances works out how far the surface in the middle of each pixel of a
// rectangle is from a place of the scene; below 0 where there is none.
func (f *Frame) distances(from r3.Vec, rect image.Rectangle, out []float64) {
	// Lines of sight change evenly from sample to sample.
	eye, dir := f.sight(0, 0)
	eyeX, dirX := f.sight(1, 0)
	eyeY, dirY := f.sight(0, 1)
	eyeX, dirX, eyeY, dirY = r3.Sub(eyeX, eye), r3.Sub(dirX, dir), r3.Sub(eyeY, eye), r3.Sub(dirY, dir)
	eye = r3.Sub(eye, from)
	i := 0
	for y := rect.Min.Y; y < rect.Max.Y; y++ {
		for x := rect.Min.X; x < rect.Max.X; x++ {
			out[i] = -1
			if image.Pt(x, y).In(f.scene.Clip) {
				sx, sy := f.middle(x, y)
				if d := f.depth[sy*f.vw+sx]; d != 0 {
					z := float64(f.view.depthOf(math.Float32frombits(uint32(d >> 32))))
					fx, fy := float64(sx), float64(sy)
					px := eye.X + fx*eyeX.X + fy*eyeY.X + z*(dir.X+fx*dirX.X+fy*dirY.X)
					py := eye.Y + fx*eyeX.Y + fy*eyeY.Y + z*(dir.Y+fx*dirX.Y+fy*dirY.Y)
					pz := eye.Z + fx*eyeX.Z + fy*eyeY.Z + z*(dir.Z+fx*dirX.Z+fy*dirY.Z)
					out[i] = math.Sqrt(px*px + py*py + pz*pz)
				}
			}
			i++
		}
	}
}

// fromRing is how far, in pixels, the surface at a pixel is from the ring: the
// distance in mm by what it grows from pixel to pixel, each size mm wide.
func fromRing(distance []float64, at, w int, radius, size float64) (float64, bool) {
	d := distance[at]
	if d < 0 {
		return 0, false
	}
	off := math.Abs(d - radius)
	if off > radius && off > 20*size {
		return 0, false
	}
	grow := 0.0
	for _, n := range [4]int{at + 1, at - 1, at + w, at - w} {
		if q := distance[n]; q >= 0 {
			if g := math.Abs(q - d); g < 8*size {
				grow += g * g / 2
			}
		}
	}
	grow = max(math.Sqrt(grow), size/4)
	return off / grow, true
}

// pointAt returns the surface in the middle of a pixel, the scene's frame.
func (f *Frame) pointAt(x, y int) (r3.Vec, bool) {
	if !image.Pt(x, y).In(f.scene.Clip) {
		return r3.Vec{}, false
	}
	i, j := f.middle(x, y)
	d := f.depth[j*f.vw+i]
	if d == 0 {
		return r3.Vec{}, false
	}
	z := float64(f.view.depthOf(math.Float32frombits(uint32(d >> 32))))
	from, dir := f.sight(i, j)
	return r3.Add(from, r3.Scale(z, dir)), true
}

// Glass is a round window in a picture.
type Glass struct {
	X, Y, Radius float64    // pixels
	Rim          color.RGBA // 3 pixels
	Casing       color.RGBA // 1.5 pixels on either side of the rim
	Scale        float64    // of the widths; 0 is 1
}

// Rect is the part of the picture inside the glass.
func (g Glass) Rect() image.Rectangle {
	return image.Rect(int(clampPx(g.X-g.Radius))-1, int(clampPx(g.Y-g.Radius))-1, int(clampPx(g.X+g.Radius))+2, int(clampPx(g.Y+g.Radius))+2)
}

// Loupe copies the round part of another picture of the same size and camera
// into dst, with a rim.
func Loupe(dst, other *image.RGBA, g Glass) {
	scale := g.Scale
	if scale <= 0 {
		scale = 1
	}
	rim, casing := 3*scale, 6*scale
	reach := g.Radius + casing/2 + 1
	box := image.Rect(int(clampPx(g.X-reach)), int(clampPx(g.Y-reach)), int(clampPx(g.X+reach))+2, int(clampPx(g.Y+reach))+2).
		Intersect(dst.Rect)
	for y := box.Min.Y; y < box.Max.Y; y++ {
		for x := box.Min.X; x < box.Max.X; x++ {
			d := math.Hypot(float64(x)+0.5-g.X, float64(y)+0.5-g.Y)
			if d < g.Radius && image.Pt(x, y).In(other.Rect) {
				copy(dst.Pix[dst.PixOffset(x, y):][:4], other.Pix[other.PixOffset(x, y):][:4])
			}
			off := math.Abs(d - g.Radius)
			blend(dst, x, y, g.Casing, casing/2-off+0.5)
			blend(dst, x, y, g.Rim, rim/2-off+0.5)
		}
	}
}

// DateEdge copies what lies to the right of x from another picture of the same
// size and camera into dst, with a line of 2 pixels in a casing of 5 between.
func DateEdge(dst, other *image.RGBA, x float64, line, casing color.RGBA, scale float64) {
	if scale <= 0 {
		scale = 1
	}
	box := dst.Rect.Intersect(other.Rect)
	first := min(max(int(math.Round(clampPx(x))), box.Min.X), box.Max.X)
	for y := box.Min.Y; y < box.Max.Y; y++ {
		if first < box.Max.X {
			copy(dst.Pix[dst.PixOffset(first, y):dst.PixOffset(box.Max.X-1, y)+4], other.Pix[other.PixOffset(first, y):])
		}
		for px := first - int(4*scale); px <= first+int(4*scale); px++ {
			off := math.Abs(float64(px) + 0.5 - x)
			blend(dst, px, y, casing, 2.5*scale-off+0.5)
			blend(dst, px, y, line, scale-off+0.5)
		}
	}
}

// blend lays a colour over a pixel with a share from 0 to 1; outside the
// picture it does nothing.
func blend(dst *image.RGBA, x, y int, c color.RGBA, share float64) {
	if share <= 0 || !image.Pt(x, y).In(dst.Rect) {
		return
	}
	k := float32(min(share, 1)) * float32(c.A) / 255
	o := dst.Pix[dst.PixOffset(x, y):][:4]
	for i, v := range [3]uint8{c.R, c.G, c.B} {
		o[i] = code8(float32(o[i]) + k*(float32(v)-float32(o[i])))
	}
	o[3] = max(o[3], code8(255*k))
}
