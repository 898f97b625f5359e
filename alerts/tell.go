package alerts

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"canter.example/alerts/assess"
	"canter.example/alerts/message"
	"canter.example/schemas"
	"canter.example/schemas/history"
)

// holdsAgain opens the answer to an alert that was withdrawn and holds after all.
const holdsAgain = "This holds after all, in place of the withdrawal above:\n"

// tell puts into the outbox what staff have not heard of a session's alerts.
//
// The outbox itself is the record of what was said: each message names the
// alerts it speaks of and how. Messages are made one session at a time among
// all processes, so nothing is said twice; one message is one row, so a crash
// leaves it said or not; and whoever comes after a crash queues what was said
// and never sent.
func (s *Service) tell(ctx context.Context, session string) error {
	alerts, err := s.history.Alerts(ctx, history.AlertFilter{Session: session})
	if err != nil {
		return err
	}
	messages, err := s.history.SessionMessages(ctx, session)
	if err != nil {
		return err
	}
	said := whatWasSaid(messages)
	var due []turn
	for _, al := range alerts {
		if al.Rule == schemas.RuleTestMissing {
			continue
		}
		d, err := s.due(ctx, al, said[al.ID])
		if err != nil {
			return err
		}
		if d != nil {
			due = append(due, *d)
		}
	}
	made, err := s.compose(ctx, session, due)
	if err != nil {
		return err
	}
	for _, m := range made {
		if err := s.history.SaveMessage(ctx, m); err != nil {
			return err
		}
		s.log.Info("message", "message", m.ID, "session", session, "alerts", len(m.Says), "thread", m.Thread)
	}
	for _, m := range append(messages, made...) {
		if m.State == schemas.MessagePending {
			if err := s.enqueue(ctx, m.ID); err != nil {
				return err
			}
		}
	}
	return nil
}

// saidOf is what staff have heard of one alert.
type saidOf struct {
	last schemas.Saying
	// thread is the message that told it.
	thread string
}

func whatWasSaid(messages []schemas.Message) map[string]saidOf {
	said := map[string]saidOf{}
	for _, m := range messages {
		for _, x := range m.Says {
			old := said[x.Alert]
			if x.Turn == schemas.TurnTold {
				old.thread = m.ID
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
func (s *Service) due(ctx context.Context, al schemas.Alert, said saidOf) (*turn, error) {
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
	if err := s.load(ctx, &t.item); err != nil {
		return nil, err
	}
	t.saying.Digest = digest(&t.item)
	switch t.saying.Turn {
	case schemas.TurnTold:
	case schemas.TurnAgain:
		t.text = holdsAgain + message.About(s.club, t.item)
	default:
		if said.last.Digest == t.saying.Digest || said.last.Turn == schemas.TurnClosed {
			return nil, nil
		}
		t.saying.Turn, t.text = schemas.TurnCorrected, message.Correction+message.About(s.club, t.item)
	}
	return &t, nil
}

// load reads what an alert is about.
func (s *Service) load(ctx context.Context, it *message.Item) error {
	if it.Alert.TestID == "" {
		return nil
	}
	var err error
	if it.Outcome, _, err = s.history.Test(ctx, it.Alert.TestID); err != nil {
		return err
	}
	if it.Assessment, _, err = s.history.Assessment(ctx, it.Alert.TestID); err != nil {
		return err
	}
	if it.Notes, err = s.notes(ctx, &it.Alert); err != nil {
		return err
	}
	it.Beside, err = s.beside(ctx, &it.Outcome)
	return err
}

// digest is what an alert says in short: the rule and the test's own numbers.
// What the numbers are held against may move a little with every late file of
// a team-mate; that alone is no correction worth a message.
func digest(it *message.Item) string {
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

// compose makes messages of what is due: one for what the session shares, one
// for the news of individuals, and one answer a thread, each by channel.
func (s *Service) compose(ctx context.Context, session string, due []turn) ([]schemas.Message, error) {
	if len(due) == 0 {
		return nil, ctx.Err()
	}
	type key struct{ channel, thread, kind string }
	groups := map[key][]turn{}
	for _, t := range due {
		k := key{channel: s.channel(&t.item.Alert), thread: t.thread}
		if t.saying.Turn == schemas.TurnTold {
			if k.thread, k.kind = "", "individuals"; t.item.Alert.TestID == "" {
				k.kind = "all"
			}
		}
		groups[k] = append(groups[k], t)
	}
	keys := make([]key, 0, len(groups))
	for k := range groups {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b key) int { // "all" before "individuals"
		return cmp.Or(cmp.Compare(a.kind, b.kind), cmp.Compare(a.channel, b.channel), cmp.Compare(a.thread, b.thread))
	})
	var made []schemas.Message
	for i, k := range keys {
		m := s.sayTogether(session, k.channel, k.thread, groups[k])
		m.Created = m.Created.Add(time.Duration(i) * time.Millisecond) // in this order
		made = append(made, m)
	}
	return made, nil
}

// sayTogether makes one message of several turns.
func (s *Service) sayTogether(session, channel, thread string, turns []turn) schemas.Message {
	slices.SortFunc(turns, func(a, b turn) int {
		return cmp.Or(cmp.Compare(rank(b.item.Alert.Urgency), rank(a.item.Alert.Urgency)),
			cmp.Compare(a.item.Alert.Athlete, b.item.Alert.Athlete), cmp.Compare(a.item.Alert.ID, b.item.Alert.ID))
	})
	first := turns[0].item.Alert
	m := s.newMessage(first, first.ID, thread, "")
	m.Channel, m.Session = channel, session
	var texts []string
	var items []message.Item
	name := []string{"say"}
	for _, t := range turns {
		m.Says = append(m.Says, t.saying)
		items = append(items, t.item)
		texts = append(texts, t.text)
		name = append(name, fmt.Sprintf("%s %d %s", t.saying.Alert, t.saying.Number, t.saying.Turn))
	}
	switch {
	case turns[0].saying.Turn != schemas.TurnTold:
		m.Text = strings.Join(texts, "\n\n")
	case first.TestID == "":
		m.Text = first.Text
	default:
		m.Text = message.Together(s.club, items)
	}
	// What is said of an alert alone for the first time bears the alert's own
	// name; what is said of several, or later, the name of all that is said.
	if len(turns) > 1 || turns[0].saying.Number > 1 {
		m.ID = schemas.NewAlertID(name...)
	}
	return m
}

func rank(u schemas.Urgency) int {
	switch u {
	case schemas.LookNow:
		return 2
	case schemas.Look:
		return 1
	case schemas.Routine:
	}
	return 0
}

// channel returns where an alert is told.
func (s *Service) channel(al *schemas.Alert) string {
	if r, ok := s.club.Thresholds.Rules.Of(al.Rule); ok && r.Channel() != "" {
		return r.Channel()
	}
	return s.club.ChannelOf(al.Squad)
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
	a, found, err := s.history.Assessment(ctx, al.TestID)
	if err != nil {
		return "", err
	}
	if found && slices.ContainsFunc(a.Comparisons, func(c schemas.Comparison) bool { return c.Squad.Material }) {
		return message.SquadMoved, nil
	}
	return message.NoLongerFires, nil
}
