package chat

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"regexp"
	"strings"
	"time"

	"github.com/slack-go/slack"

	"canter.example/schemas"
)

const (
	// lookLeast is how many of a channel's latest messages are looked through
	// whatever the clocks say: a message is found by what it is, and when this
	// machine believes to have made it only says how much further to look.
	// lookMost bounds that.
	lookLeast = 1000
	lookMost  = 20_000
	// clockSkew is how far this machine's clock may be ahead of Slack's beyond
	// those.
	clockSkew = 10 * time.Minute
	// threadReach is how far back the first message of a thread is looked for
	// when nobody remembers its reference.
	threadReach = 90 * 24 * time.Hour
	pageSize    = 200
)

// alreadySent returns the ts of each page of m that the chat has, by the
// page's number from 1.
//
// When the app may not read the channel there is nothing to look at; the
// message is then sent, since a message twice is better than none.
func (s *slackChat) alreadySent(ctx context.Context, m schemas.Message, thread string, pages int) (map[int]string, error) {
	sent, err := s.look(ctx, m, thread, pages)
	if err := classify(err, m.Channel, s.cfg.Token); errors.Is(err, ErrRefused) {
		s.cfg.Log.WarnContext(ctx, "can't look for an earlier copy before posting again", "message", m.ID, "channel", m.Channel, "error", err)
		return map[int]string{}, nil
	}
	return sent, err
}

func (s *slackChat) look(ctx context.Context, m schemas.Message, thread string, pages int) (map[int]string, error) {
	sent := map[int]string{}
	note := func(msg *slack.Message) bool {
		if id, page := identity(msg); id == m.ID && sent[page] == "" {
			sent[page] = msg.Timestamp
		}
		if hasPicture(msg, m.ID) {
			for page := 1; page <= pages; page++ {
				sent[page] = msg.Timestamp
			}
		}
		return len(sent) == pages
	}
	if thread != "" {
		return sent, s.eachReply(ctx, m.Channel, thread, note)
	}
	// Answers are not part of a channel's history: further pages are looked
	// for under the first.
	oldest, seen := stamp(m.Created.Add(-clockSkew)), 0
	err := s.eachMessage(ctx, m.Channel, func(msg *slack.Message) bool {
		note(msg)
		seen++
		return sent[1] != "" || seen >= lookLeast && before(msg.Timestamp, oldest) || seen >= lookMost
	})
	if err != nil || pages == 1 || sent[1] == "" {
		return sent, err
	}
	return sent, s.eachReply(ctx, m.Channel, sent[1], note)
}

// before reports whether one message of a chat is older than another: their
// names are times, in seconds with a fraction of six digits.
func before(a, b string) bool {
	return cmp.Or(cmp.Compare(len(a), len(b)), cmp.Compare(a, b)) < 0
}

// identity returns the id and page of one of canter's messages, "" for others.
func identity(msg *slack.Message) (id string, page int) {
	if msg.Metadata.EventType != metadataType {
		return "", 0
	}
	id, _ = msg.Metadata.EventPayload["id"].(string)
	page = 1
	if n, ok := msg.Metadata.EventPayload["page"].(float64); ok {
		page = int(n)
	}
	return id, page
}

// threadOf returns the ts of the message that m answers, "" when it answers
// none or that message can't be found: then m stands by itself.
func (s *slackChat) threadOf(ctx context.Context, m schemas.Message) (string, error) {
	if m.Thread == "" {
		return "", nil
	}
	if ref := s.recall(m.Thread); ref != "" {
		return ref, nil
	}
	if s.cfg.Reference != nil {
		ref, err := s.cfg.Reference(ctx, m.Thread)
		if err != nil {
			return "", &TemporaryError{Reason: "can't read what message " + m.Thread + " is called in chat: " + hide(err.Error(), s.cfg.Token), err: err}
		}
		return ref, nil
	}
	parent := schemas.Message{ID: m.Thread, Channel: m.Channel, Created: m.Created.Add(-threadReach)}
	sent, err := s.alreadySent(ctx, parent, "", 1)
	if err == nil && sent[1] != "" {
		s.remember(m.Thread, sent[1])
	}
	return sent[1], err
}

// eachMessage calls f for a channel's messages, newest first, until f returns
// true. Answers in threads are not among them.
func (s *slackChat) eachMessage(ctx context.Context, channel string, f func(*slack.Message) bool) error {
	id, err := s.resolve(ctx, channel)
	if err != nil {
		return err
	}
	p := slack.GetConversationHistoryParameters{
		ChannelID: id, Limit: pageSize, IncludeAllMetadata: true,
	}
	for {
		var r *slack.GetConversationHistoryResponse
		err := s.gates.through(ctx, "read", 0, func() (err error) {
			r, err = s.api.GetConversationHistoryContext(ctx, &p)
			return err
		})
		if err != nil {
			return err
		}
		for i := range r.Messages {
			if f(&r.Messages[i]) {
				return nil
			}
		}
		if p.Cursor = r.ResponseMetaData.NextCursor; !r.HasMore || p.Cursor == "" {
			return nil
		}
	}
}

// eachReply calls f for the answers in a thread, until f returns true.
func (s *slackChat) eachReply(ctx context.Context, channel, thread string, f func(*slack.Message) bool) error {
	id, err := s.resolve(ctx, channel)
	if err != nil {
		return err
	}
	p := slack.GetConversationRepliesParameters{
		ChannelID: id, Timestamp: thread, Limit: pageSize, IncludeAllMetadata: true,
	}
	for {
		var msgs []slack.Message
		var more bool
		err := s.gates.through(ctx, "read", 0, func() (err error) {
			msgs, more, p.Cursor, err = s.api.GetConversationRepliesContext(ctx, &p)
			return err
		})
		if err != nil {
			return err
		}
		for i := range msgs {
			if f(&msgs[i]) {
				return nil
			}
		}
		if !more || p.Cursor == "" {
			return nil
		}
	}
}

// stamp writes an instant the way Slack names messages.
func stamp(t time.Time) string {
	return fmt.Sprintf("%d.%06d", t.Unix(), t.Nanosecond()/1000)
}

// userID is what people are called: a message to one of them goes to the
// conversation that the app has with them.
var userID = regexp.MustCompile(`^[UW][A-Z0-9]{8,}$`)

func (s *slackChat) direct(ctx context.Context, user string) (string, error) {
	var ch *slack.Channel
	err := s.gates.through(ctx, "read", 0, func() (err error) {
		ch, _, _, err = s.api.OpenConversationContext(ctx, &slack.OpenConversationParameters{Users: []string{user}})
		return err
	})
	if err != nil {
		return "", err
	}
	s.learn(user, ch.ID)
	return ch.ID, nil
}

var channelID = regexp.MustCompile(`^[CGD][A-Z0-9]{8,}$`)

// resolve returns the id of a channel given by id or by name, with or without
// its #. Posting takes names; everything else wants ids.
func (s *slackChat) resolve(ctx context.Context, name string) (string, error) {
	if channelID.MatchString(name) {
		return name, nil
	}
	if id := s.channel(name); id != name {
		return id, nil
	}
	if userID.MatchString(name) {
		return s.direct(ctx, name)
	}
	bare := strings.TrimPrefix(name, "#")
	p := slack.GetConversationsParameters{
		Types: []string{"public_channel", "private_channel"}, Limit: pageSize,
	}
	for {
		var chs []slack.Channel
		err := s.gates.through(ctx, "read", 0, func() (err error) {
			chs, p.Cursor, err = s.api.GetConversationsContext(ctx, &p)
			return err
		})
		if err != nil {
			return "", err
		}
		for i := range chs {
			if chs[i].Name == bare {
				s.learn(name, chs[i].ID)
				return chs[i].ID, nil
			}
		}
		if p.Cursor == "" {
			return "", slack.SlackErrorResponse{Err: "channel_not_found"}
		}
	}
}
