package app

import (
	"context"
	"os"
	"path/filepath"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/dialog"
	"fyne.io/fyne/v2/layout"
	"fyne.io/fyne/v2/widget"

	"rigatino/app/job"
	"rigatino/app/look"
	"rigatino/app/part"
)

// startRoom stands where the specimen will be while nothing is open.
func (w *Window) startRoom() {
	path := widget.NewEntry()
	path.SetPlaceHolder("scan.glb, or a project folder Name.rigatino")
	unit := widget.NewSelect([]string{"", "mm", "cm", "m", "in"}, nil)
	unit.PlaceHolder = "unit"
	open := func() {
		if path.Text != "" {
			w.Open([]string{path.Text}, unit.Selected)
		}
	}
	path.OnSubmitted = func(string) { open() }
	browse := part.NewButton("Look for a file…", func() {
		d := dialog.NewFileOpen(func(f fyne.URIReadCloser, err error) {
			if err != nil {
				w.fail(err)
				return
			}
			if f != nil {
				path.SetText(f.URI().Path())
				_ = f.Close() // nothing was read from it
				open()
			}
		}, w.win)
		d.Resize(fyne.NewSize(860, 560))
		d.Show()
	})
	drop := part.NewSentence("**Drop the first scan here**", look.TextHeading, 600)
	rows := []fyne.CanvasObject{
		drop,
		part.NewSentence("GLB, glTF, OBJ, PLY or STL. The file is copied and never changed.", look.TextBody, 600),
		part.NewSentence("or write where it is; an OBJ, PLY or STL file has no unit of its own, so choose one", look.TextBody, 600),
		container.NewBorder(nil, nil, nil, container.NewHBox(unit, part.NewButton("Open", open), browse), path),
	}
	if w.opt.MakeDemo != nil {
		rows = append(rows, part.Card(container.NewBorder(nil, nil, nil, container.NewCenter(part.NewButton("Make the demo", w.makeDemo)),
			container.NewVBox(part.NewSentence("**Nothing at hand? Try the demo bone.**", look.TextBody, 400),
				part.NewSentence("A made-up humerus with six dates, a join and a putty fill. No network.", look.TextRow, 400)))))
	}
	w.empty.Add(layout.NewSpacer())
	w.empty.Add(container.New(pad(0, 0, 60, 60), container.New(layout.NewCustomPaddedVBoxLayout(14), rows...)))
	w.empty.Add(layout.NewSpacer())
	w.slip.Add(part.SectionName("BEFORE THE FIRST SCAN"))
	w.slip.Add(part.Heading("What you will need"))
	w.slip.Add(part.NewSentence("One scan of the specimen **before** you touch it, and one each time before something gets covered.", look.TextBody, 260))
	w.slip.Add(part.TextRow("A date", "when it was scanned"))
	w.slip.Add(part.TextRow("Your name", "or initials, for the record"))
	w.next.Say("Drop the scan that shows the specimen as it came to you. One scan is enough to begin.", part.Ink)
}

// makeDemo makes the demo beside the person's other files and opens it.
func (w *Window) makeDemo() {
	home, err := os.UserHomeDir()
	if err != nil {
		home = os.TempDir()
	}
	dir := filepath.Join(home, "Rigatino demo")
	var made string
	w.run("Making the demo in "+dir, func(ctx context.Context, report job.Report) (err error) {
		made, err = w.opt.MakeDemo(ctx, dir, report)
		return err
	}, func() { w.Open([]string{made}, "") })
}
