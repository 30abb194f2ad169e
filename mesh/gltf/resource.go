package gltf

import (
	"encoding/base64"
	"errors"
	"fmt"
	"net/url"
	"path"
	"path/filepath"
	"slices"
	"strings"
)

// ErrUnsafePath is returned for a file name in a glTF that leads out of the
// folder of the glTF itself.
var ErrUnsafePath = errors.New("leads out of the scan's own folder")

// localName turns a URI of a glTF into the name of a file in the glTF's own
// folder, with slashes. Web addresses, absolute paths and ".." are refused.
func localName(uri string) (string, error) {
	name, err := url.PathUnescape(uri)
	if err != nil {
		name = uri // a stray percent sign in a file name
	}
	name = strings.ReplaceAll(name, `\`, "/")
	if i := strings.IndexAny(name, ":?#"); i >= 0 && name[i] == ':' {
		return "", fmt.Errorf("%q is an address and %w", uri, ErrUnsafePath)
	}
	for part := range strings.SplitSeq(name, "/") {
		if part == ".." {
			return "", fmt.Errorf("%q %w", uri, ErrUnsafePath)
		}
	}
	name = path.Clean(name)
	if name == "." || strings.ContainsRune(name, 0) || !filepath.IsLocal(filepath.FromSlash(name)) {
		return "", fmt.Errorf("%q %w", uri, ErrUnsafePath)
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

// fetch returns the bytes at a URI, and the file's name unless the URI carries
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
	data, err = r.opt.Resource(name)
	return data, name, err
}

// buffer returns the bytes of buffer i, read when first asked for.
func (r *reader) buffer(i int) ([]byte, error) {
	if i < 0 || i >= len(r.doc.Buffers) {
		return nil, damaged(fmt.Sprintf("buffer %d", i), "is not one of the %d there are", len(r.doc.Buffers))
	}
	if r.buffers == nil {
		r.buffers = make([][]byte, len(r.doc.Buffers))
	}
	if r.buffers[i] != nil {
		return r.buffers[i], nil
	}
	b := &r.doc.Buffers[i]
	where := fmt.Sprintf("buffer %d", i)
	var data []byte
	switch {
	case b.URI != "":
		var err error
		var name string
		data, name, err = r.fetch(b.URI)
		if errors.Is(err, ErrUnsafePath) {
			return nil, fmt.Errorf("%s: %w; put the file beside the .gltf or save the scan as .glb", where, err)
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w; %s", where, err, "put all files of the scan in one folder, or save it as .glb")
		}
		if name != "" {
			where += fmt.Sprintf(" (%s)", name)
		}
	case i == 0 && r.bin != nil:
		data = r.bin
		where += " (BIN chunk)"
	default:
		return nil, damaged(where, "has no data")
	}
	if b.ByteLength < 0 || b.ByteLength > len(data) {
		return nil, damaged(where, "should have %d bytes and has %d", b.ByteLength, len(data))
	}
	if !isData(b.URI) && b.URI != "" {
		r.present += int64(len(data))
	}
	data = data[:b.ByteLength:b.ByteLength]
	if data == nil {
		data = []byte{}
	}
	r.buffers[i] = data
	return data, nil
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
	data, err := r.buffer(v.Buffer)
	if err != nil {
		return nil, nil, err
	}
	if v.ByteOffset < 0 || v.ByteLength < 0 || v.ByteOffset > len(data) || v.ByteLength > len(data)-v.ByteOffset {
		return nil, nil, damaged(where, "asks for %d bytes from byte %d of buffer %d, which has %d",
			v.ByteLength, v.ByteOffset, v.Buffer, len(data))
	}
	end := v.ByteOffset + v.ByteLength
	return data[v.ByteOffset:end:end], v, nil
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
