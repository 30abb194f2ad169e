package glb

import (
	"bytes"
	"encoding/binary"

	"rigatino/mesh"
)

// withoutNotes drops what a coded picture says of camera, place and maker (EXIF,
// XMP, comments, small previews, whatever programs add to it), and what lies
// behind its end, where some cameras put a second picture. Only what is needed to
// see the picture stays: its coded data byte for byte, and its colour profile.
// ok is false where the data does not hold together, so that nobody can say what
// is in it; then it must not be handed on.
func withoutNotes(data []byte) (out []byte, ok bool) {
	switch mesh.ImageType(data) {
	case "image/jpeg":
		return jpegWithoutNotes(data)
	case "image/png":
		return pngWithoutNotes(data)
	}
	return nil, false
}

// Markers of a JPEG (ITU-T T.81, table B.1).
const (
	jpegSOI = 0xD8
	jpegEOI = 0xD9
	jpegSOS = 0xDA
)

// jpegWithoutNotes keeps frames, tables and scans, the JFIF and Adobe segments,
// which say how colours are coded, and a colour profile.
func jpegWithoutNotes(data []byte) ([]byte, bool) {
	out := append([]byte(nil), data[:2]...)
	scans := false
	for at := 2; ; {
		// Between segments there is nothing but fill bytes; a reader skips what else
		// is there.
		for at < len(data) && data[at] != 0xFF {
			at++
		}
		for at < len(data) && data[at] == 0xFF {
			at++
		}
		if at >= len(data) {
			return out, scans // cut off: what is there can be seen
		}
		marker := data[at]
		at++
		switch {
		case marker == jpegEOI:
			return append(out, 0xFF, jpegEOI), scans
		case marker == 0 || marker == 1 || marker >= 0xD0 && marker <= 0xD7:
			continue // no segment
		case marker == jpegSOI || at+2 > len(data):
			return nil, false
		}
		end := at + int(binary.BigEndian.Uint16(data[at:]))
		if end < at+2 || end > len(data) {
			return nil, false
		}
		if segment := jpegSegment(marker, data[at+2:end]); segment != nil {
			out = append(out, 0xFF, marker)
			out = binary.BigEndian.AppendUint16(out, uint16(len(segment)+2))
			out = append(out, segment...)
		}
		at = end
		if marker == jpegSOS {
			scans = true
			end = endOfScan(data, at)
			out = append(out, data[at:end]...)
			at = end
		}
	}
}

// jpegSegment returns what stays of a segment, nil for nothing.
func jpegSegment(marker byte, body []byte) []byte {
	switch {
	case marker == 0xE0 && len(body) >= 14 && bytes.HasPrefix(body, []byte("JFIF\x00")):
		// Version, density; a small preview may show more than the picture.
		return append(append([]byte(nil), body[:12]...), 0, 0)
	case marker == 0xE2 && bytes.HasPrefix(body, []byte("ICC_PROFILE\x00")),
		marker == 0xEE && bytes.HasPrefix(body, []byte("Adobe")),
		marker >= 0xC0 && marker <= 0xDF: // frames, tables, scans
		return body
	}
	return nil
}

// endOfScan finds the first marker in coded data that is no restart.
func endOfScan(data []byte, at int) int {
	for {
		i := bytes.IndexByte(data[at:], 0xFF)
		if i < 0 {
			return len(data)
		}
		at += i
		if at+1 >= len(data) {
			return len(data)
		}
		if m := data[at+1]; m == 0 || m >= 0xD0 && m <= 0xD7 {
			at += 2
			continue
		}
		return at
	}
}

// pngKept are the chunks (PNG third edition, W3C 2025, 5.6) without which a
// picture looks different.
var pngKept = map[string]bool{
	"IHDR": true, "PLTE": true, "IDAT": true, "IEND": true, "tRNS": true,
	"gAMA": true, "cHRM": true, "sRGB": true, "iCCP": true, "cICP": true, "mDCV": true, "cLLI": true,
	"sBIT": true, "pHYs": true,
}

// pngWithoutNotes keeps the chunks of pngKept and nothing behind the last one.
func pngWithoutNotes(data []byte) ([]byte, bool) {
	const signature, frame = 8, 12 // a chunk is 12 bytes more than its content
	out := append([]byte(nil), data[:signature]...)
	picture := false
	for at := signature; len(data)-at >= frame; {
		length := int64(binary.BigEndian.Uint32(data[at:]))
		if length > int64(len(data)-at-frame) {
			return nil, false // nobody can say where the next one begins
		}
		end := at + frame + int(length)
		kind := string(data[at+4 : at+8])
		if pngKept[kind] {
			out = append(out, data[at:end]...)
		}
		picture = picture || kind == "IDAT"
		if kind == "IEND" {
			break
		}
		at = end
	}
	return out, picture
}
