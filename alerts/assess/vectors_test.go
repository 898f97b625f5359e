package assess_test

import (
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"canter.example/alerts/assess"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.10g, want %.10g ± %g", what, got, want, tolerance)
	}
}

func nearAll(t *testing.T, what string, got, want []float64, tolerance float64) {
	t.Helper()
	if d := cmp.Diff(want, got, cmpopts.EquateApprox(0, tolerance)); d != "" {
		t.Errorf("%s (-want +got):\n%s", what, d)
	}
}

// NIST/SEMATECH e-Handbook 6.3.2.4 (FACTS 5a).
func TestEWMAOfTheNISTHandbook(t *testing.T) {
	x := []float64{52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1}
	z := []float64{50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99}
	got := assess.EWMA(x, 0.3, 50)
	nearAll(t, "z", got, z, 0.00501) // the handbook prints two decimals
	low, high := assess.EWMALimits(50, 2.0539, 0.3, 3, 0)
	near(t, "UCL", high, 52.5884, 5e-5)
	near(t, "LCL", low, 47.4115, 1e-4)
	for i, v := range got {
		if v > high || v < low {
			t.Errorf("signal at %d, the handbook has none", i)
		}
	}
}

func TestEWMALimitsWidenTowardTheirAsymptote(t *testing.T) {
	// After one value the average is lambda·x: SD lambda·sd.
	low, high := assess.EWMALimits(0, 2, 0.3, 3, 1)
	near(t, "half width after one value", (high-low)/2, 3*0.3*2, 1e-12)
	_, after := assess.EWMALimits(0, 2, 0.3, 3, 200)
	_, limit := assess.EWMALimits(0, 2, 0.3, 3, 0)
	near(t, "after 200 values", after, limit, 1e-12)
}

// TestIntervalsStayTheSameHoweverOftenTheyAreAsked: what is kept of them is given
// to whom it belongs, also when several ask at once and others push it out.
func TestIntervalsStayTheSameHoweverOftenTheyAreAsked(t *testing.T) {
	var asking sync.WaitGroup
	for range 4 {
		asking.Go(func() {
			for range 2 {
				for i := range 2500 {
					df := 1 + float64(i)/100
					want := distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(0.975)
					if _, high := assess.PredictionInterval(0, 1/math.Sqrt(2), 1, df, 0.95); math.Abs(high-want) > 1e-9*want {
						t.Errorf("df %g: %g, want %g", df, high, want)
						return
					}
				}
			}
		})
	}
	asking.Wait()
}

// NIST/SEMATECH e-Handbook 6.3.2.3 (FACTS 5b).
func TestCUSUMOfTheNISTHandbook(t *testing.T) {
	x := []float64{324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600, 324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350}
	d := assess.CUSUM(x, 325, 0.3175, 4.1959)
	nearAll(t, "hi", d.Hi, []float64{0, 0, 0, 0, .0325, 0, 0, 0, 0, 0, 0, 0, 3.0075, 4.94, 7.4475, 10.63, 11.9875, 14.445, 16.0025, 19.035}, 1e-9)
	nearAll(t, "lo", d.Lo, []float64{0, .0075, 0, .3325, 0, 0, .5575, .715, .1725, .255, .3125, 0, 0, 0, 0, 0, 0, 0, 0, 0}, 1e-9)
	if d.Signal != 13 || !d.Up {
		t.Errorf("first signal at %d (up %t), want observation 14 upward", d.Signal+1, d.Up)
	}
	if d.Since != 12 {
		t.Errorf("climb since observation %d, want 13, where the sum leaves 0 for good", d.Since+1)
	}
}

// Montgomery & Runger, example 16-6 (FACTS 5c).
func TestCUSUMOfMontgomeryAndRunger(t *testing.T) {
	x := []float64{102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1, 101.3, 98.7, 101.1, 98.4, 97.0, 96.7, 100.3, 101.4, 97.2, 101.0}
	d := assess.CUSUM(x, 99, 1, 10)
	nearAll(t, "hi", d.Hi, []float64{2, 0, 0, 0, 2, .5, 0, 0, 0, 0, 1.3, 0, 1.1, 0, 0, 0, .3, 1.7, 0, 1}, 1e-9)
	nearAll(t, "lo", d.Lo, []float64{0, 3.2, 2.9, 2.5, 0, 0, 0, .3, 0, 0, 0, 0, 0, 0, 1, 2.3, 0, 0, .8, 0}, 1e-9)
	if d.Signal != -1 {
		t.Errorf("signal at %d, the example has none", d.Signal)
	}
}

// Lucas & Crosier 1982, table 1: two-sided, k 0.5, h 4 (FACTS 5d). The run
// lengths come from simulation of the chart itself; four standard errors of
// the simulated mean are allowed.
func TestCUSUMRunLengthsOfLucasAndCrosier(t *testing.T) {
	const runs = 4000
	rng := rand.New(rand.NewPCG(1982, 1))
	for shift, want := range map[float64]float64{0: 168, .25: 74.2, .5: 26.6, .75: 13.3, 1: 8.38, 1.5: 4.75, 2: 3.34, 3: 2.19} {
		lengths := make([]float64, runs)
		for i := range lengths {
			lengths[i] = runLength(rng, shift)
		}
		mean, sd := stat.MeanStdDev(lengths, nil)
		near(t, "average run length", mean, want, 4*sd/math.Sqrt(runs)+0.005*want)
		if shift <= 2 {
			near(t, "Siegmund's approximation", assess.CUSUMRunLength(0.5, 4, shift), want, 0.05*want)
		}
	}
}

// runLength plays one CUSUM until it signals.
func runLength(rng *rand.Rand, shift float64) float64 {
	var x []float64
	for block := 32; ; block *= 2 {
		for range block {
			x = append(x, rng.NormFloat64()+shift)
		}
		if d := assess.CUSUM(x, 0, 0.5, 4); d.Signal >= 0 {
			return float64(d.Signal + 1)
		}
	}
}

func TestCUSUMLimitGivesTheRunLengthAskedFor(t *testing.T) {
	// h 4 and k 0.5 have a two-sided run length of 168 (FACTS 5d).
	near(t, "h", assess.CUSUMLimit(0.5, 168), 4, 0.02)
	near(t, "round trip", assess.CUSUMRunLength(0.5, assess.CUSUMLimit(0.5, 400), 0), 400, 1e-6)
}

// Montgomery & Runger, example 8-8, and t tables (FACTS 5g).
func TestPredictionIntervalOfMontgomeryAndRunger(t *testing.T) {
	low, high := assess.PredictionInterval(13.71, 3.55, 22, 21, 0.95)
	near(t, "low", low, 6.16, 0.005)
	near(t, "high", high, 21.26, 0.005)
	for n, want := range map[int]float64{3: 4.97, 4: 3.56, 5: 3.04, 6: 2.78, 8: 2.51, 10: 2.37, 20: 2.14} {
		_, high := assess.PredictionInterval(0, 1, n, float64(n-1), 0.95)
		near(t, "multiplier", high, want, 0.0051)
	}
	for df, want := range map[float64]float64{2: 4.303, 3: 3.182, 4: 2.776, 5: 2.571, 6: 2.447, 7: 2.365, 8: 2.306, 9: 2.262, 10: 2.228, 19: 2.093} {
		_, high := assess.PredictionInterval(0, 1, 1, df, 0.95)
		near(t, "t.975", high/math.Sqrt2, want, 0.0005)
	}
	for _, bad := range [][4]float64{{1, 0, 5, .95}, {1, 1, 0, .95}, {math.NaN(), 4, 3, .95}} {
		if low, high := assess.PredictionInterval(0, bad[0], int(bad[1]), bad[2], bad[3]); !math.IsNaN(low) || !math.IsNaN(high) {
			t.Errorf("%v gives %g to %g, want no interval", bad, low, high)
		}
	}
}

// Weir 2005; values derived (FACTS 2.8).
func TestMinimalDetectableChange(t *testing.T) {
	for _, c := range []struct{ te, level, want float64 }{
		{1.2, .95, 3.33}, {1.6, .95, 4.43}, {3.4, .95, 9.42},
		{1.2, .90, 2.79}, {1.6, .90, 3.72}, {3.4, .90, 7.91},
	} {
		near(t, "MDC", assess.MDC(c.te, c.level), c.want, 0.006)
	}
}

func TestProbabilityBeyondTheSmallestWorthwhileChange(t *testing.T) {
	// With many degrees of freedom T is the normal distribution.
	near(t, "1.96 SE beyond", assess.ProbabilityBeyond(-2.96, 1, 1, 1e6), 0.975, 1e-4)
	near(t, "exactly at it", assess.ProbabilityBeyond(1, 1, 3, 5), 0.5, 1e-12)
	// t.975 with 7 degrees of freedom is 2.365 (FACTS 5g).
	near(t, "few degrees of freedom", assess.ProbabilityBeyond(2.365+0.5, 0.5, 1, 7), 0.975, 1e-4)
	if p := assess.ProbabilityBeyond(1, 1, 0, 5); !math.IsNaN(p) {
		t.Errorf("no standard error gives %g, want none", p)
	}
}

// NIST StRD univariate (FACTS 5i): what the baseline's mean and SD rest on.
func TestMeanAndSDOfNISTReferenceData(t *testing.T) {
	steps := func(first, a, b float64) []float64 {
		x := []float64{first}
		for range 500 {
			x = append(x, a, b)
		}
		return x
	}
	mavro := make([]float64, 0, 50)
	for _, d := range []float64{18, 17, 18, 19, 18, 17, 15, 14, 15, 15, 17, 18, 18, 19, 19, 21, 20, 16, 14, 13, 13, 15, 15, 16, 15, 14, 13, 14, 15, 14, 15, 16, 15, 16, 19, 20, 20, 21, 22, 23, 24, 25, 27, 26, 26, 26, 27, 26, 25, 24} {
		mavro = append(mavro, 2+d*1e-4)
	}
	for _, c := range []struct {
		name      string
		x         []float64
		mean, sd  float64
		tolerance float64
	}{
		{"NumAcc1", []float64{10000001, 10000003, 10000002}, 10000002, 1, 1e-12},
		{"NumAcc2", steps(1.2, 1.1, 1.3), 1.2, 0.1, 1e-12},
		{"NumAcc3", steps(1000000.2, 1000000.1, 1000000.3), 1000000.2, 0.1, 1e-9},
		{"NumAcc4", steps(10000000.2, 10000000.1, 10000000.3), 10000000.2, 0.1, 1e-7},
		{"Mavro", mavro, 2.001856, 0.000429123454003053, 1e-12},
	} {
		mean, sd := stat.MeanStdDev(c.x, nil)
		near(t, c.name+" mean", mean, c.mean, 1e-14*c.mean)
		near(t, c.name+" SD", sd, c.sd, c.tolerance)
	}
}
