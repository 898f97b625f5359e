package page

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"canter.example/alerts"
	"canter.example/alerts/assess"
	"canter.example/alerts/review"
	"canter.example/cmd/canter/report"
	"canter.example/schemas"
	"canter.example/scorer"
)

// tryBody is what a change would do, for one test or for all of a session.
type tryBody struct {
	Viewer  viewer
	Session string
	Test    schemas.TestID
	// Action and Shift are what was asked for.
	Action string
	Shift  string
	Why    string
	// Tried is false while nothing was asked for; Wrong says why it can't be done.
	Tried bool
	Wrong string
	HRR   string
	Rows  []tryRow
	// Next is what the athlete's next test would be held against.
	Next []tryLine
	// Alerts are those that would come or go, Later what becomes of other tests.
	Alerts, Later []string
	// Left are tests that were not moved, in words.
	Left []string
}

// tryRow is one test now and then.
type tryRow struct {
	Test                                                 schemas.TestID
	Name                                                 string
	Start, HRex, HRR, ZHRex, ZHRR, Unusual, Trace, Staff pair
	Off                                                  bool
}

type pair struct{ Now, Then string }

// Changed reports whether there is a difference to see.
func (c pair) Changed() bool { return c.Now != c.Then }

type tryLine struct {
	What string
	pair
}

// Lines are a single test's row, a line each.
func (t tryRow) Lines(hrr string) []tryLine {
	lines := []tryLine{{"Start", t.Start}, {"HRex, %HRmax (bpm)", t.HRex}, {"z of HRex", t.ZHRex}}
	if hrr != "" {
		lines = append(lines, tryLine{hrr + ", bpm", t.HRR}, tryLine{"z of " + hrr, t.ZHRR})
	}
	return append(lines, tryLine{"How unusual (HRex)", t.Unusual}, tryLine{"Trace", t.Trace}, tryLine{"Staff", t.Staff})
}

// proposal is one test as it is, and as it would be.
type proposal struct{ now, then schemas.Outcome }

// propose returns the test as it would be with one more correction. A verdict
// changes no number; a start is scored by the scorer's own way.
func (p *Page) propose(ctx context.Context, o schemas.Outcome, c schemas.Correction) (proposal, error) {
	cs, err := p.cfg.History.AllCorrections(ctx, o.TestID)
	if err != nil {
		return proposal{}, err
	}
	ruling := schemas.Rule(append(slices.Clone(cs), c))
	then := o
	switch c.Action {
	case schemas.ActionStart, schemas.ActionRestore:
		found, err := p.cfg.Scorer.Preview(ctx, &o, ruling)
		if errors.Is(err, scorer.ErrFileGone) && c.Action == schemas.ActionRestore && schemas.Rule(cs).Start.IsZero() {
			break // no start to take back: the verdict is all
		}
		if errors.Is(err, scorer.ErrFileGone) {
			return proposal{}, badRequest("The archive no longer keeps this file, so its start can't be moved any more.")
		}
		if errors.Is(err, scorer.ErrTestGone) {
			return proposal{}, badRequest(report.Sentence("Not possible: " + p.names.Say(strings.TrimPrefix(err.Error(), scorer.ErrTestGone.Error()+": "))))
		}
		if err != nil {
			return proposal{}, err
		}
		then = found.Outcome
		if c.Action == schemas.ActionStart && then.Start.Sub(c.Start).Abs() > time.Second {
			return proposal{}, badRequest("Not possible: that start is outside the recording.")
		}
	default:
	}
	then.Staff = ruling.Verdict
	return proposal{o, then}, nil
}

// reviewed are a squad's sessions around a change, as they are and as they
// would be, by test.
type reviewed struct {
	now, then map[schemas.TestID]review.Test
	nowAlerts map[string]review.Alert
	newAlerts map[string]review.Alert
	tests     []schemas.Outcome
	changed   []schemas.Outcome
}

// consequences reviews the squad's sessions with and without the proposals, as
// the alerts stage will.
func (p *Page) consequences(ctx context.Context, ps []proposal) (*reviewed, error) {
	o := &ps[0].now
	from := o.Start
	for i := range ps {
		for _, t := range []time.Time{ps[i].now.Start, ps[i].then.Start} {
			if t.Before(from) {
				from = t
			}
		}
	}
	from = from.Add(-review.Span(&p.club.Thresholds) - 24*time.Hour)
	tests, err := alerts.TestsForReview(ctx, p.cfg.History, p.club, o.Squad, o.Protocol, from)
	if err != nil {
		return nil, err
	}
	then := slices.Clone(tests)
	for i := range then {
		for j := range ps {
			if then[i].TestID == ps[j].now.TestID {
				then[i] = ps[j].then
			}
		}
	}
	r := &reviewed{tests: tests, changed: then}
	r.now, r.nowAlerts = byTest(review.Review(p.club, o.Squad, o.Protocol, tests, from))
	r.then, r.newAlerts = byTest(review.Review(p.club, o.Squad, o.Protocol, then, from))
	return r, nil
}

func byTest(sessions []review.Session) (map[schemas.TestID]review.Test, map[string]review.Alert) {
	tests, alerts := map[schemas.TestID]review.Test{}, map[string]review.Alert{}
	for i := range sessions {
		if s := sessions[i].Squad; s != nil {
			alerts[s.ID] = *s
		}
		for _, t := range sessions[i].Tests {
			tests[t.Outcome.TestID] = t
			for _, a := range t.Alerts {
				alerts[a.ID] = a
			}
		}
	}
	return tests, alerts
}

// tried puts what would become of the proposals into words.
func (p *Page) tried(ctx context.Context, body *tryBody, ps []proposal) error {
	r, err := p.consequences(ctx, ps)
	if err != nil {
		return err
	}
	seconds := p.hrrSeconds(ps[0].now.Protocol, []schemas.Outcome{ps[0].now})
	body.Tried, body.HRR = true, hrrName(seconds)
	mine := map[schemas.TestID]bool{}
	for i := range ps {
		mine[ps[i].now.TestID] = true
		body.Rows = append(body.Rows, p.tryRow(&ps[i], r, seconds))
	}
	body.Alerts = p.alertChanges(r)
	body.Later = p.laterChanges(r, mine, ps[0].now.Start, seconds)
	if len(ps) == 1 {
		body.Next = p.nextBaseline(r, &ps[0], seconds)
	}
	return nil
}

func (p *Page) tryRow(x *proposal, r *reviewed, seconds int) tryRow {
	before, after := r.now[x.now.TestID], r.then[x.now.TestID]
	now, then := p.row(x.now, &before.Assessment, seconds), p.row(x.then, &after.Assessment, seconds)
	return tryRow{
		Test: x.now.TestID, Name: now.Name,
		Start:   pair{p.startWords(&x.now), p.startWords(&x.then)},
		HRex:    pair{now.HRex.Value, then.HRex.Value},
		HRR:     pair{now.HRR.Value, then.HRR.Value},
		ZHRex:   pair{now.HRex.Z, then.HRex.Z},
		ZHRR:    pair{now.HRR.Z, then.HRR.Z},
		Unusual: pair{now.HRex.Words, then.HRex.Words},
		Trace:   pair{now.Trace, then.Trace},
		Staff:   pair{orDash(now.Staff), orDash(then.Staff)},
	}
}

func (p *Page) startWords(o *schemas.Outcome) string {
	return p.localTime(o.Start, timeLayout) + ", " + report.StartWords(o.StartSource)
}

func orDash(s string) string {
	if s == "" {
		return "–"
	}
	return s
}

// alertChanges are the alerts that would come or go.
func (p *Page) alertChanges(r *reviewed) []string {
	var out []string
	for _, id := range slices.Sorted(maps.Keys(r.nowAlerts)) {
		if _, stays := r.newAlerts[id]; !stays {
			out = append(out, "Taken back: "+p.alertName(r.nowAlerts[id].Alert))
		}
	}
	for _, id := range slices.Sorted(maps.Keys(r.newAlerts)) {
		if _, was := r.nowAlerts[id]; !was {
			out = append(out, "Raised: "+p.alertName(r.newAlerts[id].Alert))
		}
	}
	return out
}

// alertName names an alert in a line.
func (p *Page) alertName(a schemas.Alert) string {
	who := "the whole squad"
	if a.Athlete != "" {
		who = p.names.Person(a.Athlete).Name
	}
	return fmt.Sprintf("%s, %s, %s", report.RuleWords(a.Rule), who, p.localTime(a.About, dayLayout))
}

// mostLater keeps the list of other tests short.
const mostLater = 12

// laterChanges are other tests whose standing would change to be seen.
func (p *Page) laterChanges(r *reviewed, mine map[schemas.TestID]bool, since time.Time, seconds int) []string {
	type change struct {
		at   time.Time
		text string
	}
	var all []change
	for id, now := range r.now {
		then, ok := r.then[id]
		if !ok || mine[id] || now.Outcome.Start.Before(since.Add(-12*time.Hour)) {
			continue
		}
		for _, m := range []struct {
			measure schemas.Measure
			seconds int
		}{{schemas.MeasureHRex, 0}, {schemas.MeasureHRR, seconds}} {
			a, b := report.CellsOf(comparison(&now.Assessment, m.measure, m.seconds)), report.CellsOf(comparison(&then.Assessment, m.measure, m.seconds))
			if a.Z != b.Z || a.Words != b.Words {
				all = append(all, change{now.Outcome.Start, fmt.Sprintf("%s, %s: z of %s %s → %s, %s", p.names.Person(now.Outcome.Athlete).Name,
					p.localTime(now.Outcome.Start, "2 Jan"), m.measure.Name(m.seconds), a.Z, b.Z, wordsChange(a.Words, b.Words))})
			}
		}
	}
	slices.SortFunc(all, func(a, b change) int {
		if c := a.at.Compare(b.at); c != 0 {
			return c
		}
		return strings.Compare(a.text, b.text)
	})
	var out []string
	for i, c := range all {
		if i == mostLater {
			out = append(out, fmt.Sprintf("and %d more", len(all)-i))
			break
		}
		out = append(out, c.text)
	}
	return out
}

func wordsChange(now, then string) string {
	if now == then {
		return "still " + now
	}
	return now + " → " + then
}

// nextBaseline is what the athlete's next test would be held against.
func (p *Page) nextBaseline(r *reviewed, x *proposal, seconds int) []tryLine {
	now, then := p.nextTest(r.tests, &x.now), p.nextTest(r.changed, &x.now)
	var out []tryLine
	for _, m := range []struct {
		measure schemas.Measure
		seconds int
	}{{schemas.MeasureHRex, 0}, {schemas.MeasureHRR, seconds}} {
		a, b := now.Comparison(m.measure, m.seconds), then.Comparison(m.measure, m.seconds)
		if a == nil || b == nil {
			continue
		}
		name := m.measure.Name(m.seconds)
		out = append(out, tryLine{"Baseline of " + name, pair{baselineWords(a), baselineWords(b)}})
	}
	return out
}

func baselineWords(c *schemas.Comparison) string {
	if c.N == 0 {
		return "no tests yet"
	}
	s := fmt.Sprintf("%s, %s", c.Mean.Text(1), schemas.Count(c.N, "test"))
	if c.PredLow.Present() {
		s += fmt.Sprintf(", %s to %s expected", c.PredLow.Text(1), c.PredHigh.Text(1))
	}
	return s
}

// nextTest compares a test that has not been run yet, a week after the
// athlete's last, with those that have.
func (p *Page) nextTest(tests []schemas.Outcome, o *schemas.Outcome) schemas.Assessment {
	by := map[string][]schemas.Outcome{}
	next, last := *o, o.Start
	for i := range tests {
		t := tests[i]
		by[t.Athlete] = append(by[t.Athlete], t)
		if t.Athlete != o.Athlete {
			continue
		}
		// Any number will do for the test to come: it is its baseline that counts.
		if t.HRexBPM.Present() && (!next.HRexBPM.Present() || t.Valid()) {
			next = t
		}
		if t.Start.After(last) {
			last = t.Start
		}
	}
	next.TestID, next.Start, next.Staff, next.Quality = "next", last.AddDate(0, 0, 7), schemas.NoVerdict, schemas.Good
	s := assess.From(p.club.Thresholds)
	known := assess.Context{}
	if !s.NoPool {
		known.Pooled = assess.PooledSD(by, next.ProtocolVersion, next.Start, nil, s)
	}
	return assess.Test(next, by[o.Athlete], known, s)
}
