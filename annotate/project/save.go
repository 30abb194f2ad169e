package project

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
)

// Save makes the present state the one on disk. It does nothing if nothing was
// done since the last save. When it fails, the project on disk is the one
// before or, past the moment of renaming, the new one.
func (p *Project) Save() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.writes {
		return errReadOnly
	}
	if p.unsaved == 0 && p.journal != nil {
		return nil
	}
	next, err := p.writeMaps()
	if err != nil {
		return fmt.Errorf("save project: %w", err)
	}
	data, err := next.encode()
	if err != nil {
		return err
	}
	if err := writeWhole(p.disk, documentName, data); err != nil {
		return fmt.Errorf("save project: %w", err)
	}
	before := p.saved
	p.saved, p.sum, p.unsaved = next, hash(data), 0
	for use := range p.maps {
		p.maps[use].saved = p.maps[use].Revision()
	}
	p.checkDropped()
	err = p.beginJournal(nil)
	err = errors.Join(err, p.log.add(Event{When: p.now(), What: "saved", Hashes: map[string]string{documentName: p.sum}}))
	if err != nil {
		return fmt.Errorf("the project is saved, but not everything around it: %w", err)
	}
	p.sweep(before)
	return nil
}

// writeMaps writes the map files that changed and returns the document that
// rests on them.
func (p *Project) writeMaps() (document, error) {
	record := p.history.Record()
	next := document{
		Format: documentForm, Version: p.version(), Follows: p.sum,
		Record: record, Maps: map[string]string{}, Files: []fileEntry{}, newer: p.saved.newer,
	}
	files := map[string]fileEntry{}
	for _, use := range p.mapsOf(record) {
		live := p.maps[use]
		if path, stored := p.saved.Maps[use]; stored && (live == nil || live.saved == live.Revision()) {
			next.Maps[use] = path
			files[path], _ = p.saved.file(path)
			continue
		}
		if live == nil || live.Blank() {
			continue
		}
		data, err := live.Encode()
		if err != nil {
			return next, fmt.Errorf("map of %s: %w", use, err)
		}
		path := "maps/" + facemap.FileName(data)
		if size, err := p.disk.size(path); err != nil || size != int64(len(data)) || p.damage[path] != nil {
			if err := writeWhole(p.disk, path, data); err != nil {
				return next, err
			}
			delete(p.damage, path)
		}
		next.Maps[use] = path
		files[path] = fileEntry{Path: path, Bytes: int64(len(data)), SHA256: hash(data)}
	}
	for _, s := range record.Scans {
		for _, m := range s.Members {
			files[m.Path] = fileEntry{Path: m.Path, Bytes: m.Bytes, SHA256: m.SHA256}
		}
	}
	for _, path := range slices.Sorted(maps.Keys(files)) {
		next.Files = append(next.Files, files[path])
	}
	return next, nil
}

// mapsOf returns the uses whose maps may be stored, sorted.
func (p *Project) mapsOf(record annotate.Record) []string {
	var uses []string
	for _, u := range record.Uses {
		uses = append(uses, u.Key().String())
	}
	slices.Sort(uses)
	return uses
}

// version keeps a newer minor version that was opened, since its members are
// kept too.
func (p *Project) version() string {
	if p.saved.Version != "" {
		return p.saved.Version
	}
	return fmt.Sprintf("%d.%d", documentMajor, documentMinor)
}

// checkDropped forgets the damage of files that nothing rests on any more.
func (p *Project) checkDropped() {
	for path := range p.damage {
		if _, used := p.saved.file(path); !used {
			delete(p.damage, path)
		}
	}
}

// sweep removes map files that neither this project.json nor the one before
// names, and temporary files. Scans are never removed. What cannot be removed
// costs room only, and the next save tries again.
func (p *Project) sweep(before document) {
	for _, dir := range []string{".", "maps", "scans"} {
		names, err := p.disk.list(dir)
		if err != nil {
			continue
		}
		for _, name := range names {
			path := strings.TrimPrefix(dir+"/"+name, "./")
			_, now := p.saved.file(path)
			_, then := before.file(path)
			if strings.HasSuffix(name, ".tmp") || (dir == "maps" && !now && !then) {
				_ = p.disk.remove(path)
			}
		}
	}
}
