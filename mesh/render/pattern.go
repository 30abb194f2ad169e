package render

import (
	"math"
	"sync"
)

// Pattern is a hatch that repeats over the surface. It is worked out once,
// when it is first drawn, as shares of ink and halo at several resolutions, so
// that hatching neither flickers nor grows jagged.
type Pattern struct {
	cover  func(u, v float64) (ink, halo bool)
	tileMM float64
	once   sync.Once
	levels [patternLevels]patternTile
}

// NewPattern makes a pattern from a function of millimetres on the surface that
// repeats after tileMM in both directions.
func NewPattern(tileMM float64, cover func(u, v float64) (ink, halo bool)) *Pattern {
	return &Pattern{cover: cover, tileMM: tileMM}
}

const (
	patternSide   = 128 // texels along a tile at the finest level
	patternLevels = 6   // down to 4
	patternSub    = 3   // samples a texel and direction
)

// patternTile holds ink and halo coverage by turns, 0 to 255.
type patternTile struct {
	side int
	data []uint8
}

func (p *Pattern) prepare() {
	p.once.Do(func() {
		t := patternTile{patternSide, make([]uint8, 2*patternSide*patternSide)}
		step := p.tileMM / (patternSide * patternSub)
		for y := range patternSide {
			for x := range patternSide {
				ink, halo := 0, 0
				for j := range patternSub {
					for i := range patternSub {
						in, around := p.cover((float64(x*patternSub+i)+0.5)*step, (float64(y*patternSub+j)+0.5)*step)
						if in {
							ink++
						} else if around {
							halo++
						}
					}
				}
				at := 2 * (y*patternSide + x)
				t.data[at] = uint8(ink * 255 / (patternSub * patternSub))
				t.data[at+1] = uint8(halo * 255 / (patternSub * patternSub))
			}
		}
		p.levels[0] = t
		for l := 1; l < patternLevels; l++ {
			a := p.levels[l-1]
			b := patternTile{a.side / 2, make([]uint8, len(a.data)/4)}
			for y := range b.side {
				for x := range b.side {
					for k := range 2 {
						at := func(i, j int) int { return int(a.data[2*(j*a.side+i)+k]) }
						sum := at(2*x, 2*y) + at(2*x+1, 2*y) + at(2*x, 2*y+1) + at(2*x+1, 2*y+1)
						b.data[2*(y*b.side+x)+k] = uint8((sum + 2) / 4)
					}
				}
			}
			p.levels[l] = b
		}
	})
}

// at returns the shares of ink and halo at (u, v), in tiles, where a pixel
// covers pixel tiles. Nearer than the finest level the edges are kept sharp to
// about a pixel.
func (p *Pattern) at(u, v, pixel float32) (ink, halo float32) {
	level := 0
	for size := pixel * patternSide; size > 1.4 && level < patternLevels-1; size /= 2 {
		level++
	}
	t := &p.levels[level]
	n := float32(t.side)
	x := (u - floor32(u)) * n
	y := (v - floor32(v)) * n
	x -= 0.5
	y -= 0.5
	x0, y0 := floor32(x), floor32(y)
	fx, fy := x-x0, y-y0
	mask := t.side - 1
	i0, j0 := int(x0)&mask, int(y0)&mask
	i1, j1 := (i0+1)&mask, (j0+1)&mask
	a, b := t.data[2*(j0*t.side+i0):], t.data[2*(j0*t.side+i1):]
	c, d := t.data[2*(j1*t.side+i0):], t.data[2*(j1*t.side+i1):]
	wa, wb, wc, wd := (1-fx)*(1-fy), fx*(1-fy), (1-fx)*fy, fx*fy
	ink = (wa*float32(a[0]) + wb*float32(b[0]) + wc*float32(c[0]) + wd*float32(d[0])) / 255
	halo = (wa*float32(a[1]) + wb*float32(b[1]) + wc*float32(c[1]) + wd*float32(d[1])) / 255
	if sharp := 1 / (pixel * n); sharp > 1.5 {
		k := min(sharp, 12)
		both := clamp32((ink+halo-0.5)*k + 0.5)
		ink = clamp32((ink-0.5)*k + 0.5)
		halo = max(both-ink, 0)
	}
	return ink, halo
}

func floor32(x float32) float32 { return float32(math.Floor(float64(x))) }

// clamp32 keeps x within 0 and 1. The built-in min and max of floats look after
// signed zeros and NaN, which costs more than the rest of it.
func clamp32(x float32) float32 {
	if x > 1 {
		return 1
	}
	if x > 0 {
		return x
	}
	return 0
}

func within32(x, lo, hi float32) float32 {
	if x > hi {
		return hi
	}
	if x > lo {
		return x
	}
	return lo
}
