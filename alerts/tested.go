package alerts

import (
	"context"
	"slices"
	"time"

	"canter.example/alerts/assess"
	"canter.example/alerts/message"
	"canter.example/alerts/rules"
	"canter.example/schemas"
	"canter.example/schemas/history"
)

// onTest assesses the tests of an event and every later test of the athlete by
// the same protocols: their baselines may have changed.
func (s *Service) onTest(ctx context.Context, e schemas.TestEvent, v schemas.Version) error {
	if err := s.closeParked(ctx, e.File, v); err != nil || e.Athlete == "" {
		return err
	}
	all, err := s.history.AthleteTests(ctx, e.Athlete, "")
	if err != nil {
		return err
	}
	alerts, err := s.history.Alerts(ctx, history.AlertFilter{Athlete: e.Athlete})
	if err != nil {
		return err
	}
	for protocol, from := range s.touched(e, all, alerts) {
		tests := slices.DeleteFunc(slices.Clone(all), func(o schemas.Outcome) bool { return o.Protocol != protocol })
		if err := s.reassess(ctx, tests, alerts, protocol, from, v); err != nil {
			return err
		}
	}
	return nil
}

// touched returns the protocols an event is about, each with the earliest time
// from which assessments may change. A test that is gone, or that is no longer
// where it was, leaves no start behind: then all of its athlete's tests are
// assessed again.
func (s *Service) touched(e schemas.TestEvent, tests []schemas.Outcome, alerts []schemas.Alert) map[string]time.Time {
	from := map[string]time.Time{}
	note := func(protocol string, t time.Time) {
		if old, ok := from[protocol]; !ok || t.Before(old) {
			from[protocol] = t
		}
	}
	for i := range tests {
		o := &tests[i]
		switch {
		case len(e.Gone) > 0:
			note(o.Protocol, time.Time{})
		case slices.Contains(e.Tests, o.TestID):
			// A start moved by hand may have been earlier before; the same
			// goes for a test that staff said something about.
			if o.StartSource == schemas.StartByHand || o.Staff != schemas.NoVerdict {
				note(o.Protocol, time.Time{})
			}
			note(o.Protocol, o.Start.Add(-assess.SameTest))
		}
	}
	for i := range alerts {
		if slices.Contains(e.Gone, alerts[i].TestID) {
			note(alerts[i].Protocol, time.Time{})
		}
	}
	return from
}

// reassess assesses the athlete's tests of one protocol from a time on, and
// brings the alerts about them in line with what the rules now say.
func (s *Service) reassess(ctx context.Context, tests []schemas.Outcome, alerts []schemas.Alert, protocol string, from time.Time, v schemas.Version) error {
	var assessed []schemas.Assessment
	wanted := map[string]wantedAlert{}
	for i := range tests {
		o := tests[i]
		if o.Start.Before(from) {
			continue
		}
		a := assess.Test(o, tests, assess.Pooled{}, s.settings)
		a.Fired = rules.Evaluate(a, o, tests, &s.club.Thresholds)
		a.Version = v
		assessed = append(assessed, a)
		for _, al := range rules.Alerts(a, o, tests, a.Fired) {
			wanted[al.ID] = wantedAlert{alert: al, text: s.words(al, a, o)}
		}
	}
	if len(assessed) > 0 {
		if err := s.history.SaveAssessments(ctx, assessed); err != nil {
			return err
		}
	}
	return s.reconcile(ctx, wanted, alerts, protocol, from, v)
}

// words returns the text of an alert.
func (s *Service) words(al schemas.Alert, a schemas.Assessment, o schemas.Outcome) string {
	if al.Rule == schemas.RuleTraceInvalid {
		for _, f := range a.Fired {
			if f.Rule == al.Rule {
				return message.Trace(s.club, o, f.Reason)
			}
		}
	}
	return message.Change(s.club, al, a, o)
}
