package render

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
	"testing"
	"time"

	"rigatino/mesh"

	"rigatino/testdata/outside"
)

// decoded returns the picture as it is kept.
func decoded(t *testing.T, name string, data []byte) *texture {
	t.Helper()
	c, err := headOf(mesh.Image{Name: name, Data: data})
	if err != nil {
		t.Fatal(err)
	}
	fit([]*coded{c}, maxShownSide, maxShownPixels)
	got, err := c.texture(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func codedAs(t testing.TB, img image.Image) []byte {
	t.Helper()
	var out bytes.Buffer
	e := png.Encoder{CompressionLevel: png.BestSpeed}
	if err := e.Encode(&out, img); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// Every kind of PNG comes out in 8 bits a channel, the colour of transparent
// pixels included (PNG 12.4: of 16 bits the upper 8).
func TestEveryKindOfPNG(t *testing.T) {
	const w, h = 37, 21
	want := image.NewNRGBA(image.Rect(0, 0, w, h))
	deep, opaque := image.NewNRGBA64(want.Rect), image.NewRGBA64(want.Rect)
	grey, grey16 := image.NewGray(want.Rect), image.NewGray16(want.Rect)
	indexed := image.NewPaletted(want.Rect, color.Palette{color.NRGBA{200, 10, 30, 255}, color.NRGBA{1, 2, 3, 255}, color.NRGBA{250, 240, 7, 255}})
	for y := range h {
		for x := range w {
			r, g, b := uint8(7*x), uint8(11*y), uint8(x*y)
			want.SetNRGBA(x, y, color.NRGBA{r, g, b, uint8(5 * x)})
			deep.SetNRGBA64(x, y, color.NRGBA64{uint16(r)<<8 | 0xC3, uint16(g)<<8 | 0x11, uint16(b)<<8 | 0xFF, uint16(x) * 900})
			opaque.SetRGBA64(x, y, color.RGBA64{uint16(r)<<8 | 0xC3, uint16(g)<<8 | 0x11, uint16(b)<<8 | 0xFF, 0xFFFF})
			grey.SetGray(x, y, color.Gray{g})
			grey16.SetGray16(x, y, color.Gray16{uint16(g)<<8 | 0x7F})
			indexed.SetColorIndex(x, y, uint8((x+y)%3))
		}
	}
	for name, row := range map[string]struct {
		img  image.Image
		want func(x, y int) [3]uint8
	}{
		"8 bits, transparent":  {want, nil},
		"16 bits, transparent": {deep, nil},
		"16 bits":              {opaque, nil},
		"grey":                 {grey, func(_, y int) [3]uint8 { g := uint8(11 * y); return [3]uint8{g, g, g} }},
		"grey, 16 bits":        {grey16, func(_, y int) [3]uint8 { g := uint8(11 * y); return [3]uint8{g, g, g} }},
		"indexed": {indexed, func(x, y int) [3]uint8 {
			c := indexed.Palette[(x+y)%3].(color.NRGBA)
			return [3]uint8{c.R, c.G, c.B}
		}},
	} {
		l := decoded(t, name, codedAs(t, row.img)).levels[0]
		if l.w != w || l.h != h {
			t.Errorf("%s: %d × %d pixels", name, l.w, l.h)
			continue
		}
		for i := range w * h {
			x, y := i%w, i/w
			c := [3]uint8{uint8(7 * x), uint8(11 * y), uint8(x * y)}
			if row.want != nil {
				c = row.want(x, y)
			}
			if got := [3]uint8(l.pix[4*i : 4*i+3]); got != c {
				t.Fatalf("%s: pixel %d, %d is %v, want %v", name, x, y, got, c)
			}
		}
	}
}

// Baseline and progressive JPEG look as another decoder shows them. Source:
// ImageMagick 6 (libjpeg-turbo), which wrote the two and decoded each to PNG.
// Decoders round each in its own way: the mean difference must be under 1 of
// 255, the largest under 5.
func TestJPEGLooksAsOthersShowIt(t *testing.T) {
	for _, name := range []string{"baseline", "progressive"} {
		read := func(ext string) textureLevel {
			data, err := os.ReadFile(filepath.Join("../../testdata/pictures", name+ext))
			if err != nil {
				t.Fatal(err)
			}
			return decoded(t, name, data).levels[0]
		}
		got, want := read(".jpg"), read(".png")
		if got.w != want.w || got.h != want.h || len(got.pix) == 0 {
			t.Fatalf("%s: %d × %d, want %d × %d", name, got.w, got.h, want.w, want.h)
		}
		sum, most := 0, 0
		for i := range got.pix {
			d := int(absDiff(got.pix[i], want.pix[i]))
			sum += d
			most = max(most, d)
		}
		mean := float64(sum) / float64(len(got.pix)*3/4)
		if mean >= 1 || most >= 5 {
			t.Errorf("%s: mean difference %.2f, largest %d", name, mean, most)
		}
		t.Logf("checked: %s JPEG against ImageMagick: mean difference %.2f of 255, largest %d", name, mean, most)
	}
}

// A picture too large to be shown is halved, with a note, and in bands exactly
// as it would be in one piece.
func TestLargePicturesAreShownCoarser(t *testing.T) {
	img := image.NewNRGBA(image.Rect(0, 0, 20_001, 75))
	for i := range img.Pix {
		img.Pix[i] = uint8(i * 7 >> (i % 3))
		if i%4 == 3 {
			img.Pix[i] = 255
		}
	}
	m := &mesh.Mesh{
		Positions: []float32{0, 0, 0, 1, 0, 0, 0, 1, 0}, Triangles: []uint32{0, 1, 2}, UVs: make([]float32, 6),
		Materials: []mesh.Material{{BaseColour: [4]float32{1, 1, 1, 1}}},
		Images:    []mesh.Image{{Name: "long", Data: codedAs(t, img)}},
	}
	b := prepared(t, m, false)
	findings, err := b.LoadTextures(context.Background(), nil)
	if err != nil || len(findings) != 1 || findings[0].ID != "texture_reduced" || findings[0].Severity != mesh.Note ||
		!strings.Contains(findings[0].Reason, "20001 × 75") || !strings.Contains(findings[0].Reason, "5000 × 18") {
		t.Fatalf("%v, findings %v", err, findings)
	}
	want := textureLevel{w: 20_001, h: 75, pix: img.Pix}.halved().halved()
	got := (*b.textures.Load())[0].levels[0]
	if got.w != want.w || got.h != want.h || !slices.Equal(got.pix, want.pix) {
		t.Error("in bands another picture comes out")
	}
}

func TestPicturesAreFittedTheLargestFirst(t *testing.T) {
	all := []*coded{{w: 16384, h: 16384}, nil, {w: 100, h: 100}, {w: 4096, h: 4096}, {w: 8192, h: 8192}, {w: 1 << 20, h: 1}}
	fit(all, 8192, 80_000_000)
	var got []int
	for _, c := range all {
		if c != nil {
			got = append(got, c.halv)
		}
	}
	// 16384 must come down once for its side; then two of 67 and one of 17 million
	// pixels do not fit into 80 million, nor does one of 67 and two of 17.
	if want := []int{2, 0, 0, 1, 7}; !slices.Equal(got, want) {
		t.Errorf("halved %v times, want %v", got, want)
	}
	fit(nil, 10, 10)
}

// pngHead is a PNG of which only the head is there.
func pngHead(w, h uint32, depth, kind byte) []byte {
	head := append([]byte("IHDR"), 0, 0, 0, 0, 0, 0, 0, 0, depth, kind, 0, 0, 0)
	binary.BigEndian.PutUint32(head[4:], w)
	binary.BigEndian.PutUint32(head[8:], h)
	out := append([]byte("\x89PNG\r\n\x1a\n\x00\x00\x00\x0d"), head...)
	return binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE(head))
}

// Pictures made to fill the memory are refused by their heads alone.
func TestPictureBombs(t *testing.T) {
	plain, err := os.ReadFile("../../testdata/pictures/progressive.jpg")
	if err != nil {
		t.Fatal(err)
	}
	frame := bytes.Index(plain, []byte{0xFF, 0xC2})
	wide := bytes.Clone(plain)
	binary.BigEndian.PutUint16(wide[frame+5:], 16384)
	binary.BigEndian.PutUint16(wide[frame+7:], 16384)
	scan := bytes.Index(plain, []byte{0xFF, 0xDA})
	passes := append(bytes.Clone(plain[:scan]), bytes.Repeat([]byte{0xFF, 0xDA, 0, 8, 1, 1, 0, 0, 0, 0, 0}, 10_000)...)
	for name, row := range map[string]struct {
		data []byte
		want string
	}{
		"PNG of 4e18 pixels":        {pngHead(1<<31-1, 1<<31-1, 8, 2), "cannot be read"}, // so says the decoder
		"PNG of 4e9 pixels":         {pngHead(1<<16, 1<<16, 8, 2), "more than can be shown"},
		"PNG of 16 bits":            {pngHead(16384, 16384, 16, 6), "no photograph"},
		"progressive of 16k":        {wide, "no photograph"},
		"progressive of 10 000":     {passes, "10000 passes"},
		"PNG that ends in its head": {pngHead(4000, 4000, 8, 2), "cannot be read"},
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		c, err := headOf(mesh.Image{Name: "bomb", Data: row.data})
		if err == nil {
			_, err = c.texture(context.Background())
		}
		runtime.ReadMemStats(&after)
		if err == nil || !strings.Contains(err.Error(), row.want) || !strings.Contains(err.Error(), `"bomb"`) {
			t.Errorf("%s: error %v does not say %q", name, err, row.want)
		}
		if used := after.TotalAlloc - before.TotalAlloc; used > 100<<20 {
			t.Errorf("%s: took %d MB", name, used>>20)
		}
	}
}

func TestDecodingCanBeStopped(t *testing.T) {
	c, err := headOf(mesh.Image{Name: "a", Data: codedAs(t, image.NewGray(image.Rect(0, 0, 500, 500)))})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if _, err := c.texture(ctx); err == nil {
		t.Error("a stopped decoder goes on")
	}
}

// The largest pictures, 16384 × 16384, are shown at half their size: JPEG and
// PNG. Only in full, for it takes a minute and 2 GB.
func TestLargestPictures(t *testing.T) {
	if os.Getenv("RIGATINO_PROVE") != "1" {
		t.Skip("takes long; runs with RIGATINO_PROVE=1")
	}
	const n = 16384
	img := image.NewGray(image.Rect(0, 0, n, n))
	for i := range img.Pix {
		img.Pix[i] = uint8(i/n/64 + i%n/64)
	}
	var photo bytes.Buffer
	if err := jpeg.Encode(&photo, img, nil); err != nil {
		t.Fatal(err)
	}
	files := map[string][]byte{"JPEG": photo.Bytes(), "PNG": codedAs(t, img)}
	img = nil
	for name, data := range files {
		debug.FreeOSMemory()
		before, start := outside.RestartPeak(), time.Now()
		l := decoded(t, name, data).levels[0]
		if l.w != n/2 || l.h != n/2 {
			t.Errorf("%s: shown with %d × %d", name, l.w, l.h)
		}
		for _, at := range [][2]int{{0, 0}, {1000, 40}, {4000, 8000}, {8191, 8191}} {
			want := uint8(at[0]*2/64 + at[1]*2/64)
			if got := l.pix[4*(at[1]*l.w+at[0])]; absDiff(got, want) > 2 {
				t.Errorf("%s: pixel %v is %d, want %d", name, at, got, want)
			}
		}
		t.Logf("checked: %s of 16384 × 16384 in %s, %s of memory at most", name, time.Since(start).Round(100*time.Millisecond),
			fmt.Sprintf("%d MB", (outside.Peak()-before)>>20))
	}
}

// FuzzPicture reads whatever it is given: a picture comes out as large as it says,
// with coarser copies down to a few pixels, or a sentence.
func FuzzPicture(f *testing.F) {
	for _, name := range []string{"baseline.jpg", "progressive.jpg", "baseline.png"} {
		data, err := os.ReadFile(filepath.Join("../../testdata/pictures", name))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data, uint8(1))
	}
	f.Add(codedAs(f, image.NewNRGBA64(image.Rect(0, 0, 9, 5))), uint8(0))
	f.Add(codedAs(f, image.NewPaletted(image.Rect(0, 0, 7, 3), color.Palette{color.Black, color.White})), uint8(2))
	f.Fuzz(func(t *testing.T, data []byte, halv uint8) {
		c, err := headOf(mesh.Image{Name: "a", Data: data})
		if err != nil || c.w*c.h > 1<<16 {
			return
		}
		c.halv = int(halv % 8)
		got, err := c.texture(context.Background())
		if err != nil {
			return
		}
		for i, l := range got.levels {
			if l.w < 1 || l.h < 1 || len(l.pix) != 4*l.w*l.h {
				t.Fatalf("level %d: %d × %d pixels in %d bytes", i, l.w, l.h, len(l.pix))
			}
		}
		if l := got.levels[0]; l.w != max(c.w>>c.halv, 1) || l.h != max(c.h>>c.halv, 1) {
			t.Fatalf("%d × %d halved %d times is %d × %d", c.w, c.h, c.halv, l.w, l.h)
		}
	})
}
