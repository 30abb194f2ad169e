package annotate

import (
	"fmt"
	"slices"
	"strings"
)

// Proposal is a part of a scan's surface that looks as if it were no specimen,
// or no surface that was scanned: found when the scan was looked at, for a
// person to accept or decline. Which faces it has is found again when asked for;
// looking gives the same answer every time.
type Proposal struct {
	ID        string  `json:"id"`   // the kind, with a number where there are several
	Kind      string  `json:"kind"` // bed, bar, island, inner_wall, closed_hole
	Substance string  `json:"substance"`
	Triangles int     `json:"triangles"`
	AreaMM2   float64 `json:"area_mm2"` // mm as the scan states them
	Reason    string  `json:"reason"`

	Newer Newer `json:"-"` // members of a newer version
}

// MarshalJSON writes the Proposal with the members of a newer version at its end.
func (p Proposal) MarshalJSON() ([]byte, error) {
	type plain Proposal
	return encodeNewer(plain(p), p.Newer)
}

// UnmarshalJSON reads a Proposal and keeps the members it does not know.
func (p *Proposal) UnmarshalJSON(data []byte) error {
	type plain Proposal
	return decodeNewer(data, (*plain)(p), &p.Newer)
}

// proposedBy begins the evidence of a region that was accepted from a proposal.
const proposedBy = "look at the scan: "

// Accepted is the region that a proposal becomes when it is accepted.
func (p Proposal) Accepted() Region {
	return Region{
		Layer: LayerSubstance, Kind: p.Substance, Certainty: "inferred",
		Reason: p.Reason, Evidence: proposedBy + p.ID,
	}
}

// OpenProposals lists the proposals of a use's scan that are neither accepted
// nor declined there.
func (r *Record) OpenProposals(key UseKey) []Proposal {
	use := r.Use(key)
	if use == nil {
		return nil
	}
	scan, _ := r.Scan(use.Scan)
	var out []Proposal
	for _, p := range scan.Proposals {
		accepted := slices.ContainsFunc(r.Regions, func(g Region) bool {
			return g.Use == key.String() && g.Evidence == proposedBy+p.ID
		})
		if !accepted && !slices.Contains(use.Declined, p.ID) {
			out = append(out, p)
		}
	}
	return out
}

// ProposalState says what became of a proposal of a use's scan: AnswerAccepted,
// AnswerRefused, or empty while it is open.
func (r *Record) ProposalState(key UseKey, id string) string {
	use := r.Use(key)
	switch {
	case use == nil, slices.ContainsFunc(r.OpenProposals(key), func(p Proposal) bool { return p.ID == id }):
		return ""
	case slices.Contains(use.Declined, id):
		return AnswerRefused
	}
	return AnswerAccepted
}

// DeclineProposals notes that proposals of a use's scan are not so.
func (r *Record) DeclineProposals(key UseKey, ids []string) error {
	open := r.OpenProposals(key)
	for _, id := range ids {
		if !slices.ContainsFunc(open, func(p Proposal) bool { return p.ID == id }) {
			return noProposal(key, id, open)
		}
		use := r.Use(key)
		use.Declined = append(slices.Clone(use.Declined), id)
	}
	return nil
}

// PickProposals returns the open proposals of a use by their ids; "all" stands
// for all of them.
func (r *Record) PickProposals(key UseKey, ids []string) ([]Proposal, error) {
	open := r.OpenProposals(key)
	if slices.Equal(ids, []string{"all"}) {
		return open, nil
	}
	var out []Proposal
	for _, id := range ids {
		i := slices.IndexFunc(open, func(p Proposal) bool { return p.ID == id })
		if i < 0 {
			return nil, noProposal(key, id, open)
		}
		out = append(out, open[i])
	}
	return out, nil
}

func noProposal(key UseKey, id string, open []Proposal) error {
	var ids []string
	for _, p := range open {
		ids = append(ids, p.ID)
	}
	if len(ids) == 0 {
		return fmt.Errorf("nothing is proposed for %v that is not accepted or refused already, so not %q", key, id)
	}
	return fmt.Errorf("no proposal %q is open for %v: take one of %s, or all", id, key, strings.Join(ids, ", "))
}

// checkProposals lists what was proposed and nobody has accepted or refused.
// What is proposed of one kind in several places of a scan is one open point: a
// smooth layer on a rough specimen may raise a dozen.
func (r *Record) checkProposals(p *points) {
	for _, u := range r.Uses {
		open := r.OpenProposals(u.Key())
		for i, q := range open {
			var alike []Proposal
			for _, o := range open {
				if o.Kind == q.Kind {
					alike = append(alike, o)
				}
			}
			switch {
			case len(alike) == 1:
				p.add("proposed_"+q.Kind, SeverityWarning, u.Key().String()+"/"+q.ID, q.Reason,
					fmt.Sprintf("look at it; if it is so, map it from the proposal %s, which makes it %s; else decline it", q.ID, q.Substance))
			case !slices.ContainsFunc(open[:i], func(o Proposal) bool { return o.Kind == q.Kind }):
				largest, all := alike[0], 0.0
				for _, o := range alike {
					all += o.AreaMM2
					if o.AreaMM2 > largest.AreaMM2 {
						largest = o
					}
				}
				p.add("proposed_"+q.Kind, SeverityWarning, u.Key().String()+"/"+q.Kind,
					fmt.Sprintf("in %d places, together %.3g mm² of the scan, there may be the same: the largest is %s, where %s", len(alike), all, largest.ID, largest.Reason),
					fmt.Sprintf("look at each; what is so, map from its proposal, %s to %s, which makes it %s; decline the others", alike[0].ID, alike[len(alike)-1].ID, q.Substance))
			}
		}
	}
}
