package alerts

import (
	"context"
	"errors"
	"time"

	"canter.example/alerts/message"
	"canter.example/alerts/review"
	"canter.example/alerts/rules"
	"canter.example/schemas"
	"canter.example/schemas/club"
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
// lapsed, looks for tests that are missing, and does what is scheduled. Several processes may do so at once.
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

// lookAt reports who is missing from one planned test.
func (s *Service) lookAt(ctx context.Context, slot club.Slot, now time.Time) error {
	key := slot.Planned.ID + "@" + slot.Time.UTC().Format(time.RFC3339)
	done, err := s.history.SlotDone(ctx, jobMissing, key)
	if err != nil || done {
		return err
	}
	p := slot.Planned
	tests, err := s.history.SquadTests(ctx, p.Squad, p.Protocol, slot.Time.Add(-rules.RunningWithin), slot.Time.Add(24*time.Hour))
	if err != nil {
		return err
	}
	seen := rules.Attend(slot, s.club.Athletes, tests, s.club.Zone)
	seen.Strap(tests)
	if al, ok := seen.Alert(); ok && !s.club.Thresholds.Rules.TestMissing.Off {
		if !seen.Ran {
			// Nothing at all, ever: the club is being set up, not missing.
			first, err := s.history.SquadTests(ctx, p.Squad, p.Protocol, time.Time{}, slot.Time)
			if err != nil {
				return err
			}
			if len(first) == 0 {
				return s.history.MarkSlot(ctx, jobMissing, key, now)
			}
		}
		if err := s.tellMissing(ctx, al, seen); err != nil {
			return err
		}
	}
	if len(seen.Missing) == 0 && seen.Expected > 0 && p.SayAllHere {
		id := schemas.NewAlertID("all here", key)
		if err := s.announce(ctx, id, s.club.ChannelOf(p.Squad), message.AllHere(s.club, p.Squad, seen.Expected)); err != nil {
			return err
		}
	}
	return s.history.MarkSlot(ctx, jobMissing, key, now)
}

func (s *Service) tellMissing(ctx context.Context, al schemas.Alert, seen rules.Attendance) error {
	_, known, err := s.history.Alert(ctx, al.ID)
	if err != nil {
		return err
	}
	if known {
		return s.queue(ctx, al.ID)
	}
	al.Told, al.Text = true, message.Missing(s.club, seen)
	al.Version = 1 // written once: a slot has no event of its own
	return s.say(ctx, al, s.newMessage(al, al.ID, "", al.Text))
}
