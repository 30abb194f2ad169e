package project

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/mesh/frame"
)

// displacement is the covariance of where a point lands when a small motion
// about a centre (rotation ω, translation t: x + ω × (x − c) + t) has the given
// covariance, by propagation through its derivative.
func displacement(cov []float64, centre, x r3.Vec) *mat.Dense {
	d := r3.Sub(x, centre)
	j := mat.NewDense(3, 6, []float64{
		0, d.Z, -d.Y, 1, 0, 0,
		-d.Z, 0, d.X, 0, 1, 0,
		d.Y, -d.X, 0, 0, 0, 1,
	})
	var left, out mat.Dense
	left.Mul(j, mat.NewDense(6, 6, cov))
	out.Mul(&left, j.T())
	return &out
}

func randomCovariance(r *rand.Rand) [36]float64 {
	a := mat.NewDense(6, 6, nil)
	for i := range 6 {
		for j := range 6 {
			a.Set(i, j, r.NormFloat64())
		}
	}
	var c mat.Dense
	c.Mul(a, a.T())
	return [36]float64(c.RawMatrix().Data)
}

func randomVec(r *rand.Rand) r3.Vec {
	return r3.Vec{X: 50 * r.NormFloat64(), Y: 50 * r.NormFloat64(), Z: 50 * r.NormFloat64()}
}

// A covariance told about another centre, or in a turned frame, says the same
// of every point.
func TestCovarianceOfMotions(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 2))
	for range 20 {
		c := randomCovariance(r)
		from, to, x := randomVec(r), randomVec(r), randomVec(r)
		a, b := displacement(c[:], from, x), displacement(moved(c[:], from, to), to, x)
		if !mat.EqualApprox(a, b, 1e-9*mat.Norm(a, 2)) {
			t.Fatalf("about another centre:\n%v\n%v", mat.Formatted(a), mat.Formatted(b))
		}
		g := frame.Rotation(randomVec(r), r.Float64())
		g.T = randomVec(r)
		var left, want mat.Dense
		left.Mul(mat.NewDense(3, 3, g.R[:]), a)
		want.Mul(&left, mat.NewDense(3, 3, g.R[:]).T())
		got := displacement(turned(c, g), g.Apply(from), g.Apply(x))
		if !mat.EqualApprox(&want, got, 1e-9*mat.Norm(a, 2)) {
			t.Fatalf("turned:\n%v\n%v", mat.Formatted(&want), mat.Formatted(got))
		}
	}
}

// chain is a piece with a base and uses that rest on one another:
// received ← mech_coarse ← fill, received ← retouch; sample has no alignment.
func chain() (*annotate.Record, map[string]annotate.UseKey) {
	r := &annotate.Record{Pieces: []annotate.Piece{{ID: "body"}}}
	keys := map[string]annotate.UseKey{}
	for i, s := range []struct{ stage, to string }{{"received", ""}, {"mech_coarse", "received"}, {"fill", "mech_coarse"}, {"retouch", "received"}, {"sample", ""}} {
		r.Stages = append(r.Stages, annotate.Stage{ID: s.stage, Kind: s.stage})
		u := annotate.Use{Stage: s.stage, Piece: "body", Part: "whole", Scan: s.stage}
		if s.to != "" {
			g := frame.Rotation(r3.Vec{X: 1, Y: float64(i), Z: 2}, 0.3*float64(i))
			g.T = r3.Vec{X: float64(i)}
			var c [36]float64
			for k := range 6 {
				c[7*k] = float64(i)
			}
			u.Alignment = &annotate.Alignment{To: s.to + "/body/whole", Verdict: "accepted", ScanToPiece: g.Matrix(), Covariance: c[:], CheckRMS: float64(i), Centre: [3]float64{float64(i), 0, 0}}
		}
		keys[s.stage] = u.Key()
		r.Uses = append(r.Uses, u)
	}
	return r, keys
}

// What lies between two uses is the alignments on the way, and no others.
func TestPairOptions(t *testing.T) {
	r, keys := chain()
	for _, c := range []struct {
		from, to string
		links    []float64 // check RMS of the alignments on the way
	}{
		{"received", "mech_coarse", []float64{1}},
		{"mech_coarse", "fill", []float64{2}},
		{"received", "fill", []float64{2, 1}},
		{"fill", "retouch", []float64{3, 2, 1}},
		{"retouch", "received", []float64{3}},
	} {
		opt, err := pairOptions(r, keys[c.from], keys[c.to])
		if err != nil {
			t.Fatal(err)
		}
		sum, squares := 0.0, 0.0
		for _, l := range c.links {
			sum += l
			squares += l * l
		}
		// Turns add whatever their centres.
		if got := opt.RegistrationCovariance[0]; math.Abs(got-sum) > 1e-9 {
			t.Errorf("%s to %s: variance of the turn %v, want %v", c.from, c.to, got, sum)
		}
		if math.Abs(opt.CheckRMSMM-math.Sqrt(squares)) > 1e-9 {
			t.Errorf("%s to %s: check RMS %v, want %v", c.from, c.to, opt.CheckRMSMM, math.Sqrt(squares))
		}
	}
	if _, err := pairOptions(r, keys["fill"], keys["sample"]); err == nil || !strings.Contains(err.Error(), "not aligned: align it first") {
		t.Errorf("not aligned: %v", err)
	}
	r.Use(keys["fill"]).Alignment.Verdict = "ambiguous"
	var refused *RefusedError
	if _, err := pairOptions(r, keys["received"], keys["fill"]); err == nil || !errorsAs(err, &refused) || !strings.Contains(err.Error(), "ambiguous") {
		t.Errorf("ambiguous: %v", err)
	}
	if _, err := pairOptions(r, keys["received"], keys["received"]); err == nil {
		t.Error("a use was compared with itself")
	}
}

func errorsAs(err error, target **RefusedError) bool {
	e, ok := err.(*RefusedError)
	*target = e
	return ok
}

func TestPartner(t *testing.T) {
	r, keys := chain()
	for _, c := range []struct{ use, against, want string }{
		{"mech_coarse", "", "received/body/whole"},
		{"fill", "", "mech_coarse/body/whole"},
		{"retouch", "", "fill/body/whole"},
		{"sample", "", "retouch/body/whole"},
		{"sample", "received", "received/body/whole"},
		{"received", "", "needs no alignment"},
		{"mech_coarse", "fill", "was itself aligned with"},
		{"fill", "sample", "no accepted alignment itself"},
		{"fill", "fill", "with itself"},
	} {
		var named *annotate.UseKey
		if c.against != "" {
			k := keys[c.against]
			named = &k
		}
		key, err := partner(r, keys[c.use], named)
		got := key.String()
		if err != nil {
			got = err.Error()
		}
		if !strings.Contains(got, c.want) {
			t.Errorf("%s against %q: %s, want %s", c.use, c.against, got, c.want)
		}
	}
}

// When a use is aligned again, what was aligned with it keeps its place to it.
func TestFollow(t *testing.T) {
	r, keys := chain()
	place := func(stage string) frame.Rigid { return frame.FromMatrix(r.Use(keys[stage]).Alignment.ScanToPiece) }
	between := func() frame.Rigid { return place("fill").Then(place("mech_coarse").Inverse()) }
	before, retouch := between(), place("retouch")
	was := place("mech_coarse")
	is := frame.Rotation(r3.Vec{Y: 1}, 0.2)
	is.T = r3.Vec{X: 7, Z: -3}
	r.Use(keys["mech_coarse"]).Alignment.ScanToPiece = is.Matrix()
	follow(r, keys["mech_coarse"], was, is)
	after := between()
	x := r3.Vec{X: 20, Y: -30, Z: 11}
	if d := r3.Norm(r3.Sub(before.Apply(x), after.Apply(x))); d > 1e-9 {
		t.Errorf("fill moved by %v mm against mech_coarse", d)
	}
	if place("retouch") != retouch {
		t.Error("retouch does not rest on mech_coarse and has moved")
	}
}
