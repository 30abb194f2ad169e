package register

import (
	"context"
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/frame"
	"rigatino/testdata/outside"
)

// BenchmarkFromAnyPose aligns two scans (see testdata/outside) whose true motion a
// JSON file says (RIGATINO_BENCH_TRUTH: moved_to_before, a matrix by rows with its
// scale, and moved_scale), as outside programs do with the same files: the after
// scan in its right size, cut to the share RIGATINO_BENCH_KEEP of its vertices along
// the bone, turned anew in every round. It reports the processor time a round up to
// the pose and as a whole, how many poses were within 1 mm, how many of them were
// accepted, and their median error (RMS over the corners of all faces).
func BenchmarkFromAnyPose(b *testing.B) {
	before, moved := outside.Pair(b)
	var truth struct {
		Motion []float64 `json:"moved_to_before"`
		Scale  float64   `json:"moved_scale"`
	}
	data, err := os.ReadFile(os.Getenv("RIGATINO_BENCH_TRUTH"))
	if err != nil {
		b.Skip("RIGATINO_BENCH_TRUTH names no file")
	}
	if err := json.Unmarshal(data, &truth); err != nil || len(truth.Motion) != 16 || !(truth.Scale > 0) {
		b.Fatalf("the truth cannot be read: %v", err)
	}
	m := truth.Motion
	home := func(p r3.Vec) r3.Vec { // into the frame of the scan before
		return r3.Vec{
			X: m[0]*p.X + m[1]*p.Y + m[2]*p.Z + m[3],
			Y: m[4]*p.X + m[5]*p.Y + m[6]*p.Z + m[7],
			Z: m[8]*p.X + m[9]*p.Y + m[10]*p.Z + m[11],
		}
	}
	after := mesh.Transform(moved, home)
	if share, err := strconv.ParseFloat(os.Getenv("RIGATINO_BENCH_KEEP"), 64); err == nil && share < 1 {
		after = kept(after, share)
	}
	random := rand.New(rand.NewPCG(4, 20))
	var fits, wholes []time.Duration
	var errors []float64
	right, accepted := 0, 0
	for b.Loop() {
		q := quat.Number{Real: random.NormFloat64(), Imag: random.NormFloat64(), Jmag: random.NormFloat64(), Kmag: random.NormFloat64()}
		q = quat.Scale(1/quat.Abs(q), q)
		away := frame.Rotation(r3.Vec{X: q.Imag, Y: q.Jmag, Z: q.Kmag}, 2*math.Atan2(math.Sqrt(q.Imag*q.Imag+q.Jmag*q.Jmag+q.Kmag*q.Kmag), q.Real))
		turned := mesh.Transform(after, away.Apply)
		start := outside.ProcessorTime()
		fit := start
		r, err := Align(context.Background(), before, turned, Options{Pose: func(frame.Rigid) { fit = outside.ProcessorTime() }})
		if err != nil {
			b.Fatal(err)
		}
		fits, wholes = append(fits, fit-start), append(wholes, outside.ProcessorTime()-start)
		sum := 0.0
		for _, v := range turned.Triangles {
			sum += r3.Norm2(r3.Sub(r.AfterToBefore.Apply(turned.Vertex(v)), after.Vertex(v)))
		}
		if off := math.Sqrt(sum / float64(len(turned.Triangles))); off < 1 {
			right++
			errors = append(errors, off)
			if r.Verdict == Accepted {
				accepted++
			}
		}
	}
	middle := func(d []time.Duration) float64 { slices.Sort(d); return d[len(d)/2].Seconds() }
	b.ReportMetric(middle(fits), "fit-s")
	b.ReportMetric(middle(wholes), "whole-s")
	b.ReportMetric(float64(right)/float64(len(fits)), "right")
	b.ReportMetric(float64(accepted)/float64(len(fits)), "accepted")
	if len(errors) > 0 {
		slices.Sort(errors)
		b.ReportMetric(errors[len(errors)/2], "rms-mm")
	}
}

// kept is the part of a mesh that holds a share of its vertices, those farthest
// along z.
func kept(m *mesh.Mesh, share float64) *mesh.Mesh {
	var z []float64
	for v := range m.VertexCount() {
		z = append(z, m.Vertex(uint32(v)).Z)
	}
	ordered := slices.Clone(z)
	slices.Sort(ordered)
	cut := ordered[int((1-share)*float64(len(ordered)))]
	out := *m
	out.Normals, out.Triangles = nil, nil
	for f := range m.FaceCount() {
		if t := m.Triangles[3*f : 3*f+3]; z[t[0]] > cut && z[t[1]] > cut && z[t[2]] > cut {
			out.Triangles = append(out.Triangles, t...)
		}
	}
	return &out
}
