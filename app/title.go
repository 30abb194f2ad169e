package app

import (
	"fmt"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/dialog"
	"fyne.io/fyne/v2/layout"

	"rigatino/app/look"
	"rigatino/app/part"
	"rigatino/assets"
)

// titleBar names the specimen and says what is not saved.
type titleBar struct {
	w                   *Window
	room                fyne.CanvasObject
	number, name, state *canvas.Text
	save                *part.Button
}

func newTitleBar(w *Window) *titleBar {
	t := &titleBar{w: w, number: canvas.NewText("Rigatino", nil), name: canvas.NewText("", nil), state: canvas.NewText("", nil)}
	icon := canvas.NewImageFromImage(assets.Icon(64))
	icon.SetMinSize(fyne.NewSize(32, 32))
	icon.FillMode = canvas.ImageFillContain
	t.save = part.NewButton("Save", w.Save)
	size := part.NewButton("Size of text", w.nextSize)
	dark := part.NewButton("Light or dark", w.nextAppearance)
	help := part.NewButton("Help", w.help)
	t.number.TextStyle.Bold = true
	row := container.New(layout.NewCustomPaddedHBoxLayout(look.Gap),
		container.NewCenter(icon), container.NewCenter(t.number), container.NewCenter(t.name), layout.NewSpacer(),
		container.NewCenter(t.state), t.save, size, dark, help)
	t.room = onGround(pageGround, container.New(pad(8, 8, 16, 16), row))
	return t
}

func (t *titleBar) refresh() {
	th := look.Current()
	c := th.Colours()
	t.number.TextSize, t.name.TextSize, t.state.TextSize = th.Px(look.TextHeading), th.Px(17), th.Px(look.TextBody)
	t.number.Color, t.name.Color, t.state.Color = c.Ink, c.Soft, c.Soft
	d := t.w.desk
	if d == nil {
		t.number.Text, t.name.Text, t.state.Text = "Rigatino", "a repaired fossil stays honest", "nothing open yet"
		t.save.Disable()
	} else {
		s := d.Project.Record().Specimen
		t.number.Text, t.name.Text = s.CatalogueNumber, s.Title
		if t.number.Text == "" {
			t.number.Text, t.name.Text = s.Title, ""
		}
		if t.number.Text == "" {
			t.number.Text = d.Project.Name()
		}
		switch n := d.Project.Unsaved(); n {
		case 0:
			t.state.Text = "all saved"
			t.save.Disable()
		case 1:
			t.state.Text = "1 action not saved"
			t.save.Enable()
		default:
			t.state.Text = fmt.Sprintf("%d actions not saved", n)
			t.save.Enable()
		}
	}
	for _, o := range []*canvas.Text{t.number, t.name, t.state} {
		o.Refresh()
	}
	t.room.Refresh()
}

// nextSize takes the next larger text, after the largest the smallest.
func (w *Window) nextSize() {
	for i, s := range look.Sizes {
		if s == w.theme.Scale {
			w.theme.Scale = look.Sizes[(i+1)%len(look.Sizes)]
			break
		}
	}
	w.restyle()
}

// nextAppearance goes from light to dark to high contrast.
func (w *Window) nextAppearance() {
	w.theme.Appearance = (w.theme.Appearance + 1) % 3
	w.restyle()
}

// restyle shows everything in the theme as it is now.
func (w *Window) restyle() {
	fyne.CurrentApp().Settings().SetTheme(w.theme)
	w.log("style", map[string]any{"scale": w.theme.Scale, "appearance": int(w.theme.Appearance)})
	w.refresh()
}

const helpText = `Turn: drag with the middle button, or with Space or Alt held; or the arrow keys.
Nearer and farther: the wheel, or + and −. Whole: key W. Facing me: key F at a place.
Mark: choose a kind on the shelf (keys 1 to 9, 0 rubs back to not examined), then drag over the specimen.
Tools: B brush, O loop, G grow to edges, C same colour, J join line, X rub out, U ruler. E lets the brush stop at edges or not; T takes what is not seen too, or not.
Size, mm: Ctrl and the wheel, the slider, or [ and ].
Cut: key K cuts through the place under the pointer. Stages: P plays them, comma and full stop go back and on.
Align: places are pressed on one date, then on the other; strokes on either say what carries the fit (B brush, O loop). The ring round a place has the radius of what it is off, in true mm.
Proposals, in Add (of one scan) and in Change (of two): N next, B back; S set aside, I keep in; A accept, O not so, T trim.
Undo Ctrl+Z, redo Ctrl+Y, save Ctrl+S.
Two dates: press a bead with Shift, or with the second button, to hold it as the other date. The loupe shows it under the pointer, the date edge beside the specimen.

Not examined never counts as original. What a scan shows is the surface as seen: interior, pins and hidden fills are not examined.

Dust, compressed air, epoxy, solvents and some fossils themselves can hurt you: follow local rules and trained people.

Screen readers: the toolkit has no support for them yet; every task has a command that does the same.`

func (w *Window) help() {
	s := part.NewSentence(helpText, look.TextBody, 620)
	d := dialog.NewCustom("Help", "Close", container.NewVScroll(s), w.win)
	d.Resize(fyne.NewSize(700, 460))
	d.Show()
	w.log("help", nil)
}

// benchRoom is the bench line with its caption and Add.
func benchRoom(w *Window) fyne.CanvasObject {
	name := container.NewGridWrap(fyne.NewSize(116, 46), container.NewVBox(part.SectionName("BENCH LINE"), quiet("oldest first")))
	add := part.NewButton("Add a scan", func() { w.Choose(taskAdd) })
	return container.New(pad(8, 4, 16, 16), container.NewBorder(nil, nil, name, container.NewCenter(add), w.bench))
}

// quiet is a soft caption.
func quiet(text string) fyne.CanvasObject {
	s := part.NewSentence(text, look.TextCaption, 110)
	s.Tone = part.Soft
	return s
}
