package chat

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"log"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"time"

	"github.com/slack-go/slack"
	"github.com/slack-go/slack/socketmode"

	"canter.example/schemas"
)

// Desk is where staff's word goes: the same as that of the commands and the
// page. Its errors are sentences for the person who said it.
type Desk interface {
	// Note writes a note to an alert, or that it was seen.
	Note(ctx context.Context, w Word, alert string, seen bool) error
	// Correct changes a test.
	Correct(ctx context.Context, w Word, test schemas.TestID, action schemas.CorrectionAction) error
}

// Word is what somebody said.
type Word struct {
	Who, Text string
	// Key is that of the press of a button or of the sent form: the same word
	// delivered twice has the same key, and is to be taken once.
	Key string
}

// ListenConfig says how presses of buttons are heard.
type ListenConfig struct {
	// Token is that of the bot, AppToken the app-level one (scope
	// connections:write).
	Token, AppToken string
	APIURL          string
	HTTP            *http.Client
	Log             *slog.Logger
	// Name returns who a user of the chat is to the audit, "" for whoever may
	// not press buttons.
	Name func(user string) string
	Desk Desk
}

const (
	// storedWithin is how long a word may take to be stored: the chat gives an
	// app three seconds to answer, and shows the person a failure after that.
	storedWithin = 2500 * time.Millisecond
	// maxCallback bounds what the chat may send at once.
	maxCallback = 1 << 20
	// handled at the same time.
	maxHandled = 8
)

// Listen hears presses of buttons until ctx ends. It connects out, so no port
// is open to anybody; any number of processes may listen, and each press goes
// to one of them. The error, when ctx has not ended, says what has to change.
func Listen(ctx context.Context, cfg ListenConfig) error {
	l := newListener(cfg)
	client := socketmode.New(l.api, socketmode.OptionReadLimit(maxCallback), socketmode.OptionLog(log.New(quietWriter{}, "", 0)))
	done := make(chan error, 1)
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	go func() { done <- client.RunContext(ctx) }()
	places := make(chan struct{}, maxHandled)
	var inHand sync.WaitGroup
	defer func() { cancel(); inHand.Wait() }()
	for {
		select {
		case err := <-done:
			if ctx.Err() != nil {
				return nil
			}
			return classify(err, "", cfg.AppToken)
		case e := <-client.Events:
			if e.Type != socketmode.EventTypeInteractive || e.Request == nil {
				continue
			}
			raw, id := e.Request.Payload, e.Request.EnvelopeID
			places <- struct{}{}
			inHand.Go(func() {
				defer func() { <-places }()
				answer, ok := l.handle(ctx, raw)
				if !ok {
					return // not acknowledged: the chat shows the person that it failed
				}
				if err := client.AckCtx(ctx, id, answer); err != nil && ctx.Err() == nil {
					l.cfg.Log.Warn("chat: a pressed button could not be acknowledged", "err", err)
				}
			})
		}
	}
}

type quietWriter struct{}

func (quietWriter) Write(b []byte) (int, error) { return len(b), nil }

type listener struct {
	cfg ListenConfig
	api *slack.Client
}

func newListener(cfg ListenConfig) *listener {
	if cfg.Log == nil {
		cfg.Log = slog.New(slog.DiscardHandler)
	}
	client := http.Client{Timeout: 15 * time.Second}
	if cfg.HTTP != nil {
		client = *cfg.HTTP
	}
	client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	opts := []slack.Option{slack.OptionAppLevelToken(cfg.AppToken), slack.OptionHTTPClient(&client)}
	if cfg.APIURL != "" {
		opts = append(opts, slack.OptionAPIURL(strings.TrimRight(cfg.APIURL, "/")+"/"))
	}
	return &listener{cfg: cfg, api: slack.New(cfg.Token, opts...)}
}

// handle does what an interaction asks for and returns what to acknowledge it
// with; ok is false when it could not be stored. Whatever comes in, it does not
// panic: the library parses what somebody else wrote.
func (l *listener) handle(ctx context.Context, raw []byte) (answer any, ok bool) {
	defer func() {
		if p := recover(); p != nil {
			l.cfg.Log.Error("chat: an interaction could not be handled", "panic", p)
			answer, ok = nil, false
		}
	}()
	ctx, cancel := context.WithTimeout(ctx, storedWithin)
	defer cancel()
	var c slack.InteractionCallback
	if len(raw) > maxCallback || json.Unmarshal(raw, &c) != nil {
		l.cfg.Log.Warn("chat: an interaction that can't be read", "bytes", len(raw))
		return nil, true
	}
	switch c.Type {
	case slack.InteractionTypeBlockActions:
		return nil, l.pressed(ctx, &c)
	case slack.InteractionTypeViewSubmission:
		return l.sent(ctx, &c)
	default:
		return nil, true
	}
}

// pressed does what a button asks for: at once, or after a form.
func (l *listener) pressed(ctx context.Context, c *slack.InteractionCallback) bool {
	for _, a := range c.ActionCallback.BlockActions {
		if a == nil || !strings.HasPrefix(a.ActionID, actionPrefix) {
			continue
		}
		action := Action(strings.TrimPrefix(a.ActionID, actionPrefix))
		alert, test, fine := parseValue(a.Value)
		if labels[action] == "" || !fine {
			l.cfg.Log.Warn("chat: a button that canter did not make", "user", c.User.ID)
			continue
		}
		who := l.cfg.Name(c.User.ID)
		if who == "" {
			l.whisper(ctx, c, "You may read this, but not answer for the staff. Whoever keeps canter's club file can add you under chat, staff: user "+c.User.ID+".")
			continue
		}
		if action == ActSeen {
			w := Word{Who: who, Key: key(c.User.ID, a.ActionID, a.Value, a.ActionTs)}
			if err := l.cfg.Desk.Note(ctx, w, alert, true); err != nil {
				l.whisper(ctx, c, "Not kept: "+err.Error())
				return false
			}
			continue
		}
		if err := l.ask(ctx, c, action, alert, test); err != nil {
			l.cfg.Log.Warn("chat: a form could not be opened", "err", hide(err.Error(), l.cfg.Token))
			l.whisper(ctx, c, "The form could not be opened; please press again.")
			return false
		}
	}
	return true
}

// key names a press or a form for good.
func key(parts ...string) string {
	sum := sha256.Sum256([]byte(strings.Join(parts, "\x00")))
	return hex.EncodeToString(sum[:8])
}

// whisper answers the person alone. Trouble with it is not worth more trouble.
func (l *listener) whisper(ctx context.Context, c *slack.InteractionCallback, text string) {
	channel := c.Channel.ID
	if channel == "" {
		channel = c.Container.ChannelID
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), storedWithin)
	defer cancel()
	if _, err := l.api.PostEphemeralContext(ctx, channel, c.User.ID, slack.MsgOptionText(escape(printable(text)), false)); err != nil {
		l.cfg.Log.Warn("chat: could not answer who pressed a button", "err", hide(err.Error(), l.cfg.Token))
	}
}

// Forms.
const (
	formID   = "canter-form"
	textID   = "canter-text"
	maxTyped = 300
)

// titles of the forms; the API allows 24 characters.
var titles = map[Action][2]string{
	ActNote:    {"Add a note", "What should others know: illness, heat, travel, poor sleep?"},
	ActExclude: {"Leave the trace out", "Why is the trace bad? Kept in the audit."},
	ActAccept:  {"Accept the trace", "Why may it count? Kept in the audit."},
}

// ask opens a form for the words that go with an action.
func (l *listener) ask(ctx context.Context, c *slack.InteractionCallback, action Action, alert string, test schemas.TestID) error {
	title := titles[action]
	input := slack.NewPlainTextInputBlockElement(nil, textID)
	input.Multiline, input.MinLength, input.MaxLength = true, 2, maxTyped
	about, err := json.Marshal(form{Action: action, Alert: alert, Test: test})
	if err != nil {
		return err
	}
	text := func(s string) *slack.TextBlockObject {
		return slack.NewTextBlockObject(slack.PlainTextType, s, false, false)
	}
	_, err = l.api.OpenViewContext(ctx, c.TriggerID, slack.ModalViewRequest{
		Type: slack.VTModal, CallbackID: formID, PrivateMetadata: string(about),
		Title: text(title[0]), Submit: text("Keep"), Close: text("Cancel"),
		Blocks: slack.Blocks{BlockSet: []slack.Block{slack.NewInputBlock(textID, text(title[1]), nil, input)}},
	})
	return err
}

// form is what a form is about, as it comes back with it.
type form struct {
	Action Action         `json:"action"`
	Alert  string         `json:"alert"`
	Test   schemas.TestID `json:"test"`
}

// sent takes a form in. What is wrong with it is said in the form.
func (l *listener) sent(ctx context.Context, c *slack.InteractionCallback) (answer any, ok bool) {
	if c.View.CallbackID != formID {
		return nil, true
	}
	wrong := func(text string) (any, bool) {
		return slack.NewErrorsViewSubmissionResponse(map[string]string{textID: first(text, 150)}), true
	}
	who := l.cfg.Name(c.User.ID)
	if who == "" {
		return wrong("You are not among the staff in the club file: user " + c.User.ID)
	}
	var f form
	if json.Unmarshal([]byte(c.View.PrivateMetadata), &f) != nil || labels[f.Action] == "" {
		return wrong("This form is not one of canter's")
	}
	typed := ""
	if c.View.State != nil {
		typed = strings.TrimSpace(printable(c.View.State.Values[textID][textID].Value))
	}
	switch n := len([]rune(typed)); {
	case n == 0:
		return wrong("Please write a few words")
	case n > maxTyped:
		return wrong(fmt.Sprintf("%d characters: keep it to %d", n, maxTyped))
	}
	w := Word{Who: who, Text: typed, Key: key(c.User.ID, formID, c.View.ID)}
	var err error
	switch f.Action {
	case ActNote, ActSeen:
		err = l.cfg.Desk.Note(ctx, w, f.Alert, false)
	case ActExclude:
		err = l.cfg.Desk.Correct(ctx, w, f.Test, schemas.ActionExclude)
	case ActAccept:
		err = l.cfg.Desk.Correct(ctx, w, f.Test, schemas.ActionAccept)
	}
	if errors.Is(err, context.DeadlineExceeded) {
		return wrong("Not kept: the service is busy. Please try again")
	}
	if err != nil {
		return wrong("Not kept: " + err.Error())
	}
	return nil, true
}
