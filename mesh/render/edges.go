package render

import (
	"image"
	"image/color"
)

// Widths in pixels. An outline lies two thirds on one side, one third on the
// other.
const (
	outlineInner = 1.0
	outlineOuter = 0.5
	contourWidth = 1.0
	rimWidth     = 3.0
)

// edgeRows draws outlines, contours and rims over a block of rows from the one
// given on. It reads the keys alone, so that rows may be done in any order.
func (f *Frame) edgeRows(top int) {
	f.edgeRect(f.room.Min.X, top, f.room.Max.X, min(top+rowBlock, f.room.Max.Y))
}

func (f *Frame) edgeRect(left, top, right, end int) {
	pix, stride := f.Picture.Pix, f.Picture.Stride
	if f.apart() {
		pix, stride = f.fine, 4*f.vw
	}
	scale := float32(f.scene.PixelScale * f.perPixel())
	w := f.vw
	inside := f.room.Inset(1)
	for y := top; y < end; y++ {
		for x := left; x < right; x++ {
			key := f.keys[y*w+x]
			// Most samples lie among their like.
			i := y*w + x
			inner := image.Pt(x, y).In(inside)
			if inner && key&changeKinds != changeAdded && f.keys[i-1] == key && f.keys[i+1] == key && f.keys[i-w] == key && f.keys[i+w] == key && scale <= 1 {
				continue
			}
			colour, share := f.edgeAt(x, y, key, scale)
			if share <= 0 {
				continue
			}
			o := pix[y*stride+4*x : y*stride+4*x+3 : y*stride+4*x+3]
			for k, v := range [3]uint8{colour.R, colour.G, colour.B} {
				o[k] = code8(float32(o[k]) + share*(float32(v)-float32(o[k])))
			}
		}
	}
}

// edgeAt says which line covers a sample, and how much of it.
func (f *Frame) edgeAt(x, y int, key uint32, scale float32) (color.RGBA, float32) {
	switch key >> keyKind {
	case keyChange >> keyKind:
		ch := f.bodies[key>>keyBody&63].Change
		switch key & changeKinds {
		case changeRemoved:
			if ch.StepMM <= 0 || !opaque(ch.Contour) {
				return color.RGBA{}, 0
			}
			// Drawn on the deeper side, between steps of the same sign.
			return ch.Contour, f.reach(x, y, contourWidth*scale, func(other uint32) bool {
				return other>>keyBody == key>>keyBody && other&changeKinds == changeRemoved && other < key
			})
		case changeAdded:
			if !opaque(ch.Rim) {
				return color.RGBA{}, 0
			}
			return ch.Rim, f.reach(x, y, rimWidth*scale, func(other uint32) bool { return other != key })
		}
		return color.RGBA{}, 0
	}
	// Marked, or background beside something marked.
	colour, ok := color.RGBA{}, false
	edge := key >> keyKind
	if edge == keyMark>>keyKind {
		colour, ok = f.bodies[key>>keyBody&63].Marks.Outline, true
	}
	mine := key & keyLow
	if edge != keyMark>>keyKind {
		mine = 0
	}
	if mine != 0 {
		if !opaque(colour) {
			return colour, 0
		}
		full := f.reach(x, y, outlineInner*scale, func(other uint32) bool {
			return other != key && (other>>keyKind != keyMark>>keyKind || other&keyLow == 0 || other < key)
		})
		if full > 0 {
			return colour, full
		}
		return colour, f.reach(x, y, outlineOuter*scale, func(other uint32) bool {
			return other != key && other>>keyKind == keyMark>>keyKind && other&keyLow != 0
		})
	}
	var from uint32
	share := f.reach(x, y, outlineOuter*scale, func(other uint32) bool {
		if other>>keyKind == keyMark>>keyKind && other&keyLow != 0 {
			from = other
			return true
		}
		return false
	})
	if share > 0 && !ok {
		colour = f.bodies[from>>keyBody&63].Marks.Outline
	}
	if !opaque(colour) {
		return colour, 0
	}
	return colour, share
}

// reach says how much of a sample lies within width of a sample whose key
// differs: 1 for the first samples beside it, less for the last.
func (f *Frame) reach(x, y int, width float32, differs func(key uint32) bool) float32 {
	n := int(width)
	if float32(n) < width {
		n++
	}
	for d := 1; d <= n; d++ {
		found := false
		for _, s := range [8][2]int{{1, 0}, {-1, 0}, {0, 1}, {0, -1}, {1, 1}, {-1, 1}, {1, -1}, {-1, -1}} {
			dx, dy := s[0]*d, s[1]*d
			if dx != 0 && dy != 0 {
				if d == 1 {
					continue
				}
				dx, dy = s[0]*(d*7/10), s[1]*(d*7/10)
			}
			i, j := x+dx, y+dy
			if !image.Pt(i, j).In(f.room) {
				continue
			}
			if differs(f.keys[j*f.vw+i]) {
				found = true
				break
			}
		}
		if found {
			return min(1, width-float32(d-1))
		}
	}
	return 0
}

// reduceRows makes a block of rows of pixels, from the one given on, of their
// samples.
func (f *Frame) reduceRows(top int) {
	c := f.scene.Clip
	f.reduceRect(c.Min.X, top, c.Max.X, min(top+rowBlock, c.Max.Y))
}

// reduceRect averages the samples of each pixel, or spreads each over its pixels.
func (f *Frame) reduceRect(left, top, right, end int) {
	if f.half {
		for y := top; y < end; y++ {
			out := f.Picture.Pix[y*f.Picture.Stride:]
			in := f.fine[4*(y/2)*f.vw:]
			for x := left; x < right; x++ {
				copy(out[4*x:4*x+4:4*x+4], in[4*(x/2):4*(x/2)+4:4*(x/2)+4])
			}
		}
		return
	}
	n := f.samples
	area := uint32(n * n)
	for y := top; y < end; y++ {
		out := f.Picture.Pix[y*f.Picture.Stride:]
		for x := left; x < right; x++ {
			var sum [4]uint32
			for j := range n {
				in := f.fine[4*((y*n+j)*f.vw+x*n):]
				for i := range 4 * n {
					sum[i&3] += uint32(in[i])
				}
			}
			for k := range 4 {
				out[4*x+k] = uint8((sum[k] + area/2) / area)
			}
		}
	}
}
