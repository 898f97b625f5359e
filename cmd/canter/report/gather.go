package report

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"time"

	"golang.org/x/text/collate"
	"golang.org/x/text/language"

	"canter.example/alerts/assess"
	"canter.example/alerts/chart"
	"canter.example/schemas"
	"canter.example/schemas/history"
)

// ErrNoSession is returned by [Gather] for a session without tests.
var ErrNoSession = errors.New("there is no such session")

// History is what a report needs of the history.
type History interface {
	SessionTests(ctx context.Context, session string) ([]schemas.Outcome, error)
	SquadTests(ctx context.Context, squad, protocol string, from, to time.Time) ([]schemas.Outcome, error)
	AthleteTests(ctx context.Context, athlete, protocol string) ([]schemas.Outcome, error)
	Assessments(ctx context.Context, f history.AssessmentFilter) ([]schemas.Assessment, error)
	SessionTraces(ctx context.Context, session string) (map[schemas.TestID][]schemas.TraceSecond, error)
	Alerts(ctx context.Context, f history.AlertFilter) ([]schemas.Alert, error)
	AllCorrections(ctx context.Context, test schemas.TestID) ([]schemas.Correction, error)
	Athletes(ctx context.Context) ([]history.AthleteRow, error)
}

// Gather collects what the report of a session is made of, but for the time it
// is made. The number of queries does not grow with the length of the history,
// and with the session only by athletes who have been in several squads.
// Errors are the history's, and [ErrNoSession].
func Gather(ctx context.Context, h History, names *Names, session string) (*Data, error) {
	g := gatherer{history: h, names: names}
	var err error
	if g.outcomes, err = h.SessionTests(ctx, session); err != nil {
		return nil, err
	}
	if len(g.outcomes) == 0 {
		return nil, ErrNoSession
	}
	if g.roster, err = h.Athletes(ctx); err != nil {
		return nil, err
	}
	if err := g.read(ctx, session); err != nil {
		return nil, err
	}
	squad := g.outcomes[0].Squad
	d := &Data{Squad: squad, Session: session}
	if c := names.Club; c != nil {
		d.Club, d.Zone, d.Protocol = c.Name, c.Zone, c.Protocol(g.outcomes[0].Protocol)
		if s := c.Squad(squad); s != nil && s.Name != "" {
			d.Squad = s.Name
		}
	}
	for _, o := range g.outcomes {
		d.Tests = append(d.Tests, g.test(o))
	}
	order := collate.New(language.Und)
	slices.SortStableFunc(d.Tests, func(a, b Test) int { return order.CompareString(a.Who.Name, b.Who.Name) })
	d.Missing, d.Expected = Missing(names, g.roster, squad, g.outcomes)
	if names.Club != nil {
		d.Settings = assess.From(names.Club.Thresholds)
		d.Effects = g.effects(d)
	}
	return d, nil
}

// gatherer holds what was read, by athlete and by test.
type gatherer struct {
	history     History
	names       *Names
	outcomes    []schemas.Outcome
	roster      []history.AthleteRow
	past        map[string][]schemas.Outcome
	assessments map[schemas.TestID]*schemas.Assessment
	traces      map[schemas.TestID][]schemas.TraceSecond
	alerts      map[schemas.TestID][]schemas.Alert
	corrections map[schemas.TestID][]schemas.Correction
}

func (g *gatherer) read(ctx context.Context, session string) (err error) {
	if g.traces, err = g.history.SessionTraces(ctx, session); err != nil {
		return err
	}
	alerts, err := g.history.Alerts(ctx, history.AlertFilter{Sessions: []string{session}})
	if err != nil {
		return err
	}
	g.alerts = map[schemas.TestID][]schemas.Alert{}
	for _, a := range alerts {
		g.alerts[a.TestID] = append(g.alerts[a.TestID], a)
	}
	corrections, err := g.history.AllCorrections(ctx, "")
	if err != nil {
		return err
	}
	g.corrections = map[schemas.TestID][]schemas.Correction{}
	for _, c := range corrections {
		c.Why = g.names.Say(c.Why)
		g.corrections[c.TestID] = append(g.corrections[c.TestID], c)
	}
	return g.readPast(ctx)
}

// readPast reads the athletes' tests up to the session, with assessments: the
// squad's in one query, and the others of those who were elsewhere, too.
func (g *gatherer) readPast(ctx context.Context) error {
	o := &g.outcomes[0]
	end := g.outcomes[len(g.outcomes)-1].Start.Add(time.Millisecond)
	tests, err := g.history.SquadTests(ctx, o.Squad, o.Protocol, time.Time{}, end)
	if err != nil {
		return err
	}
	g.past = map[string][]schemas.Outcome{}
	for _, t := range tests {
		g.past[t.Athlete] = append(g.past[t.Athlete], t)
	}
	g.assessments = map[schemas.TestID]*schemas.Assessment{}
	assessed := func(f history.AssessmentFilter) error {
		list, err := g.history.Assessments(ctx, f)
		for i := range list {
			g.assessments[list[i].TestID] = &list[i]
		}
		return err
	}
	if err := assessed(history.AssessmentFilter{Squad: o.Squad, Protocol: o.Protocol, To: end}); err != nil {
		return err
	}
	done := map[string]bool{}
	for _, x := range g.outcomes {
		if done[x.Athlete] || !g.elsewhere(x.Athlete) {
			continue
		}
		done[x.Athlete] = true
		if g.past[x.Athlete], err = g.history.AthleteTests(ctx, x.Athlete, o.Protocol); err != nil {
			return err
		}
		if err := assessed(history.AssessmentFilter{Athlete: x.Athlete, Protocol: o.Protocol, To: end}); err != nil {
			return err
		}
	}
	return nil
}

// elsewhere reports whether an athlete may have tests with another squad: one
// with several memberships, or whom neither club file nor history knows.
func (g *gatherer) elsewhere(athlete string) bool {
	if g.names.Club != nil {
		if a := g.names.Club.Athlete(athlete); a != nil {
			return len(a.Squads) != 1
		}
	}
	for i := range g.roster {
		if g.roster[i].ID == athlete {
			return len(g.roster[i].Squads) != 1
		}
	}
	return true
}

// test is one test with its athlete's history.
func (g *gatherer) test(o schemas.Outcome) Test {
	t := Test{
		Who: g.names.Person(o.Athlete), Outcome: g.names.Said(o), Seconds: g.traces[o.TestID],
		Assessment: g.assessments[o.TestID], Alerts: g.alerts[o.TestID], Corrections: g.corrections[o.TestID],
	}
	for _, p := range g.past[o.Athlete] {
		if p.Start.After(o.Start) || p.ProtocolVersion != o.ProtocolVersion {
			continue
		}
		for _, c := range g.corrections[p.TestID] {
			t.Notes = append(t.Notes, chart.Note{At: p.Start, Text: ActionWords(c.Action) + " by " + c.Who + ": " + c.Why})
		}
		t.History = append(t.History, chart.HistoryTest{Outcome: g.names.Said(p), Assessment: g.assessments[p.TestID]})
	}
	return t
}

// Missing returns the members of the squad at the time of a session's first
// test without a test in it, and how many members there were: by the club file,
// without one by the roster of the history.
func Missing(names *Names, roster []history.AthleteRow, squad string, tests []schemas.Outcome) (missing []chart.Person, expected int) {
	at := tests[0].Start
	member := func(id string, squads []schemas.Membership) {
		a := schemas.Athlete{Squads: squads}
		if !a.In(squad, at) {
			return
		}
		expected++
		if !slices.ContainsFunc(tests, func(o schemas.Outcome) bool { return o.Athlete == id }) {
			missing = append(missing, names.Person(id))
		}
	}
	if names.Club != nil {
		for i := range names.Club.Athletes {
			member(names.Club.Athletes[i].ID, names.Club.Athletes[i].Squads)
		}
	} else {
		for i := range roster {
			member(roster[i].ID, roster[i].Squads)
		}
	}
	order := collate.New(language.Und)
	slices.SortFunc(missing, func(a, b chart.Person) int {
		return cmp.Or(order.CompareString(a.Name, b.Name), cmp.Compare(a.ID, b.ID))
	})
	return missing, expected
}

// effects are the squad's shifts, which depend on the club's settings.
func (g *gatherer) effects(d *Data) []assess.Effect {
	past := map[string][]schemas.Outcome{}
	for i := range d.Tests {
		t := &d.Tests[i]
		if past[t.Outcome.Athlete] != nil {
			continue
		}
		for _, h := range t.History {
			past[t.Outcome.Athlete] = append(past[t.Outcome.Athlete], h.Outcome)
		}
	}
	s := d.Settings
	out := []assess.Effect{assess.SquadEffect(g.outcomes, past, schemas.MeasureHRex, 0, s)}
	if d.Protocol != nil && len(d.Protocol.Recovery) > 0 {
		out = append(out, assess.SquadEffect(g.outcomes, past, schemas.MeasureHRR, int(d.Protocol.Recovery[0]/time.Second), s))
	}
	return out
}
