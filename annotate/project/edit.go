package project

import (
	"fmt"

	"rigatino/annotate"
	"rigatino/annotate/history"
)

// Edit makes one action of a change of the record. If change returns an error,
// nothing happened.
func (p *Project) Edit(label string, change func(r *annotate.Record) error) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.writes {
		return errReadOnly
	}
	_, err := p.history.Do(label, func(d *history.Draft) error { return change(&d.Record) })
	return err
}

// MergeRecord takes over a record file, as annotate.Record.Merge has it.
func (p *Project) MergeRecord(file []byte) error {
	return p.Edit("record changed", func(r *annotate.Record) error { return r.Merge(file) })
}

// Undo undoes the last action and returns its label and what it did to the maps;
// ok is false if there is none.
func (p *Project) Undo() (label string, maps []history.MapChange, ok bool, err error) {
	return p.step((*history.History).Undo)
}

// Redo does the last undone action again.
func (p *Project) Redo() (label string, maps []history.MapChange, ok bool, err error) {
	return p.step((*history.History).Redo)
}

func (p *Project) step(step func(*history.History) (history.Action, bool, error)) (string, []history.MapChange, bool, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.writes {
		return "", nil, false, errReadOnly
	}
	a, ok, err := step(p.history)
	return a.Label, a.Maps, ok, err
}

// CanUndo returns the label of the action that Undo would undo.
func (p *Project) CanUndo() (string, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.history.CanUndo()
}

// CanRedo returns the label of the action that Redo would do again.
func (p *Project) CanRedo() (string, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.history.CanRedo()
}

// OpenPoints lists what is wrong, missing or doubtful with the store and the
// record. What only the surface shows is among the open points of the tally.
func (p *Project) OpenPoints() []annotate.OpenPoint {
	p.mu.Lock()
	defer p.mu.Unlock()
	record := p.history.Record()
	out := append([]annotate.OpenPoint(nil), p.notices...)
	for _, f := range p.saved.Files {
		if err := p.damage[f.Path]; err != nil {
			out = append(out, annotate.OpenPoint{
				ID: "damaged_file:" + f.Path, Severity: annotate.SeverityRefused, About: f.Path,
				Reason: fmt.Sprintf("%v", err), WayOut: "restore the file from a copy of the project",
			})
		}
	}
	return append(out, record.OpenPoints()...)
}
