package gltf

import (
	"bytes"
	"encoding/binary"
	"fmt"

	"rigatino/mesh"
)

// The GLB container (specification 4): a header of 12 bytes (magic, version,
// length of the file), then chunks, each with a header of 8 bytes (length,
// type). The first chunk is the JSON, the second, if any, the binary data;
// others are skipped. All numbers are little-endian uint32.
const (
	glbMagic   = 0x46546C67 // "glTF"
	glbVersion = 2
	chunkJSON  = 0x4E4F534A
	chunkBIN   = 0x004E4942
	headerSize = 12
	chunkSize  = 8
)

// IsGLB says whether data begins like a GLB file.
func IsGLB(data []byte) bool {
	return len(data) >= 4 && binary.LittleEndian.Uint32(data) == glbMagic
}

// container is what a GLB file holds.
type container struct {
	json     []byte
	bin      []byte // nil without a BIN chunk
	findings []mesh.Finding
}

// openGLB finds the chunks of a GLB file. Chunks share memory with data.
func openGLB(data []byte) (container, error) {
	var c container
	if len(data) < headerSize {
		return c, damaged("the GLB header", "has %d of its %d bytes", len(data), headerSize)
	}
	version := binary.LittleEndian.Uint32(data[4:])
	length := int64(binary.LittleEndian.Uint32(data[8:]))
	if version != glbVersion {
		return c, flaw{"the GLB header", fmt.Sprintf("says version %d", version), "save the scan as glTF 2.0"}
	}
	if size := int64(len(data)); size > length && length >= headerSize+chunkSize {
		c.note("glb_extra_bytes", fmt.Sprintf("%d bytes after the end of the GLB are ignored", size-length))
		data = data[:length]
	} else if size > length {
		return c, damaged("the GLB header", "says a length of %d bytes, too few for any content", length)
	}
	size := int64(len(data))
	for at, n := int64(headerSize), 0; at < size; n++ {
		if size-at < chunkSize {
			if n >= 1 && len(bytes.Trim(data[at:], "\x00")) == 0 {
				break // padding
			}
			return c, damaged(fmt.Sprintf("chunk %d", n), "at byte %d has %d of the 8 bytes of its header", at, size-at)
		}
		chunk := int64(binary.LittleEndian.Uint32(data[at:]))
		kind := binary.LittleEndian.Uint32(data[at+4:])
		body := at + chunkSize
		if chunk > size-body {
			return c, damaged(fmt.Sprintf("chunk %d (%s)", n, chunkName(kind)),
				"says %d bytes and the file ends after %d of them", chunk, size-body)
		}
		content := data[body : body+chunk : body+chunk]
		switch {
		case n == 0 && kind != chunkJSON:
			return c, damaged("chunk 0", "is not JSON but %s", chunkName(kind))
		case n == 0:
			c.json = content
		case n == 1 && kind == chunkBIN:
			c.bin = content
		}
		at = body + chunk
		if chunk%4 != 0 {
			c.note("glb_unpadded_chunk", fmt.Sprintf("chunk %d of the GLB is not padded to 4 bytes", n))
			// Some writers pad and leave the padding out of the length.
			if next := (at + 3) &^ 3; !isChunk(data, at) && isChunk(data, next) {
				at = next
			}
		}
	}
	if length > size {
		return c, damaged("the GLB header", "says a length of %d bytes and the file has %d", length, size)
	}
	if c.json == nil {
		return c, damaged("the GLB", "has no JSON chunk")
	}
	return c, nil
}

// isChunk says whether a chunk of a known type begins at a byte.
func isChunk(data []byte, at int64) bool {
	if int64(len(data))-at < chunkSize {
		return false
	}
	kind := binary.LittleEndian.Uint32(data[at+4:])
	return kind == chunkJSON || kind == chunkBIN
}

func (c *container) note(id, reason string) {
	c.findings = append(c.findings, mesh.Finding{ID: id, Severity: mesh.Note, Reason: reason, WayOut: mesh.NothingToDo})
}

// chunkName is the type of a chunk in words.
func chunkName(kind uint32) string {
	switch kind {
	case chunkJSON:
		return "JSON"
	case chunkBIN:
		return "BIN"
	}
	return fmt.Sprintf("unknown type %#08x", kind)
}
