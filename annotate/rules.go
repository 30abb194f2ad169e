package annotate

import (
	"fmt"

	"rigatino/annotate/terms"
)

// OpenPoints lists what the record itself shows to be wrong, missing or
// doubtful, in the order of rules and entries. What only scans and maps can
// show is added by the store and the tally.
func (r *Record) OpenPoints() []OpenPoint {
	var p points
	r.checkReferences(&p)
	r.checkStages(&p)
	r.checkUses(&p)
	r.checkProposals(&p)
	r.checkRegions(&p)
	r.checkLines(&p)
	return p.list
}

// points collects open points.
type points struct{ list []OpenPoint }

// add notes one; the id is the rule and what it is about, so that it stays the
// same from one look to the next.
func (p *points) add(rule, severity, about, reason, wayOut string) {
	id := rule
	if about != "" {
		id += ":" + about
	}
	p.list = append(p.list, OpenPoint{ID: id, Severity: severity, About: about, Reason: reason, WayOut: wayOut})
}

// checkReferences finds words and ids that lead nowhere: a record written by
// hand or by a newer version.
func (r *Record) checkReferences(p *points) {
	check := func(kind, id string, entry any) {
		if err := r.checkEntry(entry); err != nil {
			p.add("unreadable_entry", SeverityWarning, id, fmt.Sprintf("%s %s: %v", kind, id, err), "correct it with a record file")
		}
	}
	seen := map[string]bool{}
	once := func(kind, id string) {
		if seen[kind+"/"+id] {
			p.add("same_id", SeverityWarning, id, fmt.Sprintf("two entries of %s have the id %q", kind, id), "give one of them another id")
		}
		seen[kind+"/"+id] = true
	}
	for _, e := range r.People {
		once("people", e.ID)
	}
	for _, e := range r.Pieces {
		once("pieces", e.ID)
		check("piece", e.ID, e)
	}
	for _, e := range r.Stages {
		once("stages", e.ID)
		check("stage", e.ID, e)
		if err := CheckWord(terms.StageKind, e.Kind); err != nil {
			p.add("unreadable_entry", SeverityWarning, e.ID, err.Error(), "correct it with a record file")
		}
	}
	for _, e := range r.Uses {
		once("uses", e.Key().String())
		if _, ok := r.Scan(e.Scan); !ok {
			p.add("no_such_scan", SeverityRefused, e.Key().String(), fmt.Sprintf("use %v names a scan that is not in the record", e.Key()), "add the scan again")
		}
	}
	for _, e := range r.Regions {
		once("regions", e.ID)
		check("region", e.ID, e)
	}
	for _, e := range r.Lines {
		once("lines", e.ID)
		check("line", e.ID, e)
	}
	for _, e := range r.Work {
		once("work", e.ID)
		check("work", e.ID, e)
	}
	for _, e := range r.Answers {
		once("answers", e.ID)
	}
	for _, e := range r.Changes {
		once("changes", e.ID)
		check("change", e.ID, e)
	}
}

// checkStages finds covering stages before which nothing was scanned, and
// pieces that have no scan at a stage that has some.
func (r *Record) checkStages(p *points) {
	for i, s := range r.Stages {
		here := r.PresentAt(s.ID)
		scanned := false
		for _, q := range here {
			scanned = scanned || len(r.UsesAt(s.ID, q.ID)) > 0
		}
		for _, q := range here {
			if scanned && len(r.UsesAt(s.ID, q.ID)) == 0 {
				p.add("piece_not_scanned", SeverityWarning, s.ID+"/"+q.ID,
					fmt.Sprintf("piece %s has no scan at stage %s: it is in no sum of that stage", q.ID, s.ID),
					"scan it and add the scan, or say into what it was joined")
			}
		}
		if !Covers(s.Kind) {
			continue
		}
		covered := here
		for _, q := range r.Pieces {
			if q.JoinedAt == s.ID {
				covered = append(covered, q)
			}
		}
		for _, q := range covered {
			if q.Since == s.ID || r.scannedBefore(i, q.ID) {
				continue
			}
			reason := fmt.Sprintf("stage %s covers piece %s, and there is no scan of what it was like just before", s.ID, q.ID)
			if i == 0 || !r.anyUseBefore(i) {
				p.add("no_scan_before_covering", SeverityNote, s.ID+"/"+q.ID, reason,
					"nothing can be scanned afterwards: say in the work done from what the earlier state is known")
			} else {
				p.add("no_scan_before_covering", SeverityWarning, s.ID+"/"+q.ID, reason,
					"if it is not covered yet, scan it now; else say in the work done from what the earlier state is known")
			}
		}
	}
}

// scannedBefore says whether a piece was scanned after the last alteration
// before stage i.
func (r *Record) scannedBefore(i int, piece string) bool {
	for k := i - 1; k >= 0; k-- {
		if len(r.UsesAt(r.Stages[k].ID, piece)) > 0 {
			return true
		}
		if Alters(r.Stages[k].Kind) {
			return false
		}
	}
	return false
}

func (r *Record) anyUseBefore(i int) bool {
	for _, u := range r.Uses {
		if k := r.StageIndex(u.Stage); k >= 0 && k < i {
			return true
		}
	}
	return false
}

// checkUses finds scans whose scale is not verified, and scans that are not aligned with the others of their piece.
func (r *Record) checkUses(p *points) {
	for _, q := range r.Pieces {
		base, _ := r.BaseUse(q.ID)
		for _, u := range r.Chain(q.ID) {
			key := u.Key().String()
			u.checkScale(p)
			switch a := u.Alignment; {
			case u.Key() == base.Key():
			case a == nil:
				p.add("not_aligned", SeverityWarning, key,
					fmt.Sprintf("%s is not aligned with the other scans of piece %s: no change can be measured", key, q.ID),
					"align it, with three or more picked pairs")
			case a.Verdict != VerdictAccepted:
				p.add("not_aligned", SeverityWarning, key,
					fmt.Sprintf("the alignment of %s is %s: %s", key, a.Verdict, a.Reason), orElse(a.NextStep, "align it again with other pairs"))
			}
		}
	}
}

func orElse(text, otherwise string) string {
	if text != "" {
		return text
	}
	return otherwise
}

// checkRegions finds what regions leave unsaid.
func (r *Record) checkRegions(p *points) {
	for _, g := range r.Regions {
		t, _ := terms.Get(terms.List(g.Layer), g.Kind)
		if (t.NeedsReason || g.Kind == Unassigned) && g.Reason == "" {
			p.add("no_reason", SeverityWarning, g.ID, fmt.Sprintf("region %s is %s without a reason", g.ID, t.Label), "say why")
		}
		if g.Layer != LayerSubstance {
			continue
		}
		if g.Kind == Reconstruction && g.Basis == "" {
			p.add("no_basis", SeverityWarning, g.ID,
				fmt.Sprintf("region %s is a reconstruction, and it is not said what its shape rests on", g.ID), "say its basis: "+fmt.Sprint(terms.IDs(terms.Basis)))
		}
		if IsRestored(g.Kind) && g.Material == "" {
			p.add("no_material", SeverityNote, g.ID,
				fmt.Sprintf("region %s is %s of unknown material", g.ID, t.Label), "name the material by its substance and trade name if they can be found out")
		}
	}
}

// checkLines finds joins whose fit nobody judged.
func (r *Record) checkLines(p *points) {
	for _, l := range r.Lines {
		if l.Kind == LineJoin && l.Fit == "" {
			p.add("no_fit", SeverityNote, l.ID, fmt.Sprintf("how well join %s fits is not said", l.ID), "say close, part or placed")
		}
	}
}
