package alerts

import (
	"context"
	"time"

	"canter.example/alerts/message"
	"canter.example/alerts/rules"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

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
	al.Version = 1 // a slot has no event of its own
	thread, err := s.toldSession(ctx, al)
	if err != nil {
		return err
	}
	m := s.newMessage(al, al.ID, thread, al.Text)
	m.Channel = s.channel(&al)
	return s.say(ctx, al, m)
}

// toldSession returns the message of the session that an alert belongs to, "" when
// there is none in the alert's channel. That message has named who was missing
// when it was sent, so that who still is goes into its thread.
func (s *Service) toldSession(ctx context.Context, al schemas.Alert) (thread string, err error) {
	id := boardID(al.Session, s.channel(&al))
	m, ok, err := s.history.Message(ctx, id)
	if err != nil || !ok || m.State == schemas.MessageFailed {
		return "", err
	}
	return id, nil
}

// testsCame withdraws the alert of a planned test once nobody is missing any
// more, and says so beside the reminder. Alerts are the squad's of the days
// that are gone through.
func (s *Service) testsCame(ctx context.Context, alerts []schemas.Alert, protocol string, v schemas.Version) error {
	for _, al := range alerts {
		open := al.State == schemas.AlertOpen || al.State == schemas.AlertSeen
		if al.Rule != schemas.RuleTestMissing || al.Protocol != protocol || !open {
			continue
		}
		came, err := s.nobodyMissing(ctx, &al)
		if err != nil {
			return err
		}
		if !came {
			continue
		}
		reminder, _, err := s.history.Message(ctx, al.ID)
		if err != nil {
			return err
		}
		thread := reminder.Thread
		if thread == "" {
			thread = al.ID
		}
		al.State, al.Version = schemas.AlertWithdrawn, v
		m := s.newMessage(al, schemas.NewAlertID("tests came", al.ID), thread, message.Withdrawn(s.club, al, message.TestsCame, ""))
		m.Channel = s.channel(&al)
		if err := s.say(ctx, al, m); err != nil {
			return err
		}
	}
	return nil
}

// nobodyMissing looks again at the planned test of an alert.
func (s *Service) nobodyMissing(ctx context.Context, al *schemas.Alert) (bool, error) {
	slots, err := s.club.Slots(al.About, al.About.Add(time.Minute))
	if err != nil {
		return false, err
	}
	for _, slot := range slots {
		if slot.Planned.Squad != al.Squad || slot.Planned.Protocol != al.Protocol || !slot.Time.Equal(al.About) {
			continue
		}
		tests, err := s.history.SquadTests(ctx, al.Squad, al.Protocol, al.About.Add(-24*time.Hour), al.About.Add(24*time.Hour))
		if err != nil {
			return false, err
		}
		return len(rules.Attend(slot, s.club.Athletes, tests, s.club.Zone).Missing) == 0, nil
	}
	return false, nil
}
