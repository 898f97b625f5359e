package alerts

import (
	"context"

	"canter.example/alerts/rules"
	"canter.example/schemas"
)

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
