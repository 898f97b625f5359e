package alerts

import (
	"context"
	"fmt"
	"slices"

	"canter.example/alerts/chart"
	"canter.example/alerts/chat"
	"canter.example/alerts/message"
	"canter.example/alerts/rules"
	"canter.example/schemas"
	"canter.example/schemas/history"
)

// pictures are those of a message about one alert, none for other messages and
// for chats that show none. Trouble with a picture is none of the message's: it
// goes without.
func (s *Service) pictures(ctx context.Context, m *schemas.Message) []chat.Picture {
	if !s.shows(m) {
		return nil
	}
	if drawn, ok := s.sketches.take(ctx, m.ID); ok {
		return drawn
	}
	return s.drawAll(ctx, m)
}

// shows reports whether a message goes with pictures.
func (s *Service) shows(m *schemas.Message) bool {
	shows, ok := s.cfg.Chat.(chat.Illustrator)
	if !ok || !shows.ShowsPictures() || len(m.Says) != 1 || s.club.Chat.Pictures == 0 {
		return false
	}
	switch m.Says[0].Turn {
	case schemas.TurnTold, schemas.TurnDetail, schemas.TurnCorrected, schemas.TurnAgain:
		return true
	default:
		return false
	}
}

func (s *Service) drawAll(ctx context.Context, m *schemas.Message) []chat.Picture {
	drawn, err := s.draw(ctx, m.Says[0].Alert)
	var out []chat.Picture
	for _, p := range drawn {
		png, perr := p.PNG()
		if perr != nil {
			err = perr
			continue
		}
		out = append(out, chat.Picture{Title: p.Title, Alt: p.Alt, PNG: png})
	}
	if err != nil {
		s.log.Warn("alerts: a picture could not be drawn; its message goes without", "message", m.ID, "err", err)
	}
	return out
}

// draw draws what an alert is about: the trace, before it the athlete's history
// where the alert is about a change, or the squad on that day.
func (s *Service) draw(ctx context.Context, alert string) ([]*chart.Picture, error) {
	al, ok, err := s.history.Alert(ctx, alert)
	if err != nil || !ok {
		return nil, err
	}
	switch al.Rule {
	case schemas.RuleSquadEffect:
		p, err := s.drawSquad(ctx, &al)
		return one(p), err
	case schemas.RuleTraceInvalid, schemas.RuleHRmaxExceeded, schemas.RuleOutsideBand:
		p, err := s.drawTrace(ctx, &al)
		return one(p), err
	case schemas.RuleTestMissing, schemas.RuleFileParked:
		return nil, nil
	default:
	}
	h, err := s.drawHistory(ctx, &al)
	t, terr := s.drawTrace(ctx, &al)
	if err == nil {
		err = terr
	}
	return append(one(h), one(t)...), err
}

func one(p *chart.Picture) []*chart.Picture {
	if p == nil {
		return nil
	}
	return []*chart.Picture{p}
}

func (s *Service) person(id string) chart.Person {
	return chart.Person{ID: id, Name: s.club.NameOf(id)}
}

// quiet takes names out of an outcome's reasons: in a picture, too, athletes
// are called what the club says.
func (s *Service) quiet(o schemas.Outcome) schemas.Outcome {
	o.Reasons = slices.Clone(o.Reasons)
	for i := range o.Reasons {
		o.Reasons[i].Text = message.Said(s.club, o.Reasons[i].Text)
	}
	return o
}

func (s *Service) drawTrace(ctx context.Context, al *schemas.Alert) (*chart.Picture, error) {
	o, ok, err := s.history.Test(ctx, al.TestID)
	if err != nil || !ok {
		return nil, err
	}
	seconds, err := s.history.TraceSeconds(ctx, al.TestID)
	if err != nil || len(seconds) == 0 {
		return nil, err
	}
	return chart.Trace(chart.TraceData{Who: s.person(o.Athlete), Outcome: s.quiet(o), Seconds: seconds, Protocol: s.club.Protocol(o.Protocol), Zone: s.zone()}), nil
}

func (s *Service) drawHistory(ctx context.Context, al *schemas.Alert) (*chart.Picture, error) {
	o, ok, err := s.history.Test(ctx, al.TestID)
	if err != nil || !ok {
		return nil, err
	}
	tests, err := s.history.AthleteTests(ctx, o.Athlete, o.Protocol)
	if err != nil {
		return nil, err
	}
	assessed, err := s.history.Assessments(ctx, history.AssessmentFilter{Athlete: o.Athlete, Protocol: o.Protocol})
	if err != nil {
		return nil, err
	}
	d := chart.HistoryData{Who: s.person(o.Athlete), Protocol: s.club.Protocol(o.Protocol), Zone: s.zone()}
	oldest := o.Start.Add(-s.club.Thresholds.BaselineAge)
	for _, t := range tests {
		if t.Start.After(o.Start) || t.Start.Before(oldest) || t.ProtocolVersion != o.ProtocolVersion {
			continue
		}
		ht := chart.HistoryTest{Outcome: s.quiet(t)}
		if i := slices.IndexFunc(assessed, func(a schemas.Assessment) bool { return a.TestID == t.TestID }); i >= 0 {
			ht.Assessment = &assessed[i]
		}
		d.Tests = append(d.Tests, ht)
	}
	return chart.History(d), nil
}

// drawSquad draws the measure in which the squad moved most, by its standard
// error.
func (s *Service) drawSquad(ctx context.Context, al *schemas.Alert) (*chart.Picture, error) {
	tests, err := s.history.SessionTests(ctx, al.Session)
	if err != nil || len(tests) == 0 {
		return nil, err
	}
	assessed, err := s.history.Assessments(ctx, history.AssessmentFilter{Sessions: []string{al.Session}})
	if err != nil {
		return nil, err
	}
	by := map[schemas.TestID]*schemas.Assessment{}
	d := chart.SquadData{Measure: schemas.MeasureHRex}
	var most float64
	for i := range assessed {
		a := &assessed[i]
		by[a.TestID] = a
		for _, c := range []*schemas.Comparison{a.Comparison(schemas.MeasureHRex, 0), rules.MainHRR(a)} {
			if c == nil || !c.Squad.Material {
				continue
			}
			if z := c.Squad.Size.Or(0) / max(c.Squad.SE.Or(1), 1e-9); z*z > most {
				most, d.Measure, d.Seconds, d.Shift, d.ShiftSE = z*z, c.Measure, c.Seconds, c.Squad.Size, c.Squad.SE
			}
		}
	}
	name := al.Squad
	if q := s.club.Squad(al.Squad); q != nil && q.Name != "" {
		name = q.Name
	}
	d.Title = fmt.Sprintf("%s, %s", name, tests[0].Start.In(s.zone()).Format("Mon 2 Jan 2006"))
	for _, o := range tests {
		x := chart.SquadTest{Who: s.person(o.Athlete), Outcome: s.quiet(o)}
		if a := by[o.TestID]; a != nil {
			x.Comparison = a.Comparison(d.Measure, d.Seconds)
		}
		d.Tests = append(d.Tests, x)
	}
	return chart.Squad(d), nil
}
