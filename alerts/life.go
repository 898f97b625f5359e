package alerts

import (
	"context"

	"canter.example/alerts/message"
	"canter.example/alerts/rules"
	"canter.example/schemas"
)

// onParked tells staff of a file that could not be handled, once a file.
func (s *Service) onParked(ctx context.Context, e schemas.ParkedEvent, v schemas.Version) error {
	al, ok := rules.Parked(e.File)
	if !ok {
		return nil
	}
	old, known, err := s.history.Alert(ctx, al.ID)
	if err != nil {
		return err
	}
	al.Version, al.Told = v, true
	al.Text = message.Parked(s.club, e.File)
	if known {
		al.Told = old.Told
		if err := s.history.SaveAlert(ctx, al, nil); err != nil {
			return err
		}
		return s.queue(ctx, al.ID)
	}
	return s.say(ctx, al, s.newMessage(al, al.ID, "", al.Text))
}

// closeParked closes the notice about a file that was handled after all.
func (s *Service) closeParked(ctx context.Context, file schemas.FileID, v schemas.Version) error {
	al, known, err := s.history.Alert(ctx, schemas.NewAlertID(rules.FamilyParked, string(file)))
	if err != nil || !known || al.State == schemas.AlertClosed || al.Version >= v {
		return err
	}
	al.State, al.Version = schemas.AlertClosed, v
	return s.history.SaveAlert(ctx, al, nil)
}

// onNote keeps what staff wrote to an alert. An alert about tests shows that
// it has been seen when its squad is gone through, by an event later than the
// note: what two processes write at once can't lose it.
func (s *Service) onNote(ctx context.Context, n schemas.Note) error {
	if err := s.history.SaveNote(ctx, n); err != nil {
		return err
	}
	al, known, err := s.history.Alert(ctx, n.AlertID)
	if err != nil || !known {
		return err
	}
	if al.Session != "" && al.Rule != schemas.RuleTestMissing {
		return s.gather(ctx, place{al.Squad, al.Protocol, al.About}, true)
	}
	if n.Seen && al.State == schemas.AlertOpen {
		al.State = schemas.AlertSeen
		return s.history.SaveAlert(ctx, al, nil)
	}
	return nil
}
