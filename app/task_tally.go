package app

import (
	"context"
	"fmt"

	"rigatino/annotate/terms"
	"rigatino/app/job"
	"rigatino/app/look"
	"rigatino/app/part"
)

// tallyTask shows the sheet of values of the stage in view.
func (w *Window) tallyTask() {
	d := w.desk
	stage := d.View.Stage
	w.slip.Add(part.SectionName("VALUES"))
	w.next.Say("Reckoning the values of this date.", part.Ink)
	w.next.Offer("Hand over", func() { w.Choose(taskHandOver) })
	var sheet *tallySheet
	w.run("Reckoning", func(ctx context.Context, report job.Report) (err error) {
		sheet, err = d.Tally(ctx, stage, report)
		return err
	}, func() {
		w.tallying = false
		if w.task == taskTally && w.desk == d {
			w.sheet(sheet)
		}
	})
	w.tallying = w.jobs.Busy()
}

// sheet lists the values, each with its ± or why there is none.
func (w *Window) sheet(s *tallySheet) {
	w.slip.RemoveAll()
	w.slip.Add(part.SectionName("RESTORED BY AREA"))
	r := s.Restored
	switch {
	case r.Low == nil:
		w.slip.Add(part.NewSentence(sentence(r.WhyAbsent), look.TextBody, 260))
	case r.Share == nil:
		w.slip.Add(part.Value(fmt.Sprintf("%.1f to %.1f\u00a0%%", 100*r.Low.Value, 100*r.High.Value), part.Ink))
		w.slip.Add(part.NewSentence(sentence(r.WhyAbsent), look.TextCaption, 260))
	default:
		w.slip.Add(part.Value(fmt.Sprintf("%.1f\u00a0%%", 100*r.Share.Value), part.Ink))
		w.slip.Add(part.NewSentence(fmt.Sprintf("range %.1f to %.1f\u00a0%% of the surface scanned", 100*r.Low.Value, 100*r.High.Value), look.TextCaption, 260))
	}
	w.slip.Add(part.NewSentence("(fill + reconstruction) / S; S = total − matrix − support. The upper end adds uncertain and not examined.", look.TextCaption, 260))
	if s.Surface.Specimen != nil {
		w.slip.Add(part.TextRow("S", s.Surface.Specimen.String()))
	}
	w.areaRows(w.slip, s)
	if s.ChangedInLook != nil {
		w.slip.Add(part.TextRow("Changed in look", s.ChangedInLook.String()))
	}
	if s.RetouchOverOriginal != nil {
		w.slip.Add(part.TextRow("Retouch over original", s.RetouchOverOriginal.String()))
	}
	for _, j := range s.Joins {
		w.slip.Add(part.TextRow(j.ID, "join, "+lower(terms.Label(terms.Fit, j.Fit))+", "+j.Length.String()))
	}
	if len(s.Volumes) > 0 {
		w.slip.Add(part.SectionName("VOLUMES"))
	}
	for _, v := range s.Volumes {
		words := w.stageWords(v.From) + " to " + w.stageWords(v.To) + ":"
		if v.Removed != nil {
			words += " removed **" + v.Removed.String() + "**"
		}
		if v.Added != nil {
			words += " added **" + v.Added.String() + "**"
		}
		w.slip.Add(part.NewSentence(words, look.TextRow, 260))
	}
	for _, p := range s.OpenPoints {
		if p.Severity == "note" {
			w.slip.Add(part.NewSentence(sentence(p.Reason), look.TextCaption, 260))
			continue
		}
		tone := part.Warning
		if p.Severity == "refused" {
			tone = part.Refused
		}
		w.slip.Add(part.Box("**"+terms.Label(terms.Severity, p.Severity)+"** "+sentence(p.Reason)+" "+sentence(p.WayOut), tone))
	}
	w.slip.Add(part.NewSentence("Surface as seen; interior, pins and hidden fills not examined.", look.TextCaption, 260))
	w.slip.Refresh()
	w.log("sheet", map[string]any{"stage": s.Stage, "open_points": len(s.OpenPoints)})
	w.next.Say(fmt.Sprintf("%d open points. Map what is left, or hand over with the range as it stands.", len(s.OpenPoints)), part.Ink)
}
