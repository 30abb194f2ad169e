package history

import (
	"bytes"
	"errors"
	"fmt"
	"testing"

	"pgregory.net/rapid"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
)

// house is a record with two maps, as a store would hold them.
type house struct {
	*History
	maps map[string]*facemap.Map
	log  []byte
}

type failer interface {
	Helper()
	Fatal(args ...any)
}

func newHouse(t failer, record annotate.Record) *house {
	t.Helper()
	h := &house{maps: map[string]*facemap.Map{}}
	first, err := BeginJournal("00ff")
	if err != nil {
		t.Fatal(err)
	}
	h.log = first
	h.History = New(record, func(use string) (*facemap.Map, error) {
		if h.maps[use] == nil {
			m, err := facemap.New("", 64)
			if err != nil {
				return nil, err
			}
			h.maps[use] = m
		}
		return h.maps[use], nil
	}, func(e Entry) error {
		line, err := e.Line()
		h.log = append(h.log, line...)
		return err
	})
	return h
}

// state is every byte of the record and the maps.
func (h *house) state(t failer) []byte {
	t.Helper()
	out, err := annotate.Encode(h.Record())
	if err != nil {
		t.Fatal(err)
	}
	for _, use := range []string{"a", "b"} {
		m, err := h.History.maps(use)
		if err != nil {
			t.Fatal(err)
		}
		data, err := m.Encode()
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, data...)
	}
	return out
}

// act does something random to record and maps.
func act(t *rapid.T, d *Draft) error {
	id := fmt.Sprintf("R%d", rapid.IntRange(1, 6).Draw(t, "id"))
	r := &d.Record
	at := -1
	for i, region := range r.Regions {
		if region.ID == id {
			at = i
		}
	}
	switch kind := rapid.IntRange(0, 6).Draw(t, "kind"); {
	case kind == 0 && at >= 0:
		r.Regions = append(r.Regions[:at], r.Regions[at+1:]...)
	case kind == 1 && at >= 0:
		r.Regions[at].Note = rapid.String().Draw(t, "note")
	case kind <= 2 && at < 0:
		at = rapid.IntRange(0, len(r.Regions)).Draw(t, "at")
		r.Regions = append(r.Regions, annotate.Region{})
		copy(r.Regions[at+1:], r.Regions[at:])
		r.Regions[at] = annotate.Region{ID: id, Kind: "fill", Newer: `{"gloss":1.50}`}
	case kind == 3:
		r.Specimen.Title = rapid.String().Draw(t, "title")
	case kind == 4 && len(r.Regions) > 1:
		r.Regions[0], r.Regions[len(r.Regions)-1] = r.Regions[len(r.Regions)-1], r.Regions[0]
	default:
		use := rapid.SampledFrom([]string{"a", "b"}).Draw(t, "use")
		m, err := d.Map(use)
		if err != nil {
			return err
		}
		faces := rapid.SliceOf(rapid.Uint32Range(0, 63)).Draw(t, "faces")
		out, err := m.AssignFaces(faces, facemap.Paint{Region: rapid.Uint16Range(0, 3).Draw(t, "region")})
		if err != nil {
			return err
		}
		d.Note(use, out.Diff)
	}
	return nil
}

// N actions undone give identical bytes, redone too, and the journal, read
// again over the first state, leads to the last.
func TestUndoGivesIdenticalBytes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		start := annotate.Record{Specimen: annotate.Specimen{Title: "left humerus"}, Newer: `{"weather":"dry"}`}
		h := newHouse(t, start)
		states := [][]byte{h.state(t)}
		for range rapid.IntRange(1, 12).Draw(t, "actions") {
			done, err := h.Do("something", func(d *Draft) error {
				for range rapid.IntRange(1, 3).Draw(t, "steps") {
					if err := act(t, d); err != nil {
						return err
					}
				}
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
			if done {
				states = append(states, h.state(t))
			} else if !bytes.Equal(h.state(t), states[len(states)-1]) {
				t.Fatal("no action, but another state")
			}
		}
		n := len(states) - 1
		for i := n - 1; i >= 0; i-- {
			if _, ok, err := h.Undo(); !ok || err != nil {
				t.Fatalf("undo %d: %v %v", i, ok, err)
			}
			if !bytes.Equal(h.state(t), states[i]) {
				t.Fatalf("undoing action %d does not give the bytes before it", i)
			}
		}
		if _, ok, _ := h.Undo(); ok {
			t.Fatal("more was undone than done")
		}
		back := rapid.IntRange(0, n).Draw(t, "redone")
		for i := range back {
			if _, ok, err := h.Redo(); !ok || err != nil || !bytes.Equal(h.state(t), states[i+1]) {
				t.Fatalf("redo %d: %v %v", i, ok, err)
			}
		}
		j := ReadJournal(h.log)
		if j.Damage != nil || j.Cut || j.Base != "00ff" || len(j.Entries) != 2*n+back {
			t.Fatalf("journal: %v, cut %v, base %q, %d entries", j.Damage, j.Cut, j.Base, len(j.Entries))
		}
		again := newHouse(t, start)
		for _, e := range j.Entries {
			if err := again.Replay(e); err != nil {
				t.Fatal(err)
			}
		}
		if !bytes.Equal(again.state(t), states[back]) {
			t.Fatal("the journal leads elsewhere")
		}
		for range back {
			if _, ok, err := again.Undo(); !ok || err != nil {
				t.Fatalf("undo after replay: %v %v", ok, err)
			}
		}
		if !bytes.Equal(again.state(t), states[0]) {
			t.Fatal("undone after replay it is not the first state")
		}
	})
}

// example does a few actions.
func example(t *testing.T) *house {
	t.Helper()
	h := newHouse(t, annotate.Record{})
	for i := range 5 {
		if _, err := h.Do(fmt.Sprintf("step %d", i), func(d *Draft) error {
			d.Record.Work = append(d.Record.Work, annotate.Work{ID: fmt.Sprintf("W%d", i), What: "filled\nand \"textured\""})
			m, err := d.Map("a")
			if err != nil {
				return err
			}
			out, err := m.AssignFaces([]uint32{uint32(i), 20}, facemap.Paint{Region: uint16(i + 1)})
			d.Note("a", out.Diff)
			return err
		}); err != nil {
			t.Fatal(err)
		}
	}
	return h
}

// A journal cut at any byte gives the whole lines before the cut.
func TestJournalCutAtEveryByte(t *testing.T) {
	log := example(t).log
	for n := range log {
		j := ReadJournal(log[:n])
		lines := bytes.Count(log[:n], []byte{'\n'})
		if j.Damage != nil || len(j.Entries) != max(lines-1, 0) || j.Cut != (n > 0 && log[n-1] != '\n') || (j.Base != "") != (lines > 0) {
			t.Fatalf("cut at byte %d after %d lines: %+v", n, lines, j)
		}
	}
}

// A flipped bit anywhere is found; what stands before it is kept.
func TestJournalFlippedBit(t *testing.T) {
	log := example(t).log
	for n := range log {
		bad := bytes.Clone(log)
		bad[n] ^= 0x04
		j := ReadJournal(bad)
		before := bytes.Count(log[:n], []byte{'\n'})
		if j.Damage == nil && !j.Cut {
			t.Fatalf("bit flipped in byte %d (%q) was not found", n, log[n])
		}
		if len(j.Entries) != max(before-1, 0) {
			t.Fatalf("bit flipped in byte %d after %d lines: %d entries", n, before, len(j.Entries))
		}
	}
}

// When the journal cannot be written, nothing has happened.
func TestUnwritableJournal(t *testing.T) {
	h := example(t)
	before := h.state(t)
	full := errors.New("disk full")
	h.append = func(Entry) error { return full }
	_, err := h.Do("one more", func(d *Draft) error {
		d.Record.Specimen.Title = "x"
		m, _ := d.Map("b")
		out, err := m.Rest(9)
		d.Note("b", out.Diff)
		return err
	})
	if !errors.Is(err, full) || !bytes.Equal(h.state(t), before) {
		t.Errorf("do: %v, state changed %v", err, !bytes.Equal(h.state(t), before))
	}
	if _, ok, err := h.Undo(); ok || !errors.Is(err, full) || !bytes.Equal(h.state(t), before) {
		t.Errorf("undo: %v %v, state changed %v", ok, err, !bytes.Equal(h.state(t), before))
	}
}

func TestCancelTakesEverythingBack(t *testing.T) {
	h := example(t)
	before := h.state(t)
	d, err := h.Begin()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := h.Begin(); err == nil {
		t.Error("two actions at once")
	}
	m, _ := d.Map("a")
	for region := range uint16(3) {
		out, err := m.AssignFaces([]uint32{1, 2, 3 + uint32(region)}, facemap.Paint{Region: 7 + region})
		if err != nil {
			t.Fatal(err)
		}
		d.Note("a", out.Diff)
	}
	d.Record.Work = nil
	if err := d.Cancel(); err != nil || !bytes.Equal(h.state(t), before) {
		t.Errorf("cancel: %v, state changed %v", err, !bytes.Equal(h.state(t), before))
	}
	if _, err := d.Commit("late"); err == nil {
		t.Error("a cancelled action was committed")
	}
}

func FuzzReadJournal(f *testing.F) {
	first, err := BeginJournal("00ff")
	if err != nil {
		f.Fatal(err)
	}
	line, err := Entry{Did, Action{Label: "x", Record: []RecordChange{{Member: "people", Key: "P1", After: []byte(`{"id":"P1"}`)}}}}.Line()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(append(bytes.Clone(first), line...))
	f.Add(line)
	f.Add([]byte("{}\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		j := ReadJournal(data)
		if j.Good > len(data) || (j.Good > 0 && data[j.Good-1] != '\n') {
			t.Fatalf("%d of %d bytes are said to be whole lines", j.Good, len(data))
		}
		h := newHouse(t, annotate.Record{})
		before := h.state(t)
		for _, e := range j.Entries {
			if h.Replay(e) != nil {
				continue
			}
			if h.apply(e.Action.Inverse()) != nil {
				t.Fatal("what was replayed cannot be undone")
			}
			if !bytes.Equal(h.state(t), before) {
				t.Fatal("undone it is not as before")
			}
		}
	})
}
