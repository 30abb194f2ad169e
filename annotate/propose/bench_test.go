package propose

import (
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate/facemap"
	"rigatino/mesh/change"
	"rigatino/mesh/frame"
	"rigatino/mesh/volume"
)

// Proposals from a measured change of two coloured scans of 327 680 faces.
func BenchmarkMake(b *testing.B) {
	before := ball{level: 7, paint: bone, light: lamp(r3.Vec{X: 1, Z: 1}, 0.6)}.scan()
	after := ball{level: 7, paint: bone, light: lamp(r3.Vec{X: -1}, 0.6), turn: 0.7}.scan()
	c, err := change.Compare(b.Context(), before, after, frame.Identity(), change.Options{})
	if err != nil {
		b.Fatal(err)
	}
	v, err := volume.Measure(b.Context(), c, volume.Options{})
	if err != nil {
		b.Fatal(err)
	}
	in := Input{
		Change: c, Volume: v, What: make([]string, len(c.Areas)),
		Before: Scan{Surface: facemap.NewSurface(before)}, After: Scan{Surface: facemap.NewSurface(after)}, StageKind: "retouch",
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Make(b.Context(), in); err != nil {
			b.Fatal(err)
		}
	}
}
