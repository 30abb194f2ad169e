package render

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"image/png"
	"io"

	"rigatino/mesh"
)

// Pictures of a scan are decoded when they are first drawn, one at a time, and
// kept no larger than a screen can show: coarser copies are averaged straight
// from what the decoder made. What is handed on is never the copy.
const (
	// maxTexturePixels is the largest picture that is decoded: 16384 × 16384.
	maxTexturePixels = 1 << 28
	// maxShownSide and maxShownPixels bound the copies: the longest side of one,
	// and all of a body together (0.7 GB with their coarser levels).
	maxShownSide   = 8192
	maxShownPixels = 1 << 27
	// A picture whose decoder would take more than freeDecoding bytes must have a
	// mostDecoding-th of that itself: a file made to fill the memory packs a
	// thousand to one, a photograph ten to one.
	freeDecoding = 1 << 30
	mostDecoding = 400
	// maxScans bounds the passes over a progressive JPEG; programs write about ten,
	// and each goes over all of the picture however few bytes it has.
	maxScans = 100
)

// coded is a picture of which only the head has been read.
type coded struct {
	name string
	data []byte
	mime string
	w, h int
	halv int // how many times it is halved before it is kept
}

// LoadTextures decodes the pictures of the mesh, which takes about a second for
// 8192 × 8192 pixels; until then, and where a picture is missing or cannot be
// read, the body is drawn in its vertex colours or as plain stone. Very large
// pictures are kept coarser. What went wrong, and what was made coarser, is
// returned as findings. progress may be nil.
func (b *Body) LoadTextures(ctx context.Context, progress func(done float64, words string)) ([]mesh.Finding, error) {
	wanted := make([]bool, len(b.mesh.Images))
	for _, m := range b.materials {
		if m.image >= 0 {
			wanted[m.image] = true
		}
	}
	var findings []mesh.Finding
	unreadable := func(err error) {
		way := "save the scan with its pictures as PNG or JPEG"
		if u, ok := errors.AsType[unshown](err); ok {
			way = u.way
		}
		findings = append(findings, mesh.Finding{ID: "texture_unreadable", Severity: mesh.Warning, Reason: err.Error(), WayOut: way})
	}
	heads := make([]*coded, len(b.mesh.Images))
	for i, img := range b.mesh.Images {
		if !wanted[i] {
			continue
		}
		var err error
		if heads[i], err = headOf(img); err != nil {
			unreadable(err)
		}
	}
	fit(heads, maxShownSide, maxShownPixels)
	all := make([]*texture, len(heads))
	for i, c := range heads {
		if err := ctx.Err(); err != nil {
			return findings, err
		}
		if progress != nil {
			progress(float64(i)/float64(len(heads)), "Reading the scan's pictures")
		}
		if c == nil {
			continue
		}
		t, err := c.texture(ctx)
		if ctx.Err() != nil {
			return findings, ctx.Err()
		}
		if err != nil {
			unreadable(err)
			continue
		}
		if c.halv > 0 {
			findings = append(findings, mesh.Finding{
				ID: "texture_reduced", Severity: mesh.Note,
				Reason: fmt.Sprintf("picture %q of the scan has %d × %d pixels and is shown with %d × %d; it is handed on whole",
					c.name, c.w, c.h, t.levels[0].w, t.levels[0].h),
				WayOut: mesh.NothingToDo,
			})
		}
		all[i] = t
	}
	b.tintLevels(all)
	b.textures.Store(&all)
	return findings, nil
}

// unshown is why a picture is not decoded, with a way out of its own.
type unshown struct{ what, way string }

func (u unshown) Error() string { return u.what }

// headOf reads how large a picture is and refuses what must not be decoded.
func headOf(img mesh.Image) (*coded, error) {
	c := &coded{name: img.Name, data: img.Data, mime: mesh.ImageType(img.Data)}
	if len(img.Data) == 0 {
		return nil, unshown{fmt.Sprintf("picture %q of the scan is missing", img.Name), "put the picture beside the scan and open it again"}
	}
	var head image.Config
	var err error
	bytesPerPixel := int64(8) // the decoder's own, of the dearest kind
	switch c.mime {
	case "image/png":
		head, err = png.DecodeConfig(bytes.NewReader(c.data))
		switch head.ColorModel {
		case color.RGBA64Model, color.NRGBA64Model:
		case color.Gray16Model:
			bytesPerPixel = 2
		case color.RGBAModel, color.NRGBAModel:
			bytesPerPixel = 4
		default:
			bytesPerPixel = 1
		}
	case "image/jpeg":
		head, err = jpeg.DecodeConfig(bytes.NewReader(c.data))
		bytesPerPixel = 4
		if bytes.Contains(c.data, []byte{0xFF, 0xC2}) { // progressive: all coefficients are kept
			bytesPerPixel += 16
		}
		if n := bytes.Count(c.data, []byte{0xFF, 0xDA}); err == nil && n > maxScans {
			err = fmt.Errorf("it is coded in %d passes", n)
		}
	default:
		err = image.ErrFormat
	}
	if err != nil {
		return nil, fmt.Errorf("picture %q of the scan cannot be read: %w", img.Name, err)
	}
	c.w, c.h = head.Width, head.Height
	if c.w <= 0 || c.h <= 0 || c.w > maxTexturePixels/c.h {
		return nil, unshown{fmt.Sprintf("picture %q of the scan has %d × %d pixels, more than can be shown", img.Name, c.w, c.h),
			"save the scan with pictures of at most 16384 × 16384 pixels"}
	}
	if need := int64(c.w) * int64(c.h) * bytesPerPixel; need > freeDecoding && need/mostDecoding > int64(len(c.data)) {
		return nil, unshown{fmt.Sprintf("picture %q of the scan claims %d × %d pixels in %d bytes, which no photograph does", img.Name, c.w, c.h, len(c.data)),
			"save the scan again with smaller pictures, and find out where this one comes from"}
	}
	return c, nil
}

// fit says how often each picture is halved: until its longest side, then until
// all together, fit the bounds; the largest first.
func fit(all []*coded, side, pixels int) {
	for _, c := range all {
		for c != nil && max(c.w, c.h)>>c.halv > side {
			c.halv++
		}
	}
	for {
		sum, most := 0, -1
		for i, c := range all {
			if c == nil {
				continue
			}
			sum += c.shown()
			if most < 0 || c.shown() > all[most].shown() {
				most = i
			}
		}
		if sum <= pixels || all[most].shown() <= 1 {
			return
		}
		all[most].halv++
	}
}

// shown is the number of pixels kept.
func (c *coded) shown() int { return max(c.w>>c.halv, 1) * max(c.h>>c.halv, 1) }

// texture decodes the picture and makes its coarser copies.
func (c *coded) texture(ctx context.Context) (*texture, error) {
	src, err := c.decode(ctx)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	if err != nil {
		return nil, fmt.Errorf("picture %q of the scan cannot be read: %w", c.name, err)
	}
	if size := src.Bounds().Size(); size.X != c.w || size.Y != c.h {
		return nil, fmt.Errorf("picture %q of the scan is %d × %d and said %d × %d", c.name, size.X, size.Y, c.w, c.h)
	}
	first, err := shrunk(ctx, src, c.halv)
	if err != nil {
		return nil, err
	}
	t := &texture{levels: []textureLevel{first}}
	for {
		a := t.levels[len(t.levels)-1]
		if a.w <= 4 && a.h <= 4 {
			return t, nil
		}
		t.levels = append(t.levels, a.halved())
	}
}

// decode returns when the picture is decoded or ctx is done. A decoder that has
// read all its bytes still reckons for a while; it is then left to end by itself.
func (c *coded) decode(ctx context.Context) (image.Image, error) {
	decode := png.Decode
	if c.mime == "image/jpeg" {
		decode = jpeg.Decode
	}
	type result struct {
		img image.Image
		err error
	}
	done := make(chan result, 1)
	go func() {
		img, err := decode(&stopping{ctx, bytes.NewReader(c.data)})
		done <- result{img, err}
	}()
	select {
	case r := <-done:
		return r.img, r.err
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// stopping is a reader that ends when its context does.
type stopping struct {
	ctx context.Context
	r   io.Reader
}

func (s *stopping) Read(p []byte) (int, error) {
	if err := s.ctx.Err(); err != nil {
		return 0, err
	}
	return s.r.Read(p[:min(len(p), 64<<10)])
}

// shrunk copies a picture, halved a number of times, in bands of rows, so that
// it never stands in memory twice in full.
func shrunk(ctx context.Context, src image.Image, halv int) (textureLevel, error) {
	size := src.Bounds().Size()
	out := textureLevel{w: max(size.X>>halv, 1), h: max(size.Y>>halv, 1)}
	out.pix = make([]uint8, 4*out.w*out.h)
	const rows = 16
	err := mesh.Parallel(ctx, (out.h+rows-1)/rows, func(block int) {
		from, to := block*rows, min(out.h, (block+1)*rows)
		target := out.pix[4*from*out.w : 4*to*out.w]
		top := from << halv
		band := textureLevel{w: size.X, h: min((to-from)<<halv, size.Y-top)}
		if halv == 0 {
			band.pix = target
		} else {
			band.pix = make([]uint8, 4*band.w*band.h)
		}
		band.fill(src, top)
		for n := range halv {
			half := textureLevel{w: max(band.w/2, 1), h: max(band.h/2, 1)}
			if n == halv-1 {
				half.pix = target
			} else {
				half.pix = make([]uint8, 4*half.w*half.h)
			}
			band.halve(&half, 0, half.h)
			band = half
		}
	})
	return out, err
}

// fill copies rows of a picture from top on. The colour of a transparent pixel
// stays what it is: opacity is not shown.
func (a *textureLevel) fill(src image.Image, top int) {
	o := src.Bounds().Min
	at := image.Point{o.X, o.Y + top}
	whole := image.Rect(0, 0, a.w, a.h)
	switch s := src.(type) {
	case *image.NRGBA:
		for y := range a.h {
			from := s.PixOffset(at.X, at.Y+y)
			copy(a.pix[4*y*a.w:4*(y+1)*a.w], s.Pix[from:])
		}
	case *image.NRGBA64: // 16 bits a channel, the upper half first
		for y := range a.h {
			from := s.Pix[s.PixOffset(at.X, at.Y+y):]
			row := a.pix[4*y*a.w : 4*(y+1)*a.w]
			for i := range row {
				row[i] = from[2*i]
			}
		}
	case *image.YCbCr, *image.Gray, *image.CMYK, *image.RGBA, *image.RGBA64, *image.Gray16: // opaque
		draw.Draw(&image.RGBA{Pix: a.pix, Stride: 4 * a.w, Rect: whole}, whole, src, at, draw.Src)
	default:
		draw.Draw(&image.NRGBA{Pix: a.pix, Stride: 4 * a.w, Rect: whole}, whole, src, at, draw.Src)
	}
}
