package register

import (
	"bufio"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/frame"
	"rigatino/testdata/shared"
)

// rangeScan is one range scan of the Stanford bunny as a mesh, mm, with the
// reference motion into the common frame.
func rangeScan(t *testing.T, name string) (*mesh.Mesh, frame.Rigid) {
	t.Helper()
	file, err := os.Open(shared.Path(t, "data/bunny/"+name+".ply.gz"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	unzipped, err := gzip.NewReader(file)
	if err != nil {
		t.Fatal(err)
	}
	var poses struct {
		Poses map[string][4][4]float64 `json:"poses"`
	}
	text, err := os.ReadFile(shared.Path(t, "data/bunny/poses.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, &poses); err != nil {
		t.Fatal(err)
	}
	var m [16]float64
	for i, row := range poses.Poses[name+".ply"] {
		copy(m[4*i:], row[:])
	}
	g := frame.FromMatrix(m)
	g.T = r3.Scale(1000, g.T)
	return rangeGrid(t, bufio.NewScanner(unzipped)), g
}

// rangeGrid makes triangles of a grid of measured places: of neighbours no more
// than 2.5 mm apart (the grid's step is 0.5 mm), looking at the scanner, which is
// on the side of positive z.
func rangeGrid(t *testing.T, lines *bufio.Scanner) *mesh.Mesh {
	t.Helper()
	m := &mesh.Mesh{}
	columns, rows, vertices := 0, 0, 0
	for lines.Scan() {
		line := strings.TrimSpace(lines.Text())
		_, _ = fmt.Sscanf(line, "obj_info num_cols %d", &columns)
		_, _ = fmt.Sscanf(line, "obj_info num_rows %d", &rows)
		_, _ = fmt.Sscanf(line, "element vertex %d", &vertices)
		if line == "end_header" {
			break
		}
	}
	for range vertices {
		lines.Scan()
		for _, word := range strings.Fields(lines.Text())[:3] {
			v, err := strconv.ParseFloat(word, 64)
			if err != nil {
				t.Fatal(err)
			}
			m.Positions = append(m.Positions, float32(1000*v))
		}
	}
	grid := make([]int, columns*rows)
	for i := range grid {
		lines.Scan()
		grid[i] = -1
		if words := strings.Fields(lines.Text()); len(words) == 2 {
			v, err := strconv.Atoi(words[1])
			if err != nil {
				t.Fatal(err)
			}
			grid[i] = v
		}
	}
	face := func(a, b, c int) {
		if a < 0 || b < 0 || c < 0 {
			return
		}
		p, q, r := m.Vertex(uint32(a)), m.Vertex(uint32(b)), m.Vertex(uint32(c))
		if max(r3.Norm(r3.Sub(p, q)), r3.Norm(r3.Sub(q, r)), r3.Norm(r3.Sub(r, p))) > 2.5 {
			return
		}
		if r3.Cross(r3.Sub(q, p), r3.Sub(r, p)).Z < 0 {
			b, c = c, b
		}
		m.Triangles = append(m.Triangles, uint32(a), uint32(b), uint32(c))
	}
	for row := range rows - 1 {
		for column := range columns - 1 {
			a := row*columns + column
			face(grid[a], grid[a+1], grid[a+columns])
			face(grid[a+1], grid[a+columns+1], grid[a+columns])
		}
	}
	if m.FaceCount() < 10_000 {
		t.Fatalf("%d faces of %d places", m.FaceCount(), vertices)
	}
	return m
}

// Range scans of the bunny from an unknown start, against the poses that the
// Stanford 3D Scanning Repository gives (bun.conf): 45 degrees apart within 0.1 mm
// RMS over the scan; 90 degrees apart little is common to both, and the pose is
// right or not accepted.
func TestBunnyRangeScans(t *testing.T) {
	before, beforeToCommon := rangeScan(t, "bun000")
	starts := uint64(1)
	if long() {
		starts = 5
	}
	for _, row := range []struct {
		name  string
		limit float64
		must  bool
	}{{"bun045", 0.1, true}, {"bun090", 0.5, false}} {
		scan, toCommon := rangeScan(t, row.name)
		for seed := range starts {
			g := anyPose(seed + 7)
			r := align(t, before, mesh.Transform(scan, g.Apply), Options{})
			found := g.Then(r.AfterToBefore)
			truth := toCommon.Then(beforeToCommon.Inverse())
			sum := 0.0
			for v := range uint32(scan.VertexCount()) {
				p := scan.Vertex(v)
				sum += r3.Norm2(r3.Sub(found.Apply(p), truth.Apply(p)))
			}
			rms := math.Sqrt(sum / float64(scan.VertexCount()))
			t.Logf("checked: bun000 → %s, start %d: %.3f mm RMS from the reference pose, %s (%s); fit residual %.3f mm, held-out cells %.3f mm", row.name, seed, rms, r.Verdict, r.Reason, r.FitResidualRMS, r.CheckRMS)
			if r.Verdict == Accepted && rms > row.limit || row.must && r.Verdict != Accepted {
				t.Errorf("%s: %s, %.3f mm off", row.name, r.Verdict, rms)
			}
		}
	}
}
