package alerts

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"canter.example/alerts/assess"
	"canter.example/alerts/message"
	"canter.example/alerts/rules"
	"canter.example/schemas"
)

// holdsAgain opens the answer to an alert that was withdrawn and holds after all.
const holdsAgain = "This holds after all, in place of the withdrawal above:\n"

// wantedAlert is an alert that the rules ask for now, with its words.
type wantedAlert struct {
	alert schemas.Alert
	text  string
}

// reconcile makes the alerts in history what the rules ask for: new ones are
// opened and told, those that no longer hold are withdrawn in their thread,
// withdrawn ones that hold again are opened again. The rest stay as told.
func (s *Service) reconcile(ctx context.Context, wanted map[string]wantedAlert, existing []schemas.Alert, protocol string, from time.Time, v schemas.Version) error {
	for _, id := range slices.Sorted(maps.Keys(wanted)) {
		if err := s.open(ctx, wanted[id], v); err != nil {
			return err
		}
	}
	for i := range existing {
		al := existing[i]
		_, stays := wanted[al.ID]
		if stays || al.Protocol != protocol || al.About.Before(from) || al.TestID == "" {
			continue
		}
		if err := s.withdraw(ctx, al, v); err != nil {
			return err
		}
	}
	return nil
}

// open stores and tells an alert, unless that is done already.
func (s *Service) open(ctx context.Context, w wantedAlert, v schemas.Version) error {
	al := w.alert
	old, known, err := s.history.Alert(ctx, al.ID)
	if err != nil {
		return err
	}
	al.Version, al.Text = v, w.text
	switch {
	case !known:
		al.State = schemas.AlertOpen
		al.Told = s.worthTelling(al.About)
		if !al.Told {
			return s.history.SaveAlert(ctx, al, nil)
		}
		return s.say(ctx, al, s.newMessage(al, al.ID, "", al.Text))
	case old.State == schemas.AlertWithdrawn:
		al.State, al.Told = schemas.AlertOpen, old.Told
		if !al.Told {
			return s.history.SaveAlert(ctx, al, nil)
		}
		return s.say(ctx, al, s.newMessage(al, turnID(al.ID, "again", v), al.ID, holdsAgain+al.Text))
	default:
		// Told once. The row keeps up with corrected numbers; a message that a
		// dying process stored but never queued is queued now.
		al.State, al.Told = old.State, old.Told
		if err := s.history.SaveAlert(ctx, al, nil); err != nil {
			return err
		}
		if !al.Told {
			return nil
		}
		if err := s.queue(ctx, turnID(al.ID, "again", v)); err != nil {
			return err
		}
		return s.queue(ctx, al.ID)
	}
}

// turnID names the message about a turn in an alert's life by the event that
// caused it: the event met twice is the same message, a later turn another.
func turnID(alert, turn string, v schemas.Version) string {
	return fmt.Sprintf("%s-%s-%d", alert, turn, v)
}

// withdraw takes an alert back: its test was excluded, corrected or is gone.
func (s *Service) withdraw(ctx context.Context, al schemas.Alert, v schemas.Version) error {
	if al.State == schemas.AlertWithdrawn {
		if !al.Told {
			return nil
		}
		return s.queue(ctx, turnID(al.ID, "withdrawn", v))
	}
	al.State, al.Version = schemas.AlertWithdrawn, v
	if !al.Told {
		return s.history.SaveAlert(ctx, al, nil)
	}
	why, err := s.withdrawal(ctx, al)
	if err != nil {
		return err
	}
	return s.say(ctx, al, s.newMessage(al, turnID(al.ID, "withdrawn", v), al.ID, message.Withdrawn(s.club, al, why, "")))
}

// withdrawal finds out why an alert about a test no longer holds.
func (s *Service) withdrawal(ctx context.Context, al schemas.Alert) (message.Withdrawal, error) {
	o, found, err := s.history.Test(ctx, al.TestID)
	switch {
	case err != nil:
		return "", err
	case !found:
		return message.TestGone, nil
	case o.Staff == schemas.Excluded:
		return message.TestExcluded, nil
	case !o.Valid():
		return message.TestDoubtful, nil
	}
	others, err := s.history.AthleteTests(ctx, al.Athlete, al.Protocol)
	if err != nil {
		return "", err
	}
	if _, better := assess.BetterFile(o, others); better {
		return message.OtherFile, nil
	}
	return message.NoLongerFires, nil
}

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

// worthTelling: a first load of old seasons is recorded, not told.
func (s *Service) worthTelling(about time.Time) bool {
	within := s.club.Thresholds.TellWithin
	return within <= 0 || s.now().Sub(about) <= within
}
