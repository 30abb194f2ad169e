package scale

import (
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// Measure invented scans of known scale again and again: factor ± 2 u holds the
// truth as often as it says, and is no wider than it must be. Source: the truth
// is known; 95.45 % for k = 2 of a normal distribution (GUM table G.2), held by
// an exact binomial test at 1 in 10 000. The largest of internal and external u
// may hold it more often, never less.
func TestFactorCoversTheTruth(t *testing.T) {
	trials := 400
	if os.Getenv("RIGATINO_PROVE") == "1" {
		trials = 20_000
	}
	for _, row := range []struct {
		bars   int
		common float64 // mm, shared by all lengths of one scan
	}{{1, 0}, {2, 0}, {3, 0}, {4, 0}, {7, 0}, {4, 0.03}} {
		random := rand.New(rand.NewPCG(uint64(row.bars), 41))
		inside := 0
		var widths []float64
		for range trials {
			truth := math.Exp(0.02 * random.NormFloat64())
			shift := row.common * random.NormFloat64()
			var bars []Bar
			for range row.bars {
				length := 40 + 160*random.Float64()
				b := Bar{LengthUMM: 0.005 + 0.03*random.Float64(), MeasuredUMM: 0.02 + 0.1*random.Float64()}
				b.LengthMM = length + shift + b.LengthUMM*random.NormFloat64()
				b.MeasuredMM = length/truth + b.MeasuredUMM*random.NormFloat64()
				bars = append(bars, b)
			}
			c, err := Fit(bars, Options{CommonUMM: row.common})
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(c.Factor-truth) <= 2*c.U {
				inside++
			}
			widths = append(widths, c.RelativeU())
		}
		slices.Sort(widths)
		median := widths[trials/2]
		share := float64(inside) / float64(trials)
		t.Logf("checked: %d bars, common part %g mm: factor ± 2 u holds the truth in %.1f %% of %d scans, median u %.2g of a length", row.bars, row.common, 100*share, trials, median)
		binomial := distuv.Binomial{N: float64(trials), P: math.Erf(math.Sqrt2)}
		if binomial.CDF(float64(inside)) < 1e-4 {
			t.Errorf("%d bars: only %.1f %% are held", row.bars, 100*share)
		}
		// One bar of 40 to 200 mm measured to 0.07 mm: about 6e-4; more bars do better.
		if most := 1e-3/math.Sqrt(float64(row.bars)) + row.common/100; median > most {
			t.Errorf("%d bars: the median u is %.2g of a length, which proves nothing; at most %.2g is wanted", row.bars, median, most)
		}
	}
}

// Where every stated uncertainty is half the true one, the scatter of the bars
// widens u: seven bars hold the truth about as often as with honest ones. With
// few bars it cannot, and the figure is only logged.
func TestScatterTellsOfUncertaintiesTooSmall(t *testing.T) {
	const trials = 1000
	for _, n := range []int{2, 3, 4, 7, 15} {
		random := rand.New(rand.NewPCG(uint64(n), 7))
		inside := 0
		for range trials {
			var bars []Bar
			for range n {
				length := 40 + 160*random.Float64()
				bars = append(bars, Bar{
					LengthMM: length + 0.04*random.NormFloat64(), LengthUMM: 0.02,
					MeasuredMM: length + 0.1*random.NormFloat64(), MeasuredUMM: 0.05,
				})
			}
			c, err := Fit(bars, Options{})
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(c.Factor-1) <= 2*c.U {
				inside++
			}
		}
		share := float64(inside) / trials
		t.Logf("checked: %d bars stated twice too well: ± 2 u holds the truth in %.1f %%", n, 100*share)
		// Two standard uncertainties from n−1 degrees of freedom (Student).
		student := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(n - 1)}
		want := student.CDF(2) - student.CDF(-2)
		if (distuv.Binomial{N: trials, P: want}).CDF(float64(inside)) < 1e-4 {
			t.Errorf("%d bars: %.1f %% are held, Student's distribution has %.1f %%", n, 100*share, 100*want)
		}
	}
}

// Bars that are as good as stated are seldom doubted: of sets of four no more
// than the limit of three standard uncertainties lets through by chance
// (Bonferroni: at most four times 0.27 %).
func TestGoodBarsAreSeldomDoubted(t *testing.T) {
	const trials = 2000
	random := rand.New(rand.NewPCG(5, 5))
	doubted := 0
	for range trials {
		var bars []Bar
		for range 4 {
			length := 40 + 160*random.Float64()
			bars = append(bars, Bar{LengthMM: length + 0.02*random.NormFloat64(), LengthUMM: 0.02, MeasuredMM: length + 0.05*random.NormFloat64(), MeasuredUMM: 0.05})
		}
		c, err := Fit(bars, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if c.Verdict != Verified {
			doubted++
		}
	}
	t.Logf("checked: %d of %d sets of four good bars are doubted", doubted, trials)
	if (distuv.Binomial{N: trials, P: 4 * 0.0027}).CDF(float64(doubted)-1) > 1-1e-4 {
		t.Errorf("%d of %d sets of good bars are doubted", doubted, trials)
	}
}
