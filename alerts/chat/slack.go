package chat

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"time"

	"github.com/slack-go/slack"

	"canter.example/schemas"
)

// metadataType marks canter's messages; the payload's id is the message's ID,
// its page the place of a long message's part, from 1.
const metadataType = "canter_message"

// SlackConfig says how Slack is reached. Only Token is required.
type SlackConfig struct {
	// Token of the app's bot. Scopes: chat:write to post; channels:read,
	// channels:history (groups:… for private channels) to look before posting
	// a second time; files:write for pictures; im:write and im:history for
	// messages to one person.
	Token string
	// APIURL overrides the Web API's address, for a proxy or a test server.
	APIURL string
	// HTTP makes the calls; nil for one with a 15-s timeout. Redirects are not
	// followed in any case: a redirected form would carry the token along.
	HTTP *http.Client
	// Log gets warnings, nil for none.
	Log *slog.Logger
	// Now tells the time, nil for the system's clock.
	Now func() time.Time
	// Pace is the time between two posts in a channel; 0 is 1 s, the Web
	// API's own limit.
	Pace time.Duration
	// MaxWait is how long Post waits by itself when told to; 0 is 30 s.
	MaxWait time.Duration
	// Reference returns the chat's reference of a message of the outbox, ""
	// when it has none. Post needs it to answer in a thread whose first
	// message an earlier process sent; nil means it looks in the channel.
	Reference func(ctx context.Context, messageID string) (string, error)
}

// slackChat posts through the Web API.
type slackChat struct {
	cfg   SlackConfig
	api   *slack.Client
	gates gates

	mu sync.Mutex
	// ids of channels by the names they were asked for, refs of messages sent.
	ids  map[string]string
	refs map[string]string
}

// NewSlack returns a chat that posts to Slack. It may be used by several
// goroutines; posts to one channel are kept in order of their calls.
func NewSlack(cfg SlackConfig) Poster {
	if cfg.Now == nil {
		cfg.Now = time.Now //nolint:forbidigo // The clock of a client of a live service, not of a rule.
	}
	if cfg.Log == nil {
		cfg.Log = slog.New(slog.DiscardHandler)
	}
	if cfg.Pace <= 0 {
		cfg.Pace = time.Second
	}
	if cfg.MaxWait <= 0 {
		cfg.MaxWait = 30 * time.Second
	}
	client := http.Client{Timeout: 15 * time.Second}
	if cfg.HTTP != nil {
		client = *cfg.HTTP
	}
	client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	opts := []slack.Option{slack.OptionHTTPClient(&client)}
	if cfg.APIURL != "" {
		opts = append(opts, slack.OptionAPIURL(strings.TrimRight(cfg.APIURL, "/")+"/"))
	}
	return &slackChat{
		cfg: cfg, api: slack.New(cfg.Token, opts...),
		gates: gates{now: cfg.Now, maxWait: cfg.MaxWait, each: make(map[string]*gate)},
		ids:   make(map[string]string), refs: make(map[string]string),
	}
}

// Post sends a message, in pages when it is long: the first in the channel or
// thread it is meant for, the others as answers to it. The reference is the
// first page's ts. One with pictures is a file that is shared with the text
// beside it; see pictures.go.
func (s *slackChat) Post(ctx context.Context, p Post) (string, error) {
	m := p.Message
	pages := paginate(p.parts()...)
	if len(pages) == 0 {
		return "", &RefusedError{Code: "no_text", Reason: remedies["no_text"]}
	}
	if ref := s.recall(m.ID); ref != "" {
		return ref, nil
	}
	thread, err := s.threadOf(ctx, m)
	if err != nil {
		return "", classify(err, m.Channel, s.cfg.Token)
	}
	ref, err := s.postOrShare(ctx, p, pages, thread)
	var answer slack.SlackErrorResponse
	if thread != "" && errors.As(err, &answer) && answer.Err == "thread_not_found" {
		// Somebody deleted what this answers: better said by itself than not.
		ref, err = s.postOrShare(ctx, p, pages, "")
	}
	if err != nil {
		return "", classify(err, m.Channel, s.cfg.Token)
	}
	s.remember(m.ID, ref)
	return ref, nil
}

// parts is the text in parts, one when nobody cut it.
func (p *Post) parts() []Part {
	if len(p.Parts) > 0 {
		return p.Parts
	}
	return []Part{{Text: p.Text}}
}

// postOrShare sends a message with its pictures where it can, without them
// where it can't.
func (s *slackChat) postOrShare(ctx context.Context, p Post, pages []page, thread string) (string, error) {
	sent := map[int]string{}
	if p.Attempts > 0 {
		var err error
		if sent, err = s.alreadySent(ctx, p.Message, thread, len(pages)); err != nil {
			return "", err
		}
	}
	if len(p.Pictures) > 0 && len(sent) == 0 && p.Attempts < picturesTried && len(pages) == 1 && length(pages[0].fallback) <= maxComment {
		ref, err := s.share(ctx, &p, pages[0].fallback, thread)
		if !errors.Is(err, errNoPicture) {
			return ref, err
		}
		s.cfg.Log.WarnContext(ctx, "a picture can't be shown; its message goes without", "message", p.ID, "channel", p.Channel, "error", err)
	}
	return s.post(ctx, p.Message, pages, thread, sent)
}

// post sends the pages that are not among those sent, in a thread or ("") in
// the channel, and returns the first one's ts.
func (s *slackChat) post(ctx context.Context, m schemas.Message, pages []page, thread string, sent map[int]string) (string, error) {
	first := sent[1]
	for i, p := range pages {
		n := i + 1
		if sent[n] != "" {
			continue
		}
		under := thread
		if n > 1 && thread == "" {
			under = first
		}
		ts, err := s.send(ctx, m, p, n, len(pages), under)
		if err != nil {
			return "", err
		}
		if n == 1 {
			first = ts
		}
	}
	return first, nil
}

// content is a page as the Web API takes it.
func content(m schemas.Message, p page, n, of int) []slack.MsgOption {
	payload := map[string]any{"id": m.ID}
	if of > 1 {
		payload["page"], payload["pages"] = n, of
	}
	return []slack.MsgOption{
		slack.MsgOptionText(p.fallback, false),
		slack.MsgOptionBlocks(blocks(p.sections)...),
		slack.MsgOptionMetadata(slack.SlackMetadata{EventType: metadataType, EventPayload: payload}),
		slack.MsgOptionDisableLinkUnfurl(),
		slack.MsgOptionDisableMediaUnfurl(),
	}
}

// send posts one page and returns its ts.
func (s *slackChat) send(ctx context.Context, m schemas.Message, p page, n, of int, thread string) (string, error) {
	opts := content(m, p, n, of)
	if thread != "" {
		opts = append(opts, slack.MsgOptionTS(thread))
	}
	if userID.MatchString(m.Channel) {
		if _, err := s.resolve(ctx, m.Channel); err != nil {
			return "", err
		}
	}
	var id, ts string
	err := s.gates.through(ctx, "post "+m.Channel, s.cfg.Pace, func() (err error) {
		id, ts, err = s.api.PostMessageContext(ctx, s.channel(m.Channel), opts...)
		return err
	})
	if err != nil {
		return "", err
	}
	s.learn(m.Channel, id)
	return ts, nil
}

// Edit implements [Editor]. Of a message of several pages it changes the first.
func (s *slackChat) Edit(ctx context.Context, ref string, p Post) error {
	pages := paginate(p.parts()...)
	if len(pages) == 0 {
		return &RefusedError{Code: "no_text", Reason: remedies["no_text"]}
	}
	id, err := s.resolve(ctx, p.Channel)
	if err != nil {
		return classify(err, p.Channel, s.cfg.Token)
	}
	err = s.gates.through(ctx, "edit "+p.Channel, s.cfg.Pace, func() error {
		_, _, _, err := s.api.UpdateMessageContext(ctx, id, ref, content(p.Message, pages[0], 1, len(pages))...)
		return err
	})
	return classify(err, p.Channel, s.cfg.Token)
}

// Pause implements [Pacer].
func (s *slackChat) Pause(channel string, change bool) time.Duration {
	if change {
		return s.gates.pause("edit " + channel)
	}
	return s.gates.pause("post " + channel)
}

// ShowsPictures implements [Illustrator].
func (s *slackChat) ShowsPictures() bool { return true }

// channel returns the id of a channel where it is known, else its name.
func (s *slackChat) channel(name string) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	if id := s.ids[name]; id != "" {
		return id
	}
	return name
}

func (s *slackChat) learn(name, id string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if id != "" {
		s.ids[name] = id
	}
}

// recall returns the reference of a message that this process sent, "" when it
// did not or has forgotten.
func (s *slackChat) recall(id string) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.refs[id]
}

// remember keeps the reference of a message that may be answered later. The
// map starts anew when it is full: what it forgets can be asked for again.
func (s *slackChat) remember(id, ref string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.refs) >= remembered {
		clear(s.refs)
	}
	s.refs[id] = ref
}

// Check asks who the token is, then about each channel.
func (s *slackChat) Check(ctx context.Context, channels []string) error {
	if s.cfg.Token == "" {
		return &RefusedError{Code: "not_authed", Reason: remedies["not_authed"]}
	}
	var who *slack.AuthTestResponse
	err := s.gates.through(ctx, "read", 0, func() (err error) {
		who, err = s.api.AuthTestContext(ctx)
		return err
	})
	if err != nil {
		return classify(err, "", s.cfg.Token)
	}
	var errs []error
	if scopes := who.Header.Get("X-OAuth-Scopes"); scopes != "" && !hasScope(scopes, "chat:write") {
		errs = append(errs, &RefusedError{Code: "missing_scope", Reason: remedies["missing_scope"] + "; needed: chat:write"})
	}
	for _, name := range channels {
		if err := s.checkChannel(ctx, name); err != nil {
			errs = append(errs, fmt.Errorf("channel %q: %w", name, classify(err, name, s.cfg.Token)))
		}
	}
	return errors.Join(errs...)
}

func hasScope(list, scope string) bool {
	for s := range strings.SplitSeq(list, ",") {
		if strings.TrimSpace(s) == scope {
			return true
		}
	}
	return false
}

// checkChannel fails when the app can't post to the channel or not read back
// what it posted.
func (s *slackChat) checkChannel(ctx context.Context, name string) error {
	id, err := s.resolve(ctx, name)
	if err != nil {
		return err
	}
	var ch *slack.Channel
	err = s.gates.through(ctx, "read", 0, func() (err error) {
		ch, err = s.api.GetConversationInfoContext(ctx, &slack.GetConversationInfoInput{ChannelID: id})
		return err
	})
	switch {
	case err != nil:
		return err
	case ch.IsArchived:
		return slack.SlackErrorResponse{Err: "is_archived"}
	case !ch.IsMember:
		return slack.SlackErrorResponse{Err: "not_in_channel"}
	}
	return s.gates.through(ctx, "read", 0, func() error {
		_, err := s.api.GetConversationHistoryContext(ctx, &slack.GetConversationHistoryParameters{ChannelID: id, Limit: 1})
		return err
	})
}
