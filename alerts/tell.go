package alerts

import (
	"context"
	"slices"
	"strings"
	"time"

	"canter.example/alerts/assess"
	"canter.example/alerts/message"
	"canter.example/schemas"
)

// holdsAgain opens the answer to an alert that was withdrawn and holds after all.
const holdsAgain = "This holds after all, in place of the withdrawal above:\n"

// tell puts into the outbox what staff have not heard of a session.
//
// The outbox itself is the record of what was said: each message names the
// alerts it speaks of and how. Messages are made one session at a time among
// all processes, so nothing is said twice; one message is one row, so a crash
// leaves it said or not; and whoever comes after a crash queues what was said
// and never sent, and says what is left.
func (s *Service) tell(ctx context.Context, r *record) (err error) {
	if r.quiet {
		return nil
	}
	t := telling{Service: s, session: r.session, said: whatWasSaid(r.messages)}
	if t.board, err = s.newBoard(ctx, r); err != nil {
		return err
	}
	var due []turn
	for _, al := range r.alerts {
		if al.Rule == schemas.RuleTestMissing {
			continue
		}
		d, err := s.due(ctx, t.board, al, t.said[al.ID])
		if err != nil {
			return err
		}
		if d != nil {
			due = append(due, *d)
		}
	}
	t.compose(due)
	if err := t.change(r.messages); err != nil {
		return err
	}
	for _, m := range t.made {
		if err := s.history.SaveMessage(ctx, m); err != nil {
			return err
		}
		s.log.Info("message", "message", m.ID, "session", r.session, "alerts", len(m.Says), "thread", m.Thread)
		if s.shows(&m) {
			s.sketches.order(m)
		}
	}
	for _, m := range append(r.messages, t.made...) {
		if m.State == schemas.MessagePending {
			if err := s.enqueue(ctx, m.ID); err != nil {
				return err
			}
		}
	}
	return nil
}

// nothingToTell reports whether there is surely nothing to say of a session of
// which nothing was said: no alert is to be told, and its day is too long ago
// for the session itself. A season that is loaded has many such.
func (s *Service) nothingToTell(session string, alerts []schemas.Alert) bool {
	if slices.ContainsFunc(alerts, func(al schemas.Alert) bool { return al.Told && al.Rule != schemas.RuleTestMissing }) {
		return false
	}
	day, err := time.Parse(time.DateOnly, schemas.SessionDate(session))
	return err == nil && !s.worthTelling(day.Add(48*time.Hour))
}

// saidOf is what staff have heard of one alert.
type saidOf struct {
	last schemas.Saying
	// thread is the message that told it, in a line when brief; detailed when
	// its numbers have followed.
	thread          string
	brief, detailed bool
}

func whatWasSaid(messages []schemas.Message) map[string]saidOf {
	said := map[string]saidOf{}
	for _, m := range messages {
		for _, x := range m.Says {
			if x.Turn == schemas.TurnListed {
				continue
			}
			old := said[x.Alert]
			switch x.Turn {
			case schemas.TurnTold:
				old.thread, old.brief = m.ID, isBoard(&m)
			case schemas.TurnDetail:
				old.detailed = true
			default:
			}
			if x.Number > old.last.Number {
				old.last = x
			}
			said[x.Alert] = old
		}
	}
	return said
}

// turn is one thing to be said of an alert.
type turn struct {
	item   message.Item
	thread string
	saying schemas.Saying
	// text of an answer in the thread; news are put into words together.
	text string
}

// due returns what is to be said of an alert, nil when staff know.
func (s *Service) due(ctx context.Context, b *board, al schemas.Alert, said saidOf) (*turn, error) {
	t := turn{item: message.Item{Alert: al}, thread: said.thread}
	t.saying = schemas.Saying{Alert: al.ID, Number: said.last.Number + 1}
	open := al.State == schemas.AlertOpen || al.State == schemas.AlertSeen || al.State == schemas.AlertLapsed
	switch {
	case said.last.Number == 0:
		if !open || !al.Told {
			return nil, nil
		}
		t.saying.Turn = schemas.TurnTold
	case al.State == schemas.AlertWithdrawn:
		if said.last.Turn == schemas.TurnWithdrawn {
			return nil, nil
		}
		why, err := s.withdrawal(ctx, al)
		if err != nil {
			return nil, err
		}
		t.saying.Turn, t.text = schemas.TurnWithdrawn, message.Withdrawn(s.club, al, why, "")
		return &t, nil
	case said.last.Turn == schemas.TurnWithdrawn:
		t.saying.Turn = schemas.TurnAgain
	case al.State == schemas.AlertClosed:
		if said.last.Turn == schemas.TurnClosed || al.Urgency != schemas.LookNow {
			return nil, nil // it went as quietly as most do
		}
		t.saying.Turn, t.text = schemas.TurnClosed, message.BackInside(s.club, al)
		return &t, nil
	}
	if err := s.load(ctx, b, &t.item); err != nil {
		return nil, err
	}
	t.saying.Digest = gist(&t.item)
	if t.saying.Turn == "" {
		switch {
		case said.brief && !said.detailed:
			t.saying.Turn = schemas.TurnDetail
		case said.last.Digest == t.saying.Digest || said.last.Turn == schemas.TurnClosed:
			return nil, nil
		default:
			t.saying.Turn = schemas.TurnCorrected
		}
	}
	if err := s.loadAround(ctx, b, &t.item); err != nil {
		return nil, err
	}
	switch t.saying.Turn {
	case schemas.TurnAgain:
		t.text = holdsAgain + message.About(s.club, t.item)
	case schemas.TurnCorrected:
		t.text = message.Correction + message.About(s.club, t.item)
	default: // put into words together with others
	}
	return &t, nil
}

// load fills in what an alert is about, from the session's board where it has
// it.
func (s *Service) load(ctx context.Context, b *board, it *message.Item) error {
	id := it.Alert.TestID
	if id == "" {
		if b != nil {
			it.Conditions = b.Conditions
		}
		return nil
	}
	var err error
	if b != nil && b.tests[id] != nil && b.assessed[id] != nil {
		it.Outcome, it.Assessment = *b.tests[id], *b.assessed[id]
	} else {
		if it.Outcome, _, err = s.history.Test(ctx, id); err != nil {
			return err
		}
		if it.Assessment, _, err = s.history.Assessment(ctx, id); err != nil {
			return err
		}
	}
	return nil
}

// loadAround fills in what stands around the test of an alert that is to be
// told: notes, load and daily values. Most alerts that are gone through have been told
// before, and this is what takes longest to read.
func (s *Service) loadAround(ctx context.Context, b *board, it *message.Item) (err error) {
	if it.Alert.TestID == "" {
		return nil
	}
	var lately []schemas.Note
	if b != nil {
		lately = b.notes
	} else if lately, err = s.lately(ctx, it.Alert.About); err != nil {
		return err
	}
	if it.Notes, err = s.notes(ctx, lately, &it.Alert); err != nil {
		return err
	}
	it.Beside, err = s.beside(ctx, &it.Outcome)
	return err
}

// gist is what an alert says in short: the rule and the test's own numbers.
// What the numbers are held against may move a little with every late file of
// a team-mate; that alone is no correction worth a message.
func gist(it *message.Item) string {
	if it.Alert.TestID == "" {
		first, _, _ := strings.Cut(it.Alert.Text, "\n")
		return first
	}
	parts := []string{string(it.Alert.Rule), it.Outcome.HRexBPM.Text(0)}
	for _, r := range it.Outcome.Recovery {
		parts = append(parts, r.BPM.Text(0))
	}
	return strings.Join(parts, " ")
}

// withdrawal finds out why an alert no longer holds.
func (s *Service) withdrawal(ctx context.Context, al schemas.Alert) (message.Withdrawal, error) {
	if al.TestID == "" {
		return message.NoLongerFires, nil
	}
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
	switch al.Rule {
	case schemas.RuleTraceInvalid, schemas.RuleOutsideBand, schemas.RuleHRmaxExceeded:
		return message.NotSo, nil
	default:
	}
	a, found, err := s.history.Assessment(ctx, al.TestID)
	if err != nil {
		return "", err
	}
	if found && slices.ContainsFunc(a.Comparisons, func(c schemas.Comparison) bool { return c.Squad.Material }) {
		return message.SquadMoved, nil
	}
	return message.NoLongerFires, nil
}
