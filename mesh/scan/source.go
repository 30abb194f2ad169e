package scan

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"rigatino/mesh"
	"rigatino/mesh/gltf"
)

// Member is one file of a scan as received.
type Member struct {
	Name   string `json:"name"`   // relative to the scan's folder, with slashes
	SHA256 string `json:"sha256"` // in lower-case hexadecimal
	Bytes  int64  `json:"bytes"`
}

// ID is the id of a scan: the hash of its only member, else the SHA-256 of the
// lines "hash, two spaces, name, newline" sorted by name.
func ID(members []Member) string {
	if len(members) == 1 {
		return members[0].SHA256
	}
	sorted := slices.Clone(members)
	slices.SortFunc(sorted, func(a, b Member) int { return strings.Compare(a.Name, b.Name) })
	h := sha256.New()
	for _, m := range sorted {
		fmt.Fprintf(h, "%s  %s\n", m.SHA256, m.Name)
	}
	return hex.EncodeToString(h.Sum(nil))
}

// source reads the member files of a scan and keeps their hashes.
type source struct {
	ctx     context.Context
	dir     string // the folder of the main file, in which all others must be
	members []Member
	first   Member        // the main file, hashed beside the reading …
	hashed  chan struct{} // … until this is closed
}

// main reads the main file and starts hashing it.
func (s *source) main(file, name string) ([]byte, error) {
	f, size, err := openRegular(os.Open, os.Stat, file)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := readAll(s.ctx, f, size)
	if err != nil {
		return nil, err
	}
	s.hashed = make(chan struct{})
	go func() {
		s.first = memberOf(name, data)
		close(s.hashed)
	}()
	return data, nil
}

// wait returns when the bytes of the main file have been hashed.
func (s *source) wait() { <-s.hashed }

// finish returns all members, the main file first.
func (s *source) finish() []Member {
	s.wait()
	return append([]Member{s.first}, s.members...)
}

func memberOf(name string, data []byte) Member {
	sum := sha256.Sum256(data)
	return Member{Name: name, SHA256: hex.EncodeToString(sum[:]), Bytes: int64(len(data))}
}

// resource reads another member; codecs call it with names inside the scan's
// folder, which is held to here once more, symbolic links included.
func (s *source) resource(name string) ([]byte, error) {
	root, err := os.OpenRoot(s.dir)
	if err != nil {
		return nil, err
	}
	defer root.Close()
	f, size, err := openRegular(root.Open, root.Stat, filepath.FromSlash(name))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := readAll(s.ctx, f, size)
	if err != nil {
		return nil, err
	}
	if !s.has(name) {
		s.members = append(s.members, memberOf(name, data))
	}
	return data, nil
}

// parts reads runs of bytes of another member, and hashes all of it in passing.
func (s *source) parts(name string, runs []gltf.Run) ([][]byte, int64, error) {
	root, err := os.OpenRoot(s.dir)
	if err != nil {
		return nil, 0, err
	}
	defer root.Close()
	f, size, err := openRegular(root.Open, root.Stat, filepath.FromSlash(name))
	if err != nil {
		return nil, 0, err
	}
	defer f.Close()
	const piece = 16 << 20
	h := sha256.New()
	between := make([]byte, min(size, 1<<20))
	at := int64(0)
	// pass reads up to byte end, in place if it can.
	pass := func(end int64, into []byte) error {
		for at < end {
			if err := s.ctx.Err(); err != nil {
				return err
			}
			p := between[:min(int64(len(between)), end-at)]
			if into != nil {
				p = into[:min(int64(len(into)), piece)]
				into = into[len(p):]
			}
			if _, err := io.ReadFull(f, p); err != nil {
				return err
			}
			h.Write(p)
			at += int64(len(p))
		}
		return nil
	}
	data := make([][]byte, len(runs))
	for i, run := range runs {
		from, to := min(run.From, size), min(run.To, size)
		data[i] = make([]byte, to-from)
		if err := errors.Join(pass(from, nil), pass(to, data[i])); err != nil {
			return nil, 0, err
		}
	}
	if err := pass(size, nil); err != nil {
		return nil, 0, err
	}
	if !s.has(name) {
		s.members = append(s.members, Member{Name: name, SHA256: hex.EncodeToString(h.Sum(nil)), Bytes: size})
	}
	return data, size, nil
}

// openRegular opens a file that is one, not a folder or a device: opening a pipe
// would wait for somebody to write into it.
func openRegular(open func(string) (*os.File, error), stat func(string) (os.FileInfo, error), name string) (*os.File, int64, error) {
	info, err := stat(name)
	if err != nil {
		return nil, 0, err
	}
	if !info.Mode().IsRegular() {
		return nil, 0, errors.New("this is a folder or a device and not a file; give the mesh file itself")
	}
	f, err := open(name)
	return f, info.Size(), err
}

// has says whether the file has been read.
func (s *source) has(name string) bool {
	return slices.ContainsFunc(s.members, func(m Member) bool { return m.Name == name })
}

// readAll reads a whole file of a known size, in pieces between which it can be
// stopped and several of which are read at once.
func readAll(ctx context.Context, f *os.File, size int64) ([]byte, error) {
	const piece = 4 << 20
	data := make([]byte, size)
	short := make([]error, (size+piece-1)/piece)
	err := mesh.Parallel(ctx, len(short), func(b int) {
		at := int64(b) * piece
		_, short[b] = f.ReadAt(data[at:min(size, at+piece)], at)
	})
	if err != nil {
		return nil, err
	}
	for _, err := range short {
		if errors.Is(err, io.EOF) {
			return nil, errors.New("the file became shorter while it was read; wait until it is copied whole")
		}
		if err != nil {
			return nil, err
		}
	}
	return data, nil
}

// isGzip says whether data begins like a gzip file (RFC 1952).
func isGzip(data []byte) bool {
	return len(data) >= 3 && data[0] == 0x1f && data[1] == 0x8b && data[2] == 8
}

// Bounds on what a gzip file may unpack to: a scan packs to a tenth at best, a
// file made to fill the memory packs a thousand to one. A scan that is larger
// unpacked than the last bound is better unpacked on the disk.
const (
	freeUnpacked  = 64 << 20
	mostUnpacking = 100
	mostUnpacked  = 8 << 30
)

// unpack unzips data.
func unpack(ctx context.Context, data []byte) ([]byte, error) {
	z, err := gzip.NewReader(bytes.NewReader(data))
	if err != nil {
		return nil, fmt.Errorf("the gzip packing is broken: %w; copy the file again", err)
	}
	limit := max(freeUnpacked, int64(len(data))*mostUnpacking)
	var out bytes.Buffer
	for {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		_, err := io.CopyN(&out, z, 4<<20)
		if errors.Is(err, io.EOF) {
			return out.Bytes(), nil
		}
		if err != nil {
			return nil, fmt.Errorf("the gzip packing is broken after %d bytes: %w; copy the file again", out.Len(), err)
		}
		if out.Len() > mostUnpacked {
			return nil, fmt.Errorf("the file unpacks to more than %d GiB; unpack it on the disk first and open what comes out", mostUnpacked>>30)
		}
		if int64(out.Len()) > limit {
			return nil, fmt.Errorf("the file unpacks to more than %d times its size, which no scan does; unpack it with care and look at what it is", mostUnpacking)
		}
	}
}
