package assess

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/stat"
)

// ErrPairs is returned by [TestRetest] for fewer than 2 pairs or unequal lengths.
var ErrPairs = errors.New("assess: test and retest need the same number of values, at least 2")

// Reliability is what a test and a retest of the same athletes tell of a
// measure's noise.
type Reliability struct {
	// MeanDiff and SDDiff of retest minus test, in the measure's unit.
	MeanDiff, SDDiff float64
	// TE is the typical error SDDiff/√2; CV is TE as a percentage of the grand mean.
	TE, CV float64
	// ICC is the intraclass correlation ICC(3,1).
	ICC float64
}

// TestRetest computes the typical error of a club's own test-retest data, to
// be put in the club file in place of a published one (Hopkins 2000, Sports
// Med 30:1-15; FACTS 5f).
func TestRetest(test, retest []float64) (Reliability, error) {
	n := len(test)
	if n < 2 || n != len(retest) {
		return Reliability{}, ErrPairs
	}
	diffs, means := make([]float64, n), make([]float64, n)
	for i := range test {
		diffs[i], means[i] = retest[i]-test[i], (test[i]+retest[i])/2
	}
	var r Reliability
	r.MeanDiff, r.SDDiff = stat.MeanStdDev(diffs, nil)
	r.TE = r.SDDiff / math.Sqrt2
	grand, between := stat.MeanVariance(means, nil)
	r.CV = 100 * r.TE / grand
	// Two-way mean squares of two trials: between athletes 2·var(means), error TE².
	ms, me := 2*between, r.TE*r.TE
	r.ICC = (ms - me) / (ms + me)
	return r, nil
}
