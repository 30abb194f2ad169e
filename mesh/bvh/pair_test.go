package bvh_test

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/bvh"
	"rigatino/testdata/outside"
)

// phases is the time that each part of a signed gap took.
type phases struct{ build, query, topology, sign time.Duration }

// gap measures every vertex of after against before. With a clock it says what
// each part took; the topology that signs rest on is what a scan has anyway.
func gap(t testing.TB, before, after *mesh.Mesh, clock func() time.Duration) ([]float32, phases) {
	t.Helper()
	var took phases
	n := after.VertexCount()
	at := func(i int) r3.Vec { return after.Vertex(uint32(i)) }
	from := clock()
	tree := bvh.Build(before)
	took.build = clock() - from
	from = clock()
	w := mesh.NewWeld(before)
	signed := bvh.NewSigned(before, w, mesh.NewTopology(before, w), tree)
	took.topology = clock() - from

	out := make([]float32, n)
	const batch = 1 << 18
	hits := make([]bvh.Hit, min(n, batch))
	for first := 0; first < n; first += batch {
		part := hits[:min(batch, n-first)]
		shifted := func(i int) r3.Vec { return at(first + i) }
		from = clock()
		if err := tree.ClosestAll(context.Background(), len(part), shifted, 0, part); err != nil {
			t.Fatal(err)
		}
		took.query += clock() - from
		from = clock()
		const block = 1 << 13
		err := mesh.Parallel(context.Background(), (len(part)+block-1)/block, func(b int) {
			for i := b * block; i < min(len(part), (b+1)*block); i++ {
				d, _ := signed.Distance(shifted(i), part[i])
				out[first+i] = float32(d)
			}
		})
		if err != nil {
			t.Fatal(err)
		}
		took.sign += clock() - from
	}
	return out, took
}

// BenchmarkSignedGap times the tree of one scan and the signed distance of all
// vertices of another one, by processor time where the system tells it, for
// comparison with outside programs on the same two files (see testdata/outside).
// The least of all rounds is reported part by part, as those programs do.
func BenchmarkSignedGap(b *testing.B) {
	before, after := outside.Pair(b)
	clock := outside.ProcessorTime
	if clock() == 0 {
		start := time.Now()
		clock = func() time.Duration { return time.Since(start) }
	}
	least := phases{math.MaxInt64, math.MaxInt64, math.MaxInt64, math.MaxInt64}
	for b.Loop() {
		_, p := gap(b, before, after, clock)
		least = phases{min(least.build, p.build), min(least.query, p.query), min(least.topology, p.topology), min(least.sign, p.sign)}
	}
	b.ReportMetric(least.build.Seconds(), "build-s")
	b.ReportMetric(least.query.Seconds(), "query-s")
	b.ReportMetric(least.sign.Seconds(), "sign-s")
	b.ReportMetric(least.topology.Seconds(), "topology-s")
	b.ReportMetric((least.build + least.query + least.sign).Seconds(), "gap-s")
}

// The distances of an outside program for the vertices of the same two files
// (float32, in order, in the file RIGATINO_BENCH_DISTANCES) are met to 1e-5 mm,
// and so are the signs of those farther off.
func TestSignedGapAgainstOutsideDistances(t *testing.T) {
	path := os.Getenv("RIGATINO_BENCH_DISTANCES")
	if path == "" {
		t.Skip("RIGATINO_BENCH_DISTANCES names no file")
	}
	before, after := outside.Pair(t)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	start := time.Now()
	ours, _ := gap(t, before, after, func() time.Duration { return time.Since(start) })
	if len(data) != 4*len(ours) {
		t.Fatalf("%s holds %d bytes, not 4 for each of %d vertices", path, len(data), len(ours))
	}
	const within = 1e-5
	most, signs, far := 0.0, 0, 0
	for i, d := range ours {
		theirs := float64(math.Float32frombits(binary.LittleEndian.Uint32(data[4*i:])))
		apart := math.Abs(math.Abs(float64(d)) - math.Abs(theirs))
		most = max(most, apart)
		if !(apart <= within) {
			far++
		}
		if math.Abs(theirs) > within && (float64(d) < 0) != (theirs < 0) {
			signs++
		}
	}
	said := fmt.Sprintf("%d vertices: distances differ by %.2g mm at most, by more than %g at %d; %d signs differ", len(ours), most, within, far, signs)
	t.Log(said)
	if far > 0 || signs > 0 {
		t.Error(said)
	}
}
