package report

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goitalic"
	"golang.org/x/image/font/gofont/goregular"
)

// Type sizes in points and the measures of an A4 page in millimetres.
const (
	sizeTitle   = 16
	sizeLead    = 11.6
	sizeHeading = 10.5
	sizeText    = 9.4
	sizeCaption = 8.2

	pageWide, pageHigh = 210, 297
	marginSide         = 18
	marginTop          = 16
	marginFoot         = 22
	textWide           = pageWide - 2*marginSide
)

// mmPerPoint turns type sizes into line heights.
const mmPerPoint = 25.4 / 72

var (
	ink  = color.NRGBA{0x22, 0x28, 0x2B, 0xFF}
	soft = color.NRGBA{0x55, 0x5C, 0x5E, 0xFF}
	rule = color.NRGBA{0xB4, 0xB4, 0xB4, 0xFF}
	red  = color.NRGBA{0x9C, 0x2F, 0x17, 0xFF}
)

// paper is the PDF being written. It is the only place that knows the library.
type paper struct {
	f      *fpdf.Fpdf
	y      float64 // next line, mm from the top
	left   float64
	wide   float64         // of the column in use
	foot   func(page int)  // prints the foot of each page
	named  map[string]bool // pictures stored
	widths map[int]bool    // and their widths in pixels
}

// document is what a PDF says of itself.
type document struct {
	title, subject, author string
	made                   time.Time
	xmp                    []byte
}

func newPaper(d document) *paper {
	f := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "mm", SizeStr: "A4"})
	f.SetCatalogSort(true)
	f.SetCompression(true)
	f.SetCreationDate(d.made)
	f.SetModificationDate(d.made)
	f.SetTitle(d.title, true)
	f.SetSubject(d.subject, true)
	f.SetAuthor(d.author, true)
	f.SetCreator("Rigatino", true)
	f.SetProducer("Rigatino", true)
	f.SetLang("en")
	if d.xmp != nil {
		f.SetXmpMetadata(d.xmp)
	}
	f.AddUTF8FontFromBytes("go", "", goregular.TTF)
	f.AddUTF8FontFromBytes("go", "B", gobold.TTF)
	f.AddUTF8FontFromBytes("go", "I", goitalic.TTF)
	f.SetMargins(marginSide, marginTop, marginSide)
	f.SetAutoPageBreak(false, 0)
	f.SetCellMargin(0)
	f.AliasNbPages("{pages}")
	p := &paper{f: f, left: marginSide, wide: textWide, named: map[string]bool{}, widths: map[int]bool{}}
	return p
}

// page begins a new page.
func (p *paper) page() {
	p.f.AddPage()
	p.y = marginTop
	p.left, p.wide = marginSide, textWide
	if p.foot != nil {
		p.foot(p.f.PageNo())
	}
}

// room begins a new page where fewer than so many millimetres are left.
func (p *paper) room(high float64) {
	if p.y+high > pageHigh-marginFoot {
		left, wide := p.left, p.wide
		p.page()
		p.left, p.wide = left, wide
	}
}

// gap leaves white space.
func (p *paper) gap(mm float64) { p.y += mm }

// column narrows what follows to a column at so many millimetres from the left
// margin.
func (p *paper) column(at, wide float64) { p.left, p.wide = marginSide+at, wide }

// whole goes back to the full width.
func (p *paper) whole() { p.left, p.wide = marginSide, textWide }

func (p *paper) style(size float64, style string, c color.NRGBA) {
	p.f.SetFont("go", style, size)
	p.f.SetTextColor(int(c.R), int(c.G), int(c.B))
}

func lineHigh(size float64) float64 { return size * mmPerPoint * 1.28 }

// word is a stretch of text in one style without a space in it.
type word struct {
	text string
	bold bool
	glue bool // no space before it
}

// words cuts text at spaces; what stands between double asterisks is bold.
func words(text string) []word {
	var out []word
	spaced := true // a space stands before the next word
	for i, chunk := range strings.Split(text, "**") {
		if chunk == "" {
			continue
		}
		if chunk[0] == ' ' {
			spaced = true
		}
		for j, f := range strings.FieldsFunc(chunk, func(r rune) bool { return r == ' ' || r == '\n' }) {
			out = append(out, word{f, i%2 == 1, j == 0 && !spaced})
		}
		spaced = strings.HasSuffix(chunk, " ")
	}
	return out
}

// lines breaks words to a width and returns the lines.
func (p *paper) lines(text string, size, wide float64) [][]word {
	var out [][]word
	var line []word
	x := 0.0
	p.f.SetFont("go", "", size)
	space := p.f.GetStringWidth(" ")
	all := words(text)
	for i := 0; i < len(all); {
		// What touches its neighbour stays with it: a stop never begins a line.
		n := i + 1
		for n < len(all) && all[n].glue {
			n++
		}
		unit, long := all[i:n], 0.0
		for _, w := range unit {
			long += p.width(w, size)
		}
		i = n
		if long > wide {
			var cut []word
			for _, w := range unit {
				cut = append(cut, p.fit(w, size, wide)...)
			}
			for _, w := range cut {
				if len(line) > 0 {
					out = append(out, line)
				}
				line, x = []word{w}, p.width(w, size)
			}
			continue
		}
		need := long
		if len(line) > 0 {
			need += space
		}
		if len(line) > 0 && x+need > wide+1e-6 {
			out = append(out, line)
			line, x, need = nil, 0, long
		}
		line = append(line, unit...)
		x += need
	}
	if line != nil {
		out = append(out, line)
	}
	return out
}

func (p *paper) width(w word, size float64) float64 {
	style := ""
	if w.bold {
		style = "B"
	}
	p.f.SetFont("go", style, size)
	return p.f.GetStringWidth(w.text)
}

// fit cuts a word that is wider than the column, so that nothing runs over the
// edge; hashes and long file names do that.
func (p *paper) fit(w word, size, wide float64) []word {
	if p.width(w, size) <= wide {
		return []word{w}
	}
	var out []word
	var part []rune
	for _, r := range w.text {
		if len(part) > 0 && p.width(word{text: string(append(part, r)), bold: w.bold}, size) > wide {
			out = append(out, word{string(part), w.bold, w.glue && len(out) == 0})
			part = nil
		}
		part = append(part, r)
	}
	return append(out, word{string(part), w.bold, w.glue && len(out) == 0})
}

// text prints wrapped text in the column and moves on.
func (p *paper) text(s string, size float64, c color.NRGBA) {
	for _, line := range p.lines(s, size, p.wide) {
		p.room(lineHigh(size))
		p.line(line, p.left, p.y, size, c)
		p.y += lineHigh(size)
	}
}

// line prints one line of words with its upper edge at y.
func (p *paper) line(line []word, x, y, size float64, c color.NRGBA) {
	base := y + size*mmPerPoint*0.98
	p.style(size, "", c)
	space := p.f.GetStringWidth(" ")
	for i, w := range line {
		style := ""
		if w.bold {
			style = "B"
		}
		p.style(size, style, c)
		if i > 0 && !w.glue {
			x += space
		}
		p.f.Text(x, base, w.text)
		x += p.f.GetStringWidth(w.text)
	}
}

// bold prints wrapped bold text.
func (p *paper) bold(s string, size float64, c color.NRGBA) {
	p.text("**"+s+"**", size, c)
}

// heading prints a heading, kept with what follows, and sets a bookmark.
func (p *paper) heading(s string, level int) {
	p.room(lineHigh(sizeHeading) + 14)
	p.f.Bookmark(s, level, p.y)
	p.bold(s, sizeHeading, ink)
	p.gap(1)
}

// hairline draws a rule across the column.
func (p *paper) hairline(c color.NRGBA, thick float64) {
	p.f.SetDrawColor(int(c.R), int(c.G), int(c.B))
	p.f.SetLineWidth(thick)
	p.f.Line(p.left, p.y, p.left+p.wide, p.y)
}

// frame draws a rectangle.
func (p *paper) frame(x, y, w, h float64, c color.NRGBA, thick float64) {
	p.f.SetDrawColor(int(c.R), int(c.G), int(c.B))
	p.f.SetLineWidth(thick)
	p.f.Rect(x, y, w, h, "D")
}

// picture places an image; its height follows its width.
func (p *paper) picture(img image.Image, x, y, w float64) (high float64, err error) {
	var buf bytes.Buffer
	if err := png.Encode(&buf, img); err != nil {
		return 0, fmt.Errorf("a picture of the report could not be coded: %w", err)
	}
	// Named by content, so that a picture that comes again is stored once.
	name := fmt.Sprintf("%x", sha256.Sum256(buf.Bytes()))
	if !p.named[name] {
		p.named[name] = true
		// The library stores pictures in the order of their widths, equal ones in
		// any order; so that the same report is the same bytes, no two widths are
		// equal: the last column is drawn once or a few times more.
		if wider := p.unusedWidth(img.Bounds().Dx()); wider != img.Bounds().Dx() {
			buf.Reset()
			if err := png.Encode(&buf, widened{img, wider}); err != nil {
				return 0, fmt.Errorf("a picture of the report could not be coded: %w", err)
			}
		}
	}
	opt := fpdf.ImageOptions{ImageType: "PNG"}
	p.f.RegisterImageOptionsReader(name, opt, &buf)
	b := img.Bounds()
	high = w * float64(b.Dy()) / float64(b.Dx())
	p.f.ImageOptions(name, x, y, w, high, false, opt, 0, "")
	return high, nil
}

// unusedWidth returns the first width from w on that no picture has.
func (p *paper) unusedWidth(w int) int {
	for p.widths[w] {
		w++
	}
	p.widths[w] = true
	return w
}

// widened is a picture whose last column goes on to the right.
type widened struct {
	image.Image
	wide int
}

func (w widened) Bounds() image.Rectangle {
	b := w.Image.Bounds()
	return image.Rect(b.Min.X, b.Min.Y, b.Min.X+w.wide, b.Max.Y)
}

func (w widened) At(x, y int) color.Color {
	return w.Image.At(min(x, w.Image.Bounds().Max.X-1), y)
}

// Opaque keeps the coded picture without a mask of its own.
func (w widened) Opaque() bool {
	o, ok := w.Image.(interface{ Opaque() bool })
	return ok && o.Opaque()
}

// cell is one field of a table: words, or a swatch.
type cell struct {
	text   string
	swatch image.Image
}

// columnSpec is how a column of a table is set.
type columnSpec struct {
	head  string
	wide  float64
	right bool // right-aligned, for numbers
}

// table prints rows with a head that comes again on a new page. Rows grow with
// their longest field.
func (p *paper) table(cols []columnSpec, rows [][]cell) {
	head := func() {
		x := p.left
		for _, c := range cols {
			if c.head != "" {
				p.placed("**"+c.head+"**", x, p.y, c.wide-2, sizeCaption, soft, c.right)
			}
			x += c.wide
		}
		p.y += lineHigh(sizeCaption) + 0.8
		p.hairline(soft, 0.2)
		p.y += 0.8
	}
	p.room(lineHigh(sizeCaption) + 12)
	head()
	for _, row := range rows {
		high := lineHigh(sizeText)
		for i, c := range row {
			n := len(p.lines(c.text, sizeText, cols[i].wide-2))
			if h := float64(n) * lineHigh(sizeText); h > high {
				high = h
			}
			if c.swatch != nil && high < 5.2 {
				high = 5.2
			}
		}
		page := p.f.PageNo()
		p.room(high + 2)
		if p.f.PageNo() != page {
			head()
		}
		x := p.left
		for i, c := range row {
			if c.swatch != nil {
				// An error here was already met when the same picture was coded.
				if h, err := p.picture(c.swatch, x, p.y+0.3, cols[i].wide-3); err == nil {
					p.frame(x, p.y+0.3, cols[i].wide-3, h, ink, 0.2)
				}
			}
			p.placed(c.text, x, p.y+0.4, cols[i].wide-2, sizeText, ink, cols[i].right)
			x += cols[i].wide
		}
		p.y += high + 0.9
		p.hairline(rule, 0.1)
		p.y += 0.6
	}
}

// placed prints wrapped text at a place without moving on; it returns the height.
func (p *paper) placed(s string, x, y, wide, size float64, c color.NRGBA, right bool) float64 {
	lines := p.lines(s, size, wide)
	for i, line := range lines {
		at := x
		if right {
			at = x + wide - p.lineWide(line, size)
		}
		p.line(line, at, y+float64(i)*lineHigh(size), size, c)
	}
	return float64(len(lines)) * lineHigh(size)
}

func (p *paper) lineWide(line []word, size float64) float64 {
	p.f.SetFont("go", "", size)
	space := p.f.GetStringWidth(" ")
	x := 0.0
	for i, w := range line {
		if i > 0 && !w.glue {
			x += space
		}
		x += p.width(w, size)
	}
	return x
}

// box prints a framed note with a bold first line.
func (p *paper) box(title string, paragraphs []string, c color.NRGBA) {
	inner := p.wide - 6
	high := 4 + lineHigh(sizeText)
	for _, s := range paragraphs {
		high += float64(len(p.lines(s, sizeCaption, inner)))*lineHigh(sizeCaption) + 0.8
	}
	p.room(high + 2)
	top := p.y
	y := top + 2
	y += p.placed("**"+title+"**", p.left+3, y, inner, sizeText, c, false) + 0.6
	for _, s := range paragraphs {
		y += p.placed(s, p.left+3, y, inner, sizeCaption, ink, false) + 0.8
	}
	p.frame(p.left, top, p.wide, y-top+1.4, c, 0.35)
	p.y = y + 3
}

// write ends the document.
func (p *paper) write(w io.Writer) error {
	if err := p.f.Output(w); err != nil {
		return fmt.Errorf("the report could not be written: %w", err)
	}
	return nil
}
