package scorer

import (
	"context"
	"fmt"
	"reflect"
	"slices"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/schemas/club"
	"canter.example/scorer/engine"
	"canter.example/scorer/identify"
)

// Athletes who started together share a start, so a poor trace may borrow its
// team-mates'. Files come one by one, in any order: a doubtful trace asks what
// the stored tests of its session say, and whoever stores a good one asks for
// the doubtful ones of the session to be scored again.
//
// No pair is missed: a test is stored before its session is read. If the good
// one's reading did not yet show the doubtful one, the doubtful one's reading
// after it was stored shows the good one.

// mates returns the starts that an athlete's team-mates share in a session.
func (s *Service) mates(ctx context.Context, session, athlete, version string) ([]engine.Hint, error) {
	tests, err := s.tests.of(ctx, session)
	if err != nil {
		return nil, err
	}
	tests = slices.DeleteFunc(slices.Clone(tests), func(o schemas.Outcome) bool {
		return o.Athlete == athlete || o.ProtocolVersion != version
	})
	return engine.MatesStarts(tests), nil
}

// doubt is a planned test of this file that team-mates may help with, and what
// they said when it was scored.
type doubt struct {
	session, athlete, version string
	hints                     []engine.Hint
}

// byPlan scores a trace by a planned test. When it shows no good test by
// itself, the team-mates' start is tried; when it shows none at all although it
// was recorded at the planned time, that is a rejected test: staff see it, and
// may set its start by hand.
func (s *Service) byPlan(ctx context.Context, msg broker.FileMessage, rec *engine.Recording, who identify.Answer, l look, rulings map[schemas.TestID]schemas.Ruling) ([]engine.Found, string, *doubt, error) {
	tr := rec.Trace
	req := s.request(tr, who, l)
	found, remark := s.byProtocol(msg, rec, who, req, rulings)
	found = planned(found, l.protocol)
	if slices.ContainsFunc(found, func(f engine.Found) bool { return startKnown(&f.Outcome) && !notTheTest(&f.Outcome, l.protocol) }) {
		return found, remark, nil, nil
	}
	session := schemas.SessionID(who.Squad, l.protocol.ID, l.slot.Time.In(s.club.Zone).Format(time.DateOnly))
	d := &doubt{session: session, athlete: who.Athlete.ID, version: l.protocol.Version}
	var err error
	if d.hints, err = s.mates(ctx, d.session, d.athlete, d.version); err != nil {
		return nil, "", nil, err
	}
	for i := range d.hints {
		req.Session = &d.hints[i]
		again, _ := s.byProtocol(msg, rec, who, req, rulings)
		if len(d.hints) > 1 {
			// With several waves nobody says which one was this athlete's: only
			// what the trace itself shows counts.
			again = slices.DeleteFunc(again, func(f engine.Found) bool { return borrowed(&f.Outcome) })
		}
		found = planned(append(found, again...), l.protocol)
	}
	found = slices.DeleteFunc(found, func(f engine.Found) bool {
		not := notTheTest(&f.Outcome, l.protocol)
		if not {
			remark = s.whyNot(&f.Outcome)
		}
		return not
	})
	if len(found) == 0 && covers(tr, l.slot) {
		found = []engine.Found{s.notFound(msg, tr, who, req, l, remark, rulings)}
	}
	return found[:min(len(found), 1)], remark, d, nil
}

// startKnown reports whether team-mates could add nothing to what is known of a
// test's start.
func startKnown(o *schemas.Outcome) bool {
	switch o.StartSource {
	case schemas.StartByHand, schemas.StartByLap:
		return true
	default:
		return o.Quality == schemas.Good || o.StartConfidence >= sureStart
	}
}

// sureStart is the confidence from which a start needs no team-mates.
const sureStart = 0.95

func (s *Service) request(tr *schemas.Trace, who identify.Answer, l look) engine.Request {
	req := engine.Request{Protocol: l.protocol, HRmax: who.Athlete.HRmaxAt(tr.Start.In(s.club.Zone).Year())}
	if l.slot != nil {
		req.Around, req.Within = l.slot.Time, l.slot.Planned.Within
	}
	return req
}

// borrowed reports whether a start is team-mates' and not the trace's own.
func borrowed(o *schemas.Outcome) bool {
	return o.StartSource == schemas.StartBySession && hasReason(o, schemas.ReasonStartUncertain)
}

// covers reports whether the recording ran at the planned time.
func covers(tr *schemas.Trace, slot *club.Slot) bool {
	return !slot.Time.Before(tr.Start) && slot.Time.Before(tr.Start.Add(tr.End()))
}

// notFound is the test that was planned and that the trace does not show.
func (s *Service) notFound(msg broker.FileMessage, tr *schemas.Trace, who identify.Answer, req engine.Request, l look, why string, rulings map[schemas.TestID]schemas.Ruling) engine.Found {
	o := schemas.Outcome{
		Start: l.slot.Time.UTC(), StartSource: schemas.StartByPlan, Duration: l.protocol.Duration(), HRmax: req.HRmax,
		Quality: schemas.Reject,
		Reasons: []schemas.Reason{{Code: schemas.ReasonNoTest, Text: "no test was found in the trace, which was recorded at the planned time: " + why}},
	}
	id := schemas.NewTestID(msg.ID, tr.Part, l.protocol.ID, 0)
	s.identity(&o, id, msg, tr, who, req, rulings[id])
	return engine.Found{Outcome: o}
}

// tellMates asks for the doubtful traces of the sessions in which this file
// has a good test to be scored again, and for this file itself when its own
// doubts would meet another answer now.
func (s *Service) tellMates(ctx context.Context, f schemas.File, result scored, v schemas.Version) error {
	for _, d := range result.doubts {
		hints, err := s.mates(ctx, d.session, d.athlete, d.version)
		if err != nil {
			return err
		}
		if !reflect.DeepEqual(hints, d.hints) {
			if err := s.rescore(ctx, f.ID, "team-mates of "+d.session, v); err != nil {
				return err
			}
		}
	}
	for session := range result.plannedGood {
		tests, err := s.doubtful.of(ctx, session)
		if err != nil {
			return err
		}
		for i := range tests {
			o := &tests[i]
			if o.FileID == f.ID || startKnown(o) {
				continue
			}
			if err := s.rescore(ctx, o.FileID, "a team-mate's test of "+session, v); err != nil {
				return err
			}
		}
	}
	return nil
}

func (s *Service) rescore(ctx context.Context, id schemas.FileID, cause string, v schemas.Version) error {
	return s.broker.Publish(ctx, schemas.SubjectRescore+string(id), fmt.Sprintf("mates-%s-%d", id, v), schemas.RescoreEvent{File: id, Cause: cause})
}
