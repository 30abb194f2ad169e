package register

import (
	"context"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/frame"
)

// The block is long × wide mm and broken along z = break(x, y).
const blockLong, blockWide = 30.0, 24.0

// halfBlock is one half of the block as a scan: its broken face on a grid of the
// given step, moved by noise, its far side bulging, the others flat. The lower half keeps what is
// under the break. mask marks the broken faces.
func halfBlock(broken func(x, y float64) float64, lower bool, step, noise float64, seed uint64) (m *mesh.Mesh, mask []bool) {
	random := rand.New(rand.NewPCG(seed, 5))
	nx, ny := int(math.Round(blockLong/step)), int(math.Round(blockWide/step))
	far := 12.0
	if lower {
		far = -15
	}
	m = &mesh.Mesh{}
	index := func(layer, i, k int) uint32 { return uint32((layer*(ny+1)+k)*(nx+1) + i) }
	for layer := range 2 {
		for k := range ny + 1 {
			for i := range nx + 1 {
				x, y := blockLong*(float64(i)/float64(nx)-0.5), blockWide*(float64(k)/float64(ny)-0.5)
				if i > 0 && i < nx && k > 0 && k < ny { // no two scans share their vertices
					x, y = x+step*0.25*(2*random.Float64()-1), y+step*0.25*(2*random.Float64()-1)
				}
				z := far * (1 + 0.3*math.Cos(0.09*x)*math.Cos(0.1*y-0.2))
				if layer == 0 {
					z = broken(x, y) + noise*random.NormFloat64()
				}
				m.Positions = append(m.Positions, float32(x), float32(y), float32(z))
			}
		}
	}
	quad := func(a, b, c, d uint32, isBreak bool) {
		t := []uint32{a, b, c, a, c, d}
		if !lower {
			t = []uint32{a, c, b, a, d, c}
		}
		m.Triangles, mask = append(m.Triangles, t...), append(mask, isBreak, isBreak)
	}
	for k := range ny {
		for i := range nx {
			quad(index(0, i, k), index(0, i+1, k), index(0, i+1, k+1), index(0, i, k+1), true)
			quad(index(1, i, k), index(1, i, k+1), index(1, i+1, k+1), index(1, i+1, k), false)
		}
	}
	for i := range nx {
		quad(index(1, i, 0), index(1, i+1, 0), index(0, i+1, 0), index(0, i, 0), false)
		quad(index(1, i+1, ny), index(1, i, ny), index(0, i, ny), index(0, i+1, ny), false)
	}
	for k := range ny {
		quad(index(1, 0, k+1), index(1, 0, k), index(0, 0, k), index(0, 0, k+1), false)
		quad(index(1, nx, k), index(1, nx, k+1), index(0, nx, k+1), index(0, nx, k), false)
	}
	return m, mask
}

// rough is a break that goes on everywhere differently.
func rough(x, y float64) float64 {
	return 0.8*math.Sin(0.55*x+0.3)*math.Cos(0.4*y) + 0.5*math.Sin(0.9*y+0.2*x) + 0.3*math.Cos(1.3*x-0.7*y)
}

// repeating is a break of the given period along x, and of none along y.
func repeating(period float64) func(x, y float64) float64 {
	return func(x, y float64) float64 {
		return math.Sin(2*math.Pi*x/period) + 0.8*math.Sin(0.5*y+0.02*y*y)
	}
}

// areaOver is the area of a broken face between two x, by the midpoint rule on a
// fine grid.
func areaOver(broken func(x, y float64) float64, from, to float64) float64 {
	const n, h = 600, 1e-5
	sum := 0.0
	for i := range n {
		for k := range n {
			x, y := from+(to-from)*(float64(i)+0.5)/n, blockWide*((float64(k)+0.5)/n-0.5)
			dx, dy := (broken(x+h, y)-broken(x-h, y))/(2*h), (broken(x, y+h)-broken(x, y-h))/(2*h)
			sum += math.Sqrt(1 + dx*dx + dy*dy)
		}
	}
	return sum * (to - from) * blockWide / (n * n)
}

// away is where the upper half lies in its own scan.
func away() frame.Rigid {
	g := frame.Rotation(r3.Vec{X: 0.3, Y: -1, Z: 0.5}, 2.3)
	g.T = r3.Vec{X: 40, Y: -25, Z: 60}
	return g
}

type broken struct {
	body, piece         *mesh.Mesh
	bodyMask, pieceMask []bool
	truth               frame.Rigid // piece to body
}

// halves breaks the block; chips takes so much off the piece's broken face where
// x is greater than from.
func halves(surface func(x, y float64) float64, noise, chips, from float64) *broken {
	b := &broken{truth: away().Inverse()}
	b.body, b.bodyMask = halfBlock(surface, true, 0.6, noise, 1)
	var upper *mesh.Mesh
	upper, b.pieceMask = halfBlock(func(x, y float64) float64 {
		if x > from {
			return surface(x, y) + chips
		}
		return surface(x, y)
	}, false, 0.53, noise, 2)
	b.piece = mesh.Transform(upper, away().Apply)
	return b
}

func (b *broken) fit(t *testing.T, marked bool, start *frame.Rigid) *DryFit {
	t.Helper()
	opt := DryOptions{Start: start}
	if marked {
		opt.BodyBreak, opt.PieceBreak = b.bodyMask, b.pieceMask
	}
	r, err := FitDry(context.Background(), b.body, b.piece, opt)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// off is how far the piece's broken face is from its true place: the greatest
// distance, mm, of its corners.
func (b *broken) off(g frame.Rigid) float64 {
	worst := 0.0
	for _, x := range []float64{-blockLong / 2, blockLong / 2} {
		for _, y := range []float64{-blockWide / 2, blockWide / 2} {
			p := away().Apply(r3.Vec{X: x, Y: y})
			worst = math.Max(worst, r3.Norm(r3.Sub(g.Apply(p), b.truth.Apply(p))))
		}
	}
	return worst
}

// near is a start some degrees and millimetres off.
func (b *broken) near() *frame.Rigid {
	g := b.truth.Then(frame.Rotation(r3.Vec{X: 1, Y: 1, Z: 0.5}, 4*math.Pi/180))
	g.T = r3.Add(g.T, r3.Vec{X: 0.6, Y: -0.4, Z: 0.8})
	return &g
}

// Halves of a block that was broken along a known surface go together where they
// were, close, with the area of that surface touching (integrated) and no gap,
// with marks and without, from a start and searched.
func TestHalvesFitClosely(t *testing.T) {
	b := halves(rough, 0.01, 0, blockLong)
	area := areaOver(rough, -blockLong/2, blockLong/2)
	rows := map[string]*DryFit{"marked, searched": b.fit(t, true, nil), "unmarked, start": b.fit(t, false, b.near())}
	if os.Getenv("RIGATINO_PROVE") != "" {
		rows["marked, start"], rows["unmarked, searched"] = b.fit(t, true, b.near()), b.fit(t, false, nil)
	}
	for name, r := range rows {
		if off := b.off(r.PieceToBody); r.Verdict != Accepted || r.Fit != FitClose || off > 0.03 {
			t.Errorf("%s: %s, %s (%s), %.3f mm from the truth", name, r.Verdict, r.Fit, r.Reason, off)
		}
		if math.Abs(r.ContactArea/area-1) > 0.03 || math.Abs(r.GapMedian) > 0.005 || r.GapSpread > 0.03 {
			t.Errorf("%s: %.1f mm² touch, %.1f were broken; median gap %.4f mm, spread %.4f", name, r.ContactArea, area, r.GapMedian, r.GapSpread)
		}
		if r.Second != nil && r.Second.ContactArea > 0.6*r.ContactArea {
			t.Errorf("%s: a rough break has a second position %.1f mm away with %.0f mm²", name, r.SecondApart, r.Second.ContactArea)
		}
	}
}

// Picked pairs half a millimetre off are a start like any other; two hold nothing,
// and pairs in a line are refused with a way out.
func TestDryFitFromPicks(t *testing.T) {
	b := halves(rough, 0.01, 0, blockLong)
	opt := DryOptions{BodyBreak: b.bodyMask, PieceBreak: b.pieceMask}
	pick := func(x, y float64) Pick {
		p := r3.Vec{X: x, Y: y, Z: rough(x, y)}
		return Pick{Before: r3.Add(p, r3.Vec{X: 0.3, Y: -0.3, Z: 0.3}), After: away().Apply(p)}
	}
	opt.Picks = []Pick{pick(-12, -9), pick(12, -8), pick(10, 10), pick(-11, 9)}
	r, err := FitDry(context.Background(), b.body, b.piece, opt)
	if err != nil || r.Verdict != Accepted || b.off(r.PieceToBody) > 0.03 {
		t.Errorf("%+v, %v", r, err)
	}
	opt.Picks = []Pick{pick(-12, 0), pick(12, 0)}
	if _, err := FitDry(context.Background(), b.body, b.piece, opt); err == nil {
		t.Error("two pairs are taken")
	}
	line := Pick{Before: r3.Vec{X: 1}, After: r3.Vec{X: 1}}
	opt.Picks = []Pick{line, {Before: r3.Vec{X: 2}, After: r3.Vec{X: 2}}, {Before: r3.Vec{X: 3}, After: r3.Vec{X: 3}}}
	if r, err := FitDry(context.Background(), b.body, b.piece, opt); err != nil || r.Verdict != Refused || r.NextStep == "" {
		t.Errorf("pairs in a line: %+v, %v", r, err)
	}
	opt = DryOptions{BodyBreak: make([]bool, 3)}
	if _, err := FitDry(context.Background(), b.body, b.piece, opt); err == nil {
		t.Error("marks of another scan are taken")
	}
}

// Chips lost from a known part of the break leave their gap there and the rest
// touching: 0.1 mm over 30 % of the length.
func TestChipsLeaveAGap(t *testing.T) {
	const chips, from = 0.1, 6.0
	b := halves(rough, 0.01, chips, from)
	r := b.fit(t, true, b.near())
	if off := b.off(r.PieceToBody); r.Verdict != Accepted || r.Fit != FitPart || off > 0.03 {
		t.Errorf("%s, %s (%s), %.3f mm from the truth", r.Verdict, r.Fit, r.Reason, off)
	}
	if area := areaOver(rough, -blockLong/2, from); math.Abs(r.ContactArea/area-1) > 0.03 {
		t.Errorf("%.1f mm² touch, %.1f were left to", r.ContactArea, area)
	}
	// Along the normal the gap is smaller than along z by the slope.
	sum, want, n := 0.0, 0.0, 0.0
	for f, g := range r.Gap {
		if b.pieceMask[f] == math.IsNaN(g) && !b.pieceMask[f] {
			t.Fatalf("face %d is no broken face and has a gap", f)
		}
		p := away().Inverse().Apply(middleOf(b.piece, uint32(f)))
		if !b.pieceMask[f] || math.IsNaN(g) || p.X < from+1 || p.X > blockLong/2-1 || math.Abs(p.Y) > blockWide/2-1 {
			continue
		}
		const h = 1e-5
		dx, dy := (rough(p.X+h, p.Y)-rough(p.X-h, p.Y))/(2*h), (rough(p.X, p.Y+h)-rough(p.X, p.Y-h))/(2*h)
		sum, want, n = sum+g, want+chips/math.Sqrt(1+dx*dx+dy*dy), n+1
	}
	if n < 500 || math.Abs(sum-want)/n > 0.01 {
		t.Errorf("mean gap over the chips %.4f mm, wanted %.4f (%g faces)", sum/n, want/n, n)
	}
}

// A break that repeats itself has a second position one period off, with the
// contact that overlaps there; it decides how sure the first one is: 24 of 30 mm
// are too near, 18 are not.
func TestPeriodicBreakHasASecondPosition(t *testing.T) {
	for _, row := range []struct {
		period  float64
		verdict string
	}{{6, Ambiguous}, {12, Accepted}} {
		surface := repeating(row.period)
		b := halves(surface, 0.01, 0, blockLong)
		r := b.fit(t, true, b.near())
		if off := b.off(r.PieceToBody); r.Verdict != row.verdict || off > 0.03 {
			t.Errorf("period %g: %s (%s), %.3f mm from the truth", row.period, r.Verdict, r.Reason, off)
		}
		if r.Second == nil {
			t.Errorf("period %g: no second position", row.period)
			continue
		}
		want := areaOver(surface, -blockLong/2, blockLong/2-row.period)
		if math.Abs(r.SecondApart-row.period) > 0.05 || math.Abs(r.Second.ContactArea/want-1) > 0.05 {
			t.Errorf("period %g: second position %.3f mm away with %.1f mm² touching, wanted %.1f", row.period, r.SecondApart, r.Second.ContactArea, want)
		}
	}
}

// A flat break slides freely, so does one that is a cylinder's part, and they are
// not accepted however well the faces touch.
func TestFlatBreakSlides(t *testing.T) {
	for name, surface := range map[string]func(x, y float64) float64{
		"flat":     func(x, y float64) float64 { return 0 },
		"straight": func(x, y float64) float64 { return 2 * math.Sin(0.4*y+0.5) },
	} {
		noises := []float64{0.02}
		if os.Getenv("RIGATINO_PROVE") != "" {
			noises = []float64{0, 0.01, 0.02, 0.03}
		}
		for _, noise := range noises {
			b := halves(surface, noise, 0, blockLong)
			r := b.fit(t, true, b.near())
			if r.Verdict == Accepted || r.Fit != FitPlaced || r.NextStep == "" {
				t.Errorf("%s, noise %g: %s, %s (%s)", name, noise, r.Verdict, r.Fit, r.Reason)
			}
		}
	}
}

// Breaks that never were one are not accepted, searched or from a start.
func TestStrangeBreaksAreNotAccepted(t *testing.T) {
	b := halves(rough, 0.01, 0, blockLong)
	seeds := 1
	if os.Getenv("RIGATINO_PROVE") != "" {
		seeds = 6
	}
	for seed := range seeds {
		other := halves(func(x, y float64) float64 { return rough(-0.9*y+float64(seed), 1.1*x) }, 0.01, 0, blockLong)
		b.piece, b.pieceMask = other.piece, other.pieceMask
		for _, marked := range []bool{true, false} {
			for _, start := range []*frame.Rigid{b.near(), nil} {
				if seeds == 1 && marked == (start == nil) {
					continue // the other two in the long table
				}
				if r := b.fit(t, marked, start); r.Verdict == Accepted {
					t.Errorf("another break is accepted, %s (%s)", r.Fit, r.Reason)
				} else {
					t.Logf("seed %d: %s: %s", seed, r.Verdict, r.Reason)
				}
			}
		}
	}
}
