package project

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"runtime"
)

// disk is the folder of a project. Names are slash paths inside it.
type disk interface {
	read(name string) ([]byte, error)
	size(name string) (int64, error)
	create(name string) (file, error) // empties what is there
	extend(name string) (file, error) // writes at the end, creates if absent
	rename(from, to string) error
	remove(name string) error
	list(dir string) ([]string, error)
	mkdir(dir string) error
	syncDir(dir string) error
}

// file is a file being written.
type file interface {
	io.Writer
	Sync() error
	Close() error
}

// rootDisk is a real folder; os.Root keeps every name inside it, links
// included.
type rootDisk struct{ root *os.Root }

func (d rootDisk) read(name string) ([]byte, error) { return d.root.ReadFile(name) }

func (d rootDisk) size(name string) (int64, error) {
	info, err := d.root.Stat(name)
	if err != nil {
		return 0, err
	}
	if !info.Mode().IsRegular() {
		return 0, fmt.Errorf("%s is not a file", name)
	}
	return info.Size(), nil
}

func (d rootDisk) create(name string) (file, error) {
	return d.root.OpenFile(name, os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o644)
}

func (d rootDisk) extend(name string) (file, error) {
	return d.root.OpenFile(name, os.O_CREATE|os.O_WRONLY|os.O_APPEND, 0o644)
}

func (d rootDisk) rename(from, to string) error { return d.root.Rename(from, to) }

func (d rootDisk) remove(name string) error { return d.root.Remove(name) }

func (d rootDisk) list(dir string) ([]string, error) {
	entries, err := fs.ReadDir(d.root.FS(), dir)
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return names, err
}

func (d rootDisk) mkdir(dir string) error {
	err := d.root.Mkdir(dir, 0o755)
	if errors.Is(err, fs.ErrExist) {
		return nil
	}
	return err
}

func (d rootDisk) syncDir(dir string) error {
	if runtime.GOOS == "windows" {
		return nil // folders cannot be synced there; renames are journalled by the file system
	}
	f, err := d.root.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// writeWhole puts a file in place at once: under a temporary name, synced,
// renamed, with the folder synced.
func writeWhole(d disk, name string, data []byte) error {
	return writeFrom(d, name, func(w io.Writer) error {
		_, err := w.Write(data)
		return err
	})
}

// writeFrom is writeWhole for content that is written piece by piece.
func writeFrom(d disk, name string, write func(w io.Writer) error) error {
	temporary := name + ".tmp"
	f, err := d.create(temporary)
	if err != nil {
		return fmt.Errorf("write %s: %w", name, err)
	}
	err = write(f)
	if err == nil {
		err = f.Sync()
	}
	err = errors.Join(err, f.Close())
	if err == nil {
		err = d.rename(temporary, name)
	}
	if err == nil {
		err = d.syncDir(path.Dir(name))
	}
	if err != nil {
		_ = d.remove(temporary) // of no use to anybody
		return fmt.Errorf("write %s: %w", name, err)
	}
	return nil
}
