package assess

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"canter.example/schemas"
)

// EffectState is whether a squad effect could be estimated.
type EffectState string

// States of a squad effect.
const (
	Estimated EffectState = "estimated"
	// FewAthletes: fewer than 5 with this number and enough earlier tests.
	FewAthletes EffectState = "too few athletes"
	// FewSessions: no earlier session that at least 3 of them share.
	FewSessions EffectState = "no earlier session in common"
)

// Effect is what all athletes of a session share in one number: heat, wind,
// pace, surface, a batch of straps.
type Effect struct {
	Measure schemas.Measure
	Seconds int
	Unit    string
	State   EffectState
	// Athletes, and the earlier Sessions they are compared over.
	Athletes int
	Sessions int
	// Size of the session's shift from the squad's usual session in Unit,
	// positive when the number is higher than usual.
	Size schemas.Number
	// Low and High bound Size with probability Level (the most that the
	// number of athletes allows, at least 93 %).
	Low, High schemas.Number
	Level     float64
	// Shifts are the material ones by session, in Unit: what is taken off a
	// value before athletes are compared with themselves. This session is among
	// them when its own shift is material; see [Effect.Beyond].
	Shifts map[string]float64
}

// SE returns the standard error of Size: half the interval over the normal
// quantile of its level.
func (e Effect) SE() schemas.Number {
	low, ok := e.Low.Get()
	if !ok || e.Level <= 0 || e.Level >= 1 {
		return schemas.Number{}
	}
	return schemas.Num((e.High.Or(0) - low) / 2 / distuv.UnitNormal.Quantile((1+e.Level)/2))
}

// Beyond reports whether the whole interval lies at least least away from 0 on
// one side: the squad moved, and not by a trifle.
func (e Effect) Beyond(least float64) bool {
	low, ok := e.Low.Get()
	high, _ := e.High.Get()
	return e.State == Estimated && ok && (low >= least || high <= -least)
}

// Without returns an athlete's change with the squad's share taken off; the
// change itself when there is no estimate.
func (e Effect) Without(change schemas.Number) schemas.Number {
	if e.State != Estimated {
		return change
	}
	return change.Minus(e.Size)
}

// SquadEffect estimates what the tests of a session share in one measure. The
// athletes' values in their earlier sessions are a table of athletes by
// sessions; a median polish takes out each session's shift and gives each
// athlete's level, so that neither ill athletes nor missed or odd sessions
// bend it. Size is the median of the athletes' distances from their levels in
// this session, which is not in the table: a day must not help to define what
// is usual for it.
//
// The interval is that of a median by order statistics (the sign test turned
// round; Conover 1999, from memory), exact for any distribution of distances.
// It is widened, in quadrature, by the uncertainty of the usual session that
// all distances share.
//
// History holds the athletes' other tests by athlete id, in any order. For
// HRex, seconds is 0; athletes without HRmax are left out while at least 5
// have one, else all are taken in bpm. At least 5 athletes with 3 earlier
// tests each, in sessions that at least 3 of them share, are needed.
func SquadEffect(session []schemas.Outcome, history map[string][]schemas.Outcome, m schemas.Measure, seconds int, s Settings) Effect {
	return squadEffect(squadTests(session, history), m, seconds, s)
}

func squadEffect(tests []squadTest, m schemas.Measure, seconds int, s Settings) Effect {
	var rows []squadRow
	if m != schemas.MeasureHRR {
		rows = squadRows(tests, m, seconds, Points, s)
	}
	if len(rows) < minSquad {
		rows = squadRows(tests, m, seconds, BPM, s)
	}
	e := Effect{Measure: m, Seconds: seconds, Unit: BPM, State: FewAthletes, Athletes: len(rows)}
	if len(rows) < minSquad {
		return e
	}
	e.Unit, e.State = rows[0].unit, FewSessions
	rows, _, table := squadTable(rows)
	if len(rows) < minSquad {
		return e
	}
	p, err := MedianPolish(table)
	if err != nil {
		return e
	}
	e.State, e.Athletes, e.Sessions = Estimated, len(rows), len(p.Columns)
	e.estimate(rows, p)
	return e
}

// Trifle returns the largest shift of a session that counts as none, in unit.
func (s Settings) Trifle(m schemas.Measure, unit string) float64 {
	switch {
	case m == schemas.MeasureHRR:
		return s.SquadHRR
	case unit == BPM:
		return s.SquadBPM
	default:
		return s.SquadPoints
	}
}

// Effects estimates what a session shares in HRex and in each HRR that its
// tests have, with the material shifts of the sessions before it: those whose
// median lies beyond the trifle by two standard errors. They come from a table
// like [SquadEffect]'s, of the longer run of tests that the drift charts show.
func Effects(session []schemas.Outcome, history map[string][]schemas.Outcome, s Settings) []Effect {
	tests := squadTests(session, history)
	effects := []Effect{effectWithShifts(tests, schemas.MeasureHRex, 0, s)}
	var delays []int
	for i := range session {
		for _, r := range session[i].Recovery {
			if !slices.Contains(delays, r.Seconds) {
				delays = append(delays, r.Seconds)
			}
		}
	}
	slices.Sort(delays)
	for _, d := range delays {
		effects = append(effects, effectWithShifts(tests, schemas.MeasureHRR, d, s))
	}
	return effects
}

func effectWithShifts(tests []squadTest, m schemas.Measure, seconds int, s Settings) Effect {
	e := squadEffect(tests, m, seconds, s)
	if e.State != Estimated {
		return e
	}
	trifle := s.Trifle(m, e.Unit)
	long := s
	long.MaxTests = max(s.DriftTests, s.MaxTests)
	rows, ids, table := squadTable(squadRows(tests, m, seconds, e.Unit, long))
	e.Shifts = map[string]float64{}
	if p, err := MedianPolish(table); err == nil && len(rows) >= minSquad {
		for j, id := range ids {
			if se, n := columnSE(p, j); n >= minSquad && math.Abs(p.Columns[j]) >= trifle+2*se {
				e.Shifts[id] = p.Columns[j]
			}
		}
	}
	if e.Beyond(trifle) {
		e.Shifts[tests[0].Session] = e.Size.Or(0)
	}
	return e
}

// columnSE is the standard error of a session's shift: 1.2533·sd/√n of its n
// residuals, as of a median. The SD is taken from their median distance, so
// that an ill athlete does not hide a hot day.
func columnSE(p Polish, j int) (se float64, n int) {
	var off []float64
	for i := range p.Residuals {
		if r := p.Residuals[i][j]; !math.IsNaN(r) {
			off = append(off, math.Abs(r))
		}
	}
	const perMedian = 1.4826 // SD of a normal distribution over its median absolute deviation
	return 1.2533 * perMedian * medianOf(off) / math.Sqrt(float64(len(off))), len(off)
}

// estimate sets the rows' values of today beside the levels of a polish.
func (e *Effect) estimate(rows []squadRow, p Polish) {
	shifts := make([]float64, len(rows))
	for i, r := range rows {
		shifts[i] = r.now - p.Overall - p.Rows[i]
	}
	slices.Sort(shifts)
	size := median(shifts)
	k, level := signRank(len(shifts), 0.93)
	// The median of n values has a standard error of about 1.2533·sd/√n; twice
	// that, as the interval is about two wide.
	usual := 0.0
	if n := len(p.Columns); n > 1 {
		usual = 2 * 1.2533 * stat.StdDev(p.Columns, nil) / math.Sqrt(float64(n))
	}
	e.Level, e.Size = level, schemas.Num(size)
	e.Low = schemas.Num(size - math.Hypot(size-shifts[k], usual))
	e.High = schemas.Num(size + math.Hypot(shifts[len(shifts)-1-k]-size, usual))
}

// signRank returns the largest k for which the k-th smallest and k-th largest
// (from 0) of n values enclose their distribution's median with at least the
// given probability, and that probability: 1 - 2·P(Binomial(n, ½) ≤ k).
func signRank(n int, atLeast float64) (k int, level float64) {
	b := distuv.Binomial{N: float64(n), P: 0.5}
	level = 1 - 2*b.CDF(0)
	for k+1 < n/2 && 1-2*b.CDF(float64(k+1)) >= atLeast {
		k++
		level = 1 - 2*b.CDF(float64(k))
	}
	return k, level
}

// squadTest is one of a session's tests, with those that it may be compared with.
type squadTest struct {
	*schemas.Outcome
	past []*schemas.Outcome
}

// squadTests returns the valid tests of a session, one of each run, by athlete.
func squadTests(session []schemas.Outcome, history map[string][]schemas.Outcome) []squadTest {
	best := bestOfEach(session)
	tests := make([]squadTest, len(best))
	for i, o := range best {
		tests[i] = squadTest{o, earlier(o, history[o.Athlete])}
	}
	return tests
}

// squadRow is one athlete: the value in the session, and in earlier sessions.
type squadRow struct {
	unit string
	now  float64
	past []pastValue // one of each session, the last
}

type pastValue struct {
	session string
	value   float64
	at      time.Time
}

// squadRows returns the rows of athletes who have the number in this unit.
func squadRows(tests []squadTest, name schemas.Measure, seconds int, unit string, s Settings) []squadRow {
	var rows []squadRow
	done := "" // tests are by athlete
	for _, o := range tests {
		m := hrrOf(seconds, s)
		if name == schemas.MeasureHRex {
			m = hrexOf(o.Outcome, s)
			if unit == BPM {
				m = hrexInBPM(s)
			}
		}
		now, ok := m.of(o.Outcome).Get()
		if !ok || m.unit != unit || len(rows) > 0 && done == o.Athlete {
			continue
		}
		_, past := m.series(o.past)
		past = window(past, o.Start, s)
		r := squadRow{unit: unit, now: now, past: make([]pastValue, 0, len(past))}
		for _, t := range past {
			if t.Session != o.Session {
				r.put(pastValue{t.Session, m.of(t).Or(math.NaN()), t.Start})
			}
		}
		if len(r.past) >= minOwn {
			rows, done = append(rows, r), o.Athlete
		}
	}
	return rows
}

// put adds a value, in the place of an earlier one of the same session.
func (r *squadRow) put(v pastValue) {
	for i := range slices.Backward(r.past) {
		if r.past[i].session == v.session {
			r.past[i] = v
			return
		}
	}
	r.past = append(r.past, v)
}

// bestOfEach returns the valid tests of a session, one of each run, by athlete.
func bestOfEach(session []schemas.Outcome) []*schemas.Outcome {
	by := map[string][]*schemas.Outcome{}
	for _, o := range latest(session, (*schemas.Outcome).Valid) {
		by[o.Athlete] = append(by[o.Athlete], o)
	}
	var out []*schemas.Outcome
	for _, athlete := range slices.Sorted(maps.Keys(by)) {
		out = append(out, distinct(by[athlete])...)
	}
	return out
}

// squadTable lays the rows' earlier values out by session, absent ones as NaN,
// and returns the rows it holds and its sessions. Sessions that fewer than 3 athletes share are
// left out: a median of two is their mean, and that of one says nothing of the
// session. So are athletes with fewer than 3 values left.
func squadTable(rows []squadRow) (kept []squadRow, ids []string, table [][]float64) {
	type column struct {
		id    string
		at    time.Time // of its first test
		count int
	}
	of := map[string]int{}
	var columns []column
	for _, r := range rows {
		for _, v := range r.past {
			j, ok := of[v.session]
			if !ok {
				j = len(columns)
				of[v.session], columns = j, append(columns, column{v.session, v.at, 0})
			}
			c := &columns[j]
			if c.count++; v.at.Before(c.at) {
				c.at = v.at
			}
		}
	}
	columns = slices.DeleteFunc(columns, func(c column) bool { return c.count < 3 })
	slices.SortFunc(columns, func(a, b column) int { return cmp.Or(a.at.Compare(b.at), cmp.Compare(a.id, b.id)) })
	clear(of)
	for j, c := range columns {
		of[c.id] = j
		ids = append(ids, c.id)
	}
	for _, r := range rows {
		values, n := make([]float64, len(ids)), 0
		for j := range values {
			values[j] = math.NaN()
		}
		for _, v := range r.past {
			if j, ok := of[v.session]; ok {
				values[j] = v.value
				n++
			}
		}
		if n >= minOwn {
			kept, table = append(kept, r), append(table, values)
		}
	}
	return kept, ids, table
}
