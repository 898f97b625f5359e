package alerts

import (
	"context"
	"time"

	"canter.example/alerts/assess"
	"canter.example/schemas"
	"canter.example/schemas/history"
)

// notesWithin is how far back staff's notes are shown.
const notesWithin = 28 * 24 * time.Hour

// lately reads what staff wrote of anybody in the weeks before an instant and
// since, oldest first.
func (s *Service) lately(ctx context.Context, at time.Time) ([]schemas.Note, error) {
	return s.history.Notes(ctx, history.NoteFilter{From: at.Add(-notesWithin)})
}

// notes picks from what staff wrote lately what belongs beside an alert about an
// athlete: notes to the athlete's alerts, and to those about the whole squad
// (heat, travel).
func (s *Service) notes(ctx context.Context, all []schemas.Note, al *schemas.Alert) ([]schemas.Note, error) {
	var out []schemas.Note
	for _, n := range all {
		if n.Athlete == "" && n.Text != "" {
			of, ok, err := s.history.Alert(ctx, n.AlertID)
			if err != nil {
				return nil, err
			}
			if ok && of.Rule == schemas.RuleSquadEffect && of.Squad == al.Squad {
				out = append(out, n)
			}
			continue
		}
		if n.Athlete == al.Athlete {
			out = append(out, n)
		}
	}
	return out, nil
}

// beside reads what stands beside a test: the load of the days before it and
// the daily series that stand out. It is as known when staff are told; a file
// that comes later makes no new message.
func (s *Service) beside(ctx context.Context, o *schemas.Outcome) (assess.Beside, error) {
	date := schemas.SessionDate(o.Session)
	day, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return assess.Beside{}, nil //nolint:nilerr // a test without a day has nothing beside it
	}
	first, err := time.Parse(time.DateOnly, assess.LoadsFrom(date))
	if err != nil {
		return assess.Beside{}, err
	}
	// A local date begins at most 14 h before or after that of UTC.
	loads, err := s.history.AthleteLoads(ctx, o.Athlete, first.AddDate(0, 0, -1), day.AddDate(0, 0, 2))
	if err != nil {
		return assess.Beside{}, err
	}
	values, err := s.history.AthleteSeries(ctx, o.Athlete, o.Squad, assess.SeriesFrom(date), day.AddDate(0, 0, 1).Format(time.DateOnly))
	if err != nil {
		return assess.Beside{}, err
	}
	return assess.NewBeside(date, loads, values), nil
}
