package history

import (
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
)

// Action is one thing somebody did, by value.
type Action struct {
	Label  string         `json:"label"` // in a person's words: "fill marked"
	Record []RecordChange `json:"record,omitempty"`
	Maps   []MapChange    `json:"maps,omitempty"`
}

// MapChange is the change of the map of one use.
type MapChange struct {
	Use  string       `json:"use"` // stage/piece/part
	Diff facemap.Diff `json:"diff"`
}

// Inverse returns the action that undoes a.
func (a Action) Inverse() Action {
	out := Action{Label: a.Label, Record: inverse(a.Record), Maps: slices.Clone(a.Maps)}
	for i := range out.Maps {
		out.Maps[i].Diff = out.Maps[i].Diff.Inverse()
	}
	return out
}

// Maps gives the live map of a use. A use that has none yet gets an empty one.
type Maps func(use string) (*facemap.Map, error)

// History holds the record, reaches the maps, and remembers what was done to
// them. It is not safe for concurrent use.
type History struct {
	record annotate.Record
	maps   Maps
	append func(Entry) error
	done   []Action
	undone []Action
	open   *Draft
}

// New starts a history at a state. append is called with every entry before it
// counts as done, to write it to the journal; nil for none.
func New(record annotate.Record, maps Maps, append func(Entry) error) *History {
	return &History{record: record, maps: maps, append: append}
}

// Record returns the record as it stands. It shares memory with the history:
// read only.
func (h *History) Record() annotate.Record { return h.record }

// Draft is an action under way. Its record is the caller's to change; changes
// of maps are made on the live maps, so that they show at once, and noted here.
type Draft struct {
	Record annotate.Record
	h      *History
	diffs  map[string][]facemap.Diff
}

// Begin starts an action. Only one can be under way.
func (h *History) Begin() (*Draft, error) {
	if h.open != nil {
		return nil, errors.New("another action is still under way: finish or cancel it first")
	}
	h.open = &Draft{Record: h.record.Clone(), h: h, diffs: map[string][]facemap.Diff{}}
	return h.open, nil
}

// Map returns the live map of a use.
func (d *Draft) Map(use string) (*facemap.Map, error) { return d.h.maps(use) }

// Note notes what was changed on the map of a use.
func (d *Draft) Note(use string, diff facemap.Diff) {
	if !diff.Empty() {
		d.diffs[use] = append(d.diffs[use], diff)
	}
}

// Cancel takes back what was changed.
func (d *Draft) Cancel() error {
	if d.h.open != d {
		return nil // finished already
	}
	d.h.open = nil
	for _, use := range slices.Sorted(maps.Keys(d.diffs)) {
		m, err := d.h.maps(use)
		if err != nil {
			return fmt.Errorf("take back changes of map %s: %w", use, err)
		}
		if err := m.Apply(facemap.Join(d.diffs[use]...).Inverse()); err != nil {
			return fmt.Errorf("take back changes of map %s: %w", use, err)
		}
	}
	return nil
}

// Commit makes the draft an action under a label. If nothing changed there is
// no action and done is false. If the journal cannot be written, everything is
// taken back.
func (d *Draft) Commit(label string) (done bool, err error) {
	if d.h.open != d {
		return false, errors.New("the action is finished already")
	}
	a := Action{Label: label}
	// What the journal will give back is what counts from now on: text that is
	// not UTF-8, for one, does not survive writing.
	next, err := reread(d.Record)
	if err == nil {
		a.Record, err = Between(d.h.record, next)
	}
	if err != nil {
		return false, errors.Join(err, d.Cancel())
	}
	for _, use := range slices.Sorted(maps.Keys(d.diffs)) {
		if diff := facemap.Join(d.diffs[use]...); !diff.Empty() {
			a.Maps = append(a.Maps, MapChange{use, diff})
		}
	}
	if len(a.Record) == 0 && len(a.Maps) == 0 {
		d.h.open = nil
		return false, nil
	}
	if err := d.h.write(Entry{Did, a}); err != nil {
		return false, errors.Join(err, d.Cancel())
	}
	d.h.open = nil
	d.h.record = next
	d.h.done = append(d.h.done, a)
	d.h.undone = nil
	return true, nil
}

// reread returns a record as it is after writing and reading.
func reread(r annotate.Record) (annotate.Record, error) {
	text, err := annotate.Encode(r)
	if err != nil {
		return r, err
	}
	var out annotate.Record
	err = json.Unmarshal(text, &out)
	return out, err
}

// Do makes one action: change is given a draft, which is committed if change
// returns nil and taken back otherwise.
func (h *History) Do(label string, change func(*Draft) error) (done bool, err error) {
	d, err := h.Begin()
	if err != nil {
		return false, err
	}
	if err := change(d); err != nil {
		return false, errors.Join(err, d.Cancel())
	}
	return d.Commit(label)
}

// CanUndo returns the label of what would be undone.
func (h *History) CanUndo() (label string, ok bool) { return top(h.done) }

// CanRedo returns the label of what would be redone.
func (h *History) CanRedo() (label string, ok bool) { return top(h.undone) }

func top(list []Action) (string, bool) {
	if len(list) == 0 {
		return "", false
	}
	return list[len(list)-1].Label, true
}

// Undo undoes the last action and returns it; ok is false if there is none.
func (h *History) Undo() (a Action, ok bool, err error) {
	if len(h.done) == 0 || h.open != nil {
		return Action{}, false, nil
	}
	a = h.done[len(h.done)-1]
	if err := h.step(Entry{Undid, a.Inverse()}); err != nil {
		return Action{}, false, err
	}
	h.done = h.done[:len(h.done)-1]
	h.undone = append(h.undone, a)
	return a, true, nil
}

// Redo does the last undone action again and returns it; ok is false if there
// is none.
func (h *History) Redo() (a Action, ok bool, err error) {
	if len(h.undone) == 0 || h.open != nil {
		return Action{}, false, nil
	}
	a = h.undone[len(h.undone)-1]
	if err := h.step(Entry{Redid, a}); err != nil {
		return Action{}, false, err
	}
	h.undone = h.undone[:len(h.undone)-1]
	h.done = append(h.done, a)
	return a, true, nil
}

// step applies an entry and writes it down.
func (h *History) step(e Entry) error {
	before := h.record
	if err := h.apply(e.Action); err != nil {
		return err
	}
	if err := h.write(e); err != nil {
		back := h.apply(e.Action.Inverse())
		h.record = before
		return errors.Join(err, back)
	}
	return nil
}

func (h *History) write(e Entry) error {
	if h.append == nil {
		return nil
	}
	return h.append(e)
}

// apply makes all changes of an action or none.
func (h *History) apply(a Action) error {
	record, err := applyRecord(h.record, a.Record)
	if err != nil {
		return err
	}
	for i, c := range a.Maps {
		m, err := h.maps(c.Use)
		if err == nil {
			err = m.Apply(c.Diff)
		}
		if err != nil {
			for _, made := range slices.Backward(a.Maps[:i]) {
				m, back := h.maps(made.Use)
				if back == nil {
					back = m.Apply(made.Diff.Inverse())
				}
				err = errors.Join(err, back)
			}
			return fmt.Errorf("map %s: %w", c.Use, err)
		}
	}
	h.record = record
	return nil
}

// Replay does an entry of a journal again, without writing it, and follows what
// can be undone as far as the journal tells.
func (h *History) Replay(e Entry) error {
	if err := h.apply(e.Action); err != nil {
		return err
	}
	switch e.Kind {
	case Undid:
		if n := len(h.done); n > 0 {
			h.undone = append(h.undone, h.done[n-1])
			h.done = h.done[:n-1]
		} else {
			h.undone = append(h.undone, e.Action.Inverse())
		}
	case Redid:
		if n := len(h.undone); n > 0 {
			h.undone = h.undone[:n-1]
		}
		h.done = append(h.done, e.Action)
	default:
		h.done = append(h.done, e.Action)
		h.undone = nil
	}
	return nil
}
