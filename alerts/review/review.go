package review

import (
	"cmp"
	"slices"
	"time"

	"canter.example/alerts/assess"
	"canter.example/alerts/rules"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

// Session is one session, assessed and judged.
type Session struct {
	ID string
	// Day is local midnight of the session's day.
	Day     time.Time
	Effects []assess.Effect
	Tests   []Test
	// Squad is the alert about what the whole session shares, nil for none.
	Squad *Alert
}

// Test is one test of a session.
type Test struct {
	Outcome    schemas.Outcome
	Assessment schemas.Assessment
	Alerts     []Alert
}

// Alert is an alert without words. Told in it is whether it is news that some
// channel is to hear of; age is the caller's business.
type Alert struct {
	schemas.Alert
	// Facts are what the alert is about, Running how many tests running the
	// first of them has held.
	Facts   []Fact
	Running int
	// Silent is why the alert is not news, "" when it is.
	Silent string
	// BackInside is the test at which the numbers were inside again, zero while
	// there is none.
	BackInside time.Time
}

// Span is how much time before the first session of interest must be reviewed
// with it, so that it does not matter where the review began.
func Span(t *club.Thresholds) time.Duration { return rules.Lookback(t) + rules.Lookback(t) }

// History is the instant from which tests are needed for sessions since an
// instant: as far as baselines look back.
func History(t *club.Thresholds, from time.Time) time.Time {
	oldest := from.Add(-t.BaselineAge)
	if t.Baseline == schemas.BasisReference && t.Reference.From.Before(oldest) {
		return t.Reference.From
	}
	return oldest
}

// asNow returns a test of an earlier version of a protocol as one of the
// current version where the club says that the two compare.
func asNow(o schemas.Outcome, p *schemas.Protocol) schemas.Outcome {
	if p != nil && slices.Contains(p.SameAs, o.ProtocolVersion) {
		o.ProtocolVersion = p.Version
	}
	return o
}

// Review reviews the sessions of a squad by one protocol that started at or
// after an instant, oldest first. Tests are those of the squad and of its
// athletes in other squads, from [History] on. Change is for
// simulations that ask what a setting is worth.
func Review(c *club.Club, squad, protocol string, tests []schemas.Outcome, from time.Time, change ...func(*assess.Settings)) []Session {
	r := reviewer{club: c, settings: assess.From(c.Thresholds), athletes: map[string]*athlete{}}
	for _, f := range change {
		f(&r.settings)
	}
	if p := c.Protocol(protocol); p != nil {
		r.bandHigh = 100 * p.BandHigh
	}
	r.gather(protocol, tests)
	by := map[string][]*schemas.Outcome{}
	for _, a := range r.athletes {
		for i := range a.tests {
			if o := &a.tests[i]; o.Squad == squad && !o.Start.Before(from) {
				by[o.Session] = append(by[o.Session], o)
			}
		}
	}
	sessions := make([][]*schemas.Outcome, 0, len(by))
	for _, s := range by {
		slices.SortFunc(s, func(a, b *schemas.Outcome) int {
			return cmp.Or(a.Start.Compare(b.Start), cmp.Compare(a.TestID, b.TestID))
		})
		sessions = append(sessions, s)
	}
	slices.SortFunc(sessions, func(a, b []*schemas.Outcome) int {
		return cmp.Or(a[0].Start.Compare(b[0].Start), cmp.Compare(a[0].Session, b[0].Session))
	})
	out := make([]Session, 0, len(sessions))
	for some := range slices.Chunk(sessions, atOnce) {
		for _, a := range r.assessAll(some) {
			out = append(out, r.session(a))
		}
	}
	r.close(out)
	return out
}

// gather puts the tests by the protocol to their athletes, by start. There may
// be years of them, so that they are copied once.
func (r *reviewer) gather(protocol string, tests []schemas.Outcome) {
	count := map[string]int{}
	for i := range tests {
		if tests[i].Protocol == protocol {
			count[tests[i].Athlete]++
		}
	}
	for id, n := range count {
		a := &athlete{tests: make([]schemas.Outcome, 0, n)}
		if x := r.club.Athlete(id); x != nil {
			a.returns = x.Returns
		}
		r.athletes[id] = a
	}
	p := r.club.Protocol(protocol)
	for i := range tests {
		if tests[i].Protocol == protocol {
			a := r.athletes[tests[i].Athlete]
			a.tests = append(a.tests, asNow(tests[i], p))
		}
	}
	for _, a := range r.athletes {
		slices.SortFunc(a.tests, func(a, b schemas.Outcome) int {
			return cmp.Or(a.Start.Compare(b.Start), cmp.Compare(a.TestID, b.TestID))
		})
	}
}

// known returns the tests that count for a session, by athlete: those that a
// review which began with it would have. Years of tests are gone through in time
// that grows with their number, not with its square.
func (r *reviewer) known(session []schemas.Outcome) map[string][]schemas.Outcome {
	t := &r.club.Thresholds
	oldest := History(t, session[0].Start.Add(-Span(t)-24*time.Hour))
	newest := session[len(session)-1].Start.Add(assess.SameTest)
	history := make(map[string][]schemas.Outcome, len(r.athletes))
	for id, a := range r.athletes {
		from, _ := slices.BinarySearchFunc(a.tests, oldest, func(o schemas.Outcome, t time.Time) int { return o.Start.Compare(t) })
		to, _ := slices.BinarySearchFunc(a.tests, newest, func(o schemas.Outcome, t time.Time) int {
			return cmp.Or(o.Start.Compare(t), -1) // those at the instant, too
		})
		if from < to {
			history[id] = a.tests[from:to]
		}
	}
	return history
}

// athlete is what has been gathered of one athlete while going through time.
type athlete struct {
	tests   []schemas.Outcome // by start
	returns []time.Time
	// before are the assessments of valid tests so far, as far as rules look
	// back, fired what was about them.
	before []schemas.Assessment
	fired  []fired
}

// since returns the last marked return before an instant.
func (a *athlete) since(at time.Time) (last time.Time) {
	for _, t := range a.returns {
		if !t.After(at) && t.After(last) {
			last = t
		}
	}
	return last
}

type reviewer struct {
	club     *club.Club
	settings assess.Settings
	bandHigh float64
	athletes map[string]*athlete
}

// session judges a session that is assessed; it is the next in time.
func (r *reviewer) session(a assessed) Session {
	first := a.outcomes[0].Start
	for _, x := range r.athletes {
		for len(x.before) > 0 && first.Sub(x.before[0].Start) > rules.Lookback(&r.club.Thresholds) {
			x.before = x.before[1:]
		}
	}
	s := Session{ID: a.outcomes[0].Session, Day: a.day, Effects: a.effects, Tests: make([]Test, 0, len(a.outcomes))}
	for i := range a.outcomes {
		s.Tests = append(s.Tests, r.test(a.outcomes[i], a.tests[i], a.history[a.outcomes[i].Athlete]))
	}
	s.Squad = r.squad(&s)
	return s
}

func zone(c *club.Club) *time.Location {
	if c.Zone == nil {
		return time.UTC
	}
	return c.Zone
}

func (r *reviewer) test(o schemas.Outcome, a schemas.Assessment, history []schemas.Outcome) Test {
	at := r.athletes[o.Athlete]
	before := rules.Before{BandHigh: r.bandHigh}
	for _, b := range at.before {
		if o.Start.Sub(b.Start) > assess.SameTest {
			before.Tests = append(before.Tests, b)
		}
	}
	a.Fired = rules.Evaluate(a, o, history, before, &r.club.Thresholds)
	t := Test{Outcome: o, Assessment: a}
	for _, al := range rules.Alerts(a, o, history, a.Fired) {
		t.Alerts = append(t.Alerts, r.news(al, &a, at))
	}
	if _, better := assess.BetterFile(o, history); o.Valid() && !better {
		at.before = append(at.before, a)
		at.fired = append(at.fired, firedAt(&a))
	}
	return t
}

// squad returns the alert about what a session shares, nil when that is a trifle.
func (r *reviewer) squad(s *Session) *Alert {
	rule := r.club.Thresholds.Rules.SquadEffect
	if rule.Off || len(s.Tests) == 0 {
		return nil
	}
	for _, e := range s.Effects {
		if !e.Beyond(r.settings.Trifle(e.Measure, e.Unit)) {
			continue
		}
		o := &s.Tests[0].Outcome
		return &Alert{Alert: schemas.Alert{
			ID:   schemas.NewAlertID(rules.FamilySquad, s.ID),
			Rule: schemas.RuleSquadEffect, Urgency: cmp.Or(rule.Urgency, schemas.Routine), Squad: o.Squad, Protocol: o.Protocol, Session: s.ID,
			About: s.Day, State: schemas.AlertOpen, Told: rule.Tell != club.TellDigest,
		}}
	}
	return nil
}
