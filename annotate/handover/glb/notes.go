package glb

import (
	"bytes"
	"encoding/binary"
)

// withoutNotes drops what a coded picture says of camera, place and maker: EXIF,
// XMP and comments. Colour profiles and the coded picture itself stay byte for
// byte. A file that does not read as its kind is returned as it is.
func withoutNotes(data []byte) []byte {
	switch {
	case bytes.HasPrefix(data, []byte{0xFF, 0xD8}):
		return jpegWithoutNotes(data)
	case bytes.HasPrefix(data, []byte("\x89PNG\r\n\x1a\n")):
		return pngWithoutNotes(data)
	}
	return data
}

// jpegWithoutNotes drops the segments APP1, APP3 to APP13, APP15, APP2 that is
// no colour profile, and COM (ITU-T T.81, annex B).
func jpegWithoutNotes(data []byte) []byte {
	out := append([]byte(nil), data[:2]...)
	for at := 2; ; {
		if at+4 > len(data) || data[at] != 0xFF {
			return data
		}
		marker := data[at+1]
		if marker == 0xDA { // the picture begins
			return append(out, data[at:]...)
		}
		if marker == 0xFF { // fill byte
			at++
			continue
		}
		length := int(binary.BigEndian.Uint16(data[at+2:]))
		end := at + 2 + length
		if length < 2 || end > len(data) {
			return data
		}
		segment := data[at:end]
		keep := marker < 0xE0 || marker > 0xEF && marker != 0xFE
		switch marker {
		case 0xE0, 0xEE: // JFIF, and how the colours are coded
			keep = true
		case 0xE2:
			keep = bytes.HasPrefix(segment[4:], []byte("ICC_PROFILE\x00"))
		}
		if keep {
			out = append(out, segment...)
		}
		at = end
	}
}

// pngWithoutNotes drops the chunks of text, time and EXIF (ISO/IEC 15948).
func pngWithoutNotes(data []byte) []byte {
	out := append([]byte(nil), data[:8]...)
	for at := 8; at < len(data); {
		if at+12 > len(data) {
			return data
		}
		length := int64(binary.BigEndian.Uint32(data[at:]))
		end := int64(at) + 12 + length
		if end > int64(len(data)) {
			return data
		}
		switch string(data[at+4 : at+8]) {
		case "tEXt", "zTXt", "iTXt", "eXIf", "tIME":
		default:
			out = append(out, data[at:end]...)
		}
		at = int(end)
	}
	return out
}
