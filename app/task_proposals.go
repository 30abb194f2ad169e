package app

import (
	"context"
	"fmt"
	"slices"

	"fyne.io/fyne/v2/widget"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/terms"
	"rigatino/app/job"
	"rigatino/app/look"
	"rigatino/app/part"
	"rigatino/app/session"
	"rigatino/mesh/render"
)

// changing is what the task Change has in hand: a change area, or while on the
// walk through what the map could hold a proposal.
type changing struct {
	area int // -1 for none
	on   bool
	at   int // the proposal in hand
	seen float64
	// as is the word it is taken as, within the faces it is trimmed to (nil for
	// all of them), note what a person says of it.
	as       string
	within   []uint32
	trimming bool
	note     string
	basis    string
}

// propose asks what the comparison in view says the map could hold, beside the
// window, and begins to walk through it.
func (w *Window) propose() {
	desk, c := w.desk, w.desk.Changed
	if c == nil {
		return
	}
	var q *session.Proposed
	w.run("Looking for what the map could hold", func(ctx context.Context, report job.Report) (err error) {
		q, err = desk.Propose(ctx, c, report)
		return err
	}, func() {
		if desk != w.desk || desk.Changed == nil || desk.Changed.Change != c.Change {
			return
		}
		desk.Proposed = q
		w.walk = changing{area: -1, on: true}
		w.log("proposed", map[string]any{"from": q.From.String(), "to": q.To.String(), "proposals": len(q.List)})
		w.takeChange(w.firstUnanswered())
	})
}

// firstUnanswered is the first proposal from the one in hand on that nobody
// answered, or the one in hand.
func (w *Window) firstUnanswered() int {
	q := w.desk.Proposed
	for i := range q.List {
		if k := (w.walk.at + i) % len(q.List); q.Answers[k] == nil {
			return k
		}
	}
	return w.walk.at
}

// takeChange takes a proposal in hand and turns the specimen to it.
func (w *Window) takeChange(n int) {
	q := w.desk.Proposed
	w.walk = changing{area: -1, on: true, at: n}
	if n < len(q.List) {
		p := &q.List[n]
		w.walk.as = session.TakenAs(p)
		faces, _ := w.desk.ProposalFaces(p)
		if len(faces) > 0 {
			w.walk.seen = w.turnTo(faces)
		}
		w.log("proposal", map[string]any{"kind": string(p.Kind), "number": n + 1, "of": len(q.List), "state": stateOf(q.Answers[n]), "faces": len(faces), "seen": w.walk.seen})
	}
	w.refresh()
}

func stateOf(a *annotate.Answer) string {
	if a == nil {
		return ""
	}
	return a.Verdict
}

// endWalk goes back to the change areas.
func (w *Window) endWalk() {
	w.walk = changing{area: -1}
	w.desk.PointAt(nil)
	w.log("walk ended", nil)
	w.refresh()
}

// proposalTask asks about the proposal in hand and lists the others.
func (w *Window) proposalTask() {
	q := w.desk.Proposed
	if len(q.List) == 0 {
		w.slip.Add(part.SectionName("PROPOSALS"))
		w.slip.Add(part.NewSentence("These two scans give no cause to propose anything for the map.", look.TextBody, 260))
		w.painter.Hold(func() { w.desk.PointAt(nil) })
		w.next.Say("Nothing is proposed. Mark what you see yourself.", part.Ink)
		w.next.Offer("Map", func() { w.Choose(taskMap) })
		w.next.OfferBack("Change areas", w.endWalk)
		return
	}
	w.walk.at = min(max(w.walk.at, 0), len(q.List)-1)
	p, answer := &q.List[w.walk.at], q.Answers[w.walk.at]
	w.pointAtChange(p, answer)
	w.slip.Add(part.SectionName(fmt.Sprintf("PROPOSAL %d OF %d", w.walk.at+1, len(q.List))))
	w.slip.Add(part.Heading(title(terms.Label(terms.ChangeProposal, string(p.Kind)))))
	w.slip.Add(part.NewSentence(w.wouldDo(p), look.TextBody, 260))
	w.slip.Add(part.NewSentence(sentence(p.Evidence), look.TextCaption, 260))
	sure := part.NewSentence("How sure: "+lower(terms.Label(terms.Certainty, "inferred"))+"; nobody has looked yet.", look.TextCaption, 260)
	if answer != nil {
		sure.Set(w.answerWords(answer))
		sure.SetTone(part.Accepted)
	}
	w.slip.Add(sure)
	if answer == nil {
		w.proposalForm(p)
	}
	w.slip.Add(part.SectionName("ALL PROPOSALS"))
	for i := range q.List {
		w.slip.Add(w.changeItem(i))
	}
	w.proposalShelf(p, answer)
	w.proposalNext(p, answer)
}

// wouldDo says what accepting a proposal does.
func (w *Window) wouldDo(p *session.Proposal) string {
	size := ""
	if p.Surface != nil {
		size = p.Surface.String()
	}
	if p.Volume != nil {
		size += ", " + p.Volume.String()
	}
	if size != "" {
		size = "**" + size + ".** "
	}
	switch {
	case len(p.Marks) > 0 && w.walk.as == "":
		return size + "Would be marked as what you say it is."
	case len(p.Marks) > 0:
		on := ""
		if w.walk.within != nil {
			on = ", on the part you drew round"
		}
		return size + "Would be marked **" + lower(session.WordOf(p, w.walk.as)) + "**" + on + "."
	case p.Line != nil:
		return size + "Would draw the join round it; how well it fits stays open."
	case w.walk.as != "":
		return size + "Would note that what went was **" + lower(session.WordOf(p, w.walk.as)) + "**; nothing is marked."
	case len(p.Choices) > 0:
		return size + "Would note what it was, which you say; nothing is marked."
	}
	return size + "Would note that you agree; nothing is marked."
}

// answerWords says what became of a proposal.
func (w *Window) answerWords(a *annotate.Answer) string {
	out := "Accepted"
	if a.Verdict == annotate.AnswerRefused {
		out = "Not so"
	}
	if a.Trimmed {
		out += ", trimmed"
	}
	r := w.desk.Project.Record()
	for _, p := range r.People {
		if p.ID == a.Who && a.Who != "" {
			out += ", " + p.Initials
		}
	}
	for _, id := range a.Regions {
		if g, ok := r.Region(id); ok {
			out += ", " + id + " " + lower(terms.Label(terms.List(g.Layer), g.Kind))
		}
	}
	if a.Line != "" {
		out += ", line " + a.Line
	}
	if a.Note != "" {
		out += ": " + a.Note
	}
	return sentence(out)
}

// proposalForm is what a person says with the answer.
func (w *Window) proposalForm(p *session.Proposal) {
	if len(p.Choices) > 0 {
		var words []string
		for _, id := range p.Choices {
			words = append(words, session.WordOf(p, id))
		}
		s := widget.NewSelect(words, nil)
		if w.walk.as != "" {
			s.Selected = session.WordOf(p, w.walk.as)
		}
		s.OnChanged = func(word string) {
			for i, x := range words {
				if x == word && p.Choices[i] != w.walk.as {
					w.walk.as = p.Choices[i]
					w.log("as", map[string]any{"as": w.walk.as})
					w.refresh()
				}
			}
		}
		w.slip.Add(part.Row("It is", s))
	}
	entry := func(name, text string, set func(string)) {
		e := widget.NewEntry()
		e.SetText(text)
		e.OnChanged = set
		w.slip.Add(part.Row(name, e))
	}
	d := w.desk
	if w.walk.as == annotate.Reconstruction {
		w.slip.Add(part.Row("Rests on", choice(terms.All(terms.Basis), w.walk.basis, func(id string) { w.walk.basis = id })))
	}
	if annotate.IsRestored(w.walk.as) {
		entry("With", d.Slip.Material, func(s string) { d.Slip.Material = s })
	}
	w.slip.Add(part.Row("Who", w.whoField()))
	entry("Why", w.walk.note, func(s string) { w.walk.note = s })
}

// changeItem is a row of the list of proposals.
func (w *Window) changeItem(i int) *part.Item {
	q := w.desk.Proposed
	p := &q.List[i]
	size := ""
	if p.Surface != nil {
		size = p.Surface.String()
	}
	text, tone := "to be answered", part.Soft
	if a := q.Answers[i]; a != nil {
		text, tone = w.answerWords(a), part.Accepted
	}
	item := part.NewItem(fmt.Sprintf("**%d** %s", i+1, terms.Label(terms.ChangeProposal, string(p.Kind))), size, text, func() { w.takeChange(i) })
	item.Chosen = i == w.walk.at
	item.SetTone(tone)
	return item
}

// pointAtChange shows the proposal in hand on the specimen: as it would be
// marked, or as what changed with a line round it.
func (w *Window) pointAtChange(p *session.Proposal, answer *annotate.Answer) {
	faces, marks := w.desk.ProposalFaces(p)
	if w.walk.within != nil && answer == nil {
		faces = w.walk.within
	}
	out := &session.Pointed{Faces: faces, Outline: !marks || answer != nil, Bare: true, Tint: toRGBA(look.Of(look.Light).Accent)}
	if marks {
		out.Layer, out.Kind = p.Marks[0].Layer, w.walk.as
	}
	w.painter.Hold(func() { w.desk.PointAt(out) })
}

// proposalShelf has the buttons of the walk.
func (w *Window) proposalShelf(p *session.Proposal, answer *annotate.Answer) {
	rows := newButtonRows()
	rows.button("Change areas", "end the walk", w.endWalk)
	if len(w.desk.Proposed.List) > 1 {
		rows.button("Back (b)", "the one before", func() { w.changeKey('b') })
		rows.button("Next (n)", "the one after", func() { w.changeKey('n') })
	}
	if _, marks := w.desk.ProposalFaces(p); marks && answer == nil {
		rows.choice("Trim (t)", "draw round what is so", w.walk.trimming, func() { w.changeKey('t') })
		if w.walk.within != nil {
			rows.button("Whole again", "untrimmed", func() {
				w.walk.within = nil
				w.log("trimmed", map[string]any{"faces": 0})
				w.refresh()
			})
		}
	}
	rows.button("Undo", "Ctrl+Z", w.Undo)
	w.shelf.Add(rows.room)
}

// proposalNext says what to do with the proposal in hand.
func (w *Window) proposalNext(p *session.Proposal, answer *annotate.Answer) {
	name := fmt.Sprintf("%d of %d, %s", w.walk.at+1, len(w.desk.Proposed.List), terms.Label(terms.ChangeProposal, string(p.Kind)))
	if answer != nil {
		left := 0
		for _, a := range w.desk.Proposed.Answers {
			if a == nil {
				left++
			}
		}
		if left > 0 {
			w.next.Say(fmt.Sprintf("%s: answered. Undo takes that back. Still to answer: %d.", name, left), part.Ink)
			w.next.Offer("Next (n)", func() { w.takeChange(w.firstUnanswered()) })
			return
		}
		w.next.Say(name+": answered. Undo takes that back. All are answered.", part.Accepted)
		w.next.Offer("Map", func() { w.Choose(taskMap) })
		return
	}
	w.next.OfferBack("Not so (o)", w.refuseProposal)
	switch {
	case w.walk.trimming:
		w.next.Say("Draw a line round the part that is so; only that is accepted. A second line adds to it.", part.Ink)
	case w.needsWord(p):
		w.next.Say(name+": nothing says what it is. Say it under **It is**, or press **Not so**.", part.Ink)
		return
	default:
		w.next.Say(fmt.Sprintf("%s: if it is so, press **%s**; else **Not so**, and write why if you can.", name, w.acceptWord(p)), part.Ink)
	}
	w.next.Offer(w.acceptWord(p)+" (a)", w.acceptProposal)
}

// needsWord tells whether a person must say first what it is.
func (w *Window) needsWord(p *session.Proposal) bool {
	return w.walk.as == "" && len(p.Choices) > 0
}

func (w *Window) acceptWord(p *session.Proposal) string {
	if w.walk.as == "" {
		return "Accept"
	}
	return "Accept as " + lower(session.WordOf(p, w.walk.as))
}

// acceptProposal accepts the proposal in hand, or the part it was trimmed to.
func (w *Window) acceptProposal() {
	d, q := w.desk, w.desk.Proposed
	n := w.walk.at
	if n >= len(q.List) || q.Answers[n] != nil || w.needsWord(&q.List[n]) {
		return
	}
	said := annotate.Region{Who: d.Slip.Who, When: d.Slip.When, Note: w.walk.note}
	if annotate.IsRestored(w.walk.as) {
		said.Material = d.Slip.Material
	}
	if w.walk.as == annotate.Reconstruction {
		said.Basis = w.walk.basis
	}
	var err error
	var taken, skipped int
	w.painter.Hold(func() {
		done, failed := d.Accept(n, w.walk.as, w.walk.within, said)
		taken, skipped, err = done.Taken, done.Skipped, failed
	})
	if err != nil {
		w.fail(err)
		return
	}
	sum, err := w.mapSum()
	w.log("accepted", map[string]any{"number": n + 1, "kind": string(q.List[n].Kind), "as": w.walk.as, "faces": taken, "skipped": skipped, "trimmed": w.walk.within != nil, "map": sum, "error": text(err)})
	w.takeChange(w.firstUnanswered())
	if skipped > 0 {
		w.next.Say(fmt.Sprintf("%d faces were left out, on which it may not lie. %s", skipped, w.next.Text()), part.Warning)
	}
}

// refuseProposal notes that the proposal in hand is not so.
func (w *Window) refuseProposal() {
	q, n := w.desk.Proposed, w.walk.at
	if n >= len(q.List) || q.Answers[n] != nil {
		return
	}
	if err := w.desk.Refuse(n, w.desk.Slip.Who, w.walk.note); err != nil {
		w.fail(err)
		return
	}
	w.log("refused", map[string]any{"number": n + 1, "kind": string(q.List[n].Kind), "who": w.desk.Slip.Who, "why": w.walk.note})
	w.takeChange(w.firstUnanswered())
}

// trimTo keeps of the proposal in hand what lies inside a line drawn on the
// picture, besides what other lines kept already.
func (w *Window) trimTo(c render.Camera, holds func(p r3.Vec) bool) {
	q := w.desk.Proposed
	faces, _ := w.desk.ProposalFaces(&q.List[w.walk.at])
	held := w.desk.FacesHeld(faces, c, holds)
	if len(held) == 0 {
		w.repaint()
		w.next.Say("Nothing of the proposal lies inside that line. Draw it round a part of what is hatched.", part.Warning)
		return
	}
	all := append(slices.Clone(w.walk.within), held...)
	slices.Sort(all)
	w.walk.within = slices.Compact(all)
	w.log("trimmed", map[string]any{"faces": len(w.walk.within), "of": len(faces)})
	w.refresh()
}

// changeKey answers the keys of the walk.
func (w *Window) changeKey(r rune) bool {
	n := len(w.desk.Proposed.List)
	if n == 0 || w.jobs.Busy() {
		return false
	}
	switch r {
	case 'n':
		w.takeChange((w.walk.at + 1) % n)
	case 'b':
		w.takeChange((w.walk.at + n - 1) % n)
	case 'a':
		w.acceptProposal()
	case 'o':
		w.refuseProposal()
	case 't':
		p := &w.desk.Proposed.List[w.walk.at]
		if _, marks := w.desk.ProposalFaces(p); !marks || w.desk.Proposed.Answers[w.walk.at] != nil {
			return false
		}
		w.walk.trimming = !w.walk.trimming
		w.log("trimming", map[string]any{"on": w.walk.trimming})
		w.refresh()
	default:
		return false
	}
	return true
}
