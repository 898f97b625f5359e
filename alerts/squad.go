package alerts

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"golang.org/x/sync/errgroup"

	"canter.example/alerts/message"
	"canter.example/alerts/review"
	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/schemas/club"
	"canter.example/schemas/history"
)

// longestHold bounds, in holds, how long a squad that never gets quiet waits.
// longestLoad does so while tests come in that are too old to be told: each
// review goes through all of their seasons, and nobody waits for it.
const (
	longestHold = 10
	longestLoad = 60
)

// OnSquad goes through a squad's sessions: the work of an event of
// [schemas.StreamSquads]. The first delivery only starts the quiet time: if
// another file comes within it, a newer event takes this one's place and
// starts it anew.
func (s *Service) OnSquad(ctx context.Context, d *broker.Delivery) error {
	var e schemas.SquadEvent
	if err := schemas.DecodeEvent(d.Data, &e); err != nil {
		return broker.Permanent(err)
	}
	if e.Protocol == outbox {
		return s.look(ctx, e, d)
	}
	if wait := s.untilQuiet(ctx, e, d.Tries); wait > 0 {
		return broker.Hold(wait)
	}
	if e.Protocol == parkedFiles {
		return s.askTellParked(ctx, e, d.Version)
	}
	return s.review(ctx, e, d.Version)
}

// untilQuiet returns how much longer to wait for a squad's quiet, 0 when that is over.
//
// People who are told wait for chat.hold: what comes within it is one message.
// Nobody is told of old tests, and the wait only saves reviews of a season that
// is being loaded. It is taken in small parts then, and over as soon as nothing
// is on its way, where this process can know.
func (s *Service) untilQuiet(ctx context.Context, e schemas.SquadEvent, tries int) time.Duration {
	hold, longest, parts := s.club.Chat.Hold, time.Duration(longestHold), wholeHold
	if e.Protocol != parkedFiles && !s.worthTelling(e.From) {
		longest = longestLoad
		if s.cfg.Coming != nil {
			parts = growingParts
		}
	}
	part, waited := parts(hold, tries)
	switch {
	case hold <= 0 || e.Now || waited >= hold || s.now().Sub(e.Waiting) >= longest*hold:
		return 0
	case tries > 1 && !s.cfg.Coming(ctx):
		return 0
	}
	return part
}

// wholeHold and growingParts return how long a delivery waits that is the given
// one of an event, from 1, and how long those before it have waited.
func wholeHold(hold time.Duration, tries int) (part, waited time.Duration) {
	if tries > 1 {
		waited = hold
	}
	return hold, waited
}

// growingParts begins with firstPart, since mostly the last test of a load has come
// then, and doubles it to a holdParts-th of the hold.
func growingParts(hold time.Duration, tries int) (part, waited time.Duration) {
	longest := hold / holdParts
	part = min(firstPart, longest)
	for ; tries > 1 && waited < hold; tries-- {
		waited += part
		part = min(2*part, longest)
	}
	return part, waited
}

const (
	firstPart = 20 * time.Millisecond
	holdParts = 15
)

// review assesses a squad's sessions from an instant on, brings the alerts
// about them in line with what the rules now say, and asks for staff to be told.
func (s *Service) review(ctx context.Context, e schemas.SquadEvent, v schemas.Version) error {
	t := &s.club.Thresholds
	local := e.From.In(s.zone())
	from := time.Date(local.Year(), local.Month(), local.Day(), 0, 0, 0, 0, local.Location())
	// Whole local days, whatever the clocks did between: a session is in or out.
	alertsFrom := from.AddDate(0, 0, -days(review.Touched))
	reviewFrom := alertsFrom.AddDate(0, 0, -days(review.Span(t)))
	tests, err := TestsForReview(ctx, s.history, s.club, e.Squad, e.Protocol, reviewFrom)
	if err != nil {
		return err
	}
	if len(tests) > largeReview {
		s.large.Lock() // what one such takes is enough
		defer s.large.Unlock()
	}
	sessions := review.Review(s.club, e.Squad, e.Protocol, tests, reviewFrom)
	var assessed []schemas.Assessment
	wanted := map[string]schemas.Alert{}
	touched := map[string]bool{}
	for i := range sessions {
		x := &sessions[i]
		if !x.Day.Before(from) && s.club.Chat.Sessions == club.TellAll && s.worthTelling(x.Tests[0].Outcome.Start) {
			touched[x.ID] = true
		}
		for j := range x.Tests {
			a := &x.Tests[j].Assessment
			a.Version = v
			if !x.Day.Before(from) {
				assessed = append(assessed, *a)
			}
		}
		if !x.Day.Before(alertsFrom) {
			s.want(wanted, x, v)
		}
	}
	if err := s.saveAssessments(ctx, assessed); err != nil {
		return err
	}
	return s.reconcile(ctx, e, wanted, touched, alertsFrom, v)
}

// largeReview is how many tests make a review one that takes tens of megabytes.
const largeReview = 1000

// savedAtOnce bounds one write of a review of many sessions, so that the
// writes of others get their turn between.
const savedAtOnce = 500

// saveAssessments stores those of a review, one part being made ready while
// another is written.
func (s *Service) saveAssessments(ctx context.Context, all []schemas.Assessment) error {
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(2)
	for some := range slices.Chunk(all, savedAtOnce) {
		g.Go(func() error { return s.history.SaveAssessments(ctx, some) })
	}
	return g.Wait()
}

func days(d time.Duration) int { return int((d + 24*time.Hour - 1) / (24 * time.Hour)) }

// want gathers the alerts of a session, with their words.
func (s *Service) want(wanted map[string]schemas.Alert, x *review.Session, v schemas.Version) {
	add := func(al review.Alert, text string) {
		al.Text, al.Version = text, v
		al.Told = al.Told && s.worthTelling(al.About)
		wanted[al.ID] = al.Alert
	}
	if x.Squad != nil {
		add(*x.Squad, message.Session(s.club, *x.Squad, x))
	}
	for i := range x.Tests {
		t := &x.Tests[i]
		for _, al := range t.Alerts {
			// A run of bad traces is one alert with one id, told at its second test.
			if _, known := wanted[al.ID]; !known {
				add(al, message.About(s.club, message.Item{Alert: al.Alert, Assessment: t.Assessment, Outcome: t.Outcome}))
			}
		}
	}
}

// reconcile makes the alerts in history what the rules ask for: those that
// no longer hold are withdrawn. Sessions are those to be told of in any case.
// What staff hear of it is decided one session at a time, in the order of
// [schemas.StreamChat]; see tell.go.
func (s *Service) reconcile(ctx context.Context, e schemas.SquadEvent, wanted map[string]schemas.Alert, sessions map[string]bool, from time.Time, v schemas.Version) error {
	existing, err := s.history.Alerts(ctx, history.AlertFilter{Squad: e.Squad, From: from})
	if err != nil {
		return err
	}
	notes, err := s.history.Notes(ctx, history.NoteFilter{From: from})
	if err != nil {
		return err
	}
	var changed []schemas.Alert
	save := func(al schemas.Alert) {
		al.Version = v
		sessions[al.Session] = true
		changed = append(changed, al)
	}
	told := map[string]bool{}
	for _, al := range existing {
		told[al.ID] = al.Told
	}
	for _, id := range slices.Sorted(maps.Keys(wanted)) {
		al := wanted[id]
		al.Told = al.Told || told[id]
		if al.State == schemas.AlertOpen && slices.ContainsFunc(notes, func(n schemas.Note) bool { return n.Seen && n.AlertID == id }) {
			al.State = schemas.AlertSeen
		}
		if review.Lapsed(&al, s.now()) {
			al.State = schemas.AlertLapsed
		}
		save(al)
	}
	for _, al := range existing {
		if _, stays := wanted[al.ID]; stays || al.Protocol != e.Protocol || al.Rule == schemas.RuleTestMissing {
			continue
		}
		al.State = schemas.AlertWithdrawn
		save(al)
	}
	for some := range slices.Chunk(changed, savedAtOnce) {
		if err := s.history.SaveAlerts(ctx, some); err != nil {
			return err
		}
	}
	if err := s.testsCame(ctx, existing, e.Protocol, v); err != nil {
		return err
	}
	if len(sessions) == 0 {
		return nil
	}
	list := slices.SortedFunc(maps.Keys(sessions), cmp.Compare[string])
	id := fmt.Sprintf("tell-%s-%d", schemas.SquadToken(e.Squad, e.Protocol), v)
	return s.broker.Publish(ctx, schemas.SubjectChat+id, id, schemas.ChatEvent{Sessions: list})
}

// worthTelling: a first load of old seasons is recorded, not told.
func (s *Service) worthTelling(about time.Time) bool {
	within := s.club.Thresholds.TellWithin
	return within <= 0 || s.now().Sub(about) <= within
}

func (s *Service) zone() *time.Location {
	if s.club.Zone == nil {
		return time.UTC
	}
	return s.club.Zone
}
