package project

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/annotate/history"
)

// clock stands still, so that equal steps give equal bytes.
func clock() time.Time { return time.Date(2024, 3, 9, 12, 0, 0, 0, time.UTC) }

const use = "fill/body/whole"

var useKey = annotate.UseKey{Stage: "fill", Piece: "body", Part: "whole"}

// example lays a project with one scan of 100 faces on a memory disk.
func example(t *testing.T) *memDisk {
	t.Helper()
	d := newMemDisk()
	scan := []byte("solid nothing")
	path := "scans/" + hash(scan) + ".ply"
	if err := writeWhole(d, path, scan); err != nil {
		t.Fatal(err)
	}
	record := annotate.Record{
		Specimen: annotate.Specimen{CatalogueNumber: "TVM 2041"},
		Pieces:   []annotate.Piece{{ID: annotate.Body}},
		Stages:   []annotate.Stage{{ID: "fill", Kind: "fill", Date: "2024-03-09"}},
		Scans:    []annotate.Scan{{ID: hash(scan), Triangles: 100, Members: []annotate.Member{{Name: "a.ply", Path: path, SHA256: hash(scan), Bytes: int64(len(scan))}}}},
		Uses:     []annotate.Use{{Stage: "fill", Piece: "body", Part: "whole", Scan: hash(scan)}},
	}
	if err := lay(d, record, clock()); err != nil {
		t.Fatal(err)
	}
	p := reopen(t, d)
	mark(t, p, 1, 2, 3)
	if err := p.Save(); err != nil { // so that scans stand among the files
		t.Fatal(err)
	}
	return d.after(true)
}

func reopen(t *testing.T, d *memDisk) *Project {
	t.Helper()
	p, err := openOn(d, true, clock)
	if err != nil {
		t.Fatalf("%v (files: %s)", err, d.names())
	}
	return p
}

// try marks faces as a new region and notes it in the record, as one action.
func try(p *Project, faces ...uint32) error {
	_, err := p.history.Do(fmt.Sprintf("marked %v", faces), func(d *history.Draft) error {
		id, number, err := d.Record.NextRegion(use)
		if err != nil {
			return err
		}
		d.Record.Regions = append(d.Record.Regions, annotate.Region{ID: id, Number: number, Use: use, Layer: "substance", Kind: "fill", Note: "matt & \"rough\""})
		m, err := d.Map(use)
		if err != nil {
			return err
		}
		out, err := m.AssignFaces(faces, facemap.Paint{Region: number})
		d.Note(use, out.Diff)
		return err
	})
	return err
}

func mark(t *testing.T, p *Project, faces ...uint32) {
	t.Helper()
	if err := try(p, faces...); err != nil {
		t.Fatal(err)
	}
}

// state is every byte of record and map.
func state(t *testing.T, p *Project) string {
	t.Helper()
	m, err := p.Map(useKey)
	if err != nil {
		t.Fatal(err)
	}
	data, err := m.Encode()
	if err != nil {
		t.Fatal(err)
	}
	text, err := annotate.Encode(p.Record())
	if err != nil {
		t.Fatal(err)
	}
	return string(text) + string(data)
}

// A session of marking, undoing and saving, killed at every step of the disk,
// with everything unsynced lost or kept: the next start finds the project after
// the last action that was acknowledged, or after the one under way.
func TestKillAtEveryStep(t *testing.T) {
	base := example(t)
	session := func(p *Project, done func()) {
		act := func(err error) bool {
			if err != nil {
				if !errors.Is(err, errKilled) {
					t.Fatal(err)
				}
				return false
			}
			done()
			return true
		}
		undo := func() error { _, _, _, err := p.Undo(); return err }
		_ = act(try(p, 10, 11)) && act(try(p, 20, 21, 3)) && act(p.Save()) && act(undo()) && act(try(p, 30)) &&
			act(undo()) && act(p.Save()) && act(try(p, 40)) && act(p.Save()) && act(try(p, 50))
	}
	// All states in order, from a session that is not killed.
	free := base.after(true)
	p := reopen(t, free)
	states := []string{state(t, p)}
	opening := free.steps
	session(p, func() { states = append(states, state(t, p)) })
	if len(states) != 11 {
		t.Fatalf("%d states", len(states))
	}
	for stop := opening + 1; stop <= free.steps; stop++ {
		for _, keep := range []bool{false, true} {
			d := base.after(true)
			d.stopAt = stop
			p, err := openOn(d, true, clock)
			if err != nil {
				t.Fatal(err)
			}
			acknowledged := 0
			session(p, func() { acknowledged++ })
			next := reopen(t, d.after(keep))
			got := state(t, next)
			if got != states[acknowledged] && (acknowledged == 10 || got != states[acknowledged+1]) {
				t.Fatalf("killed at step %d of %d (unsynced kept: %v) after %d actions: neither the state before nor after", stop, free.steps, keep, acknowledged)
			}
			for _, o := range next.OpenPoints() {
				if strings.HasPrefix(o.ID, "journal_set_aside") || strings.HasPrefix(o.ID, "damaged_file") {
					t.Fatalf("killed at step %d (unsynced kept: %v): %+v", stop, keep, o)
				}
			}
			// And it goes on from there.
			mark(t, next, 60)
			want := state(t, next)
			if err := next.Save(); err != nil {
				t.Fatal(err)
			}
			if again := state(t, reopen(t, next.disk.(*memDisk).after(false))); again != want {
				t.Fatalf("killed at step %d: the save after that is lost", stop)
			}
		}
	}
}

// The journal cut at every byte gives the state after one of its actions.
func TestJournalCutAtEveryByte(t *testing.T) {
	d := example(t)
	p := reopen(t, d)
	states := map[string]bool{state(t, p): true}
	for i := range uint32(4) {
		mark(t, p, 10+i, 3)
		states[state(t, p)] = true
	}
	full, err := d.read(journalName)
	if err != nil {
		t.Fatal(err)
	}
	last := 0
	for n := range len(full) + 1 {
		c := d.after(true)
		c.now[journalName].data = bytes.Clone(full[:n])
		q := reopen(t, c)
		if !states[state(t, q)] || q.Unsaved() < last {
			t.Fatalf("cut at byte %d: %d actions brought back, after %d with a shorter one", n, q.Unsaved(), last)
		}
		last = q.Unsaved()
		// What is appended after a cut line can be read.
		mark(t, q, 77)
		want := state(t, q)
		if got := state(t, reopen(t, c.after(true))); got != want {
			t.Fatalf("cut at byte %d: what was done afterwards is lost", n)
		}
	}
	if last != 4 {
		t.Errorf("%d of 4 actions brought back from the whole journal", last)
	}
}

// A bit flipped anywhere in the journal loses nothing unseen: the actions before
// it come back, the journal is kept beside, an open point says so.
func TestJournalFlippedBit(t *testing.T) {
	d := example(t)
	p := reopen(t, d)
	for i := range uint32(3) {
		mark(t, p, 10+i)
	}
	full, err := d.read(journalName)
	if err != nil {
		t.Fatal(err)
	}
	for n := 0; n < len(full)-1; n += 7 { // without its end the last line is one never finished
		c := d.after(true)
		bad := bytes.Clone(full)
		bad[n] ^= 2
		c.now[journalName].data = bad
		q := reopen(t, c)
		told := false
		for _, o := range q.OpenPoints() {
			told = told || o.ID == "journal_set_aside"
		}
		kept := "journal-set-aside-" + hash(bad)[:12] + ".jsonl"
		if lines := bytes.Count(full[:n], []byte{'\n'}); !told || q.Unsaved() != max(lines-1, 0) || c.now[kept] == nil {
			t.Fatalf("bit in byte %d: told %v, %d actions after %d lines, files %s", n, told, q.Unsaved(), lines, c.names())
		}
	}
}

// With the disk full an action or a save fails with a word and changes nothing;
// with room again all goes on.
func TestDiskFull(t *testing.T) {
	for room := 0; room < 4000; room += 97 {
		d := example(t)
		p := reopen(t, d)
		mark(t, p, 5)
		d.full = room
		var err error
		done := 1
		for err == nil && done < 40 {
			before := state(t, p)
			if err = try(p, uint32(done)); err != nil && state(t, p) != before {
				t.Fatalf("room %d: the action that failed changed something", room)
			} else if err == nil {
				done++
			}
			if err == nil && done%3 == 0 {
				err = p.Save()
			}
		}
		if err == nil {
			t.Fatal("nothing failed on a full disk")
		}
		want := state(t, p)
		if got := state(t, reopen(t, d.after(true))); got != want {
			t.Fatalf("room %d: on a full disk actions were lost that counted as done", room)
		}
		d.full = -1
		if err := p.Save(); err != nil {
			t.Fatal(err)
		}
		mark(t, p, 99)
		want = state(t, p)
		if got := state(t, reopen(t, d.after(true))); got != want {
			t.Fatalf("room %d: with room again actions are lost", room)
		}
	}
}

// An action undone, saved in between or not, gives identical files.
func TestUndoAcrossSaves(t *testing.T) {
	d := example(t)
	p := reopen(t, d)
	before := state(t, p)
	mark(t, p, 7)
	if err := p.Save(); err != nil {
		t.Fatal(err)
	}
	mark(t, p, 8)
	for range 2 {
		if _, uses, ok, err := p.Undo(); !ok || err != nil || len(uses) != 1 || uses[0].Use != use {
			t.Fatalf("undo: %v %v %v", uses, ok, err)
		}
	}
	if state(t, p) != before {
		t.Error("undone past a save it is not as before")
	}
	if err := p.Save(); err != nil {
		t.Fatal(err)
	}
	if state(t, reopen(t, d.after(false))) != before {
		t.Error("what was undone and saved comes back")
	}
	if n := strings.Count(d.names(), "maps/"); n > 2 {
		t.Errorf("maps that nothing rests on stay: %s", d.names())
	}
}

// Damage to any file is found and named; what does not rest on it can be used.
func TestDamagedFiles(t *testing.T) {
	base := example(t)
	var paths []string
	for name := range base.now {
		if strings.HasPrefix(name, "maps/") || strings.HasPrefix(name, "scans/") {
			paths = append(paths, name)
		}
	}
	if len(paths) != 2 {
		t.Fatalf("files %s", base.names())
	}
	for _, path := range paths {
		for what, damage := range map[string]func(d *memDisk){
			"missing":   func(d *memDisk) { delete(d.now, path) },
			"truncated": func(d *memDisk) { d.now[path].data = d.now[path].data[1:] },
			"flipped":   func(d *memDisk) { d.now[path].data[3] ^= 16 },
		} {
			d := base.after(true)
			damage(d)
			p := reopen(t, d)
			found := p.Verify(t.Context(), nil)
			if len(found) != 1 || !strings.Contains(found[0].Error(), path) {
				t.Errorf("%s %s: %v", what, path, found)
			}
			named := false
			for _, o := range p.OpenPoints() {
				named = named || (o.About == path && o.Severity == annotate.SeverityRefused)
			}
			if !named {
				t.Errorf("%s %s: no open point", what, path)
			}
			if _, err := p.Map(useKey); (err != nil) != strings.HasPrefix(path, "maps/") || (err != nil && !strings.Contains(err.Error(), path)) {
				t.Errorf("%s %s: map: %v", what, path, err)
			}
			if err := p.Edit("title", func(r *annotate.Record) error { r.Specimen.Title = "x"; return nil }); err != nil {
				t.Errorf("%s %s: the record cannot be changed: %v", what, path, err)
			}
			if err := p.Save(); err != nil {
				t.Errorf("%s %s: cannot be saved: %v", what, path, err)
			}
			if q := reopen(t, d.after(true)); what != "flipped" && len(q.damage) != 1 {
				t.Errorf("%s %s: after saving the damage is forgotten: %v", what, path, q.damage)
			}
		}
	}
}

// Every bit of project.json that is flipped is found.
func TestDamagedDocument(t *testing.T) {
	base := example(t)
	full, err := base.read(documentName)
	if err != nil {
		t.Fatal(err)
	}
	for n := range full {
		d := base.after(true)
		d.now[documentName].data[n] ^= 1
		p, err := openOn(d, true, clock)
		told := err != nil && strings.Contains(err.Error(), documentName)
		if err == nil { // the name of the member sum: as if it were not there
			told = p.OpenPoints()[0].ID == "no_checksum" && n > bytes.LastIndex(full, []byte(sumMark))
		}
		if !told {
			t.Fatalf("bit flipped in byte %d (%q): %v", n, full[n], err)
		}
		d.now[documentName].data = full[:n]
		if _, err := openOn(d, true, clock); err == nil {
			t.Fatalf("cut at byte %d it was opened", n)
		}
	}
}

// Edited by hand, with the checksum taken out, it opens and says so.
func TestEditedDocument(t *testing.T) {
	d := example(t)
	f := d.now[documentName]
	f.data = bytes.Replace(f.data, []byte("TVM 2041"), []byte("TVM 2042"), 1)
	if _, err := openOn(d, true, clock); err == nil || !strings.Contains(err.Error(), "take the member sum out") {
		t.Errorf("edited: %v", err)
	}
	f.data = append(f.data[:bytes.LastIndex(f.data, []byte(sumMark))], "\n}\n"...)
	p := reopen(t, d)
	if got := p.Record().Specimen.CatalogueNumber; got != "TVM 2042" {
		t.Errorf("catalogue number %s", got)
	}
	if o := p.OpenPoints(); len(o) == 0 || o[0].ID != "no_checksum" {
		t.Errorf("open points %v", o)
	}
}

// Members of a newer minor version stay, of the document and of what is in it;
// a newer major version is refused (DESIGN 6).
func TestVersions(t *testing.T) {
	d := example(t)
	f := d.now[documentName]
	text := string(f.data[:bytes.LastIndex(f.data, []byte(sumMark))])
	text = strings.Replace(text, `"version": "1.0"`, `"version": "1.7"`, 1)
	text = strings.Replace(text, `"record": {`, `"shelf": {"row": [3]}, "record": { "weather": "dry",`, 1)
	f.data = []byte(text + "\n}\n")
	p := reopen(t, d)
	mark(t, p, 9)
	if err := p.Save(); err != nil {
		t.Fatal(err)
	}
	saved := string(d.now[documentName].data)
	for _, want := range []string{`"version": "1.7"`, `"shelf": {`, `"weather": "dry"`} {
		if !strings.Contains(saved, want) {
			t.Errorf("%s is lost:\n%s", want, saved)
		}
	}
	if q := reopen(t, d.after(true)); len(q.Verify(t.Context(), nil)) > 0 {
		t.Errorf("it is not sound any more")
	}
	for version, want := range map[string]string{"2.0": "newer program", "x": "newer program", "1.x": "unreadable version"} {
		d.now[documentName].data = []byte(strings.Replace(text, `"version": "1.7"`, `"version": "`+version+`"`, 1) + "\n}\n")
		if _, err := openOn(d, true, clock); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("version %s: %v", version, err)
		}
	}
}

// Paths that lead out of the folder are refused.
func TestPathsStayInside(t *testing.T) {
	base := example(t)
	p := reopen(t, base)
	good := p.saved.Record.Scans[0].Members[0].Path
	for _, bad := range []string{"../x.ply", "/etc/passwd", "scans/../../x", `scans\\..\\x`, "C:/x", "project.json", "./x", "scans//x", ""} {
		d := base.after(true)
		f := d.now[documentName]
		text := strings.ReplaceAll(string(f.data[:bytes.LastIndex(f.data, []byte(sumMark))]), good, bad)
		f.data = []byte(text + "\n}\n")
		if _, err := openOn(d, true, clock); err == nil || !strings.Contains(err.Error(), "not inside the project") {
			t.Errorf("path %q: %v", bad, err)
		}
	}
}

func TestLockExplained(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "TVM 2041, Fundstück ä.rigatino")
	p, err := New(dir, annotate.Specimen{CatalogueNumber: "TVM 2041"})
	if err != nil {
		t.Fatal(err)
	}
	if p.Name() != "TVM 2041, Fundstück ä" {
		t.Errorf("name %q", p.Name())
	}
	var locked *LockedError
	if _, err := Open(dir, Options{}); !errors.As(err, &locked) || locked.Process != os.Getpid() || !strings.Contains(err.Error(), "close it there first") {
		t.Errorf("opened twice: %v", err)
	}
	if q, err := Open(dir, Options{ReadOnly: true}); err != nil {
		t.Errorf("for reading: %v", err)
	} else {
		if err := q.Edit("x", func(*annotate.Record) error { return nil }); err == nil {
			t.Error("changed while open for reading only")
		}
		if err := q.Close(); err != nil {
			t.Error(err)
		}
	}
	// A program that was killed: its lock file stays, its lock does not.
	if err := p.Edit("title", func(r *annotate.Record) error { r.Specimen.Title = "humerus"; return nil }); err != nil {
		t.Fatal(err)
	}
	if err := p.lock.file.Close(); err != nil {
		t.Fatal(err)
	}
	q, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got := q.Record().Specimen.Title; got != "humerus" {
		t.Errorf("after the kill the title is %q", got)
	}
	told := false
	for _, o := range q.OpenPoints() {
		told = told || o.ID == "ended_without_closing"
	}
	if !told {
		t.Errorf("nothing is said about it: %v", q.OpenPoints())
	}
	if err := q.Close(); err != nil {
		t.Fatal(err)
	}
	// A lock from another machine is never taken over.
	if err := os.WriteFile(filepath.Join(dir, lockName), []byte(`{"process":7,"machine":"another","since":"2024-03-09T12:00:00Z"}`), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(dir, Options{}); !errors.As(err, &locked) || !locked.Elsewhere || !strings.Contains(err.Error(), `delete the file "lock"`) {
		t.Errorf("locked elsewhere: %v", err)
	}
	if _, err := New(dir, annotate.Specimen{}); err == nil {
		t.Error("a second project was made in the same folder")
	}
	if _, err := Open(t.TempDir(), Options{}); err == nil || !strings.Contains(err.Error(), "make one with new") {
		t.Errorf("an empty folder: %v", err)
	}
}

// The log is only appended to: made, saved with the hash of project.json.
func TestLog(t *testing.T) {
	d := example(t)
	p := reopen(t, d)
	mark(t, p, 9)
	if err := p.Save(); err != nil {
		t.Fatal(err)
	}
	if err := p.Note("handed over", "no. 1", map[string]string{"annotated.glb": "00"}); err != nil {
		t.Fatal(err)
	}
	f := d.now[logName]
	f.data = append(f.data, `{"when":"2024`...) // a line that was never finished
	p = reopen(t, d)
	if err := p.Note("handed over", "no. 2", nil); err != nil {
		t.Fatal(err)
	}
	events, err := p.Events()
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, e := range events {
		got = append(got, e.What+" "+e.Note)
	}
	if strings.Join(got, "|") != "made |saved |saved |handed over no. 1|handed over no. 2" {
		t.Errorf("log: %q", got)
	}
	if events[2].Hashes[documentName] != p.sum {
		t.Errorf("the log does not name the project.json on disk")
	}
}

func FuzzDecodeDocument(f *testing.F) {
	data, err := document{Format: documentForm, Version: "1.0", Maps: map[string]string{}}.encode()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(data)
	f.Add([]byte(`{"format":"rigatino project","version":"1.3","shelf":[1],"record":{"specimen":{"x":2}},"maps":{"a/b/c":"maps/x"},"files":[]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		d, _, err := decodeDocument(data)
		if err != nil {
			return
		}
		first, err := d.encode()
		if err != nil {
			t.Fatalf("what was read cannot be written: %v", err)
		}
		again, unsealed, err := decodeDocument(first)
		if err != nil || unsealed {
			t.Fatalf("what was written cannot be read: %v\n%s", err, first)
		}
		if second, err := again.encode(); err != nil || !bytes.Equal(second, first) {
			t.Fatalf("written twice it differs: %v\n%s\n%s", err, first, second)
		}
	})
}
