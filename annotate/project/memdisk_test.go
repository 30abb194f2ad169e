package project

import (
	"errors"
	"io/fs"
	"maps"
	"path"
	"slices"
	"strings"
)

// errKilled is what every call gives once the machine of a memDisk has stopped.
var errKilled = errors.New("killed")

// memDisk is a folder in memory that can stop at any step, and knows what would
// be on the platter then: content is safe once synced, names once their folder
// is. What is not safe may be there or not; lost and kept give both extremes.
type memDisk struct {
	now, safe map[string]*memFile // names as seen, names as safe
	steps     int                 // calls that change something so far
	stopAt    int                 // step that does not finish; 0 for never
	full      int                 // bytes that can still be written; negative for no limit
}

type memFile struct {
	data, safe []byte
}

func newMemDisk() *memDisk {
	return &memDisk{now: map[string]*memFile{}, safe: map[string]*memFile{}, full: -1}
}

// step counts a change; after the stop nothing works any more.
func (d *memDisk) step() (last bool, err error) {
	d.steps++
	if d.stopAt > 0 && d.steps > d.stopAt {
		return false, errKilled
	}
	return d.steps == d.stopAt, nil
}

// after returns the disk as the next start finds it.
func (d *memDisk) after(keep bool) *memDisk {
	out := newMemDisk()
	from := d.safe
	if keep {
		from = d.now
	}
	for name, f := range from {
		data := f.safe
		if keep {
			data = f.data
		}
		c := &memFile{slices.Clone(data), slices.Clone(data)}
		out.now[name], out.safe[name] = c, c
	}
	return out
}

func (d *memDisk) read(name string) ([]byte, error) {
	f := d.now[name]
	if f == nil {
		return nil, fs.ErrNotExist
	}
	return slices.Clone(f.data), nil
}

func (d *memDisk) size(name string) (int64, error) {
	data, err := d.read(name)
	return int64(len(data)), err
}

func (d *memDisk) create(name string) (file, error) {
	if last, err := d.step(); err != nil || last {
		return nil, errors.Join(err, errKilled)
	}
	f := &memFile{}
	d.now[name] = f
	return &memHandle{d, f}, nil
}

func (d *memDisk) extend(name string) (file, error) {
	if last, err := d.step(); err != nil || last {
		return nil, errors.Join(err, errKilled)
	}
	f := d.now[name]
	if f == nil {
		f = &memFile{}
		d.now[name] = f
	}
	return &memHandle{d, f}, nil
}

func (d *memDisk) rename(from, to string) error {
	if last, err := d.step(); err != nil || last {
		return errors.Join(err, errKilled)
	}
	f := d.now[from]
	if f == nil {
		return fs.ErrNotExist
	}
	delete(d.now, from)
	d.now[to] = f
	return nil
}

func (d *memDisk) remove(name string) error {
	if last, err := d.step(); err != nil || last {
		return errors.Join(err, errKilled)
	}
	delete(d.now, name)
	return nil
}

func (d *memDisk) list(dir string) ([]string, error) {
	var out []string
	for name := range d.now {
		if path.Dir(name) == dir {
			out = append(out, path.Base(name))
		}
	}
	slices.Sort(out)
	return out, nil
}

func (d *memDisk) mkdir(string) error { return nil }

func (d *memDisk) syncDir(dir string) error {
	if last, err := d.step(); err != nil || last {
		return errors.Join(err, errKilled)
	}
	in := func(name string, _ *memFile) bool { return path.Dir(name) == dir }
	maps.DeleteFunc(d.safe, in)
	for name, f := range d.now {
		if in(name, nil) {
			d.safe[name] = f
		}
	}
	return nil
}

type memHandle struct {
	d *memDisk
	f *memFile
}

func (h *memHandle) Write(data []byte) (int, error) {
	last, err := h.d.step()
	if err != nil {
		return 0, err
	}
	n := len(data)
	if last {
		n /= 2 // torn
	}
	if h.d.full >= 0 && n > h.d.full {
		n = h.d.full
		err = errors.New("no space left on device")
	}
	if h.d.full >= 0 {
		h.d.full -= n
	}
	h.f.data = append(h.f.data, data[:n]...)
	if last {
		err = errKilled
	}
	return n, err
}

func (h *memHandle) Sync() error {
	last, err := h.d.step()
	if err != nil || last {
		return errors.Join(err, errKilled)
	}
	h.f.safe = slices.Clone(h.f.data)
	return nil
}

func (h *memHandle) Close() error { return nil }

// names lists the files, for messages.
func (d *memDisk) names() string { return strings.Join(slices.Sorted(maps.Keys(d.now)), " ") }
