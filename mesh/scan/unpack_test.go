package scan

import (
	"bytes"
	"compress/gzip"
	"context"
	"strings"
	"testing"
)

// FuzzUnpack gives unpack anything: what it takes it gives back whole, no more
// than its bounds, and what it refuses it refuses with a way out. What is packed
// here comes back as it was, cut off anywhere it is refused (RFC 1952: a member
// ends with CRC and length).
func FuzzUnpack(f *testing.F) {
	pack := func(data []byte) []byte {
		var out bytes.Buffer
		z := gzip.NewWriter(&out)
		_, err := z.Write(data)
		if err != nil || z.Close() != nil {
			f.Fatal("not packed")
		}
		return out.Bytes()
	}
	f.Add([]byte("solid ball\nendsolid ball\n"), uint16(20))
	f.Add(pack([]byte("v 0 0 0\n")), uint16(3))
	f.Add([]byte{0x1f, 0x8b, 8}, uint16(0))
	f.Fuzz(func(t *testing.T, data []byte, cut uint16) {
		refused := func(err error) {
			if text := err.Error(); !strings.Contains(text, "; ") || len(text) > 300 {
				t.Errorf("refused with %q", text)
			}
		}
		out, err := unpack(context.Background(), data)
		if err != nil {
			refused(err)
		} else if int64(len(out)) > max(freeUnpacked, int64(len(data))*mostUnpacking)+4<<20 {
			t.Errorf("%d bytes unpack to %d", len(data), len(out))
		}
		packed := pack(data)
		if out, err = unpack(context.Background(), packed); err != nil || !bytes.Equal(out, data) {
			t.Fatalf("packed and unpacked: %v", err)
		}
		if int(cut) < len(packed) {
			if _, err := unpack(context.Background(), packed[:cut]); err == nil {
				t.Errorf("cut off after %d of %d bytes it is taken", cut, len(packed))
			} else {
				refused(err)
			}
		}
	})
}
