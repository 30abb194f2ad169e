package volume_test

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/bvh"
	"rigatino/mesh/change"
	"rigatino/mesh/frame"
	"rigatino/mesh/gltf"
	"rigatino/mesh/ply"
	"rigatino/mesh/quantity"
	"rigatino/mesh/register"
	"rigatino/mesh/scan"
	"rigatino/mesh/volume"
	"rigatino/testdata/shared"
	"rigatino/testdata/shell"
)

// realScans are open scans that nobody made for this: a leafy fossil (USNM
// 1145291, 100,000 triangles, about 0.65 m across) and a tooth (Krapina
// D1, 100,000 triangles, about 30 mm). Each gets a layer of matrix whose volume
// is known from its prisms and three other counts (package shell). The fossil's
// lies on the broad smooth stem that its branches spring from, since the leaves
// would fold a layer; the tooth's on its crown, the end with small y.
var realScans = []struct {
	name, file string
	unit       scan.Unit
	layer      shell.Options
	write      func(f *os.File, m *mesh.Mesh) error
}{
	{
		"fossil", "data/fossil/usnm-1145291.glb", "",
		shell.Options{Radius: 0.045, Thick: 0.02, Tries: 20000, Where: func(p r3.Vec) bool {
			return p.X > -120 && p.X < 0 && p.Y > -211 && p.Z > 16880 && p.Z < 17000
		}},
		func(f *os.File, m *mesh.Mesh) error { return gltf.Write(f, m, 0.001) },
	},
	{
		"tooth", "data/bone/krapina-d1-tooth.ply", scan.Millimetre,
		shell.Options{Radius: 0.11, Thick: 0.03, Tries: 300, Where: func(p r3.Vec) bool { return p.Y < 11 }},
		func(f *os.File, m *mesh.Mesh) error { return ply.Write(f, m, ply.WriteOptions{}) },
	},
}

// From two files and a file of picks to the removed volume. The bars are those
// that the program promises: within its U and 2 % of the truth, U at most 3 %
// of the value, nothing added.
func TestRealScansFromFiles(t *testing.T) {
	for _, c := range realScans {
		t.Run(c.name, func(t *testing.T) {
			ctx := context.Background()
			open := func(path string) *mesh.Mesh {
				s, err := scan.Open(ctx, path, scan.Options{Unit: c.unit})
				if err != nil {
					t.Fatal(err)
				}
				return s.Mesh
			}
			// The scan after is the file as it came.
			afterFile := shared.Path(t, c.file)
			fixture, err := shell.On(ctx, open(afterFile), c.layer)
			if err != nil {
				t.Fatal(err)
			}
			dir := t.TempDir()
			beforeFile := filepath.Join(dir, "before"+filepath.Ext(c.file))
			writeScan(t, beforeFile, fixture.Before, c.write)
			picksFile := filepath.Join(dir, "picks.json")
			writePicks(t, picksFile, fixture.Picks)

			before, after := open(beforeFile), open(afterFile)
			t.Logf("layer of %.6g mm³, %.3g mm wide, %.3g mm thick", fixture.RemovedMM3, 2*fixture.Radius, fixture.Thick)
			t.Logf("before: %d faces of mean edge %.3g mm; after: %d of %.3g mm; largest distances from the exact facets and back %.2g and %.2g mm",
				before.FaceCount(), mesh.MeanEdge(before), after.FaceCount(), mesh.MeanEdge(after), fixture.FromFacetsMM, fixture.ToFacetsMM)
			twoWay(t, fixture, before, after)
			if same, n := common(before, after, fixture.AfterToBefore); same > 0 {
				t.Errorf("%d of %d vertices of the scan after are vertices of the scan before too", same, n)
			}
			if same, n := common(after, after, frame.Identity()); same != n {
				t.Errorf("looking for common vertices finds %d of a scan's own %d", same, n)
			}

			aligned, err := register.Align(ctx, before, after, register.Options{Picks: readPicks(t, picksFile)})
			if err != nil {
				t.Fatal(err)
			}
			if aligned.Verdict != register.Accepted {
				t.Fatalf("alignment %s: %s", aligned.Verdict, aligned.Reason)
			}
			off, reckoned := poseError(aligned, fixture.AfterToBefore, after)
			t.Logf("pose off by at most %.2g mm (its own standard uncertainty there %.2g mm); fit residual %.2g, check %.2g mm; stable %.1f %%; picks off by %.2g mm",
				off, reckoned, aligned.FitResidualRMS, aligned.CheckRMS, 100*aligned.StableShareAfter, slices.Max(aligned.PickResiduals))

			found, err := change.Compare(ctx, before, after, aligned.AfterToBefore, change.Options{
				RegistrationCovariance: aligned.Covariance, Centre: aligned.Centre, CheckRMSMM: aligned.CheckRMS,
			})
			if err != nil {
				t.Fatal(err)
			}
			result, err := volume.Measure(ctx, found, volume.Options{})
			if err != nil {
				t.Fatal(err)
			}
			hold(t, fixture.RemovedMM3, found, result)
		})
	}
}

// hold sets what was measured against the truth.
func hold(t *testing.T, truth float64, found *change.Change, result *volume.Result) {
	t.Helper()
	if result.Removed.Volume == nil || result.Added.Volume == nil {
		t.Fatalf("not measured: removed %q, added %q", result.Removed.Why, result.Added.Why)
	}
	removed, added := *result.Removed.Volume, *result.Added.Volume
	u := removed.Expanded()
	off := removed.Value - truth
	t.Logf("smallest change %.2g mm, %d areas", found.SmallestMM, len(found.Areas))
	t.Logf("removed %.6g mm³, U %.3g (%.2f %%), truth %.6g (%+.3f %%); added %.3g mm³, U %.3g",
		removed.Value, u, 100*u/removed.Value, truth, 100*off/truth, added.Value, added.Expanded())
	for _, term := range result.Removed.Budget {
		t.Logf("  u from %s: %.3g mm³", term.Name, term.Contribution())
	}
	for _, check := range result.Checks {
		t.Logf("  by %s: removed %.6g mm³ (%+.3f %%)", check.Method, check.RemovedMM3, 100*(check.RemovedMM3/truth-1))
	}
	if !removed.Covers(truth) {
		t.Errorf("removed %.6g mm³ is off by %.3g, more than its U of %.3g", removed.Value, off, u)
	}
	if math.Abs(off) > 0.02*truth {
		t.Errorf("removed %.6g mm³ is off by %+.2f %%, more than 2 %%", removed.Value, 100*off/truth)
	}
	if u > 0.03*removed.Value {
		t.Errorf("U is %.2f %% of the removed volume, more than 3 %%", 100*u/removed.Value)
	}
	if !added.Covers(0) {
		t.Errorf("added %.3g mm³ with a U of %.3g where nothing was added", added.Value, added.Expanded())
	}
	if !result.Consistent {
		t.Error("the checks do not agree with the value")
	}

	// The short way, over either scan's part of the core: it misses the truth
	// by more than the shell's bars allow.
	for _, way := range []struct {
		name string
		side *change.Side
	}{{"after", found.After}, {"before", found.Before}} {
		short := areaTimesDistance(way.side)
		t.Logf("  by area times closest distance over the scan %s: %.6g mm³ (%+.2f %%)", way.name, short, 100*(short/truth-1))
		if math.Abs(short-truth) <= max(u, 0.02*truth) {
			t.Errorf("area times closest distance over the scan %s gives %.6g mm³: the truth of %.6g is no trial of the shell", way.name, short, truth)
		}
	}
}

// areaTimesDistance is the sum over the core's faces of area times the mean
// closest distance of their corners.
func areaTimesDistance(s *change.Side) float64 {
	areas := mesh.FaceAreas(s.Mesh)
	sum := 0.0
	for f, part := range s.Topology.Component {
		i, j, k := s.Topology.Face(uint32(f))
		if part < 0 || s.Core[i] < 0 || s.Core[j] < 0 || s.Core[k] < 0 {
			continue
		}
		sum += areas[f] * (math.Abs(s.Gap[i]) + math.Abs(s.Gap[j]) + math.Abs(s.Gap[k])) / 3
	}
	return sum
}

// twoWay logs how far the two scans lie apart where nothing changed, in the
// true pose, both ways, and fails where that is no real difference or too much
// of one.
func twoWay(t *testing.T, fixture *shell.Fixture, before, after *mesh.Mesh) {
	t.Helper()
	there := mesh.Transform(after, fixture.AfterToBefore.Apply)
	edge := mesh.MeanEdge(after)
	for _, way := range []struct {
		name     string
		from, to *mesh.Mesh
	}{{"before to after", before, there}, {"after to before", there, before}} {
		hits := make([]bvh.Hit, way.from.VertexCount())
		at := func(i int) r3.Vec { return way.from.Vertex(uint32(i)) }
		// What lies farther off belongs to the layer.
		if err := bvh.Build(way.to).ClosestAll(context.Background(), len(hits), at, edge, hits); err != nil {
			t.Fatal(err)
		}
		sum, most, n := 0.0, 0.0, 0
		for _, h := range hits {
			if h.Face != bvh.None {
				sum, most, n = sum+h.Distance*h.Distance, max(most, h.Distance), n+1
			}
		}
		rms := math.Sqrt(sum / float64(n))
		t.Logf("%s, within one edge: rms %.2g mm, most %.2g mm, %.1f %% of vertices", way.name, rms, most, 100*float64(n)/float64(len(hits)))
		if n < len(hits)*9/10 || rms == 0 || rms > edge/10 {
			t.Errorf("%s: rms %.3g mm at %d of %d vertices", way.name, rms, n, len(hits))
		}
	}
}

// common counts the vertices of b, each place once, that lie on one of a within
// a ten-thousandth of b's edge once b is moved, and how many places b has.
func common(a, b *mesh.Mesh, bToA frame.Rigid) (same, places int) {
	points := func(m *mesh.Mesh, g frame.Rigid) []r3.Vec {
		seen := map[r3.Vec]bool{}
		var out []r3.Vec
		for v := range uint32(m.VertexCount()) {
			if p := m.Vertex(v); !seen[p] {
				seen[p] = true
				out = append(out, g.Apply(p))
			}
		}
		return out
	}
	near := 1e-4 * mesh.MeanEdge(b)
	old := points(a, frame.Identity())
	sort.Slice(old, func(i, j int) bool { return old[i].X < old[j].X })
	moved := points(b, bToA)
	for _, p := range moved {
		for i := sort.Search(len(old), func(i int) bool { return old[i].X >= p.X-near }); i < len(old) && old[i].X <= p.X+near; i++ {
			if r3.Norm(r3.Sub(old[i], p)) <= near {
				same++
				break
			}
		}
	}
	return same, len(moved)
}

// poseError is the largest distance between where the pose and where the truth
// puts a vertex, and the standard uncertainty that the pose claims there.
func poseError(r *register.Result, truth frame.Rigid, after *mesh.Mesh) (off, reckoned float64) {
	for v := range uint32(after.VertexCount()) {
		p := r.AfterToBefore.Apply(after.Vertex(v))
		if d := r3.Norm(r3.Sub(p, truth.Apply(after.Vertex(v)))); d > off {
			off, reckoned = d, r.UAt(p)
		}
	}
	return off, reckoned
}

func writeScan(t *testing.T, path string, m *mesh.Mesh, write func(*os.File, *mesh.Mesh) error) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(write(f, m), f.Close()); err != nil {
		t.Fatal(err)
	}
}

// pickFile is the file of picks that the commands read.
type pickFile struct {
	Unit  string     `json:"unit"`
	Pairs []pickPair `json:"pairs"`
}

type pickPair struct {
	Before [3]float64 `json:"before"`
	After  [3]float64 `json:"after"`
}

func writePicks(t *testing.T, path string, picks []shell.Pick) {
	t.Helper()
	file := pickFile{Unit: quantity.Millimetre}
	for _, p := range picks {
		file.Pairs = append(file.Pairs, pickPair{[3]float64{p.Before.X, p.Before.Y, p.Before.Z}, [3]float64{p.After.X, p.After.Y, p.After.Z}})
	}
	data, err := json.Marshal(file)
	if err == nil {
		err = os.WriteFile(path, data, 0o644)
	}
	if err != nil {
		t.Fatal(err)
	}
}

func readPicks(t *testing.T, path string) []register.Pick {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var file pickFile
	if err := json.Unmarshal(data, &file); err != nil {
		t.Fatal(err)
	}
	vec := func(a [3]float64) r3.Vec { return r3.Vec{X: a[0], Y: a[1], Z: a[2]} }
	var out []register.Pick
	for _, p := range file.Pairs {
		out = append(out, register.Pick{Before: vec(p.Before), After: vec(p.After)})
	}
	return out
}
