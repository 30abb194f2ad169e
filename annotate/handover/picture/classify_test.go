package picture

import (
	"context"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate/terms"
	"rigatino/mesh/render"
	"rigatino/mesh/solid"
)

// features describes the inner part of a grey picture of a sphere by what does
// not depend on how the pattern lies: moments of the grey, its gradient, its
// autocorrelation at each distance (mean, least and greatest over directions),
// how far gradients agree in direction, and how many dark and light patches
// there are.
func features(grey []float64, px int) []float64 {
	mid, r := float64(px)/2, 0.36*float64(px)
	inside := func(x, y int) bool {
		return math.Hypot(float64(x)+0.5-mid, float64(y)+0.5-mid) < r
	}
	var n, sum float64
	each := func(do func(x, y int, v float64)) {
		for y := range px {
			for x := range px {
				if inside(x, y) {
					do(x, y, grey[y*px+x])
				}
			}
		}
	}
	each(func(_, _ int, v float64) { n++; sum += v })
	mean := sum / n
	var m2, m3, m4, slope float64
	each(func(x, y int, v float64) {
		d := v - mean
		m2 += d * d / n
		m3 += d * d * d / n
		m4 += d * d * d * d / n
		slope += math.Hypot(grey[y*px+x+1]-v, grey[(y+1)*px+x]-v) / n
	})
	dev := math.Sqrt(m2) + 1
	out := []float64{mean, dev, m3 / (dev * dev * dev), m4 / (dev * dev * dev * dev), slope / dev}
	// How far gradients agree in direction, twofold and fourfold, all over and
	// in small fields.
	for _, fold := range []float64{2, 4, 6} {
		type sum struct{ re, im, all float64 }
		fields := map[[2]int]*sum{}
		var whole sum
		each(func(x, y int, v float64) {
			gx, gy := grey[y*px+x+1]-grey[y*px+x-1], grey[(y+1)*px+x]-grey[(y-1)*px+x]
			g, a := math.Hypot(gx, gy), math.Atan2(gy, gx)*fold
			key := [2]int{x / 10, y / 10}
			if fields[key] == nil {
				fields[key] = &sum{}
			}
			for _, f := range []*sum{&whole, fields[key]} {
				f.re += g * math.Cos(a)
				f.im += g * math.Sin(a)
				f.all += g
			}
		})
		small := 0.0
		for y := range px / 10 {
			for x := range px / 10 {
				if f := fields[[2]int{x, y}]; f != nil {
					small += math.Hypot(f.re, f.im) / (whole.all + 1)
				}
			}
		}
		out = append(out, math.Hypot(whole.re, whole.im)/(whole.all+1), small)
	}
	for lag := 1; lag <= 12; lag++ {
		var all []float64
		for k := range 8 {
			s, c := math.Sincos(math.Pi * float64(k) / 8)
			dx, dy := int(math.Round(float64(lag)*c)), int(math.Round(float64(lag)*s))
			var cov, count float64
			each(func(x, y int, v float64) {
				if inside(x+dx, y+dy) {
					cov += (v - mean) * (grey[(y+dy)*px+x+dx] - mean)
					count++
				}
			})
			all = append(all, cov/count/(dev*dev))
		}
		least, most, avg := math.Inf(1), math.Inf(-1), 0.0
		for _, v := range all {
			least, most, avg = min(least, v), max(most, v), avg+v/8
		}
		out = append(out, avg, least, most)
	}
	for _, dark := range []bool{true, false} {
		met := map[[2]int]bool{}
		patches, area := 0.0, 0.0
		each(func(x, y int, v float64) {
			if (v < mean) != dark {
				return
			}
			area++
			if met[[2]int{x, y}] {
				return
			}
			patches++
			queue := [][2]int{{x, y}}
			met[queue[0]] = true
			for len(queue) > 0 {
				p := queue[0]
				queue = queue[1:]
				for _, d := range [4][2]int{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
					q := [2]int{p[0] + d[0], p[1] + d[1]}
					if inside(q[0], q[1]) && !met[q] && (grey[q[1]*px+q[0]] < mean) == dark {
						met[q] = true
						queue = append(queue, q)
					}
				}
			}
		})
		out = append(out, math.Log(patches+1), area/n)
	}
	return out
}

// Every pair of the 24 patterns, rendered in grey on a sphere 60 pixels across
// with tiles of 24 pixels, six to a step of the pattern, is told apart by a fixed
// classifier in at least 95 % of random orientations. The classifier is Fisher's
// linear discriminant (Annals of Eugenics 7:179, 1936) on the features above
// with one covariance for all, learnt from other orientations than it is tried
// on.
func TestPatternsAreToldApart(t *testing.T) {
	const px, radius = 60, 10.0
	learn, try := 40, 12
	if os.Getenv("RIGATINO_PROVE") == "1" {
		learn, try = 60, 200
	}
	b := body(t, solid.Icosphere(4, radius))
	r := render.NewRenderer(0)
	defer r.Close()
	frame := render.NewFrame(px, px)
	random := rand.New(rand.NewPCG(11, 12))
	type class struct {
		id           string
		mean         []float64
		learnt, held [][]float64
	}
	var all []*class
	for _, list := range []terms.List{terms.Substance, terms.Applied, terms.Condition} {
		for _, w := range terms.All(list) {
			k := render.Look{Paper: terms.Stone, Opacity: 1, Inks: []render.Ink{InkOf(w.Look)}}
			if list == terms.Substance {
				k.Paper = w.Look.Paper
			}
			c := &class{id: w.ID}
			marks := &render.Marks{Looks: []render.Look{k}, TileMM: 8}
			for i := range learn + try {
				back := r3.Vec{X: random.NormFloat64(), Y: random.NormFloat64(), Z: random.NormFloat64()}
				up := r3.Vec{X: random.NormFloat64(), Y: random.NormFloat64(), Z: random.NormFloat64()}
				err := r.Draw(context.Background(), frame, &render.Scene{
					Camera: render.LookFrom(back, up).Whole(r3.Vec{}, radius, px, px), Background: terms.White,
					Light:  render.Light{Toward: r3.Vec{Z: 1}, Ambient: 1},
					Bodies: []render.Placed{{Body: b, Marks: marks}},
				}, render.Fine)
				if err != nil {
					t.Fatal(err)
				}
				grey := make([]float64, px*px)
				for i := range grey {
					p := frame.Picture.Pix[4*i:]
					grey[i] = 0.2126*float64(p[0]) + 0.7152*float64(p[1]) + 0.0722*float64(p[2])
				}
				if f := features(grey, px); i < learn {
					c.learnt = append(c.learnt, f)
				} else {
					c.held = append(c.held, f)
				}
			}
			all = append(all, c)
		}
	}
	dim := len(all[0].learnt[0])
	within := mat.NewSymDense(dim, nil)
	for _, c := range all {
		c.mean = make([]float64, dim)
		for _, f := range c.learnt {
			for k, v := range f {
				c.mean[k] += v / float64(learn)
			}
		}
		for _, f := range c.learnt {
			d := make([]float64, dim)
			for k := range d {
				d[k] = f[k] - c.mean[k]
			}
			within.SymRankOne(within, 1/float64(learn*len(all)), mat.NewVecDense(dim, d))
		}
	}
	for k := range dim { // what never varies must not count without bound
		within.SetSym(k, k, within.At(k, k)*1.01+1e-6)
	}
	var factor mat.Cholesky
	if !factor.Factorize(within) {
		t.Fatal("the features do not vary")
	}
	worst, pair := 1.0, ""
	for i, a := range all {
		for _, c := range all[:i] {
			diff := mat.NewVecDense(dim, nil)
			level := 0.0
			for k := range dim {
				diff.SetVec(k, a.mean[k]-c.mean[k])
			}
			var w mat.VecDense
			if err := factor.SolveVecTo(&w, diff); err != nil {
				t.Fatal(err)
			}
			for k := range dim {
				level += w.AtVec(k) * (a.mean[k] + c.mean[k]) / 2
			}
			right := 0
			for n, held := range [2][][]float64{a.held, c.held} {
				for _, f := range held {
					if above := mat.Dot(&w, mat.NewVecDense(dim, f)) > level; above == (n == 0) {
						right++
					}
				}
			}
			if share := float64(right) / float64(2*try); share < worst {
				worst, pair = share, a.id+" and "+c.id
			}
		}
	}
	t.Logf("checked: worst pair %s, told apart in %.1f %% of %d pictures", pair, 100*worst, 2*try)
	if worst < 0.95 {
		t.Errorf("%s are told apart in %.1f %% of orientations only", pair, 100*worst)
	}
}
