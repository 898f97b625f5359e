package alerts

import (
	"context"
	"errors"
	"time"

	"canter.example/alerts/review"
	"canter.example/schemas"
	"canter.example/schemas/history"
)

// jobMissing is the name of the look for missing tests in the slot table.
const jobMissing = "missing-tests"

// catchUp is how far back a planned test is still looked at when nobody was
// there at its time.
const catchUp = 24 * time.Hour

// jobLapse is the name of the daily look for alerts that have lapsed.
const jobLapse = "lapsed-alerts"

// lapse closes, once a day, what nothing has come to confirm or to end; see
// [review.Lapsed]. Staff hear nothing of it: canter alerts list shows it.
func (s *Service) lapse(ctx context.Context, now time.Time) error {
	day := now.UTC().Format(time.DateOnly)
	done, err := s.history.SlotDone(ctx, jobLapse, day)
	if err != nil || done {
		return err
	}
	for _, state := range []schemas.AlertState{schemas.AlertOpen, schemas.AlertSeen} {
		old, err := s.history.Alerts(ctx, history.AlertFilter{State: state, To: now.Add(-review.Touched)})
		if err != nil {
			return err
		}
		for _, al := range old {
			if !review.Lapsed(&al, now) {
				continue
			}
			al.State = schemas.AlertLapsed
			if err := s.history.SaveAlert(ctx, al, nil); err != nil {
				return err
			}
			s.log.Info("alert", "alert", al.ID, "rule", al.Rule, "state", al.State, "athlete", al.Athlete, "squad", al.Squad, "about", al.About)
		}
	}
	return s.history.MarkSlot(ctx, jobLapse, day, now)
}

// Due does what is due by now and has not been done: it closes alerts that have
// lapsed, looks for tests that are missing, and does what is scheduled. Several
// processes may do so at once.
func (s *Service) Due(ctx context.Context, now time.Time) error {
	return errors.Join(s.lapse(ctx, now), s.dueTests(ctx, now), s.scheduled(ctx, now))
}

// dueTests looks at every planned test whose time for a reminder has come by
// now and has not been looked at yet. The alert's id is the slot's, so it is
// told once.
func (s *Service) dueTests(ctx context.Context, now time.Time) error {
	longest := time.Duration(0)
	for i := range s.club.Planned {
		longest = max(longest, s.club.Planned[i].RemindAfter)
	}
	if longest == 0 {
		return nil
	}
	slots, err := s.club.Slots(now.Add(-catchUp-longest), now)
	if err != nil {
		return err
	}
	for _, slot := range slots {
		after := slot.Planned.RemindAfter
		due := slot.Time.Add(after)
		if after == 0 || due.After(now) || now.Sub(due) > catchUp {
			continue
		}
		if err := s.lookAt(ctx, slot, now); err != nil {
			return err
		}
	}
	return nil
}
