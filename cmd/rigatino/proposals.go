package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"rigatino/annotate"
	"rigatino/annotate/project"
	"rigatino/annotate/terms"
	"rigatino/mesh/quantity"
)

// scanProposalDoc is a part of a scan that seems to be no specimen, or a hole
// that a scan program closed, and what became of it.
type scanProposalDoc struct {
	ID        string  `json:"id"`
	Kind      string  `json:"kind"`
	Substance string  `json:"substance"`
	Triangles int     `json:"triangles"`
	AreaMM2   float64 `json:"area_mm2"`
	Reason    string  `json:"reason"`
	State     string  `json:"state"` // open, accepted, refused
	Region    string  `json:"region,omitempty"`
	Faces     *int    `json:"faces,omitempty"` // marked
}

// answered splits a list as 1,3-5,bed into numbers, which name what a change
// proposes, and ids, which name what a look at the scan does.
func answered(flag, text string) (of []int, ids []string, err error) {
	var counted []string
	for part := range strings.SplitSeq(text, ",") {
		part = strings.TrimSpace(part)
		switch {
		case part == "" && text == "":
		case part != "" && part[0] >= 'a' && part[0] <= 'z':
			ids = append(ids, part)
		default:
			counted = append(counted, part)
		}
	}
	of, err = numbers(flag, strings.Join(counted, ","))
	return of, ids, err
}

// scanProposals accepts and refuses what a look at the scan proposed, and lists
// what of it is still open.
func scanProposals(j *job, p *project.Project, key annotate.UseKey, accept, refuse []string) ([]scanProposalDoc, error) {
	list := []scanProposalDoc{}
	put := func(q annotate.Proposal, state string, m *project.Marked) {
		e := scanProposalDoc{ID: q.ID, Kind: q.Kind, Substance: q.Substance, Triangles: q.Triangles, AreaMM2: q.AreaMM2, Reason: q.Reason, State: state}
		if m != nil {
			e.Region, e.Faces = m.Region.ID, &m.Taken
		}
		list = append(list, e)
	}
	for _, id := range accept {
		if slices.Contains(refuse, id) {
			return nil, usagef("proposal %s is both accepted and refused: say one", id)
		}
	}
	if len(accept) > 0 {
		record := p.Record()
		picked, err := record.PickProposals(key, accept)
		if err != nil {
			return nil, err
		}
		done, err := p.SetAside(j.ctx, key, accept, j.progress)
		if err != nil {
			return nil, err
		}
		for i := range done {
			put(picked[i], annotate.AnswerAccepted, &done[i])
		}
	}
	if len(refuse) > 0 {
		done, err := p.KeepIn(key, refuse)
		if err != nil {
			return nil, err
		}
		for _, q := range done {
			put(q, annotate.AnswerRefused, nil)
		}
	}
	now := p.Record()
	for _, q := range now.OpenProposals(key) {
		put(q, "open", nil)
	}
	return list, nil
}

func printScanProposals(w io.Writer, use string, list []scanProposalDoc) {
	if len(list) == 0 {
		fmt.Fprintf(w, "A look at the scan of %s proposes nothing.\n", use)
	}
	for _, q := range list {
		switch {
		case q.State == annotate.AnswerAccepted && q.Region == "":
			fmt.Fprintf(w, "%s: every face of it was marked already.\n", q.ID)
		case q.State == annotate.AnswerAccepted:
			fmt.Fprintf(w, "Marked %d faces of %s as %s: %s.\n", *q.Faces, use, q.Region, lowerLabel(terms.Substance, q.Substance))
		case q.State == annotate.AnswerRefused:
			fmt.Fprintf(w, "Refused %s.\n", q.ID)
		default:
			fmt.Fprintf(w, "%s: %s (%s): %s; to be mapped as %s\n", q.ID, terms.Label(terms.ScanProposal, q.Kind), quantity.Measured{Value: q.AreaMM2, Unit: quantity.SquareMillim}, q.Reason, lowerLabel(terms.Substance, q.Substance))
		}
	}
}

// lowerLabel is a word of a list as it stands within a sentence.
func lowerLabel(list terms.List, id string) string { return strings.ToLower(terms.Label(list, id)) }
