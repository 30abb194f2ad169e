package render

import (
	"context"
	"math"

	"rigatino/mesh"
	"rigatino/mesh/colour"
)

// material is what shading needs of a mesh.Material.
type material struct {
	image  int // -1 for none
	factor [3]float32
	plain  bool // factor is 1
	unlit  bool
}

// materialsOf never returns an empty list. Factors are turned into factors of
// coded values: (f·x^2.2)^(1/2.2) = f^(1/2.2)·x, near enough to the transfer
// curve of sRGB.
func materialsOf(m *mesh.Mesh) []material {
	out := make([]material, max(len(m.Materials), 1))
	for i := range out {
		out[i] = material{image: -1, factor: [3]float32{1, 1, 1}, plain: true}
		if i >= len(m.Materials) {
			break
		}
		s := m.Materials[i]
		if s.Image >= 0 && s.Image < len(m.Images) && len(m.UVs) == 2*m.VertexCount() {
			out[i].image = s.Image
		}
		out[i].unlit = s.Unlit
		for k := range 3 {
			f := s.BaseColour[k]
			if f != 1 {
				out[i].plain = false
			}
			out[i].factor[k] = float32(math.Pow(float64(min(max(f, 0), 1)), 1/2.2))
		}
	}
	return out
}

// texture is a decoded picture with halved copies of itself.
type texture struct {
	levels []textureLevel
}

type textureLevel struct {
	w, h int
	pix  []uint8 // RGBA
}

// halved averages blocks of 2 × 2 in linear light, so that a checkerboard of
// black and white does not darken with distance.
func (a textureLevel) halved() textureLevel {
	b := textureLevel{w: max(a.w/2, 1), h: max(a.h/2, 1)}
	b.pix = make([]uint8, 4*b.w*b.h)
	const rows = 32
	_ = mesh.Parallel(context.Background(), (b.h+rows-1)/rows, func(block int) {
		a.halve(&b, block*rows, min(b.h, (block+1)*rows))
	})
	return b
}

// halve computes rows from to to-1 of b, which is half as wide and high as a.
func (a *textureLevel) halve(b *textureLevel, from, to int) {
	for y := from; y < to; y++ {
		y0, y1 := min(2*y, a.h-1), min(2*y+1, a.h-1)
		for x := range b.w {
			x0, x1 := min(2*x, a.w-1), min(2*x+1, a.w-1)
			p := [4]int{4 * (y0*a.w + x0), 4 * (y0*a.w + x1), 4 * (y1*a.w + x0), 4 * (y1*a.w + x1)}
			o := 4 * (y*b.w + x)
			for k := range 3 {
				sum := decode16[a.pix[p[0]+k]] + decode16[a.pix[p[1]+k]] + decode16[a.pix[p[2]+k]] + decode16[a.pix[p[3]+k]]
				b.pix[o+k] = encode12[sum>>6]
			}
			b.pix[o+3] = 255
		}
	}
}

// decode16 is the linear value of a code, 0 to 65535; encode12 the nearest code
// of a linear value from 0 to 4095.
var (
	decode16 = func() (t [256]uint32) {
		for i := range t {
			t[i] = uint32(math.Round(65535 * colour.ToLinear(float64(i)/255)))
		}
		return t
	}()
	encode12 = func() (t [4096]uint8) {
		for i := range t {
			t[i] = uint8(math.Round(255 * colour.ToCoded((float64(i)+0.5)/4096)))
		}
		return t
	}()
)

// at returns the colour at (u, v), coded values 0 to 255, where a pixel covers
// texels of the finest level along a side. Coordinates repeat.
func (t *texture) at(u, v, texels float32) (r, g, b float32) {
	level := 0
	for texels > 1.5 && level < len(t.levels)-1 {
		texels /= 2
		level++
	}
	l := &t.levels[level]
	x := (u-floor32(u))*float32(l.w) - 0.5
	y := (v-floor32(v))*float32(l.h) - 0.5
	if !(x >= -0.5 && y >= -0.5) { // not a number
		return 128, 128, 128
	}
	x0, y0 := floor32(x), floor32(y)
	fx, fy := x-x0, y-y0
	i0, j0 := int(x0), int(y0)
	i1, j1 := i0+1, j0+1
	if i0 < 0 {
		i0 = l.w - 1
	}
	if j0 < 0 {
		j0 = l.h - 1
	}
	if i1 >= l.w {
		i1 = 0
		i0 = min(i0, l.w-1)
	}
	if j1 >= l.h {
		j1 = 0
		j0 = min(j0, l.h-1)
	}
	p00, p10 := l.pix[4*(j0*l.w+i0):], l.pix[4*(j0*l.w+i1):]
	p01, p11 := l.pix[4*(j1*l.w+i0):], l.pix[4*(j1*l.w+i1):]
	a, b2, c, d := (1-fx)*(1-fy), fx*(1-fy), (1-fx)*fy, fx*fy
	r = a*float32(p00[0]) + b2*float32(p10[0]) + c*float32(p01[0]) + d*float32(p11[0])
	g = a*float32(p00[1]) + b2*float32(p10[1]) + c*float32(p01[1]) + d*float32(p11[1])
	b = a*float32(p00[2]) + b2*float32(p10[2]) + c*float32(p01[2]) + d*float32(p11[2])
	return r, g, b
}
