package main

import (
	"fmt"
	"io"
	"strings"

	"rigatino/annotate"
	"rigatino/annotate/project"
)

// proposed is one proposal in a document, and what became of it.
type proposed struct {
	ID        string  `json:"id"`
	Kind      string  `json:"kind"`
	Substance string  `json:"substance"`
	Triangles int     `json:"triangles"`
	AreaMM2   float64 `json:"area_mm2"`
	Reason    string  `json:"reason"`
	State     string  `json:"state"` // open, accepted or declined
	Region    string  `json:"region,omitempty"`
	Faces     *int    `json:"faces,omitempty"` // marked
}

// proposals looks for proposals, accepts or declines them.
func (c *mapCommand) proposals(j *job) error {
	if c.Substance != "" || c.Applied != "" || c.Condition != "" {
		return usagef("--substance, --applied and --condition go with --faces: a proposal says itself what it is")
	}
	return j.open(c.Project, func(p *project.Project) error {
		record := p.Record()
		use, err := record.FindUse(c.Stage, c.Piece, c.Part)
		if err != nil {
			return err
		}
		key := use.Key()
		doc := mapped{Schema: 1, Project: c.Project, Use: key.String()}
		list := []proposed{}
		put := func(q annotate.Proposal, state string, m *project.Marked) {
			e := proposed{ID: q.ID, Kind: q.Kind, Substance: q.Substance, Triangles: q.Triangles, AreaMM2: q.AreaMM2, Reason: q.Reason, State: state}
			if m != nil {
				e.Region, e.Faces = m.Region.ID, &m.Taken
			}
			list = append(list, e)
		}
		ids := func(text string) []string {
			out := strings.Split(text, ",")
			for i := range out {
				out[i] = strings.TrimSpace(out[i])
			}
			return out
		}
		switch {
		case c.Propose:
			if _, err := p.Look(j.ctx, key, j.progress); err != nil {
				return err
			}
			now := p.Record()
			for _, q := range now.OpenProposals(key) {
				put(q, "open", nil)
			}
		case c.Decline != "":
			done, err := p.Decline(key, ids(c.Decline))
			if err != nil {
				return err
			}
			for _, q := range done {
				put(q, "declined", nil)
			}
		default:
			picked, err := record.PickProposals(key, ids(c.Accept))
			if err != nil {
				return err
			}
			done, err := p.Accept(j.ctx, key, ids(c.Accept), j.progress)
			if err != nil {
				return err
			}
			for i := range done {
				put(picked[i], "accepted", &done[i])
			}
		}
		doc.Proposals = &list
		return j.print(doc, func(w io.Writer) {
			if len(list) == 0 {
				fmt.Fprintf(w, "Nothing is proposed for %s.\n", doc.Use)
			}
			for _, q := range list {
				switch {
				case q.State == "accepted" && q.Region == "":
					fmt.Fprintf(w, "%s: every face of it was marked already.\n", q.ID)
				case q.State == "accepted":
					fmt.Fprintf(w, "Marked %d faces of %s as %s: %s.\n", *q.Faces, doc.Use, q.Region, q.Substance)
				case q.State == "declined":
					fmt.Fprintf(w, "Declined %s.\n", q.ID)
				default:
					fmt.Fprintf(w, "%s: %s (%.4g mm²): %s; to be mapped as %s\n", q.ID, q.Kind, q.AreaMM2, q.Reason, q.Substance)
				}
			}
		})
	})
}
