package assess

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat"

	"canter.example/schemas"
)

const (
	// minSquad athletes are needed before the squad's spread says more than a
	// published typical error; also the least for a squad effect (DESIGN).
	minSquad = 5
	// minOwn tests are needed before an athlete's spread counts in the squad's.
	minOwn = 3
	// maxPriorDF caps the squad's weight. Where athletes look alike the
	// estimate is infinite and an athlete's own tests would no longer count;
	// with the cap, 8 tests (7 degrees of freedom) keep a quarter of the say.
	maxPriorDF = 20
)

// Spread is how much a number moves from test to test within the athletes of
// a squad who did not all change.
type Spread struct {
	Measure schemas.Measure
	Seconds int
	Unit    string
	// SD is the pooled within-athlete SD in Unit: sqrt(Σ(n-1)s² / Σ(n-1)).
	SD float64
	// Athletes with at least 3 tests, and their degrees of freedom Σ(n-1).
	Athletes int
	DF       int
	// PriorSD and PriorDF describe the distribution the athletes' variances
	// came from; see [EstimatePrior].
	PriorSD float64
	PriorDF float64
	// BetweenSD is the SD of athletes' true levels in Unit, absent when the
	// athletes do not differ more than their noise explains.
	BetweenSD schemas.Number
}

// Pooled is the spread of each measure in a squad. The zero value holds none.
type Pooled struct{ Spreads []Spread }

// of returns the spread of a measure in a unit, when there is enough of it.
func (p Pooled) of(m measure) (Spread, bool) {
	for _, s := range p.Spreads {
		if s.Measure == m.name && s.Seconds == m.seconds && s.Unit == m.unit && s.Athletes >= minSquad {
			return s, true
		}
	}
	return Spread{}, false
}

// PooledSD returns the within-athlete spread of a squad as it was known before
// an instant, from the tests of each athlete (by athlete id) of one protocol
// version. Of each athlete the baseline window before that instant counts.
//
// Pass the start of the session's day, not of the test: then the tests of the
// session itself stay out, and no late file of a team-mate changes it.
//
// The shifts of whole sessions among effects are taken off first: a hot day is
// no unrest of the athletes.
func PooledSD(tests map[string][]schemas.Outcome, protocolVersion string, before time.Time, effects []Effect, s Settings) Pooled {
	type entry struct {
		m      measure
		groups [][]float64
	}
	var entries []*entry
	add := func(m measure, past []*schemas.Outcome) {
		values, from := m.series(past)
		if len(values) < minOwn {
			return
		}
		e, scale := m.shifts(effects)
		values = less(values, from, e.Shifts, scale)
		for _, e := range entries {
			if e.m.name == m.name && e.m.seconds == m.seconds && e.m.unit == m.unit {
				e.groups = append(e.groups, values)
				return
			}
		}
		entries = append(entries, &entry{m, [][]float64{values}})
	}
	for _, athlete := range slices.Sorted(maps.Keys(tests)) {
		past := window(valid(tests[athlete], athlete, protocolVersion, before), before, s)
		if len(past) == 0 {
			continue
		}
		last := *past[len(past)-1]
		points := hrexOf(&last, s)
		add(points, past)
		if points.unit != BPM {
			last.HRmax = schemas.HRmax{}
			add(hrexOf(&last, s), past)
		}
		for _, r := range last.Recovery {
			add(hrrOf(r.Seconds, s), past)
		}
	}
	var p Pooled
	for _, e := range entries {
		p.Spreads = append(p.Spreads, spreadOf(e.m, e.groups))
	}
	return p
}

// valid returns an athlete's distinct valid tests of a protocol version that
// started before an instant, oldest first.
func valid(tests []schemas.Outcome, athlete, version string, before time.Time) []*schemas.Outcome {
	return distinct(latest(tests, func(t *schemas.Outcome) bool {
		return t.Athlete == athlete && t.ProtocolVersion == version && t.Valid() && t.Start.Before(before)
	}))
}

// window returns the last MaxTests of tests (oldest first) within MaxAge
// before an instant.
func window(tests []*schemas.Outcome, before time.Time, s Settings) []*schemas.Outcome {
	oldest := before.Add(-s.MaxAge)
	i := slices.IndexFunc(tests, func(t *schemas.Outcome) bool { return !t.Start.Before(oldest) })
	if i < 0 {
		return nil
	}
	tests = tests[i:]
	return tests[max(0, len(tests)-s.MaxTests):]
}

func spreadOf(m measure, groups [][]float64) Spread {
	sp := Spread{Measure: m.name, Seconds: m.seconds, Unit: m.unit, Athletes: len(groups)}
	var variances, dfs, means []float64
	var ss, inverseN float64
	for _, g := range groups {
		mean, v := stat.MeanVariance(g, nil)
		df := float64(len(g) - 1)
		means, variances, dfs = append(means, mean), append(variances, v), append(dfs, df)
		ss += v * df
		sp.DF += len(g) - 1
		inverseN += 1 / float64(len(g))
	}
	within := ss / float64(sp.DF)
	sp.SD = math.Sqrt(within)
	// A few tests that fell together by luck have a logarithm far below all
	// others and would drag the prior with them: no athlete counts as steadier
	// than a third of the typical error.
	for i := range variances {
		variances[i] = max(variances[i], m.te*m.te/9)
	}
	prior, df := EstimatePrior(variances, dfs)
	sp.PriorSD, sp.PriorDF = math.Sqrt(prior), min(df, maxPriorDF)
	if len(groups) > 1 {
		// A mean of n tests carries within/n of noise (one-way random effects,
		// method of moments).
		between := stat.Variance(means, nil) - within*inverseN/float64(len(groups))
		if between > 0 {
			sp.BetweenSD = schemas.Num(math.Sqrt(between))
		}
	}
	return sp
}

// EstimatePrior fits the scaled inverse chi-square distribution that the
// variances came from, each with its degrees of freedom (> 0), and returns its
// location s0² and its degrees of freedom d0; d0 is +Inf when the variances
// differ no more than chance explains, and s0² is then their pooled value. It
// matches the mean and variance of log s² (Smyth 2004, Stat Appl Genet Mol
// Biol 3:3, section 6.2). Variances below 1e-5 of the median count as that
// much, so that a run of equal values has a logarithm. With fewer than two
// variances there is nothing to fit: d0 is 0.
func EstimatePrior(variances, dfs []float64) (s02, d0 float64) {
	n := len(variances)
	if n != len(dfs) || n < 2 {
		return 0, 0
	}
	sorted := slices.Sorted(slices.Values(variances))
	floor := 1e-5 * median(sorted)
	if !(floor > 0) {
		return 0, 0
	}
	e := make([]float64, n)
	var chance, ss, df float64
	for i, v := range variances {
		half := dfs[i] / 2
		e[i] = math.Log(max(v, floor)) - mathext.Digamma(half) + math.Log(half)
		chance += trigamma(half) / float64(n)
		ss, df = ss+v*dfs[i], df+dfs[i]
	}
	mean, variance := stat.MeanVariance(e, nil)
	excess := variance - chance
	if excess <= 0 {
		return ss / df, math.Inf(1)
	}
	half := trigammaInverse(excess)
	return math.Exp(mean + mathext.Digamma(half) - math.Log(half)), 2 * half
}

// trigamma is the derivative of digamma: Σ 1/(x+k)², the Hurwitz zeta at 2.
func trigamma(x float64) float64 { return mathext.Zeta(2, x) }

// trigammaInverse solves trigamma(y) = x for x > 0 by Newton's method on
// 1/trigamma, which is convex, so that it converges from the left (Smyth
// 2004, appendix).
func trigammaInverse(x float64) float64 {
	if x > 1e7 {
		return 1 / math.Sqrt(x)
	}
	if x < 1e-6 {
		return 1 / x
	}
	y := 0.5 + 1/x
	for range 50 {
		t := trigamma(y)
		step := t * (1 - t/x) / (-2 * mathext.Zeta(3, y))
		y += step
		if math.Abs(step) < 1e-10*y {
			break
		}
	}
	return y
}

// Shrink pulls a variance s² with d degrees of freedom toward s0² with d0:
//
//	(d0·s0² + d·s²) / (d0 + d)
//
// with d0 + d degrees of freedom (Smyth 2004, section 3: the posterior mean of
// an inverse chi-square prior). Few tests give a wild SD, and the smallest of
// them the false alarms: an athlete who showed 80, 80.1, 80, 80.1 is not one
// whose next 81 is a 20-SD event.
func Shrink(s2, d, s02, d0 float64) (variance, df float64) {
	return (d0*s02 + d*s2) / (d0 + d), d0 + d
}

// usedSD returns the SD to judge by and the degrees of freedom behind it.
func usedSD(m measure, own float64, n int, squad Pooled, s Settings) (sd, df float64) {
	s0, d0 := m.te, s.TEWeight
	if sp, ok := squad.of(m); ok && sp.PriorDF > 0 {
		s0, d0 = sp.PriorSD, sp.PriorDF
	}
	v, df := Shrink(own*own, float64(n-1), s0*s0, d0)
	return math.Sqrt(v), df
}

// methodOf says in words how [usedSD] came by its SD.
func methodOf(m measure, n int, squad Pooled, s Settings) string {
	from, d0 := fmt.Sprintf("typical error %.2g", m.te), s.TEWeight
	if sp, ok := squad.of(m); ok && sp.PriorDF > 0 {
		from, d0 = fmt.Sprintf("squad's within-athlete SD %.2g of %d athletes", sp.PriorSD, sp.Athletes), sp.PriorDF
	}
	return fmt.Sprintf("own SD (%d df) pulled toward the %s (%.1f df), Smyth 2004", n-1, from, d0)
}

// median of values sorted in ascending order, NaN of none.
func median(sorted []float64) float64 {
	n := len(sorted)
	if n == 0 {
		return math.NaN()
	}
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}
