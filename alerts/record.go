package alerts

import (
	"context"
	"slices"
	"time"

	"canter.example/alerts/assess"
	"canter.example/schemas"
	"canter.example/schemas/history"
)

// record is what the history has of a session.
type record struct {
	session  string
	alerts   []schemas.Alert
	messages []schemas.Message
	// quiet: there is surely nothing to tell, and the rest was not read.
	quiet    bool
	tests    []schemas.Outcome
	assessed []schemas.Assessment
	// notes are staff's of anybody in the weeks before the first test and since.
	notes []schemas.Note
	// conditions are what was recorded of the day for the whole squad: heat is the
	// first thing to ask for when everybody moves.
	conditions []assess.Condition
}

// recordsAtOnce is how many sessions are read with the same few statements. Each
// is some dozen milliseconds on a history elsewhere, and a late file
// asks for all sessions since; so many tests are still a few megabytes.
const recordsAtOnce = 16

// records reads sessions, each named once and at most [recordsAtOnce], in their
// order.
func (s *Service) records(ctx context.Context, sessions []string) ([]*record, error) {
	all := make([]*record, len(sessions))
	of := make(map[string]*record, len(sessions))
	for i, session := range sessions {
		all[i] = &record{session: session}
		of[session] = all[i]
	}
	alerts, err := s.history.Alerts(ctx, history.AlertFilter{Sessions: sessions})
	if err != nil {
		return nil, err
	}
	for _, al := range alerts {
		of[al.Session].alerts = append(of[al.Session].alerts, al)
	}
	messages, err := s.history.SessionMessages(ctx, sessions...)
	if err != nil {
		return nil, err
	}
	for _, m := range messages {
		of[m.Session].messages = append(of[m.Session].messages, m)
	}
	var open []string
	for _, r := range all {
		if r.quiet = len(r.messages) == 0 && s.nothingToTell(r.session, r.alerts); !r.quiet {
			open = append(open, r.session)
		}
	}
	if len(open) == 0 {
		return all, nil
	}
	tests, err := s.history.Tests(ctx, history.TestFilter{Sessions: open})
	if err != nil || len(tests) == 0 {
		return all, err
	}
	for _, o := range tests {
		of[o.Session].tests = append(of[o.Session].tests, o)
	}
	assessed, err := s.history.Assessments(ctx, history.AssessmentFilter{Sessions: open})
	if err != nil {
		return nil, err
	}
	for _, a := range assessed {
		of[a.Session].assessed = append(of[a.Session].assessed, a)
	}
	if err := s.readNotes(ctx, all, tests[0].Start); err != nil {
		return nil, err
	}
	return all, s.readConditions(ctx, all)
}

// readNotes reads what staff wrote; first is the start of the first test.
func (s *Service) readNotes(ctx context.Context, records []*record, first time.Time) error {
	notes, err := s.lately(ctx, first)
	if err != nil {
		return err
	}
	for _, r := range records {
		if len(r.tests) == 0 {
			continue
		}
		from := r.tests[0].Start.Add(-notesWithin)
		for _, n := range notes {
			if !n.When.Before(from) {
				r.notes = append(r.notes, n)
			}
		}
	}
	return nil
}

// readConditions reads the conditions of the sessions' days, a squad's at a time.
func (s *Service) readConditions(ctx context.Context, records []*record) error {
	days := map[string][]time.Time{}
	for _, r := range records {
		day, err := time.Parse(time.DateOnly, schemas.SessionDate(r.session))
		if err != nil || len(r.tests) == 0 {
			continue // one without a day has no conditions
		}
		squad := r.tests[0].Squad
		days[squad] = append(days[squad], day)
	}
	values := map[string][]schemas.SeriesValue{}
	for squad, dates := range days {
		first, last := slices.MinFunc(dates, time.Time.Compare), slices.MaxFunc(dates, time.Time.Compare)
		var err error
		values[squad], err = s.history.AthleteSeries(ctx, "", squad, assess.SeriesFrom(first.Format(time.DateOnly)), last.AddDate(0, 0, 1).Format(time.DateOnly))
		if err != nil {
			return err
		}
	}
	for _, r := range records {
		if len(r.tests) > 0 {
			r.conditions = assess.Conditions(schemas.SessionDate(r.session), values[r.tests[0].Squad])
		}
	}
	return nil
}
