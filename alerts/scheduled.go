package alerts

import (
	"context"
	"time"

	"canter.example/alerts/digest"
	"canter.example/alerts/schedule"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

// Jobs of the slot table beside the look for missing tests.
const (
	jobWeekly  = "weekly-digest"
	jobMonthly = "monthly-digest"
	jobRetain  = "retention"
	jobTidy    = "tidy"
)

// retainAt is when history that is older than the club keeps goes: at night.
const retainAt = "30 3 * * *"

// tidyAt is when the history is put in order: after that.
const tidyAt = "0 4 * * *"

// jobs are what the club wants done at regular times. A digest is worth having
// until the next one, nearly.
func jobs(c *club.Club) []schedule.Job {
	out := []schedule.Job{
		{ID: jobWeekly, Cron: c.Digest.Weekly, Worth: 6 * 24 * time.Hour},
		{ID: jobMonthly, Cron: c.Digest.Monthly, Worth: 26 * 24 * time.Hour},
		{ID: jobTidy, Cron: tidyAt, Worth: 2 * time.Hour},
	}
	if c.Privacy.KeepHistory > 0 {
		out = append(out, schedule.Job{ID: jobRetain, Cron: retainAt, Worth: 36 * time.Hour})
	}
	return out
}

// scheduled does what is due and has not been done. Several processes may do so
// at once, and one may die in between: a digest's message has the id of its
// squad and period, so it is told once, and a retention does the same twice.
func (s *Service) scheduled(ctx context.Context, now time.Time) error {
	runs, err := schedule.Due(s.club, jobs(s.club), now)
	if err != nil {
		return err
	}
	for _, r := range runs {
		done, err := s.history.SlotDone(ctx, r.Job.ID, r.Key)
		if err != nil {
			return err
		}
		if done {
			continue
		}
		if err := s.do(ctx, r, now); err != nil {
			return err
		}
		if err := s.history.MarkSlot(ctx, r.Job.ID, r.Key, now); err != nil {
			return err
		}
	}
	return nil
}

func (s *Service) do(ctx context.Context, r schedule.Run, now time.Time) error {
	switch r.Job.ID {
	case jobWeekly:
		return s.digests(ctx, digest.Week, schedule.LastWeek(r.At, s.zone()))
	case jobMonthly:
		return s.digests(ctx, digest.Month, schedule.LastMonth(r.At, s.zone()))
	case jobRetain:
		removed, err := s.history.Retain(ctx, now.Add(-s.club.Privacy.KeepHistory))
		if err == nil && removed.Rows() > 0 {
			s.log.Info("history older than the club keeps is gone", "rows", removed.Rows(), "before", removed.Before)
		}
		return err
	case jobTidy:
		return s.history.Tidy(ctx)
	}
	return nil
}

// digests tells each squad's digest of a period in which there was anything.
func (s *Service) digests(ctx context.Context, kind digest.Kind, p schedule.Period) error {
	for i := range s.club.Squads {
		squad := s.club.Squads[i].ID
		d, err := digest.Read(ctx, s.history, s.club, kind, squad, p)
		if err != nil {
			return err
		}
		if d.Empty() {
			continue
		}
		if err := s.announce(ctx, schemas.NewAlertID("digest", string(kind), squad, d.From), s.club.DigestChannel(squad), d.Text(s.club)); err != nil {
			return err
		}
	}
	return nil
}

// announce tells something that no alert is about, once by its id.
func (s *Service) announce(ctx context.Context, id, channel, text string) error {
	m, known, err := s.history.Message(ctx, id)
	if err != nil {
		return err
	}
	if known && m.State != schemas.MessagePending {
		return nil
	}
	if !known {
		m = schemas.Message{ID: id, Channel: channel, Text: text, State: schemas.MessagePending, Created: s.now().UTC()}
		if err := s.history.SaveMessage(ctx, m); err != nil {
			return err
		}
	}
	return s.enqueue(ctx, id)
}
