package app

import (
	"context"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/dialog"
	"fyne.io/fyne/v2/widget"

	"rigatino/annotate"
	"rigatino/annotate/terms"
	"rigatino/app/job"
	"rigatino/app/look"
	"rigatino/app/part"
	"rigatino/app/session"
)

// addTask adds a scan to a stage, or looks at the one in view for what is no
// specimen.
func (w *Window) addTask() {
	if w.looking.on {
		w.lookTask()
		return
	}
	w.addShelf()
	d := w.desk
	a := session.Adding{Piece: "body", Part: "whole"}
	w.slip.Add(part.SectionName("A SCAN WITH ITS DATE"))
	w.slip.Add(part.Heading("Add a scan"))
	field := func(value, hint string, set func(string)) *widget.Entry {
		e := widget.NewEntry()
		e.SetText(value)
		e.SetPlaceHolder(hint)
		e.OnChanged = set
		return e
	}
	path := field("", "file", func(s string) { a.Path = s })
	w.slip.Add(part.Row("File", path))
	w.slip.Add(part.NewButton("Look for a file…", func() {
		o := dialog.NewFileOpen(func(f fyne.URIReadCloser, err error) {
			if err == nil && f != nil {
				path.SetText(f.URI().Path())
				_ = f.Close() // nothing was read from it
			}
		}, w.win)
		o.Resize(fyne.NewSize(860, 560))
		o.Show()
	}))
	w.slip.Add(part.Row("Stage", choice(terms.All(terms.StageKind), "", func(id string) { a.Stage = id })))
	w.slip.Add(part.Row("Date", field("", "2026-03-20", func(s string) { a.Date = s })))
	w.slip.Add(part.Row("Piece", field(a.Piece, "", func(s string) { a.Piece = s })))
	w.slip.Add(part.Row("Part", choice(terms.All(terms.Part), a.Part, func(id string) { a.Part = id })))
	unit := widget.NewSelect([]string{"as the file says", "mm", "cm", "m", "in"}, func(s string) {
		a.Unit = s
		if s == "as the file says" {
			a.Unit = ""
		}
	})
	unit.SetSelected("as the file says")
	w.slip.Add(part.Row("Unit", unit))
	w.slip.Add(part.NewSentence("A piece that is not known yet is made. The file is copied into the project bit for bit.", look.TextCaption, 260))
	w.next.Say("Name the file, say what stage it shows and when it was scanned, then press **Add this scan**.", part.Ink)
	w.next.Offer("Add this scan", func() {
		if a.Path == "" || a.Stage == "" {
			w.next.Say("Name the file and choose the stage that it shows.", part.Warning)
			return
		}
		var added annotate.UseKey
		w.run("Adding the scan", func(ctx context.Context, report job.Report) (err error) {
			a.Progress = report
			added, err = d.AddScan(ctx, a)
			return err
		}, func() {
			w.log("added", map[string]any{"use": added.String()})
			w.viewStage(added.Stage)
			if n := w.openOnScan(); n > 0 { // before it is laid on another
				w.Choose(taskAdd)
				w.lookAtScan()
				return
			}
			w.Choose(taskAlign)
		})
	})
}
