package assess

import (
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"canter.example/schemas"
)

// driftSpike bounds what one test adds to the drift charts, in SDs: a single
// odd test is the other rules' business, however odd it is.
const driftSpike = 3

// driftOf draws the drift charts of one number over the athlete's last tests,
// o the last of them, with the squad's shifts taken off.
//
// The charts start themselves (Hawkins 1987, The Statistician 36:299-315, from
// memory): nobody knows an athlete's true level, and a level guessed from a
// few tests would make its own drift. Each test is held against the mean of
// those before it on the chart,
//
//	u = Phi^-1(T(df, (x - mean) / (sd·sqrt(1 + 1/n))))
//
// with the SD that z uses. Without change the u are independent and standard
// normal, so that the run lengths of a chart with known level hold.
func driftOf(o *schemas.Outcome, past []*schemas.Outcome, m measure, known Context, s Settings) schemas.Drift {
	long := s
	long.MaxTests = s.DriftTests - 1
	shown := slices.Concat(window(from(past, known.Since), o.Start, long), []*schemas.Outcome{o})
	values, tests := m.series(shown)
	effect, scale := m.shifts(known.Effects)
	values = less(values, tests, effect.Shifts, scale)
	d := schemas.Drift{N: len(values)}
	if len(values) <= minOwn {
		return d
	}
	u := make([]float64, 0, len(values)-minOwn)
	for n := minOwn; n < len(values); n++ {
		mean, own := stat.MeanStdDev(values[:n], nil)
		sd, df := usedSD(m, own, n, known.Pooled, s)
		t := (values[n] - mean) / predictionSE(sd, n)
		z := distuv.UnitNormal.Quantile(student(df).CDF(t))
		u = append(u, min(max(z, -driftSpike), driftSpike))
	}
	ewma := EWMA(u, s.DriftLambda, 0)
	_, limit := EWMALimits(0, 1, s.DriftLambda, s.DriftL, len(u))
	sums := CUSUM(u, 0, s.DriftK, s.DriftH)
	last := len(u) - 1
	d.EWMA, d.EWMALimit = schemas.Num(ewma[last]), schemas.Num(limit)
	d.High, d.Low, d.Limit = schemas.Num(sums.Hi[last]), schemas.Num(sums.Lo[last]), schemas.Num(s.DriftH)
	switch {
	case sums.Hi[last] > s.DriftH:
		d.Side, d.Since = schemas.DriftUp, tests[minOwn+climb(sums.Hi)].Start
	case sums.Lo[last] > s.DriftH:
		d.Side, d.Since = schemas.DriftDown, tests[minOwn+climb(sums.Lo)].Start
	}
	return d
}

// climb returns where the unbroken climb began that a sum's last value ends.
func climb(sum []float64) int {
	i := len(sum) - 1
	for i > 0 && sum[i-1] > 0 {
		i--
	}
	return i
}
