package session

import (
	"context"
	"errors"
	"slices"

	"rigatino/annotate"
	"rigatino/annotate/project"
	"rigatino/annotate/propose"
	"rigatino/annotate/terms"
)

// Proposed and Proposal are what the difference of two scans proposes, and one of
// it, by the names the window uses.
type (
	Proposed = project.Proposed
	Proposal = propose.Proposal
)

// Propose lists what the comparison in view says the map could hold; it marks
// nothing. It may run on any goroutine.
func (d *Desk) Propose(ctx context.Context, c *Comparison, progress func(float64, string)) (*Proposed, error) {
	return d.Project.Propose(ctx, c.From, c.To, progress)
}

// Reread takes what the record says now of the comparison and the proposals in
// view, as after undo.
func (d *Desk) Reread() { d.Project.Reread(d.Proposed, d.Changed) }

// ProposalFaces are the faces of the later scan that a proposal is about: those
// that it would mark, else those of its change area. marks says which.
func (d *Desk) ProposalFaces(p *Proposal) (faces []uint32, marks bool) {
	for _, m := range p.Marks {
		if len(m.Faces) > 0 {
			return m.Faces, true
		}
	}
	if c := d.Changed; c != nil && p.Area >= 0 && p.Area < len(c.Change.Areas) {
		return c.Change.Areas[p.Area].AfterFaces, false
	}
	return nil, false
}

// WordOf is the label of a word that a proposal may be taken as: a kind of the
// map or what a change area was.
func WordOf(p *Proposal, id string) string {
	lists := []terms.List{terms.WhatAdded, terms.WhatRemoved}
	if len(p.Marks) > 0 {
		lists = append([]terms.List{terms.List(p.Marks[0].Layer)}, lists...)
	}
	for _, l := range lists {
		if t, ok := terms.Get(l, id); ok {
			return t.Label
		}
	}
	return id
}

// TakenAs is the word that a proposal is taken as if nobody says another: empty
// where somebody must say one or where it says nothing of matter.
func TakenAs(p *Proposal) string {
	if len(p.Marks) > 0 {
		return p.Marks[0].Kind
	}
	return p.What
}

// Accept makes of proposal n, from 0, what it proposes, as one action: as another
// word, or on some faces only, where those are given.
func (d *Desk) Accept(n int, as string, within []uint32, said annotate.Region) (project.Accepted, error) {
	q := d.Proposed
	if q == nil || n >= len(q.List) {
		return project.Accepted{}, errors.New("there is no such proposal")
	}
	if as == TakenAs(&q.List[n]) {
		as = ""
	}
	done, err := d.Project.Accept(q, project.Accepting{Number: n + 1, As: as, Within: within, Region: said})
	if err != nil {
		return done, err
	}
	return done, d.Refresh([]string{q.To.String()})
}

// Refuse notes that proposal n, from 0, is not so, by whom and why.
func (d *Desk) Refuse(n int, who, why string) error {
	if d.Proposed == nil {
		return errors.New("there is no such proposal")
	}
	return d.Project.Refuse(d.Proposed, n+1, who, why)
}

// AreaFinder tells which change area a face of the later scan belongs to.
func (d *Desk) AreaFinder(c *Comparison) func(face uint32) (area int, ok bool) {
	if d.areasOf != c.Change {
		most := uint32(0)
		for _, a := range c.Change.Areas {
			if len(a.AfterFaces) > 0 {
				most = max(most, slices.Max(a.AfterFaces)+1)
			}
		}
		d.areas, d.areasOf = make([]int32, most), c.Change
		for i, a := range c.Change.Areas {
			for _, f := range a.AfterFaces {
				d.areas[f] = int32(i) + 1
			}
		}
	}
	areas := d.areas
	return func(face uint32) (int, bool) {
		if int(face) >= len(areas) || areas[face] == 0 {
			return 0, false
		}
		return int(areas[face]) - 1, true
	}
}
