package project

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/annotate/history"
)

// Project is an open project.
type Project struct {
	mu   sync.Mutex
	dir  string
	disk disk
	lock *lock // nil when open for reading only
	root *os.Root
	now  func() time.Time

	saved   document // as project.json has it
	sum     string   // SHA-256 of project.json
	history *history.History
	maps    map[string]*liveMap
	journal file // nil until it can be written to
	unsaved int  // actions since the last save
	log     *eventLog
	damage  map[string]error // files that cannot be used
	notices []annotate.OpenPoint
	writes  bool
	cache   cache
}

// liveMap is a map in memory and its revision when it was last on disk.
type liveMap struct {
	*facemap.Map
	saved uint64
}

// neverSaved is the saved revision of a map that is on no disk.
const neverSaved = math.MaxUint64

// Options say how a project is opened.
type Options struct {
	// ReadOnly opens without a lock and without writing anything; actions since
	// the last save are seen all the same.
	ReadOnly bool
}

// New makes a project in a folder that does not exist yet or is empty, and
// opens it. The body is there as a piece from the start.
func New(dir string, specimen annotate.Specimen) (*Project, error) {
	if entries, err := os.ReadDir(dir); err == nil && len(entries) > 0 {
		return nil, fmt.Errorf("folder %s is not empty: name a new folder for the project", dir)
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("make project: %w", err)
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, fmt.Errorf("make project: %w", err)
	}
	record := annotate.Record{Specimen: specimen, Pieces: []annotate.Piece{{ID: annotate.Body}}}
	if err := lay(rootDisk{root}, record, time.Now()); err != nil {
		return nil, errors.Join(fmt.Errorf("make project %s: %w", dir, err), root.Close())
	}
	if err := root.Close(); err != nil {
		return nil, fmt.Errorf("make project %s: %w", dir, err)
	}
	return Open(dir, Options{})
}

// lay writes the files of a new project; project.json comes last.
func lay(d disk, record annotate.Record, now time.Time) error {
	for _, sub := range []string{"scans", "maps"} {
		if err := d.mkdir(sub); err != nil {
			return err
		}
	}
	data, err := document{
		Format: documentForm, Version: fmt.Sprintf("%d.%d", documentMajor, documentMinor),
		Record: record, Maps: map[string]string{}, Files: []fileEntry{},
	}.encode()
	if err != nil {
		return err
	}
	if err := writeWhole(d, documentName, data); err != nil {
		return err
	}
	log, err := openLog(d)
	if err != nil {
		return err
	}
	return log.add(Event{When: now, What: "made", Hashes: map[string]string{documentName: hash(data)}})
}

// Open opens a project, with a lock unless for reading only, and brings back
// the actions that were not saved.
func Open(dir string, opt Options) (*Project, error) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, fmt.Errorf("open project: %w", err)
	}
	if _, err := root.Stat(documentName); errors.Is(err, fs.ErrNotExist) {
		return nil, errors.Join(fmt.Errorf("folder %s is no project, it holds no %s: make one with new", dir, documentName), root.Close())
	}
	now := time.Now
	var held *lock
	var left *holder
	if !opt.ReadOnly {
		if held, left, err = takeLock(root, dir, now()); err != nil {
			return nil, errors.Join(err, root.Close())
		}
	}
	p, err := openOn(rootDisk{root}, !opt.ReadOnly, now)
	if err != nil {
		err = fmt.Errorf("open project %s: %w", dir, err)
		if held != nil {
			err = errors.Join(err, held.release())
		}
		return nil, errors.Join(err, root.Close())
	}
	p.dir, p.root, p.lock = dir, root, held
	if left != nil {
		p.notice("ended_without_closing", annotate.SeverityNote,
			fmt.Sprintf("process %d, which opened the project on %s, ended without closing it; its lock was taken over", left.Process, left.Since.Local().Format("2006-01-02 15:04")),
			"look whether the last actions are there")
		if err := p.log.add(Event{When: now(), What: "lock taken over", Note: fmt.Sprintf("process %d since %s", left.Process, left.Since.UTC().Format(time.RFC3339))}); err != nil {
			return nil, errors.Join(err, p.Close())
		}
	}
	return p, nil
}

// openOn opens the project on a disk.
func openOn(d disk, writes bool, now func() time.Time) (*Project, error) {
	p := &Project{disk: d, now: now, maps: map[string]*liveMap{}, damage: map[string]error{}, writes: writes}
	data, journal, err := readConsistent(d)
	if err != nil {
		return nil, err
	}
	var unsealed bool
	if p.saved, unsealed, err = decodeDocument(data); err != nil {
		return nil, err
	}
	p.sum = hash(data)
	if unsealed {
		p.notice("no_checksum", annotate.SeverityNote, documentName+" carries no checksum: it was edited outside the program", "save the project, which adds it")
	}
	p.checkFiles()
	p.history = history.New(p.saved.Record.Clone(), p.liveMap, p.appendEntry)
	if p.log, err = openLog(d); err != nil {
		return nil, err
	}
	return p, p.recover(journal)
}

// readConsistent reads project.json and the journal as of one moment, though
// somebody may be saving meanwhile.
func readConsistent(d disk) (data, journal []byte, err error) {
	if data, err = d.read(documentName); err != nil {
		return nil, nil, err
	}
	for range 3 {
		if journal, err = d.read(journalName); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return nil, nil, err
		}
		again, err := d.read(documentName)
		if err != nil {
			return nil, nil, err
		}
		if string(again) == string(data) {
			break
		}
		data = again
	}
	return data, journal, nil
}

// checkFiles notes files that are missing or have another length; checksums
// are compared when a file is read.
func (p *Project) checkFiles() {
	for _, f := range p.saved.Files {
		size, err := p.disk.size(f.Path)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			p.damage[f.Path] = fmt.Errorf("file %s of the project is missing: put it back from a copy of the project", f.Path)
		case err != nil:
			p.damage[f.Path] = fmt.Errorf("file %s of the project cannot be reached: %w", f.Path, err)
		case size != f.Bytes:
			p.damage[f.Path] = fmt.Errorf("file %s of the project has %d bytes, it should have %d: restore it from a copy of the project", f.Path, size, f.Bytes)
		}
	}
}

// readFile reads a file of the project and compares its checksum.
func (p *Project) readFile(path, sum string) ([]byte, error) {
	if err := p.damage[path]; err != nil {
		return nil, err
	}
	data, err := p.disk.read(path)
	if err != nil {
		return nil, fmt.Errorf("file %s of the project cannot be read: %w", path, err)
	}
	if got := hash(data); got != sum {
		p.damage[path] = fmt.Errorf("file %s of the project is damaged, its content does not match its checksum: restore it from a copy of the project", path)
		return nil, p.damage[path]
	}
	return data, nil
}

// liveMap returns the live map of a use: from memory, from its file, or a new
// one.
func (p *Project) liveMap(use string) (*facemap.Map, error) {
	if m := p.maps[use]; m != nil && !p.outlived(use, m) {
		return m.Map, nil
	}
	key, err := annotate.ParseUseKey(use)
	if err != nil {
		return nil, err
	}
	path, stored := p.saved.Maps[use]
	_, known := p.maps[use]
	var m *facemap.Map
	if stored && !known {
		entry, _ := p.saved.file(path)
		data, err := p.readFile(path, entry.SHA256)
		if err != nil {
			return nil, err
		}
		if m, err = facemap.Decode(data); err != nil {
			return nil, fmt.Errorf("%s: %w", path, err)
		}
		p.maps[use] = &liveMap{Map: m, saved: m.Revision()}
	} else {
		record := p.history.Record()
		u := record.Use(key)
		if u == nil {
			return nil, fmt.Errorf("use %s does not exist: add its scan first", use)
		}
		scan, ok := record.Scan(u.Scan)
		if !ok {
			return nil, fmt.Errorf("use %s names scan %s, which is not in the record", use, u.Scan)
		}
		if m, err = facemap.New(scan.ID, scan.Triangles); err != nil {
			return nil, err
		}
		p.maps[use] = &liveMap{Map: m, saved: neverSaved}
	}
	return m, nil
}

// outlived says whether an empty map belongs to a scan that was in this place
// before.
func (p *Project) outlived(use string, m *liveMap) bool {
	key, err := annotate.ParseUseKey(use)
	if err != nil || !m.Blank() {
		return false
	}
	record := p.history.Record()
	u := record.Use(key)
	return u != nil && u.Scan != m.ScanID()
}

// notice notes something about the store itself for OpenPoints.
func (p *Project) notice(id, severity, reason, wayOut string) {
	p.notices = append(p.notices, annotate.OpenPoint{ID: id, Severity: severity, About: documentName, Reason: reason, WayOut: wayOut})
}

// Dir returns the folder of the project as it was named on opening.
func (p *Project) Dir() string { return p.dir }

// Name returns the name of the project: that of its folder, without extension.
func (p *Project) Name() string {
	base := filepath.Base(p.dir)
	return base[:len(base)-len(filepath.Ext(base))]
}

// Record returns the record as it stands. It shares memory with the project:
// read only; change it with Edit.
func (p *Project) Record() annotate.Record {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.history.Record()
}

// Unsaved returns how many actions were made since the last save.
func (p *Project) Unsaved() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.unsaved
}

// Map returns the live map of a use. Read it on the goroutine that makes the
// changes; other goroutines take a Clone there first.
func (p *Project) Map(key annotate.UseKey) (*facemap.Map, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.liveMap(key.String())
}

// HasMap says whether anything is marked on a use.
func (p *Project) HasMap(key annotate.UseKey) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.hasMap(key.String())
}

func (p *Project) hasMap(use string) bool {
	if m := p.maps[use]; m != nil {
		return !m.Blank()
	}
	_, stored := p.saved.Maps[use]
	return stored
}

// MappedStages returns the ids of the stages of which some use has a map, in
// the course of events.
func (p *Project) MappedStages() []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	record := p.history.Record()
	var out []string
	for _, s := range record.Stages {
		if slices.ContainsFunc(record.Uses, func(u annotate.Use) bool { return u.Stage == s.ID && p.hasMap(u.Key().String()) }) {
			out = append(out, s.ID)
		}
	}
	return out
}

// Close gives the lock back. What was not saved stays in the journal.
func (p *Project) Close() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	var err error
	if p.journal != nil {
		err = p.journal.Close()
		p.journal = nil
	}
	p.writes = false
	if p.lock != nil {
		err = errors.Join(err, p.lock.release())
		p.lock = nil
	}
	if p.root != nil {
		err = errors.Join(err, p.root.Close())
		p.root = nil
	}
	return err
}
