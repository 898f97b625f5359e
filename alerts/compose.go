package alerts

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"canter.example/alerts/chat"
	"canter.example/alerts/message"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

// telling is one session being told.
type telling struct {
	*Service
	session string
	said    map[string]saidOf
	// board is the session as it stands, nil when it holds no test.
	board *board
	made  []schemas.Message
}

// boardID is the id of a session's message.
func boardID(session, channel string) string {
	return schemas.NewAlertID("session", session, channel)
}

// isBoard reports whether a message is a session's, or of what came later to
// it: its first saying is about itself.
func isBoard(m *schemas.Message) bool {
	return len(m.Says) > 0 && m.Says[0].Alert == m.ID && m.Says[0].Turn == schemas.TurnTold
}

// isChange reports whether a message changes one that was sent.
func isChange(m *schemas.Message) bool {
	return len(m.Says) > 0 && m.Says[0].Turn == schemas.TurnChanged
}

func (t *telling) add(m schemas.Message) {
	m.Created = m.Created.Add(time.Duration(len(t.made)) * time.Millisecond) // in this order
	t.made = append(t.made, m)
}

// compose makes messages of what is due: one of the session with a line for
// each who stands out, answers to it with their numbers, and one answer a
// thread for what has changed. What a rule tells elsewhere is told there in
// full.
func (t *telling) compose(due []turn) {
	type key struct{ channel, thread string }
	var news, details []turn
	groups := map[key][]turn{}
	for _, d := range due {
		channel := t.channel(&d.item.Alert)
		switch {
		case d.saying.Turn == schemas.TurnDetail:
			details = append(details, d)
		case d.saying.Turn == schemas.TurnTold && t.board != nil && channel == t.club.ChannelOf(t.board.Squad):
			news = append(news, d)
		case d.saying.Turn == schemas.TurnTold:
			groups[key{channel: channel}] = append(groups[key{channel: channel}], d)
		default:
			groups[key{channel, d.thread}] = append(groups[key{channel, d.thread}], d)
		}
	}
	details = append(details, t.tellBoard(news)...)
	t.detail(details)
	keys := make([]key, 0, len(groups))
	for k := range groups {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b key) int {
		return cmp.Or(cmp.Compare(a.thread, b.thread), cmp.Compare(a.channel, b.channel))
	})
	for _, k := range keys {
		t.add(t.sayTogether(t.session, k.channel, k.thread, groups[k]))
	}
}

// tellBoard makes the session's message, or a short one of what came later, and
// returns what is to follow in detail.
func (t *telling) tellBoard(news []turn) (details []turn) {
	if t.board == nil {
		return nil
	}
	channel := t.club.ChannelOf(t.board.Squad)
	id := boardID(t.session, channel)
	_, known := t.said[id]
	quiet := t.club.Chat.Sessions != club.TellAll || !t.worthTelling(t.board.When)
	if len(news) == 0 && (known || quiet) {
		return nil
	}
	byUrgency(news)
	m := schemas.Message{Channel: channel, Session: t.session, State: schemas.MessagePending, Created: t.now().UTC()}
	name := []string{"more", t.session, channel}
	ids := make([]string, 0, len(news))
	for _, n := range news {
		name = append(name, fmt.Sprintf("%s %d", n.saying.Alert, n.saying.Number))
		ids = append(ids, n.saying.Alert)
	}
	if m.ID = id; known {
		m.ID = schemas.NewAlertID(name...)
	}
	sum := t.board.summary(ids, known)
	m.Text = message.Summarise(t.club, sum)
	m.Says = append(m.Says, schemas.Saying{Alert: m.ID, Number: 1, Turn: schemas.TurnTold, Digest: schemas.NewAlertID(m.Text)})
	for _, n := range news {
		m.Says = append(m.Says, n.saying)
	}
	m.Says = append(m.Says, listed(nil, sum)...)
	t.add(m)
	for _, n := range news {
		n.thread = m.ID
		n.saying.Number++
		n.saying.Turn = schemas.TurnDetail
		details = append(details, n)
	}
	return details
}

// listed names what has a number in a session's message beyond its sayings:
// the alerts given, then the doubtful traces.
func listed(alerts []string, sum *message.Summary) []schemas.Saying {
	var out []schemas.Saying
	for _, id := range alerts {
		out = append(out, schemas.Saying{Alert: id, Turn: schemas.TurnListed})
	}
	if sum.Later {
		return out
	}
	for i := range sum.Numbered() - len(sum.Looks) {
		out = append(out, schemas.Saying{Alert: string(sum.Doubtful[i].Test), Turn: schemas.TurnListed})
	}
	return out
}

// detail answers a session's message with the numbers of those who stand out:
// the most urgent one by one, as each comes with pictures, the others together.
func (t *telling) detail(turns []turn) {
	byUrgency(turns)
	together := map[string][]turn{}
	one := t.club.Chat.Pictures
	for _, d := range turns {
		switch {
		case d.item.Alert.TestID == "":
			d.text = message.About(t.club, d.item)
		case one > 0:
			one--
			d.text = message.About(t.club, d.item)
		default:
			together[d.thread] = append(together[d.thread], d)
			continue
		}
		if !t.club.Chat.Buttons() {
			d.text += "\n" + message.Commands(&d.item.Alert)
		}
		t.add(t.sayTogether(t.session, t.club.ChannelOf(t.board.Squad), d.thread, []turn{d}))
	}
	threads := make([]string, 0, len(together))
	for thread := range together {
		threads = append(threads, thread)
	}
	slices.Sort(threads)
	for _, thread := range threads {
		var items []message.Item
		for _, d := range together[thread] {
			items = append(items, d.item)
		}
		together[thread][0].text = message.Together(t.club, items)
		t.add(t.sayTogether(t.session, t.club.ChannelOf(t.board.Squad), thread, together[thread]))
	}
}

// change makes session messages that were sent read as the session stands now,
// in a chat that allows it.
func (t *telling) change(messages []schemas.Message) error {
	if _, can := t.cfg.Chat.(chat.Editor); !can || t.board == nil {
		return nil
	}
	for i := range messages {
		m := &messages[i]
		if !isBoard(m) || m.State == schemas.MessageFailed || t.now().Sub(m.Created) > changedWithin {
			continue
		}
		var ids []string
		for _, x := range m.Says[1:] {
			if _, there := t.board.looks[x.Alert]; there && x.Turn == schemas.TurnTold {
				ids = append(ids, x.Alert)
			}
		}
		sum := t.board.summary(ids, m.ID != boardID(t.session, m.Channel))
		text := message.Summarise(t.club, sum)
		now, last := schemas.NewAlertID(text), t.said[m.ID].last
		if last.Digest == now {
			continue
		}
		saying := schemas.Saying{Alert: m.ID, Number: last.Number + 1, Turn: schemas.TurnChanged, Digest: now}
		t.add(schemas.Message{
			ID: schemas.NewAlertID("change", m.ID, fmt.Sprint(saying.Number)), Channel: m.Channel, Thread: m.ID, Session: t.session,
			Text: text, State: schemas.MessagePending, Created: t.now().UTC(), Says: append([]schemas.Saying{saying}, listed(ids, sum)...),
		})
	}
	return nil
}

// changedWithin is how long a session's message is kept up to date.
const changedWithin = 14 * 24 * time.Hour

// byUrgency puts what all share first, then the most urgent.
func byUrgency(turns []turn) {
	slices.SortStableFunc(turns, func(a, b turn) int {
		return cmp.Or(-cmp.Compare(shared(a), shared(b)), cmp.Compare(rank(b.item.Alert.Urgency), rank(a.item.Alert.Urgency)),
			cmp.Compare(a.item.Alert.Athlete, b.item.Alert.Athlete), cmp.Compare(a.item.Alert.ID, b.item.Alert.ID))
	})
}

// sayTogether makes one message of several turns.
func (s *Service) sayTogether(session, channel, thread string, turns []turn) schemas.Message {
	byUrgency(turns)
	first := turns[0].item.Alert
	m := s.newMessage(first, first.ID, thread, "")
	m.Channel, m.Session = channel, session
	var texts []string
	var items []message.Item
	name := []string{"say"}
	for _, t := range turns {
		m.Says = append(m.Says, t.saying)
		items = append(items, t.item)
		if t.text != "" {
			texts = append(texts, t.text)
		}
		name = append(name, fmt.Sprintf("%s %d %s", t.saying.Alert, t.saying.Number, t.saying.Turn))
	}
	switch {
	case turns[0].saying.Turn != schemas.TurnTold:
		m.Text = strings.Join(texts, "\n\n")
	case first.TestID == "":
		m.Text = message.About(s.club, turns[0].item)
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

func shared(t turn) int {
	if t.item.Alert.TestID == "" {
		return 1
	}
	return 0
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
