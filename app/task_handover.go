package app

import (
	"context"
	"fmt"
	"maps"
	"path/filepath"
	"slices"

	"fyne.io/fyne/v2/widget"

	"rigatino/app/job"
	"rigatino/app/look"
	"rigatino/app/part"
)

// handOverTask writes model, report and tables of the date in view.
func (w *Window) handOverTask() {
	d := w.desk
	dir := widget.NewEntry()
	dir.SetText(filepath.Join(filepath.Dir(d.Project.Dir()), "hand-over"))
	sign := widget.NewEntry()
	sign.SetPlaceHolder("nobody: DRAFT")
	w.slip.Add(part.SectionName("HAND OVER"))
	w.slip.Add(part.Heading(w.stageWords(d.View.Stage)))
	w.slip.Add(part.Row("Folder", dir))
	w.slip.Add(part.Row("Signed by", sign))
	w.slip.Add(part.NewSentence("**annotated.glb** opens in any viewer and says what each place is. **report.pdf** is made to be read in grey. **tally.json**, **regions.csv**, **joins.csv** and **work.csv** are open data.", look.TextRow, 260))
	w.slip.Add(part.NewSentence("The place of find, names and what pictures say of camera and maker are withheld unless the record releases them.", look.TextCaption, 260))
	for _, p := range d.Project.OpenPoints() {
		if p.Severity != "note" {
			w.slip.Add(part.Box(sentence(p.Reason)+" "+sentence(p.WayOut), part.Warning))
		}
	}
	w.next.Say("Nobody has signed until you write your name; a draft says so on every page.", part.Ink)
	w.next.Offer("Hand over", func() {
		folder, name := dir.Text, sign.Text
		var words string
		var files []string
		w.run("Handing over", func(ctx context.Context, report job.Report) error {
			r, err := d.HandOver(ctx, folder, name, report)
			if err != nil {
				return err
			}
			files = slices.Sorted(maps.Keys(r.Files))
			words = fmt.Sprintf("Hand-over %d lies in %s.", r.Number, folder)
			return nil
		}, func() {
			w.log("handed over", map[string]any{"dir": folder, "files": files})
			w.refresh()
			w.next.Say(words, part.Accepted)
		})
	})
}
