package render

import (
	"image"
	"image/color"
	"math"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
)

// TextStyle is how words are written into a picture, in the Go fonts.
type TextStyle struct {
	Size   float64 // pixels to the em
	Bold   bool
	Colour color.RGBA
}

// faces holds the fonts at the sizes asked for so far. A face may be used by
// one goroutine at a time only.
var faces = struct {
	sync.Mutex
	fonts map[bool]*opentype.Font
	sized map[TextStyle]font.Face
}{fonts: map[bool]*opentype.Font{}, sized: map[TextStyle]font.Face{}}

// face must be called with faces locked.
func (s TextStyle) face() font.Face {
	key := TextStyle{Size: min(max(s.Size, 1), 1000), Bold: s.Bold}
	if f := faces.sized[key]; f != nil {
		return f
	}
	parsed := faces.fonts[s.Bold]
	if parsed == nil {
		data := goregular.TTF
		if s.Bold {
			data = gobold.TTF
		}
		var err error
		if parsed, err = opentype.Parse(data); err != nil {
			panic("the built-in font cannot be read: " + err.Error())
		}
		faces.fonts[s.Bold] = parsed
	}
	f, err := opentype.NewFace(parsed, &opentype.FaceOptions{Size: key.Size, DPI: 72, Hinting: font.HintingNone})
	if err != nil {
		panic("the built-in font has no such size: " + err.Error())
	}
	faces.sized[key] = f
	return f
}

// Width is how long a line of text is, in pixels.
func (s TextStyle) Width(text string) float64 {
	faces.Lock()
	defer faces.Unlock()
	return float64(font.MeasureString(s.face(), text)) / 64
}

// Draw writes a line of text with its baseline beginning at (x, y) and returns
// where it ends.
func (s TextStyle) Draw(dst *image.RGBA, x, y float64, text string) float64 {
	faces.Lock()
	defer faces.Unlock()
	d := font.Drawer{
		Dst: dst, Src: image.NewUniform(s.Colour), Face: s.face(),
		Dot: fixed.Point26_6{X: fixed.Int26_6(math.Round(x * 64)), Y: fixed.Int26_6(math.Round(y * 64))},
	}
	d.DrawString(text)
	return float64(d.Dot.X) / 64
}
