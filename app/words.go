package app

import (
	"fmt"
	"math"
	"strings"
	"time"
	"unicode"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/layout"

	"image/color"

	"rigatino/app/look"
	"rigatino/app/part"
)

func lower(s string) string { return strings.ToLower(s) }
func upper(r rune) rune     { return unicode.ToUpper(r) }

func cardGround(t look.Tokens) color.NRGBA { return t.Card }
func pageGround(t look.Tokens) color.NRGBA { return t.Page }

// onGround puts a room on a colour of the theme.
func onGround(of func(look.Tokens) color.NRGBA, room fyne.CanvasObject) fyne.CanvasObject {
	return container.NewStack(part.NewGround(of), room)
}

func pad(top, bottom, left, right float32) fyne.Layout {
	return layout.NewCustomPaddedLayout(top, bottom, left, right)
}

// corners lays tools over the specimen: each in the corner it names.
type corners struct{ at []corner }

type corner int

const (
	topLeft    corner = iota
	belowRight        // at the right, below what is in the corner at the top left
	bottomLeft
)

func (c *corners) Layout(objects []fyne.CanvasObject, s fyne.Size) {
	const edge = 12
	for i, o := range objects {
		m := o.MinSize()
		o.Resize(m)
		where := topLeft
		if i < len(c.at) {
			where = c.at[i]
		}
		switch where {
		case belowRight:
			o.Move(fyne.NewPos(s.Width-m.Width-edge, edge+objects[0].MinSize().Height+8))
		case bottomLeft:
			o.Move(fyne.NewPos(edge, s.Height-m.Height-edge))
		default:
			o.Move(fyne.NewPos(edge, edge))
		}
	}
}

func (c *corners) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(200, 160) }

func text(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}

func sentence(s string) string {
	if s == "" {
		return s
	}
	r := []rune(s)
	out := string(upper(r[0])) + string(r[1:])
	if last := r[len(r)-1]; last != '.' && last != '…' {
		out += "."
	}
	return out
}

func shortDate(edtf string) string {
	if t, err := time.Parse(time.DateOnly, edtf); err == nil {
		return t.Format("2 Jan")
	}
	if edtf == "" {
		return "no date"
	}
	return edtf
}

// mm prints a length to hundredths; nothing is minus nothing.
func mm(v float64) string { return fmt.Sprintf("%.2f\u00a0mm", math.Round(100*v)/100+0) }
