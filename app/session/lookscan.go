package session

import (
	"context"
	"strings"

	"rigatino/annotate"
	"rigatino/annotate/project"
	"rigatino/annotate/terms"
	"rigatino/mesh/quantity"
)

// LeaveOut says what a stroke does while a scan is looked at for what is no
// specimen.
type LeaveOut int

// A stroke marks as the task Map says, leaves faces out as support, or takes
// them back in.
const (
	NotLeaving LeaveOut = iota
	LeaveOutFaces
	KeepInFaces
)

// leftOut is the evidence of what somebody left out by hand.
const leftOut = "left out by hand"

// ScanProposal is a part of the scan in view that a look at it proposes to leave
// out or to call not examined.
type ScanProposal struct {
	annotate.Proposal
	// Area is that of the use, with what its scale is worth.
	Area quantity.Measured
	// State is what a person said to it: accepted, refused, or empty.
	State string
}

// ScanProposals lists what a look at the scan in view proposed, answered or not.
func (d *Desk) ScanProposals() []ScanProposal {
	r := d.Project.Record()
	u := r.Use(d.View)
	if u == nil {
		return nil
	}
	s, _ := r.Scan(u.Scan)
	factor := u.Scale.Calibrated()
	var out []ScanProposal
	for _, p := range s.Proposals {
		area := factor * factor * p.AreaMM2
		out = append(out, ScanProposal{
			Proposal: p, State: r.ProposalState(d.View, p.ID),
			// An area goes with the square of a length.
			Area: quantity.Measured{Value: area, U: 2 * u.Scale.RelativeU * area, K: 2, Unit: quantity.SquareMillim, Method: "sum of the faces proposed"},
		})
	}
	return out
}

// LookAtScan looks at the scan in view for what is no specimen, keeps what it
// finds in the record, and returns the faces of each proposal. It may run on any
// goroutine.
func (d *Desk) LookAtScan(ctx context.Context, key annotate.UseKey, progress func(float64, string)) (map[string][]uint32, error) {
	if _, err := d.Project.Look(ctx, key, part(progress, 0, 0.9)); err != nil {
		return nil, err
	}
	return d.Project.ProposedFaces(ctx, key, part(progress, 0.9, 1))
}

// KeepFaces remembers the faces of the proposals of a use.
func (d *Desk) KeepFaces(key annotate.UseKey, faces map[string][]uint32) {
	d.proposed, d.proposedOf = faces, key
}

// ProposedFaces are the faces of a proposal of the scan in view; known is false
// where it was not looked at yet.
func (d *Desk) ProposedFaces(id string) (faces []uint32, known bool) {
	if d.proposedOf != d.View || d.proposed == nil {
		return nil, false
	}
	faces, known = d.proposed[id]
	return faces, known
}

// SetAside maps a proposal of a use's scan as what it says. It may run on any
// goroutine; Refresh shows it.
func (d *Desk) SetAside(ctx context.Context, key annotate.UseKey, id string, progress func(float64, string)) (Marked, error) {
	done, err := d.Project.SetAside(ctx, key, []string{id}, progress)
	if err != nil || len(done) == 0 {
		return Marked{}, err
	}
	return done[0], nil
}

// KeepIn notes that a proposal of the scan in view is not so.
func (d *Desk) KeepIn(id string) error {
	_, err := d.Project.KeepIn(d.View, []string{id})
	return err
}

// beginLeaving begins to leave faces out by hand, or to take them back in.
func (d *Desk) beginLeaving() (*project.Marking, *Body, error) {
	b := d.bodies[d.View]
	if b == nil {
		return nil, nil, errNotReady
	}
	if d.Leaving == KeepInFaces {
		m, err := d.Project.BeginKeepingIn(d.View)
		return m, b, err
	}
	spec := annotate.Region{Layer: annotate.LayerSubstance, Kind: annotate.Support, Certainty: "seen", Evidence: leftOut, Who: d.Slip.Who, When: d.Slip.When}
	r := d.Project.Record()
	for _, g := range r.RegionsOf(d.View.String()) {
		if g.Kind == spec.Kind && g.Evidence == leftOut && g.Who == spec.Who && g.When == spec.When && g.Until == "" {
			spec.ID = g.ID
		}
	}
	m, err := d.Project.BeginMarking(d.View, spec)
	return m, b, err
}

// leavingLabel names such a stroke for undo.
func (d *Desk) leavingLabel() string {
	if d.Leaving == KeepInFaces {
		return "kept in"
	}
	return strings.ToLower(terms.Label(terms.Substance, annotate.Support)) + " left out"
}

// LookedAt tells whether the faces of what a use's scan proposes are known.
func (d *Desk) LookedAt(key annotate.UseKey) bool { return d.proposed != nil && d.proposedOf == key }
