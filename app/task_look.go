package app

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"

	"rigatino/annotate"
	"rigatino/annotate/terms"
	"rigatino/app/job"
	"rigatino/app/look"
	"rigatino/app/part"
	"rigatino/app/session"
	"rigatino/app/tool"
	"rigatino/mesh/render"
)

// looking is the walk through what a look at the scan in view proposes.
type looking struct {
	on   bool
	at   int     // the proposal in hand
	seen float64 // share of it that can be seen from where it is shown
}

// addShelf has the two things that the task Add does.
func (w *Window) addShelf() *buttonRows {
	rows := newButtonRows()
	rows.choice("Add a scan", "name its file and stage", !w.looking.on, func() { w.Choose(taskAdd) })
	hint := "for what is no specimen"
	if n := w.openOnScan(); n > 0 {
		hint = fmt.Sprintf("%d proposals to answer", n)
		if n == 1 {
			hint = "1 proposal to answer"
		}
	}
	rows.choice("Look at this scan", hint, w.looking.on, w.lookAtScan)
	w.shelf.Add(rows.room)
	return rows
}

// openOnScan counts the proposals of the scan in view that nobody answered.
func (w *Window) openOnScan() int {
	n := 0
	for _, p := range w.desk.ScanProposals() {
		if p.State == "" {
			n++
		}
	}
	return n
}

// lookAtScan looks at the scan in view and begins to walk through what that
// proposes.
func (w *Window) lookAtScan() {
	w.looking.on = true
	w.desk.Leaving, w.desk.Bare = session.NotLeaving, true
	key, desk := w.desk.View, w.desk
	w.load(key, func() {
		if !w.looking.on || desk != w.desk || key != w.desk.View {
			return
		}
		if desk.LookedAt(key) {
			w.takeProposal(w.firstOpen())
			return
		}
		w.refresh()
		var faces map[string][]uint32
		w.run("Looking at the scan", func(ctx context.Context, report job.Report) (err error) {
			faces, err = desk.LookAtScan(ctx, key, report)
			return err
		}, func() {
			if desk != w.desk {
				return
			}
			desk.KeepFaces(key, faces)
			w.log("looked", map[string]any{"use": key.String(), "proposals": len(faces)})
			if w.looking.on && key == w.desk.View {
				w.takeProposal(w.firstOpen())
			}
		})
	})
}

// firstOpen is the first proposal from the one in hand on that nobody answered,
// or the one in hand.
func (w *Window) firstOpen() int {
	list := w.desk.ScanProposals()
	for i := range list {
		if k := (w.looking.at + i) % len(list); list[k].State == "" {
			return k
		}
	}
	return min(w.looking.at, max(len(list)-1, 0))
}

// takeProposal takes a proposal of the scan in hand and turns the specimen to it.
func (w *Window) takeProposal(n int) {
	list := w.desk.ScanProposals()
	w.desk.Leaving = session.NotLeaving
	w.looking.at = n
	if n >= 0 && n < len(list) {
		faces, _ := w.desk.ProposedFaces(list[n].ID)
		w.looking.seen = w.turnTo(faces)
		w.log("proposal", map[string]any{"id": list[n].ID, "kind": list[n].Kind, "number": n + 1, "of": len(list), "state": list[n].State, "faces": len(faces), "seen": w.looking.seen})
	}
	w.refresh()
}

// lookTask lists what a look at the scan proposes and asks about the one in hand.
func (w *Window) lookTask() {
	d := w.desk
	list := d.ScanProposals()
	w.slip.Add(part.SectionName("WHAT IS NO SPECIMEN"))
	w.pointAtProposal(list)
	for i, p := range list {
		w.slip.Add(w.proposalItem(i, p))
	}
	switch {
	case len(list) > 0:
		w.slip.Add(part.NewSentence("Support is out of every value and every alignment. The scan itself is never changed.", look.TextCaption, 260))
	case d.LookedAt(d.View):
		w.slip.Add(part.NewSentence("Nothing on this scan looks like a bed, a scale bar, a loose part, an inner wall or a hole that a scan program closed.", look.TextBody, 260))
	}
	w.lookShelf(len(list))
	if d.Leaving != session.NotLeaving {
		w.next.OfferBack("Undo", w.Undo)
		w.leavingNext()
		return
	}
	if !d.LookedAt(d.View) {
		w.next.Say("Look at this scan for what is no specimen: the bed it lay on, scale bars, loose parts, inner walls, holes that a scan program closed.", part.Ink)
		w.next.Offer("Look at this scan", w.lookAtScan)
		return
	}
	if len(list) == 0 {
		w.next.Say("Nothing is proposed. What you see to be no specimen you can leave out by hand.", part.Ink)
		w.next.Offer("Align", func() { w.Choose(taskAlign) })
		return
	}
	p := list[min(max(w.looking.at, 0), len(list)-1)]
	where := ""
	if w.looking.seen < 0.05 {
		where = " It lies inside, where no eye sees it; **Cut (k)** shows where."
	}
	name := fmt.Sprintf("%d of %d, %s", w.looking.at+1, len(list), terms.Label(terms.ScanProposal, p.Kind))
	switch {
	case p.State == annotate.AnswerAccepted:
		w.next.Say(name+": set aside. Undo takes that back."+w.whatNext(), part.Accepted)
	case p.State == annotate.AnswerRefused:
		w.next.Say(name+": kept in. Undo takes that back."+w.whatNext(), part.Ink)
	default:
		w.next.Say(fmt.Sprintf("%s: if that is so, **Set aside** maps it as %s; if it is specimen, **Keep in**.%s", name, lower(terms.Label(terms.Substance, p.Substance)), where), part.Ink)
		w.next.Offer("Set aside (s)", w.setAside)
		w.next.OfferBack("Keep in (i)", w.keepIn)
	}
}

// whatNext leads on from a proposal that was answered.
func (w *Window) whatNext() string {
	if n := w.openOnScan(); n > 0 {
		w.next.Offer("Next (n)", func() { w.takeProposal(w.firstOpen()) })
		return fmt.Sprintf(" Still to answer: %d.", n)
	}
	w.next.Offer("Align", func() { w.Choose(taskAlign) })
	return " All are answered."
}

// pointAtProposal shows the proposal in hand on the specimen.
func (w *Window) pointAtProposal(list []session.ScanProposal) {
	var p *session.Pointed
	if i := w.looking.at; w.desk.Leaving == session.NotLeaving && i >= 0 && i < len(list) && list[i].State == "" {
		if faces, ok := w.desk.ProposedFaces(list[i].ID); ok {
			p = &session.Pointed{Faces: faces, Layer: annotate.LayerSubstance, Kind: list[i].Substance, Bare: true}
		}
	}
	w.painter.Hold(func() { w.desk.PointAt(p) })
}

// proposalItem is a row of the list.
func (w *Window) proposalItem(i int, p session.ScanProposal) *part.Item {
	text := sentence(p.Reason)
	tone := part.Soft
	switch p.State {
	case annotate.AnswerAccepted:
		text, tone = "Set aside as "+lower(terms.Label(terms.Substance, p.Substance))+".", part.Accepted
	case annotate.AnswerRefused:
		text = "Kept in."
	}
	item := part.NewItem(fmt.Sprintf("**%s**", title(terms.Label(terms.ScanProposal, p.Kind))), p.Area.String(), text, func() { w.takeProposal(i) })
	item.Chosen = i == w.looking.at && w.desk.Leaving == session.NotLeaving
	item.SetTone(tone)
	return item
}

// lookShelf has the buttons of the walk and those for leaving out by hand.
func (w *Window) lookShelf(n int) {
	rows := w.addShelf()
	if n > 1 && w.desk.Leaving == session.NotLeaving {
		rows.button("Back (b)", "the one before", func() { w.lookKey('b') })
		rows.button("Next (n)", "the one after", func() { w.lookKey('n') })
	}
	if w.desk.Leaving == session.NotLeaving {
		rows.button("Undo", "Ctrl+Z", w.Undo)
	}
	leave := func(to session.LeaveOut) func() {
		return func() { w.leaveOut(to) }
	}
	rows.choice("Leave out", "by hand, as support", w.desk.Leaving == session.LeaveOutFaces, leave(session.LeaveOutFaces))
	rows.choice("Take back in", "by hand", w.desk.Leaving == session.KeepInFaces, leave(session.KeepInFaces))
	if w.desk.Leaving == session.NotLeaving {
		return
	}
	for _, k := range []tool.Kind{tool.Brush, tool.Loop} {
		about := tool.Get(k)
		rows.choice(fmt.Sprintf("%s (%c)", about.Word, about.Key), leavingHints[k], w.hand.kind == k, func() { w.chooseTool(k) })
	}
	if size := w.sizeSliderRoom(); size != nil {
		rows.add(container.NewGridWrap(fyne.NewSize(look.Current().Px(150), look.Current().Px(52)), container.NewVBox(size...)))
	}
}

var leavingHints = map[tool.Kind]string{tool.Brush: "drag over it", tool.Loop: "draw round it"}

// leaveOut takes the brush in hand that leaves faces out, or takes them back in;
// pressed again it is put down.
func (w *Window) leaveOut(to session.LeaveOut) {
	if w.desk.Leaving == to {
		to = session.NotLeaving
	}
	w.desk.Leaving = to
	if w.hand.kind != tool.Loop {
		w.hand = hand{kind: tool.Brush, fit: w.hand.fit, grabbed: -1}
	}
	w.log("leaving", map[string]any{"out": to == session.LeaveOutFaces, "in": to == session.KeepInFaces})
	w.refresh()
}

// leavingNext says what the brush in hand does.
func (w *Window) leavingNext() {
	how := "Brush over"
	if w.hand.kind == tool.Loop {
		how = "Draw a line round"
	}
	what := "what is no specimen: it becomes **support**, out of every value and every alignment."
	if w.desk.Leaving == session.KeepInFaces {
		what = "what was left out wrongly: it becomes **not examined** again."
	}
	w.next.Say(how+" "+what, part.Ink)
	w.next.Offer("Done", func() { w.leaveOut(w.desk.Leaving) })
}

// setAside accepts the proposal in hand.
func (w *Window) setAside() {
	list := w.desk.ScanProposals()
	if w.looking.at >= len(list) || list[w.looking.at].State != "" {
		return
	}
	desk, key, p := w.desk, w.desk.View, list[w.looking.at]
	var done session.Marked
	w.run("Setting aside", func(ctx context.Context, report job.Report) (err error) {
		done, err = desk.SetAside(ctx, key, p.ID, report)
		return err
	}, func() {
		if desk != w.desk {
			return
		}
		w.answered(p, "set aside", done)
	})
}

// keepIn refuses it.
func (w *Window) keepIn() {
	list := w.desk.ScanProposals()
	if w.looking.at >= len(list) || list[w.looking.at].State != "" {
		return
	}
	p := list[w.looking.at]
	if err := w.desk.KeepIn(p.ID); err != nil {
		w.fail(err)
		return
	}
	w.answered(p, "kept in", session.Marked{})
}

// answered shows what an answer did and goes on to the next proposal.
func (w *Window) answered(p session.ScanProposal, event string, done session.Marked) {
	var err error
	w.painter.Hold(func() { err = w.desk.Refresh([]string{w.desk.View.String()}) })
	if err != nil {
		w.fail(err)
		return
	}
	w.desk.Changed = nil // support is in no comparison
	sum, err := w.mapSum()
	w.log(event, map[string]any{"id": p.ID, "region": done.Region.ID, "faces": done.Taken, "skipped": done.Skipped, "map": sum, "error": text(err)})
	w.takeProposal(w.firstOpen())
	if done.Skipped > 0 {
		w.next.Say(fmt.Sprintf("%d faces of it were left as they are: somebody had marked them already. %s", done.Skipped, w.next.Text()), part.Warning)
	}
}

// lookKey answers the keys of the walk.
func (w *Window) lookKey(r rune) bool {
	n := len(w.desk.ScanProposals())
	switch {
	case w.jobs.Busy() || w.desk.Stroking():
		return false
	case w.desk.Leaving != session.NotLeaving && strings.ContainsRune("boet", r):
		return w.toolKey(r)
	case n == 0:
		return false
	case r == 'n':
		w.takeProposal((w.looking.at + 1) % n)
	case r == 'b':
		w.takeProposal((w.looking.at + n - 1) % n)
	case r == 's':
		w.setAside()
	case r == 'i':
		w.keepIn()
	default:
		return false
	}
	return true
}

// pointOutOnScan takes the proposal in hand that was pressed on.
func (w *Window) pointOutOnScan(p render.Picked) bool {
	for i, q := range w.desk.ScanProposals() {
		faces, _ := w.desk.ProposedFaces(q.ID)
		if _, on := slices.BinarySearch(faces, p.Face); on {
			w.takeProposal(i)
			return true
		}
	}
	return false
}
