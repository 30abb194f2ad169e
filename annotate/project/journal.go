package project

import (
	"errors"
	"fmt"
	"slices"

	"rigatino/annotate"
	"rigatino/annotate/history"
)

const journalName = "journal.jsonl"

// errReadOnly says that nothing can be changed.
var errReadOnly = errors.New("the project is open for reading only: open it again for writing")

// recover brings back the actions of a journal. What of it cannot be used is
// set aside, never thrown away.
func (p *Project) recover(data []byte) error {
	j := history.ReadJournal(data)
	aside := ""
	switch {
	case len(data) == 0 || (j.Base == "" && j.Damage == nil):
		// Never begun; nothing was done.
	case j.Base != "" && j.Base == p.saved.Follows && j.Base != p.sum:
		// Saved already: the program ended between replacing project.json
		// and beginning a new journal.
		j.Entries = nil
	case j.Base != p.sum && j.Damage == nil:
		j.Entries = nil
		aside = "it belongs to another state of the project"
	default:
		for n, e := range j.Entries {
			if err := p.history.Replay(e); err != nil {
				j.Damage = fmt.Errorf("action %d (%s) does not fit the project: %w", n+1, e.Action.Label, err)
				j.Entries = j.Entries[:n]
				break
			}
		}
		if j.Damage != nil {
			aside = j.Damage.Error()
		}
	}
	p.unsaved = len(j.Entries)
	if n := len(j.Entries); n > 0 {
		p.notice("brought_back", annotate.SeverityNote, fmt.Sprintf("%d actions that were not saved were brought back from the journal", n), "save the project")
	}
	if aside != "" {
		name := "journal-set-aside-" + hash(data)[:12] + ".jsonl"
		p.notice("journal_set_aside", annotate.SeverityWarning,
			"the journal of unsaved actions could not be used in whole: "+aside, "what was done since the last save may be missing; the journal is kept as "+name)
		if p.writes {
			if err := writeWhole(p.disk, name, data); err != nil {
				return err
			}
			if err := p.log.add(Event{When: p.now(), What: "journal set aside", Note: aside, Hashes: map[string]string{name: hash(data)}}); err != nil {
				return err
			}
		}
	}
	if !p.writes {
		return nil
	}
	if aside == "" && !j.Cut && j.Base == p.sum {
		var err error
		p.journal, err = p.disk.extend(journalName)
		return err
	}
	return p.beginJournal(j.Entries)
}

// beginJournal puts a new journal in place that follows on the project.json on
// disk and holds the given entries.
func (p *Project) beginJournal(entries []history.Entry) error {
	if p.journal != nil {
		err := p.journal.Close()
		p.journal = nil
		if err != nil {
			return fmt.Errorf("close journal: %w", err)
		}
	}
	text, err := history.BeginJournal(p.sum)
	for _, e := range entries {
		line, lineErr := e.Line()
		text, err = slices.Concat(text, line), errors.Join(err, lineErr)
	}
	if err != nil {
		return err
	}
	if err := writeWhole(p.disk, journalName, text); err != nil {
		return err
	}
	p.journal, err = p.disk.extend(journalName)
	return err
}

// appendEntry writes an action down before it counts as done.
func (p *Project) appendEntry(e history.Entry) error {
	if !p.writes {
		return errReadOnly
	}
	line, err := e.Line()
	if err != nil {
		return err
	}
	if p.journal == nil {
		if p.unsaved > 0 {
			return errors.New("the journal cannot be written any more: save the project")
		}
		if err := p.beginJournal(nil); err != nil {
			return err
		}
	}
	if _, err = p.journal.Write(line); err == nil {
		err = p.journal.Sync()
	}
	if err != nil {
		// Part of the line may be on disk: nothing may follow it.
		err = errors.Join(err, p.journal.Close())
		p.journal = nil
		return fmt.Errorf("write down the action in %s: %w; make room on the disk, then save the project", journalName, err)
	}
	p.unsaved++
	return nil
}
