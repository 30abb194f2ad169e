package project

import (
	"context"
	"fmt"
	"slices"

	"rigatino/annotate"
	"rigatino/mesh/quality"
)

// Look looks at the scan of a use for what is no specimen or was not scanned,
// and keeps what it proposes in the record, as one action, so that each is an
// open point until it is accepted or refused. Found already, it is not kept
// again.
func (p *Project) Look(ctx context.Context, key annotate.UseKey, progress func(done float64, words string)) ([]annotate.Proposal, error) {
	l, found, _, err := p.lookAt(ctx, key, progress)
	if err != nil {
		return nil, err
	}
	if sameProposals(found, l.Scan.Proposals) {
		return found, nil
	}
	return found, p.Edit("scan looked at", func(r *annotate.Record) error {
		for i := range r.Scans {
			if r.Scans[i].ID == l.Scan.ID {
				r.Scans[i].Proposals = found
			}
		}
		return nil
	})
}

func sameProposals(a, b []annotate.Proposal) bool {
	return slices.EqualFunc(a, b, func(a, b annotate.Proposal) bool { return a.ID == b.ID && a.Triangles == b.Triangles })
}

// ProposedFaces looks at the scan of a use as Look does, but keeps nothing, and
// returns the scan faces of each proposal, ascending, by its id. Do not change
// them.
func (p *Project) ProposedFaces(ctx context.Context, key annotate.UseKey, progress func(done float64, words string)) (map[string][]uint32, error) {
	_, found, faces, err := p.lookAt(ctx, key, progress)
	if err != nil {
		return nil, err
	}
	out := make(map[string][]uint32, len(found))
	for i, q := range found {
		out[q.ID] = faces[i]
	}
	return out, nil
}

// lookAt loads the scan of a use and looks at it.
func (p *Project) lookAt(ctx context.Context, key annotate.UseKey, progress func(float64, string)) (l *Loaded, found []annotate.Proposal, faces [][]uint32, err error) {
	if l, err = p.LoadUse(ctx, key, part(progress, 0, 0.3)); err != nil {
		return nil, nil, nil, err
	}
	found, faces, err = p.look(ctx, l, part(progress, 0.3, 1))
	return l, found, faces, err
}

// keptLook is what a look at a scan found: it depends on the scan alone.
type keptLook struct {
	scan  string
	found []annotate.Proposal
	faces [][]uint32
}

// look proposes parts of a scan, with the faces of each. The scan looked at last
// is not looked at again.
func (p *Project) look(ctx context.Context, l *Loaded, progress func(float64, string)) ([]annotate.Proposal, [][]uint32, error) {
	p.mu.Lock()
	kept := p.cache.looked
	p.mu.Unlock()
	if kept != nil && kept.scan == l.Scan.ID && ctx.Err() == nil {
		return slices.Clone(kept.found), kept.faces, nil
	}
	s := l.Surface
	r, err := quality.Inspect(ctx, s.Mesh, s.Weld, s.Topology, quality.Options{Millimetres: true, Progress: progress})
	if err != nil {
		return nil, nil, err
	}
	count := map[string]int{}
	for _, q := range r.Proposals {
		count[q.Kind]++
	}
	var out []annotate.Proposal
	var faces [][]uint32
	numbered := map[string]int{}
	for _, q := range r.Proposals {
		id := q.Kind
		if count[q.Kind] > 1 {
			numbered[q.Kind]++
			id = fmt.Sprintf("%s-%d", q.Kind, numbered[q.Kind])
		}
		substance := annotate.Support
		if q.Kind == quality.ClosedHole {
			substance = annotate.Unassigned
		}
		out = append(out, annotate.Proposal{
			ID: id, Kind: q.Kind, Substance: substance, Triangles: len(q.Faces),
			AreaMM2: q.Area, Reason: q.Reason,
		})
		faces = append(faces, q.Faces)
	}
	p.mu.Lock()
	p.cache.looked = &keptLook{scan: l.Scan.ID, found: out, faces: faces}
	p.mu.Unlock()
	return slices.Clone(out), faces, nil
}

// SetAside maps proposals of a use's scan (see Record.PickProposals for ids) as
// regions of certainty inferred, each in one action. A face that somebody has
// marked already is left as it is, and counted as skipped.
func (p *Project) SetAside(ctx context.Context, key annotate.UseKey, ids []string, progress func(done float64, words string)) ([]Marked, error) {
	record := p.Record()
	picked, err := record.PickProposals(key, ids)
	if err != nil || len(picked) == 0 {
		return nil, err
	}
	_, found, faces, err := p.lookAt(ctx, key, progress)
	if err != nil {
		return nil, err
	}
	var out []Marked
	for _, q := range picked {
		i := slices.IndexFunc(found, func(f annotate.Proposal) bool { return f.ID == q.ID && f.Triangles == q.Triangles })
		if i < 0 {
			return out, fmt.Errorf("proposal %s of %v was found by another version of this program and is not found again: look at the scan anew", q.ID, key)
		}
		free, err := p.unclaimed(key, faces[i])
		if err != nil {
			return out, err
		}
		if len(free) == 0 { // it says nothing that is not said
			if _, err := p.KeepIn(key, []string{q.ID}); err != nil {
				return out, err
			}
			out = append(out, Marked{Skipped: len(faces[i])})
			continue
		}
		done, err := p.mark(key, q.Accepted(), free, "proposal accepted: "+q.ID)
		if err != nil {
			return out, err
		}
		done.Skipped += len(faces[i]) - len(free)
		out = append(out, done)
	}
	return out, nil
}

// KeepIn notes that proposals of a use's scan are not so, as one action.
func (p *Project) KeepIn(key annotate.UseKey, ids []string) ([]annotate.Proposal, error) {
	record := p.Record()
	picked, err := record.PickProposals(key, ids)
	if err != nil || len(picked) == 0 {
		return nil, err
	}
	return picked, p.Edit("proposal refused", func(r *annotate.Record) error {
		var ids []string
		for _, q := range picked {
			ids = append(ids, q.ID)
		}
		return r.DeclineProposals(key, ids)
	})
}

// unclaimed returns those of some faces that are in no substance region.
func (p *Project) unclaimed(key annotate.UseKey, faces []uint32) ([]uint32, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.hasMap(key.String()) {
		return faces, nil
	}
	m, err := p.liveMap(key.String())
	if err != nil {
		return nil, err
	}
	labels := m.Labels()
	return slices.DeleteFunc(slices.Clone(faces), func(f uint32) bool { return labels[f] != 0 }), nil
}
