package gltf

import (
	"cmp"
	"encoding/base64"
	"errors"
	"fmt"
	"net/url"
	"path"
	"path/filepath"
	"slices"
	"sort"
	"strings"
)

// ErrUnsafePath is returned for a file name in a glTF that leads out of the
// folder of the glTF itself.
var ErrUnsafePath = errors.New("leads out of the scan's own folder")

// longestName is how long the name of a file may be, folders included.
const longestName = 1024

// localName turns a URI of a glTF into the name of a file in the glTF's own
// folder, with slashes. Web addresses, absolute paths and ".." are refused.
func localName(uri string) (string, error) {
	name, err := url.PathUnescape(uri)
	if err != nil {
		name = uri // a stray percent sign in a file name
	}
	name = strings.ReplaceAll(name, `\`, "/")
	if i := strings.IndexAny(name, ":?#"); i >= 0 && name[i] == ':' {
		return "", fmt.Errorf("%q is an address and %w", brief(uri), ErrUnsafePath)
	}
	for part := range strings.SplitSeq(name, "/") {
		if part == ".." {
			return "", fmt.Errorf("%q %w", brief(uri), ErrUnsafePath)
		}
	}
	if len(name) > longestName {
		return "", fmt.Errorf("%q … is a name of %d bytes, longer than any file has", name[:40], len(name))
	}
	name = path.Clean(name)
	if name == "." || strings.ContainsRune(name, 0) || !filepath.IsLocal(filepath.FromSlash(name)) {
		return "", fmt.Errorf("%q %w", brief(uri), ErrUnsafePath)
	}
	return name, nil
}

// isData says whether a URI carries its bytes itself.
func isData(uri string) bool { return len(uri) >= 5 && strings.EqualFold(uri[:5], "data:") }

// dataOf decodes a base64 data URI (RFC 2397).
func dataOf(uri string) ([]byte, error) {
	head, body, ok := strings.Cut(uri[5:], ",")
	if !ok || !strings.HasSuffix(head, ";base64") {
		return nil, errors.New("is a data address that is not base64")
	}
	if strings.ContainsRune(body, '%') {
		if plain, err := url.PathUnescape(body); err == nil {
			body = plain
		}
	}
	data, err := base64.StdEncoding.DecodeString(body)
	if err != nil {
		// Some writers leave the padding out.
		data, err = base64.RawStdEncoding.DecodeString(body)
	}
	if err != nil {
		return nil, fmt.Errorf("has broken base64: %w", err)
	}
	return data, nil
}

// fetch returns the bytes at a URI, each file read once, and the file's name unless the URI carries
// its bytes.
func (r *reader) fetch(uri string) (data []byte, name string, err error) {
	if isData(uri) {
		data, err = dataOf(uri)
		return data, "", err
	}
	if name, err = localName(uri); err != nil {
		return nil, "", err
	}
	if r.opt.Resource == nil {
		return nil, name, fmt.Errorf("needs the file %q beside it", name)
	}
	if data, ok := r.files[name]; ok {
		return data, name, nil
	}
	if data, err = r.opt.Resource(name); err != nil {
		return nil, name, err
	}
	if r.files == nil {
		r.files = map[string][]byte{}
	}
	r.files[name] = data
	r.present += int64(len(data))
	return data, name, nil
}

// bufferBytes is what has been read of a buffer: the runs that the document uses.
type bufferBytes struct {
	size int // as the document says
	runs []Run
	data [][]byte
}

// holds says whether there are n bytes from byte at on.
func (b *bufferBytes) holds(at, n int) bool {
	return at >= 0 && n >= 0 && at <= b.size && n <= b.size-at
}

// bytes returns n bytes from byte at on, which must lie in one of the runs.
func (b *bufferBytes) bytes(at, n int) []byte {
	if n == 0 {
		return []byte{}
	}
	i := sort.Search(len(b.runs), func(i int) bool { return b.runs[i].To > int64(at) })
	at -= int(b.runs[i].From)
	return b.data[i][at : at+n : at+n]
}

// nearRuns is how far apart two runs may be that are read as one.
const nearRuns = 1 << 20

// runsOf lists what the document uses of buffer i, as runs that rise and lie
// apart and begin at a multiple of eight. Views that do not fit into the buffer
// are left out: they are refused where they are used.
func (r *reader) runsOf(i int) []Run {
	if r.runs == nil {
		r.runs = make([][]Run, len(r.doc.Buffers))
		for k := range r.doc.BufferViews {
			v := &r.doc.BufferViews[k]
			r.addRun(v.Buffer, v.ByteOffset, v.ByteLength)
			var p packed
			if found, err := v.Extensions.get("", extMeshopt, &p); found && err == nil {
				r.addRun(p.Buffer, p.ByteOffset, p.ByteLength)
			}
		}
	}
	runs := r.runs[i]
	slices.SortFunc(runs, func(a, b Run) int { return cmp.Compare(a.From, b.From) })
	out := runs[:0]
	for _, run := range runs {
		if n := len(out); n > 0 && run.From <= out[n-1].To+nearRuns {
			out[n-1].To = max(out[n-1].To, run.To)
			continue
		}
		out = append(out, run)
	}
	return out
}

// addRun notes that a run of a buffer is used.
func (r *reader) addRun(buffer, at, n int) {
	if buffer < 0 || buffer >= len(r.doc.Buffers) || n == 0 {
		return
	}
	if b := (&bufferBytes{size: r.doc.Buffers[buffer].ByteLength}); b.holds(at, n) {
		r.runs[buffer] = append(r.runs[buffer], Run{int64(at) &^ 7, int64(at + n)})
	}
}

// buffer returns buffer i, read when first asked for.
func (r *reader) buffer(i int) (*bufferBytes, error) {
	if i < 0 || i >= len(r.doc.Buffers) {
		return nil, damaged(fmt.Sprintf("buffer %d", i), "is not one of the %d there are", len(r.doc.Buffers))
	}
	if r.buffers == nil {
		r.buffers = make([]*bufferBytes, len(r.doc.Buffers))
	}
	if r.buffers[i] != nil {
		return r.buffers[i], nil
	}
	b := &r.doc.Buffers[i]
	where := fmt.Sprintf("buffer %d", i)
	out := &bufferBytes{size: b.ByteLength}
	var present int64
	switch {
	case b.URI != "":
		name, size, err := r.fill(out, i, b.URI)
		if errors.Is(err, ErrUnsafePath) {
			return nil, fmt.Errorf("%s: %w; put the file beside the .gltf or save the scan as .glb", where, err)
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w; %s", where, err, "put all files of the scan in one folder, or save it as .glb")
		}
		if name != "" {
			where += fmt.Sprintf(" (%s)", name)
		}
		present = size
	case i == 0 && r.bin != nil:
		out.whole(r.bin)
		present = int64(len(r.bin))
		where += " (BIN chunk)"
	default:
		return nil, damaged(where, "has no data")
	}
	if b.ByteLength < 0 || int64(b.ByteLength) > present {
		return nil, damaged(where, "should have %d bytes and has %d", b.ByteLength, present)
	}
	for k, run := range out.runs {
		if int64(len(out.data[k])) != run.To-run.From {
			return nil, damaged(where, "could not be read from byte %d to %d", run.From, run.To)
		}
	}
	r.buffers[i] = out
	return out, nil
}

// whole says that all bytes are there.
func (b *bufferBytes) whole(data []byte) {
	b.runs, b.data = []Run{{0, int64(len(data))}}, [][]byte{data}
}

// fill reads the content of buffer i from a URI, and returns the file's name,
// unless the URI carries its bytes, and its size.
func (r *reader) fill(b *bufferBytes, i int, uri string) (name string, size int64, err error) {
	if r.opt.Parts == nil || isData(uri) {
		data, name, err := r.fetch(uri)
		if err != nil {
			return name, 0, err
		}
		b.whole(data)
		return name, int64(len(data)), nil
	}
	if name, err = localName(uri); err != nil {
		return "", 0, err
	}
	b.runs = r.runsOf(i)
	if b.data, size, err = r.opt.Parts(name, b.runs); err != nil {
		return name, 0, err
	}
	if len(b.data) != len(b.runs) {
		return name, 0, fmt.Errorf("%q could not be read in parts", name)
	}
	var held int64
	for _, d := range b.data {
		held += int64(len(d))
	}
	r.present += held
	// Two buffers may be one file; many that hold all of it each fill the memory.
	if r.held == nil {
		r.held = map[string]int64{}
	}
	if r.held[name] += held; r.held[name] > 2*size {
		return name, 0, fmt.Errorf("%q is named as several buffers, which overlap", name)
	}
	return name, size, nil
}

// view returns the bytes of buffer view i.
func (r *reader) view(i int) ([]byte, *BufferView, error) {
	if i < 0 || i >= len(r.doc.BufferViews) {
		return nil, nil, damaged(fmt.Sprintf("buffer view %d", i), "is not one of the %d there are", len(r.doc.BufferViews))
	}
	v := &r.doc.BufferViews[i]
	if _, ok := v.Extensions[extMeshoptKHR]; ok && !r.hasFallback(v) {
		return nil, nil, needsExtension(extMeshoptKHR)
	}
	where := fmt.Sprintf("buffer view %d", i)
	if v.ByteStride != 0 && (v.ByteStride < 0 || v.ByteStride > 252) {
		return nil, nil, damaged(where, "has a stride of %d bytes, outside 4 to 252", v.ByteStride)
	}
	if _, ok := v.Extensions[extMeshopt]; ok && !r.hasFallback(v) {
		data, err := r.unpackView(i, v)
		if err != nil {
			return nil, nil, err
		}
		return data[:v.ByteLength:v.ByteLength], v, nil
	}
	b, err := r.buffer(v.Buffer)
	if err != nil {
		return nil, nil, err
	}
	if !b.holds(v.ByteOffset, v.ByteLength) {
		return nil, nil, damaged(where, "asks for %d bytes from byte %d of buffer %d, which has %d",
			v.ByteLength, v.ByteOffset, v.Buffer, b.size)
	}
	return b.bytes(v.ByteOffset, v.ByteLength), v, nil
}

// hasFallback says whether a compressed view also names plain data.
func (r *reader) hasFallback(v *BufferView) bool {
	if v.Buffer < 0 || v.Buffer >= len(r.doc.Buffers) {
		return false
	}
	return r.doc.Buffers[v.Buffer].URI != "" || (v.Buffer == 0 && r.bin != nil)
}

// Files lists the names of all files that the document refers to, inside its
// own folder, in order; names that lead elsewhere are left out.
func (d *Document) Files() []string {
	var out []string
	add := func(uri string) {
		if uri == "" || isData(uri) {
			return
		}
		if name, err := localName(uri); err == nil && !slices.Contains(out, name) {
			out = append(out, name)
		}
	}
	for i := range d.Buffers {
		add(d.Buffers[i].URI)
	}
	for i := range d.Images {
		add(d.Images[i].URI)
	}
	return out
}
