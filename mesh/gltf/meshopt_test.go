package gltf

import (
	"bytes"
	"math"
	"slices"
	"strings"
	"testing"

	"rigatino/testdata/interop"
)

func TestUnpackingAgreesWithTheReferenceDecoder(t *testing.T) {
	// Source: npm meshoptimizer 1.3.0, the reference encoder and decoder. Streams
	// and filters must agree in every byte.
	vectors := interop.PackedVectors(t)
	if len(vectors) < 240 {
		t.Fatalf("only %d vectors", len(vectors))
	}
	kinds := map[string]int{}
	for _, v := range vectors {
		kinds[v.Mode+" "+v.Filter]++
		p := packed{ByteStride: v.Stride, Count: v.Count, Mode: v.Mode, Filter: v.Filter}
		got, err := p.unpack(v.Packed)
		if err != nil {
			t.Errorf("%s %s: %v", v.Mode, v.Name, err)
			continue
		}
		if !bytes.Equal(got, v.Unpacked) {
			t.Errorf("%s %s: %d bytes differ from the reference", v.Mode, v.Name, len(got))
		}
	}
	for _, kind := range []string{"ATTRIBUTES NONE", "ATTRIBUTES OCTAHEDRAL", "ATTRIBUTES EXPONENTIAL", "TRIANGLES NONE", "INDICES NONE"} {
		if kinds[kind] == 0 {
			t.Errorf("no vectors of %s", kind)
		}
	}
	t.Logf("checked: %d vectors byte by byte", len(vectors))
}

func TestDeltasOfTheSpecification(t *testing.T) {
	// Appendix A, mode 0: the worked example of 4-bit sentinel coding.
	data := []byte{0x02, 0x17, 0x5f, 0xf0, 0xbc, 0x77, 0xa9, 0x21, 0x00, 0x34, 0xb5}
	var deltas [16]byte
	rest, err := unpackDeltas(data, deltas[:])
	if err != nil || len(rest) != 0 {
		t.Fatalf("%v, %d bytes left", err, len(rest))
	}
	var got []int
	for _, d := range deltas {
		got = append(got, int(int8(d>>1^-(d&1))))
	}
	if want := []int{-1, -4, -3, 26, -91, 0, -6, 6, -4, -4, 5, -5, 1, -1, 0, 0}; !slices.Equal(got, want) {
		t.Errorf("deltas %v, want %v", got, want)
	}
	// Appendix A, mode 1: the first two examples of varint-7; the third there is
	// not LEB128, so one from DWARF 5, 7.6 stands for it.
	for want, data := range map[uint32][]byte{0x7f: {0x7f}, 0x201: {0x81, 0x04}, 12857: {0xb9, 0x64}} {
		if got, _, err := varint(data); err != nil || got != want {
			t.Errorf("% x is %#x, want %#x (%v)", data, got, want, err)
		}
	}
}

func TestBrokenPackingIsRefused(t *testing.T) {
	seen := map[string]bool{}
	for _, v := range interop.PackedVectors(t) {
		if seen[v.Mode] || v.Count < 15 || len(v.Packed) > 2000 || strings.HasPrefix(v.Name, "zero") {
			continue
		}
		seen[v.Mode] = true
		p := packed{ByteStride: v.Stride, Count: v.Count, Mode: v.Mode}
		for n := range v.Packed {
			if _, err := p.unpack(v.Packed[:n:n]); err == nil {
				t.Errorf("%s %s: %d of %d bytes were unpacked", v.Mode, v.Name, n, len(v.Packed))
			}
		}
		if _, err := p.unpack(append(bytes.Clone(v.Packed), 0)); err == nil && v.Mode != "ATTRIBUTES" {
			t.Errorf("%s %s: unpacked with a byte too many", v.Mode, v.Name)
		}
		wrong := bytes.Clone(v.Packed)
		wrong[0]++ // version 1 of attributes is 0xa1
		if _, err := p.unpack(wrong); err == nil || !strings.Contains(err.Error(), "header") {
			t.Errorf("%s: another version gave %v", v.Mode, err)
		}
		for _, count := range []int{-3, v.Count + 66, 3_999_999_999, math.MaxInt} {
			p.Count = count
			if _, err := p.unpack(v.Packed); err == nil {
				t.Errorf("%s: %d elements were unpacked from %d", v.Mode, count, v.Count)
			}
		}
	}
	if len(seen) != 3 {
		t.Errorf("modes tried: %v", seen)
	}
}

// FuzzUnpack unpacks whatever it is given.
func FuzzUnpack(f *testing.F) {
	f.Add([]byte("\xa0\x00\x00\x00\x00"+strings.Repeat("\x00", 32)), uint16(16), uint8(4), uint8(0))
	f.Add([]byte("\xe1\xf0"+"\x10\x00"+strings.Repeat("\x00", 16)), uint16(3), uint8(4), uint8(1))
	f.Add([]byte("\xd1\x00\x02\x04\x00\x00\x00\x00"), uint16(3), uint8(2), uint8(2))
	modes := []string{"ATTRIBUTES", "TRIANGLES", "INDICES", "ATTRIBUTES", "ATTRIBUTES"}
	filters := []string{"", "", "", "OCTAHEDRAL", "EXPONENTIAL"}
	f.Fuzz(func(t *testing.T, data []byte, count uint16, stride, mode uint8) {
		k := int(mode) % len(modes)
		p := packed{ByteStride: int(stride), Count: int(count), Mode: modes[k], Filter: filters[k]}
		if out, err := p.unpack(data); err == nil && len(out) != p.Count*p.ByteStride {
			t.Errorf("%d bytes for %d elements of %d", len(out), p.Count, p.ByteStride)
		}
	})
}
