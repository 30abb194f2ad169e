package glb

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"testing"
)

// photograph is a small picture of many colours.
func photograph() image.Image {
	img := image.NewNRGBA(image.Rect(0, 0, 40, 24))
	for y := range 24 {
		for x := range 40 {
			img.SetNRGBA(x, y, color.NRGBA{uint8(6 * x), uint8(10 * y), uint8(x * y), 255})
		}
	}
	return img
}

func codedJPEG(t testing.TB) []byte {
	t.Helper()
	var out bytes.Buffer
	if err := jpeg.Encode(&out, photograph(), nil); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func codedPNG(t testing.TB) []byte {
	t.Helper()
	var out bytes.Buffer
	if err := png.Encode(&out, photograph()); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// segment is a JPEG segment (ITU-T T.81, B.1.1.4).
func segment(marker byte, body string) []byte {
	return append([]byte{0xFF, marker, byte((len(body) + 2) >> 8), byte(len(body) + 2)}, body...)
}

// chunk is a PNG chunk (PNG 5.3).
func chunk(kind, body string) []byte {
	out := binary.BigEndian.AppendUint32(nil, uint32(len(body)))
	out = append(out, kind+body...)
	return binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE([]byte(kind+body)))
}

// jpegWithNotes puts everything that may tell more than the picture into one:
// segments before it and between its tables, a preview, a second picture behind
// the end.
func jpegWithNotes(t testing.TB) (plain, full []byte) {
	plain = codedJPEG(t)
	full = append([]byte{}, plain[:2]...)
	full = append(full, segment(0xE0, "JFIF\x00\x01\x02\x01\x00\x48\x00\x48\x01\x01SECRET preview")...)
	full = append(full, segment(0xE1, "Exif\x00\x00SECRET place of find")...)
	full = append(full, segment(0xE1, "http://ns.adobe.com/xap/1.0/\x00SECRET")...)
	full = append(full, segment(0xE2, "ICC_PROFILE\x00\x01\x01profile")...)
	full = append(full, segment(0xE2, "MPF\x00SECRET")...)
	full = append(full, segment(0xEB, "JP SECRET")...)
	full = append(full, segment(0xED, "Photoshop 3.0\x00SECRET")...)
	full = append(full, segment(0xFE, "SECRET comment")...)
	full = append(full, 0xFF, 0xFF, 0xFF) // fill bytes
	full = append(full, plain[3:len(plain)-2]...)
	full = append(full, segment(0xFE, "SECRET comment behind the scan")...)
	full = append(full, 0xFF, 0xD9)
	full = append(full, "SECRET second picture"...)
	return plain, full
}

func pngWithNotes(t testing.TB) (plain, full []byte) {
	plain = codedPNG(t)
	const header = 8 + 25 // signature and IHDR
	full = append([]byte{}, plain[:header]...)
	full = append(full, chunk("sRGB", "\x00")...)
	for _, kind := range []string{"tEXt", "zTXt", "iTXt", "eXIf", "tIME", "caBX", "prIv"} {
		full = append(full, chunk(kind, "SECRET")...)
	}
	full = append(full, plain[header:len(plain)-12]...)
	full = append(full, chunk("tEXt", "SECRET behind the picture")...)
	full = append(full, chunk("IEND", "")...)
	full = append(full, "SECRET behind the end"...)
	return plain, full
}

// Notes go wherever they stand; the coded picture and what it looks like stay.
// Sources: ITU-T T.81 annex B; PNG third edition, 5.6; the pictures are decoded
// by the standard library.
func TestNotesAreDropped(t *testing.T) {
	plain, full := jpegWithNotes(t)
	got, ok := withoutNotes(full)
	if !ok || bytes.Contains(got, []byte("SECRET")) {
		t.Errorf("JPEG: ok %v, notes are still there", ok)
	}
	if !bytes.Contains(got, []byte("profile")) || !bytes.HasSuffix(got, plain[2:]) {
		t.Error("JPEG: more than notes is gone")
	}
	samePicture(t, plain, got)
	if again, ok := withoutNotes(got); !ok || !bytes.Equal(again, got) {
		t.Error("JPEG: a clean picture changes")
	}
	if same, ok := withoutNotes(plain); !ok || !bytes.Equal(same, plain) {
		t.Error("JPEG: a picture without notes changes")
	}
	plain, full = pngWithNotes(t)
	got, ok = withoutNotes(full)
	if !ok || bytes.Contains(got, []byte("SECRET")) {
		t.Errorf("PNG: ok %v, notes are still there", ok)
	}
	if want := len(plain) + len(chunk("sRGB", "\x00")); len(got) != want {
		t.Errorf("PNG: %d bytes, want %d", len(got), want)
	}
	samePicture(t, plain, got)
	if same, ok := withoutNotes(plain); !ok || !bytes.Equal(same, plain) {
		t.Error("PNG: a picture without notes changes")
	}
}

// What does not hold together is not handed on: nobody can say what is in it.
func TestBrokenPicturesAreNotHandedOn(t *testing.T) {
	_, full := jpegWithNotes(t)
	for name, data := range map[string][]byte{
		"nothing":           nil,
		"neither":           []byte("GIF89a"),
		"cut in a segment":  full[:40],
		"no scan":           append(bytes.Clone(full[:2]), 0xFF, 0xD9),
		"a second start":    append(bytes.Clone(full[:2]), 0xFF, 0xD8, 0, 4, 1, 1),
		"PNG without data":  codedPNG(t)[:33],
		"PNG cut in a note": append(bytes.Clone(codedPNG(t)[:33]), 0, 0, 0, 99, 't', 'E', 'X', 't', 'S', 'E', 'C', 'R', 'E', 'T'),
	} {
		if out, ok := withoutNotes(data); ok {
			t.Errorf("%s: %d bytes are handed on", name, len(out))
		}
	}
	// Cut off in its coded data a picture still shows something, and no notes.
	if out, ok := withoutNotes(full[:len(full)-200]); !ok || bytes.Contains(out, []byte("SECRET")) {
		t.Errorf("a JPEG cut off in its scan: %v", ok)
	}
}

func samePicture(t *testing.T, a, b []byte) {
	t.Helper()
	x, _, errX := image.Decode(bytes.NewReader(a))
	y, _, errY := image.Decode(bytes.NewReader(b))
	if errX != nil {
		return
	}
	if errY != nil || x.Bounds() != y.Bounds() {
		t.Fatalf("the picture cannot be read any more: %v", errY)
	}
	for v := x.Bounds().Min.Y; v < x.Bounds().Max.Y; v++ {
		for u := x.Bounds().Min.X; u < x.Bounds().Max.X; u++ {
			if x.At(u, v) != y.At(u, v) {
				t.Fatalf("pixel %d, %d is %v, was %v", u, v, y.At(u, v), x.At(u, v))
			}
		}
	}
}

// FuzzNotes drops the notes of whatever it is given: a picture that could be
// read looks the same afterwards, and dropping again changes nothing.
func FuzzNotes(f *testing.F) {
	for _, with := range []func(testing.TB) ([]byte, []byte){jpegWithNotes, pngWithNotes} {
		plain, full := with(f)
		f.Add(plain)
		f.Add(full)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		out, ok := withoutNotes(data)
		if !ok {
			return
		}
		if len(out) > len(data) {
			t.Fatalf("%d bytes of %d", len(out), len(data))
		}
		again, ok := withoutNotes(out)
		if !ok || !bytes.Equal(again, out) {
			t.Fatal("dropping again changes the picture")
		}
		head, _, err := image.DecodeConfig(bytes.NewReader(data))
		if err != nil || head.Width*head.Height > 1<<16 || bytes.Count(data, []byte{0xFF, 0xE0}) > 1 {
			return // several segments APP0: readers differ on which counts
		}
		samePicture(t, data, out)
	})
}
