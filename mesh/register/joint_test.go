package register

import (
	"context"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/frame"
	"rigatino/mesh/solid"
)

func fitJoint(t *testing.T, body, piece *mesh.Mesh, opt JointOptions) *Joint {
	t.Helper()
	j, err := FitJoint(context.Background(), body, piece, opt)
	if err != nil {
		t.Fatal(err)
	}
	return j
}

// socket is the hollow of a ball of the given radius, more than half of it, seen
// from inside.
func socket(radius float64) *mesh.Mesh {
	ball := solid.Icosphere(5, radius)
	out := &mesh.Mesh{Positions: ball.Positions, Origin: ball.Origin}
	for f := range uint32(ball.FaceCount()) {
		if middleOf(ball, f).Z < 0.3*radius {
			t := ball.Triangles[3*f : 3*f+3]
			out.Triangles = append(out.Triangles, t[0], t[2], t[1])
		}
	}
	return out
}

// A ball in a socket (analytic): concentric, the gap is R − r everywhere, and
// three turns about the centre leave it so.
func TestBallInSocket(t *testing.T) {
	cup, ball := socket(20), mesh.Transform(solid.Icosphere(5, 18), frame.Rotation(r3.Vec{X: 1, Y: 2, Z: 3}, 0.4).Apply)
	start := frame.Identity()
	start.T = r3.Vec{X: 0.9, Y: -0.7, Z: 0.6}
	j := fitJoint(t, cup, ball, JointOptions{Start: &start})
	if j.Verdict != Accepted {
		t.Fatalf("%s: %s", j.Verdict, j.Reason)
	}
	if off := r3.Norm(j.PieceToBody.Apply(r3.Vec{})); off > 0.01 {
		t.Errorf("the ball stands %.4f mm off the centre", off)
	}
	if math.Abs(j.GapMedian-2) > 0.01 || j.GapSpread > 0.02 {
		t.Errorf("gap %.4f mm, even to %.4f; it is 2 mm everywhere", j.GapMedian, j.GapSpread)
	}
	if len(j.Free) != 3 || !strings.HasPrefix(j.Free[0], "turning") || j.NextStep == "" {
		t.Errorf("free motions %q, next %q: a ball turns three ways", j.Free, j.NextStep)
	}
	t.Logf("checked: centre off by %.5f mm, gap %.5f (2), spread %.5f", r3.Norm(j.PieceToBody.T), j.GapMedian, j.GapSpread)
}

// sheet is the surface z = f(x, y) over a square, moved along its normal.
func sheet(f func(x, y float64) float64, side float64, n int, along float64, reversed bool) *mesh.Mesh {
	const h = 1e-5
	m := mesh.Transform(solid.Plane(side, n), func(p r3.Vec) r3.Vec {
		normal := r3.Unit(r3.Vec{X: -(f(p.X+h, p.Y) - f(p.X-h, p.Y)) / (2 * h), Y: -(f(p.X, p.Y+h) - f(p.X, p.Y-h)) / (2 * h), Z: 1})
		return r3.Add(r3.Vec{X: p.X, Y: p.Y, Z: f(p.X, p.Y)}, r3.Scale(along, normal))
	})
	if reversed {
		for f := range m.FaceCount() {
			t := m.Triangles[3*f:]
			t[1], t[2] = t[2], t[1]
		}
	}
	return m
}

func saddle(x, y float64) float64 { return (1.1*x*x - y*y) / 30 }

// Two parallel saddles (analytic: the second is the first moved 3 mm along its
// normals): the pose comes back from a start 4° and 1.4 mm off and from rough
// picks, and nothing is free.
func TestSaddle(t *testing.T) {
	body, piece := sheet(saddle, 30, 70, 0, false), sheet(saddle, 28, 61, 3, true)
	pose := frame.Rotation(r3.Vec{X: 2, Y: -1, Z: 1}, 1.1)
	pose.T = r3.Vec{X: 30, Y: -12, Z: 8}
	piece = mesh.Transform(piece, pose.Apply)
	truth := pose.Inverse()
	start := truth.Then(frame.Small(r3.Vec{}, r3.Vec{X: 0.035, Y: 0.052, Z: -0.035}, r3.Vec{X: 0.8, Y: -0.9, Z: 0.7}))
	var picks []Pick
	for k, p := range []r3.Vec{{X: 10, Y: 9}, {X: -9, Y: 10}, {X: -8, Y: -9}, {X: 9, Y: -10}} {
		p.Z = saddle(p.X, p.Y)
		q := r3.Add(p, r3.Vec{X: 0.5 * float64(k%2), Y: -0.4, Z: 2.6})
		picks = append(picks, Pick{Before: p, After: pose.Apply(q)})
	}
	for name, opt := range map[string]JointOptions{"start": {Start: &start}, "picks": {Picks: picks}} {
		j := fitJoint(t, body, piece, opt)
		off := 0.0
		for v := range uint32(piece.VertexCount()) {
			p := piece.Vertex(v)
			off = math.Max(off, r3.Norm(r3.Sub(j.PieceToBody.Apply(p), truth.Apply(p))))
		}
		if j.Verdict != Accepted || off > 0.05 || math.Abs(j.GapMedian-3) > 0.01 || len(j.Free) != 0 {
			t.Errorf("%s: %s (%s), %.4f mm off at most, gap %.4f (3), free %q", name, j.Verdict, j.Reason, off, j.GapMedian, j.Free)
		}
		t.Logf("checked: from %s %.5f mm off at most, gap %.5f (3), spread %.5f", name, off, j.GapMedian, j.GapSpread)
	}
}

// Flat surfaces do not tell how far apart they stood; once somebody says it, that
// is where they stand, free to slide two ways and to turn.
func TestFlatJointAsksForTheGap(t *testing.T) {
	flat := func(x, y float64) float64 { return 0 }
	body, piece := sheet(flat, 30, 40, 0, false), sheet(flat, 24, 33, 2, true)
	start := frame.Small(r3.Vec{}, r3.Vec{X: 0.03}, r3.Vec{Z: 0.5})
	if j := fitJoint(t, body, piece, JointOptions{Start: &start}); j.Verdict != Ambiguous || !strings.Contains(j.NextStep, "gap") {
		t.Errorf("%s: %s; %s", j.Verdict, j.Reason, j.NextStep)
	}
	given := 1.5
	j := fitJoint(t, body, piece, JointOptions{Start: &start, GapMM: &given})
	if j.Verdict != Accepted || math.Abs(j.GapMedian-given) > 1e-3 || len(j.Free) != 3 {
		t.Errorf("%s (%s), gap %.4f (%g), free %q", j.Verdict, j.Reason, j.GapMedian, given, j.Free)
	}
}

// Surfaces that do not run beside one another are refused, and what cannot be
// tried is an error.
func TestNoJoint(t *testing.T) {
	body := sheet(saddle, 30, 60, 0, false)
	other := sheet(func(x, y float64) float64 { return 2.5 * math.Sin(0.8*x) * math.Cos(0.7*y) }, 28, 60, 3, true)
	start := frame.Identity()
	if j := fitJoint(t, body, other, JointOptions{Start: &start}); j.Verdict != Refused || j.NextStep == "" {
		t.Errorf("%s: %s", j.Verdict, j.Reason)
	}
	far := frame.Identity()
	far.T = r3.Vec{Z: 500}
	if j := fitJoint(t, body, sheet(saddle, 28, 50, 3, true), JointOptions{Start: &far}); j.Verdict != Refused {
		t.Errorf("half a metre off: %s: %s", j.Verdict, j.Reason)
	}
	bad := -1.0
	for name, opt := range map[string]JointOptions{
		"two picks": {Picks: make([]Pick, 2)}, "a gap below nothing": {GapMM: &bad}, "marks of another scan": {BodyFace: make([]bool, 3)},
	} {
		if _, err := FitJoint(context.Background(), body, other, opt); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	if j := fitJoint(t, body, other, JointOptions{PieceFace: make([]bool, other.FaceCount())}); j.Verdict != Refused {
		t.Error("nothing marked and not refused")
	}
}
