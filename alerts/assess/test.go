package assess

import (
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/stat"

	"canter.example/schemas"
)

// Context is what is known beside the athlete's own tests. The zero value is
// an athlete without a squad.
type Context struct {
	// Pooled is the spread of the squad as known before the test; see [PooledSD].
	Pooled Pooled
	// Effects are what the test's session shares; see [Effects].
	Effects []Effect
	// Since is the athlete's last marked return from injury before the test,
	// zero for none: older tests are no baseline.
	Since time.Time
}

// Test assesses a test against the athlete's earlier ones. Others may be in
// any order and may hold anything: o itself, later tests, invalid ones, other
// versions; see [Earlier] for which count.
//
// The rules that fired are left empty: that is another package's question.
func Test(o schemas.Outcome, others []schemas.Outcome, known Context, s Settings) schemas.Assessment {
	past := remembered(earlier(&o, others), o.Start, s)
	a := schemas.Assessment{
		TestID: o.TestID, Athlete: o.Athlete, Squad: o.Squad, Protocol: o.Protocol,
		Session: o.Session, Start: o.Start, Version: o.Version,
	}
	a.Comparisons = append(a.Comparisons, compare(&o, past, hrexOf(&o, s), known, s))
	for _, r := range o.Recovery {
		a.Comparisons = append(a.Comparisons, compare(&o, past, hrrOf(r.Seconds, s), known, s))
	}
	return a
}

// remembered leaves out tests that are too old for a baseline: how much of the
// past is at hand must not matter.
func remembered(past []*schemas.Outcome, at time.Time, s Settings) []*schemas.Outcome {
	oldest := at.Add(-s.MaxAge)
	return slices.DeleteFunc(past, func(t *schemas.Outcome) bool {
		return t.Start.Before(oldest) && (s.Basis != schemas.BasisReference || !s.Reference.Contains(t.Start))
	})
}

// compare sets one number of o beside past, the tests that count, oldest first.
func compare(o *schemas.Outcome, past []*schemas.Outcome, m measure, known Context, s Settings) schemas.Comparison {
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
	effect, scale := m.shifts(known.Effects)
	c.Squad = shared(effect, scale, s)
	base, basis := baseline(past, o.Start, known.Since, s)
	values, tests := m.series(base)
	c.N, c.Basis = len(values), basis
	if c.N > 0 {
		c.From, c.To = tests[0].Start, tests[c.N-1].Start
	}
	value, ok := c.Value.Get()
	switch {
	case !ok:
		c.State = schemas.NoValue
		return c
	case c.N < s.MinTests:
		c.State = schemas.Building
	default:
		j := judgement{
			value: value, values: values,
			level: value - scale*effect.Shifts[o.Session], levels: less(values, tests, effect.Shifts, scale),
		}
		j.judge(&c, m, known.Pooled, s)
	}
	c.Drift = driftOf(o, past, m, known, s)
	return c
}

// shared describes a squad effect in the comparison's unit.
func shared(e Effect, scale float64, s Settings) schemas.SquadShift {
	sh := schemas.SquadShift{State: string(e.State), N: e.Athletes}
	if e.State == Estimated {
		sh.Size, sh.SE = scaled(e.Size, scale), scaled(e.SE(), scale)
		sh.Material = e.Beyond(s.Trifle(e.Measure, e.Unit))
	}
	return sh
}

func scaled(n schemas.Number, by float64) schemas.Number {
	v, ok := n.Get()
	if !ok {
		return n
	}
	return schemas.Num(by * v)
}

// baseline returns the tests of past (oldest first) that a test at an instant
// is held against, and what they are.
func baseline(past []*schemas.Outcome, at, since time.Time, s Settings) ([]*schemas.Outcome, schemas.Basis) {
	if s.Basis == schemas.BasisReference && !since.After(s.Reference.To) {
		// A return within the block makes it shorter.
		var block []*schemas.Outcome
		for _, t := range past {
			if s.Reference.Contains(t.Start) && !t.Start.Before(since) {
				block = append(block, t)
			}
		}
		return block, schemas.BasisReference
	}
	basis := schemas.BasisRolling
	if !since.IsZero() && len(past) > 0 && past[0].Start.Before(since) && at.Sub(since) <= s.MaxAge {
		basis = schemas.BasisReturn
	}
	return window(from(past, since), at, s), basis
}

// from leaves out the tests (oldest first) before an instant.
func from(tests []*schemas.Outcome, since time.Time) []*schemas.Outcome {
	for i, t := range tests {
		if !t.Start.Before(since) {
			return tests[i:]
		}
	}
	return nil
}

// judgement is a value with its baseline, as measured and with the squad's
// shifts taken off.
type judgement struct {
	value, level   float64
	values, levels []float64
}

// judge fills in everything that needs a baseline.
func (j judgement) judge(c *schemas.Comparison, m measure, squad Pooled, s Settings) {
	mean, own := stat.MeanStdDev(j.values, nil)
	sd, df := usedSD(m, own, len(j.values), squad, s)
	change := j.value - mean
	low, high := PredictionInterval(mean, sd, len(j.values), df, s.Level)
	swc := m.swcAt(mean, squad)

	c.Mean, c.SD, c.SDUsed, c.SDMethod = schemas.Num(mean), schemas.Num(own), schemas.Num(sd), methodOf(m, len(j.values), squad, s)
	c.Change = schemas.Num(change)
	c.Pct = percent(c.Change, mean)
	c.Z = schemas.Num(change / sd)
	c.PredLow, c.PredHigh = schemas.Num(low), schemas.Num(high)
	c.SWC = schemas.Num(swc)
	c.ProbChange = schemas.Num(ProbabilityBeyond(change, swc, predictionSE(sd, len(j.values)), df))

	mean, own = stat.MeanStdDev(j.levels, nil)
	sd, _ = usedSD(m, own, len(j.levels), squad, s)
	c.Deviation = schemas.Num(j.level - mean)
	c.DeviationZ = schemas.Num((j.level - mean) / sd)
	c.State = StateOf(c.Deviation, c.DeviationZ, m.least, Needed(c, s.Z))
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
