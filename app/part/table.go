package part

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/widget"

	"rigatino/app/look"
)

// TableRow is one row of a table.
type TableRow struct {
	Cells []string
	Bold  bool
	Tone  Tone
}

// Table is a small table of figures under a head: the first column begins at the
// left, the others end below one another at their right. Text shrinks a little
// where a room is too narrow for it, rather than being cut off.
type Table struct {
	widget.BaseWidget
	Head []string
	Rows []TableRow
}

// NewTable makes a table.
func NewTable(head []string, rows []TableRow) *Table {
	t := &Table{Head: head, Rows: rows}
	t.ExtendBaseWidget(t)
	return t
}

// CreateRenderer is for the toolkit.
func (t *Table) CreateRenderer() fyne.WidgetRenderer {
	r := &tableRenderer{t: t, rule: canvas.NewRectangle(nil)}
	r.fill()
	return r
}

type tableRenderer struct {
	t     *Table
	cells [][]*canvas.Text // head first
	rule  *canvas.Rectangle
	objs  []fyne.CanvasObject
}

// tableGap is the least space between columns.
const tableGap = 8

func (r *tableRenderer) fill() {
	c := look.Current().Colours()
	r.cells, r.objs = nil, []fyne.CanvasObject{r.rule}
	r.rule.FillColor = c.Rule
	for _, row := range append([]TableRow{{Cells: r.t.Head, Tone: Soft}}, r.t.Rows...) {
		ink := c.Ink
		switch row.Tone {
		case Soft:
			ink = c.Soft
		case Refused:
			ink = c.Refused
		case Warning:
			ink = c.Warning
		case Accepted:
			ink = c.Accepted
		}
		var line []*canvas.Text
		for _, text := range row.Cells {
			cell := canvas.NewText(text, ink)
			cell.TextStyle.Bold = row.Bold
			line = append(line, cell)
			r.objs = append(r.objs, cell)
		}
		r.cells = append(r.cells, line)
	}
	r.size(look.Current().Px(look.TextCaption))
}

func (r *tableRenderer) size(px float32) {
	for _, line := range r.cells {
		for _, cell := range line {
			cell.TextSize = px
		}
	}
}

// widths measures the columns.
func (r *tableRenderer) widths() (each []float32, sum float32) {
	for _, line := range r.cells {
		for k, cell := range line {
			if k >= len(each) {
				each = append(each, 0)
			}
			each[k] = max(each[k], cell.MinSize().Width)
		}
	}
	for _, w := range each {
		sum += w
	}
	return each, sum
}

func (r *tableRenderer) lineHeight() float32 {
	return fyne.MeasureText("Mg", look.Current().Px(look.TextCaption), fyne.TextStyle{}).Height + 3
}

func (r *tableRenderer) Layout(s fyne.Size) {
	px := look.Current().Px(look.TextCaption)
	r.size(px)
	each, sum := r.widths()
	n := float32(max(len(each)-1, 1))
	if room := s.Width - n*tableGap/2; sum > room && room > 0 {
		r.size(px * room / sum)
		each, sum = r.widths()
	}
	gap := max((s.Width-sum)/n, 0)
	y := float32(0)
	high := r.lineHeight()
	for i, line := range r.cells {
		right := float32(0)
		for k, cell := range line {
			if k > 0 {
				right += gap
			}
			right += each[k]
			m := cell.MinSize()
			x := right - m.Width
			if k == 0 {
				x = 0
			}
			cell.Resize(m)
			cell.Move(fyne.NewPos(x, y+(high-m.Height)/2))
		}
		y += high
		if i == 0 {
			r.rule.Move(fyne.NewPos(0, y))
			r.rule.Resize(fyne.NewSize(s.Width, 1))
			y += 3
		}
	}
}

func (r *tableRenderer) MinSize() fyne.Size {
	return fyne.NewSize(80, float32(len(r.cells))*r.lineHeight()+3)
}

func (r *tableRenderer) Refresh() {
	r.fill()
	r.Layout(r.t.Size())
	canvas.Refresh(r.t)
}
func (r *tableRenderer) Objects() []fyne.CanvasObject { return r.objs }
func (r *tableRenderer) Destroy()                     {}
