package digest

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"time"

	"canter.example/alerts/assess"
	"canter.example/alerts/message"
	"canter.example/alerts/rules"
	"canter.example/alerts/schedule"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

// Kind is the length of what a digest sums up.
type Kind string

// Kinds of digest.
const (
	Week  Kind = "week"
	Month Kind = "month"
)

// Rows are what a digest is made of.
type Rows struct {
	// Tests of the squad and Assessments of them in the period.
	Tests       []schemas.Outcome
	Assessments []schemas.Assessment
	// Alerts about the period, Before about the period before it, and those of
	// before that which are still open or seen.
	Alerts, Before, Older []schemas.Alert
	// Past are the squad's tests of the last year before the period's end, for a
	// month's typical error.
	Past []schemas.Outcome
}

// Digest is a squad's week or month. Athletes are by id.
type Digest struct {
	Kind  Kind   `json:"kind"`
	Squad string `json:"squad"`
	// From and To are local dates, To the last day.
	From string `json:"from"`
	To   string `json:"to"`
	// Sessions held, athletes Expected (in the squad at the end), Tested, and
	// with a Usable trace; Coverage is the mean share of valid seconds, 0 to 1.
	Sessions int `json:"sessions"`
	Expected int `json:"expected"`
	Tested   int `json:"tested"`
	Usable   int `json:"usable"`
	// Building counts athletes whose baseline has too few tests for a verdict.
	Building int            `json:"building"`
	Coverage schemas.Number `json:"coverage"`
	// Untested are athletes without any test.
	Untested []string `json:"untested"`
	// Harder: HRex higher or recovery slower; Easier: the other way.
	Harder []Mover `json:"harder"`
	Easier []Mover `json:"easier"`
	// Shifts of whole sessions.
	Shifts []Shift `json:"shifts"`
	// Open alerts, the period's and all that are still open from before.
	Open []Open `json:"open"`
	// Became counts what became of the alerts about athletes of the period
	// before, by state.
	Became map[schemas.AlertState]int `json:"became"`
	// Straps to check: athletes with an unusable trace.
	Straps []Strap `json:"straps"`
	// Quality is a month's.
	Quality *Quality `json:"quality,omitempty"`

	period schedule.Period
	// old counts the open alerts from before the period before.
	old int
}

// Mover is an athlete whose numbers moved, at their last valid test.
type Mover struct {
	Athlete string `json:"athlete"`
	Date    string `json:"date"`
	// Moved are the numbers that did, by their comparisons.
	Moved []schemas.Comparison `json:"moved"`
	// Told is whether staff had a message about it.
	Told bool `json:"told"`
}

// Shift is what a whole session shared.
type Shift struct {
	Date       string             `json:"date"`
	Comparison schemas.Comparison `json:"comparison"`
}

// Open is an alert that is open.
type Open struct {
	Alert schemas.Alert `json:"alert"`
	// Headline says who and what.
	Headline string `json:"headline"`
}

// Strap is an athlete with unusable traces.
type Strap struct {
	Athlete string `json:"athlete"`
	Traces  int    `json:"traces"`
	Of      int    `json:"of"`
}

// Quality is how good a month's data were.
type Quality struct {
	Good     int `json:"good"`
	Check    int `json:"check"`
	Reject   int `json:"reject"`
	Accepted int `json:"accepted"`
	Excluded int `json:"excluded"`
	// Spreads are the squad's own typical errors: the pooled within-athlete SD
	// of a single test, of those who did not all change.
	Spreads []assess.Spread `json:"spreads"`
	// Reasons are the most frequent reasons for a quality other than good.
	Reasons []ReasonCount `json:"reasons"`
}

// ReasonCount is how many tests had a reason.
type ReasonCount struct {
	Code  schemas.ReasonCode `json:"code"`
	Tests int                `json:"tests"`
}

// Sum sums up a squad's period.
func Sum(c *club.Club, kind Kind, squad string, p schedule.Period, rows *Rows) *Digest {
	d := &Digest{
		Kind: kind, Squad: squad, From: p.From.Format(time.DateOnly), To: p.To.Add(-time.Hour).In(p.From.Location()).Format(time.DateOnly),
		Became: map[schemas.AlertState]int{}, period: p,
	}
	d.attendance(c, rows)
	d.movers(rows, p.From.Location())
	d.shared(rows, p.From.Location())
	d.alerts(c, rows)
	if kind == Month {
		d.quality(c, rows)
	}
	return d
}

// Empty reports whether there is nothing to say. What has been open for longer
// is no reason to speak by itself: a parked file may wait all summer.
func (d *Digest) Empty() bool {
	return d.Tested == 0 && len(d.Open) == d.old && len(d.Became) == 0
}

func (d *Digest) attendance(c *club.Club, rows *Rows) {
	sessions, tested, usable := map[string]bool{}, map[string]bool{}, map[string]bool{}
	bad, all := map[string]int{}, map[string]int{}
	sum := 0.0
	for i := range rows.Tests {
		o := &rows.Tests[i]
		sessions[o.Session], tested[o.Athlete] = true, true
		all[o.Athlete]++
		sum += o.Coverage
		switch {
		case o.Valid():
			usable[o.Athlete] = true
		case o.Quality == schemas.Reject && o.Staff != schemas.Excluded:
			bad[o.Athlete]++
		}
	}
	d.Sessions, d.Tested, d.Usable = len(sessions), len(tested), len(usable)
	if n := len(rows.Tests); n > 0 {
		d.Coverage = schemas.Num(sum / float64(n))
	}
	for i := range c.Athletes {
		a := &c.Athletes[i]
		if !a.In(d.Squad, d.period.To.Add(-time.Hour)) {
			continue
		}
		d.Expected++
		if !tested[a.ID] {
			d.Untested = append(d.Untested, a.ID)
		}
	}
	for _, id := range slices.Sorted(maps.Keys(bad)) {
		d.Straps = append(d.Straps, Strap{id, bad[id], all[id]})
	}
}

// Who is a mover without having passed the thresholds: a change that is very
// likely more than trivial and at the edge of the usual spread (z steps are
// common practice, FACTS 7). On a day when the squad moved the probability
// speaks of the whole change and counts for nothing.
const (
	sure   = 0.95
	edge   = 1.5
	beyond = 2
)

// movers finds who moved, at the last valid test of each.
func (d *Digest) movers(rows *Rows, zone *time.Location) {
	valid := map[schemas.TestID]bool{}
	for i := range rows.Tests {
		valid[rows.Tests[i].TestID] = rows.Tests[i].Valid()
	}
	last := map[string]*schemas.Assessment{}
	for i := range rows.Assessments {
		a := &rows.Assessments[i]
		if old := last[a.Athlete]; valid[a.TestID] && (old == nil || a.Start.After(old.Start)) {
			last[a.Athlete] = a
		}
	}
	told := map[schemas.TestID]bool{}
	for _, al := range rows.Alerts {
		told[al.TestID] = told[al.TestID] || al.Told
	}
	for _, id := range slices.Sorted(maps.Keys(last)) {
		a := last[id]
		if m := a.Comparison(schemas.MeasureHRex, 0); m != nil && m.State == schemas.Building {
			d.Building++
		}
		harder := Mover{Athlete: id, Date: a.Start.In(zone).Format(time.DateOnly), Told: told[a.TestID]}
		easier := harder
		for _, m := range []*schemas.Comparison{a.Comparison(schemas.MeasureHRex, 0), rules.MainHRR(a)} {
			switch side(m) {
			case 1:
				harder.Moved = append(harder.Moved, *m)
			case -1:
				easier.Moved = append(easier.Moved, *m)
			}
		}
		if len(harder.Moved) > 0 {
			d.Harder = append(d.Harder, harder)
		}
		if len(easier.Moved) > 0 {
			d.Easier = append(d.Easier, easier)
		}
	}
	for _, list := range [][]Mover{d.Harder, d.Easier} {
		slices.SortStableFunc(list, func(a, b Mover) int { return -cmp.Compare(a.size(), b.size()) })
	}
}

// side is 1 for a higher HRex or a smaller HRR that is a change, -1 for the
// other way, 0 for neither.
func side(m *schemas.Comparison) int {
	if m == nil || m.State == schemas.Building || m.State == schemas.NoValue {
		return 0
	}
	z, ok := judged(m).Get()
	if !ok {
		return 0
	}
	if m.State == schemas.Inside {
		if big := math.Abs(z); big < edge || m.Squad.Material && big < beyond || !m.Squad.Material && m.ProbChange.Or(0) < sure {
			return 0
		}
	}
	if (z > 0) == (m.Measure == schemas.MeasureHRex) {
		return 1
	}
	return -1
}

// judged is the z by which a number's state was decided: without what the squad
// shared, that day or on days of the baseline.
func judged(m *schemas.Comparison) schemas.Number {
	if m.DeviationZ.Present() {
		return m.DeviationZ
	}
	return m.Z
}

func (m *Mover) size() (z float64) {
	for i := range m.Moved {
		z = max(z, math.Abs(judged(&m.Moved[i]).Or(0)))
	}
	return z
}

// shared finds what whole sessions had in common.
func (d *Digest) shared(rows *Rows, zone *time.Location) {
	type key struct {
		session string
		measure schemas.Measure
		seconds int
	}
	seen := map[key]bool{}
	for i := range rows.Assessments {
		a := &rows.Assessments[i]
		for _, m := range a.Comparisons {
			k := key{a.Session, m.Measure, m.Seconds}
			if !m.Squad.Material || seen[k] {
				continue
			}
			seen[k] = true
			d.Shifts = append(d.Shifts, Shift{a.Start.In(zone).Format(time.DateOnly), m})
		}
	}
}

func (d *Digest) alerts(c *club.Club, rows *Rows) {
	assessed := map[schemas.TestID]*schemas.Assessment{}
	for i := range rows.Assessments {
		assessed[rows.Assessments[i].TestID] = &rows.Assessments[i]
	}
	for i, al := range slices.Concat(rows.Older, rows.Before, rows.Alerts) {
		if !al.Told || al.Rule == schemas.RuleTestMissing || al.Rule == schemas.RuleSquadEffect || al.State != schemas.AlertOpen && al.State != schemas.AlertSeen {
			continue
		}
		if i < len(rows.Older) {
			d.old++
		}
		o := Open{Alert: al}
		if a := assessed[al.TestID]; a != nil {
			o.Headline = message.Headline(c, message.Item{Alert: al, Assessment: *a})
		} else {
			o.Headline = firstLine(al.Text)
		}
		d.Open = append(d.Open, o)
	}
	for _, al := range rows.Before {
		// A file that was parked is no number that could be back inside.
		if al.Told && al.Rule != schemas.RuleTestMissing && al.Rule != schemas.RuleSquadEffect && al.Rule != schemas.RuleFileParked {
			d.Became[al.State]++
		}
	}
}

func (d *Digest) quality(c *club.Club, rows *Rows) {
	q := &Quality{}
	reasons := map[schemas.ReasonCode]int{}
	for i := range rows.Tests {
		o := &rows.Tests[i]
		switch o.Quality {
		case schemas.Good:
			q.Good++
		case schemas.Check:
			q.Check++
		case schemas.Reject:
			q.Reject++
		}
		switch o.Staff {
		case schemas.Accepted:
			q.Accepted++
		case schemas.Excluded:
			q.Excluded++
		case schemas.NoVerdict:
		}
		if o.Quality != schemas.Good && len(o.Reasons) > 0 {
			reasons[o.Reasons[0].Code]++
		}
	}
	for _, code := range slices.Sorted(maps.Keys(reasons)) {
		q.Reasons = append(q.Reasons, ReasonCount{code, reasons[code]})
	}
	slices.SortStableFunc(q.Reasons, func(a, b ReasonCount) int { return -cmp.Compare(a.Tests, b.Tests) })
	q.Spreads = spreads(c, d.period.To, rows.Past)
	d.Quality = q
}

// spreads are the typical errors of the protocol version that was run most.
func spreads(c *club.Club, before time.Time, past []schemas.Outcome) []assess.Spread {
	by, n := map[string][]schemas.Outcome{}, map[string]int{}
	version := ""
	for _, o := range past {
		by[o.Athlete] = append(by[o.Athlete], o)
		if n[o.ProtocolVersion]++; n[o.ProtocolVersion] > n[version] {
			version = o.ProtocolVersion
		}
	}
	if version == "" {
		return nil
	}
	s := assess.From(c.Thresholds)
	// Days on which everybody moved are taken off first, as the last session
	// knows them.
	var last []schemas.Outcome
	for i := range past {
		if o := past[i]; o.ProtocolVersion == version && (len(last) == 0 || o.Session == last[0].Session || o.Start.After(last[0].Start)) {
			if len(last) > 0 && o.Session != last[0].Session {
				last = last[:0]
			}
			last = append(last, o)
		}
	}
	return assess.PooledSD(by, version, before, assess.Effects(last, by, s), s).Spreads
}
