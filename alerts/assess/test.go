package assess

import (
	"math"

	"gonum.org/v1/gonum/stat"

	"canter.example/schemas"
)

// Test assesses a test against the athlete's earlier ones. Others may be in
// any order and may hold anything: o itself, later tests, invalid ones, other
// versions; see [Earlier] for which count. Squad is the spread of the squad
// as known before the test (see [PooledSD]); its zero value means none.
//
// The rules that fired are left empty: that is another package's question.
func Test(o schemas.Outcome, others []schemas.Outcome, squad Pooled, s Settings) schemas.Assessment {
	past := earlier(&o, others)
	a := schemas.Assessment{
		TestID: o.TestID, Athlete: o.Athlete, Squad: o.Squad, Protocol: o.Protocol,
		Session: o.Session, Start: o.Start, Version: o.Version,
	}
	a.Comparisons = append(a.Comparisons, compare(&o, past, hrexOf(&o, s), squad, s))
	for _, r := range o.Recovery {
		a.Comparisons = append(a.Comparisons, compare(&o, past, hrrOf(r.Seconds, s), squad, s))
	}
	return a
}

// compare sets one number of o beside past, the tests that count, oldest first.
func compare(o *schemas.Outcome, past []*schemas.Outcome, m measure, squad Pooled, s Settings) schemas.Comparison {
	c := schemas.Comparison{
		Measure: m.name, Seconds: m.seconds, Unit: m.unit, Value: m.of(o), MinN: s.MinTests,
		TE: schemas.Num(m.te), MDC: schemas.Num(MDC(m.te, s.Level)),
	}
	all, tests := m.series(past)
	if n := len(all); n > 0 {
		c.Previous, c.PreviousTime = schemas.Num(all[n-1]), tests[n-1].Start
		c.PrevChange = c.Value.Minus(c.Previous)
		c.PrevPct = percent(c.PrevChange, all[n-1])
	}
	values, tests := m.series(window(tests, o.Start, s))
	c.N = len(values)
	if c.N > 0 {
		c.From, c.To = tests[0].Start, tests[c.N-1].Start
	}
	value, ok := c.Value.Get()
	switch {
	case !ok:
		c.State = schemas.NoValue
	case c.N < s.MinTests:
		c.State = schemas.Building
	default:
		judge(&c, m, value, values, squad, s)
	}
	return c
}

// judge fills in everything that needs a baseline.
func judge(c *schemas.Comparison, m measure, value float64, baseline []float64, squad Pooled, s Settings) {
	mean, own := stat.MeanStdDev(baseline, nil)
	sd, df, method := usedSD(m, own, len(baseline), squad, s)
	change := value - mean
	low, high := PredictionInterval(mean, sd, len(baseline), df, s.Level)
	swc := m.swcAt(mean, squad)

	c.Mean, c.SD, c.SDUsed, c.SDMethod = schemas.Num(mean), schemas.Num(own), schemas.Num(sd), method
	c.Change = schemas.Num(change)
	c.Pct = percent(c.Change, mean)
	c.Z = schemas.Num(change / sd)
	c.PredLow, c.PredHigh = schemas.Num(low), schemas.Num(high)
	c.SWC = schemas.Num(swc)
	c.ProbChange = schemas.Num(ProbabilityBeyond(change, swc, predictionSE(sd, len(baseline)), df))
	c.State = StateOf(c.Change, c.Z, m.least, s.Z)
}

// StateOf returns where a change stands: it is Higher or Lower when it is at
// least least in size and its z at least z, both on the same side, else
// Inside. Absent numbers are Inside.
func StateOf(change, z schemas.Number, least, leastZ float64) schemas.ComparisonState {
	// A threshold of 1.8 is meant to catch 81.8 after 80.0, whose difference
	// in binary is a hair below.
	const hair = 1e-9
	d, ok := change.Get()
	zv, okZ := z.Get()
	if !ok || !okZ || math.Abs(d) < least-hair || math.Abs(zv) < leastZ-hair {
		return schemas.Inside
	}
	switch {
	case d > 0 && zv > 0:
		return schemas.Higher
	case d < 0 && zv < 0:
		return schemas.Lower
	default:
		return schemas.Inside
	}
}

// swcAt returns the smallest worthwhile change in m's unit: 0.2 × the
// between-athlete SD (Hopkins 2004; FACTS 2.7) where the squad shows one, else
// the published share of the athlete's level (FACTS 2.4).
func (m measure) swcAt(level float64, squad Pooled) float64 {
	if sp, ok := squad.of(m); ok {
		if between, ok := sp.BetweenSD.Get(); ok {
			return 0.2 * between
		}
	}
	return m.swc * math.Abs(level)
}

// percent returns change as a percentage of base, absent when base is 0.
func percent(change schemas.Number, base float64) schemas.Number {
	d, ok := change.Get()
	if !ok || base == 0 {
		return schemas.Number{}
	}
	return schemas.Num(100 * d / base)
}
