package chat

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"
)

// WebhookConfig says how other chat servers are reached: by a secret address
// that takes JSON with one text, and answers nothing but whether it did.
type WebhookConfig struct {
	// Addresses are the secrets: one web address for all channels, or lines of
	// a channel and its address, "*" for all others. See [ParseWebhooks].
	Addresses map[string]string
	// Drop leaves a message unsent when an earlier attempt may have arrived;
	// else it is sent again. A webhook can't be asked what it has, so one of the
	// two is the best it can do: never twice, or never lost.
	Drop bool
	// HTTP makes the calls; nil for one with a 15-s timeout.
	HTTP *http.Client
	// Now tells the time, nil for the system's clock.
	Now func() time.Time
}

// maxWebhook is the longest text of one call, in characters: what common
// servers take.
const maxWebhook = 3900

// webhook posts to incoming webhooks.
type webhook struct {
	cfg   WebhookConfig
	gates gates
}

// NewWebhook returns a chat that posts plain text to incoming webhooks. It has
// no threads, no pictures and no buttons: an answer says what it is about, and
// what can be done stands in the text. A message a second and address.
func NewWebhook(cfg WebhookConfig) Poster {
	if cfg.Now == nil {
		cfg.Now = time.Now //nolint:forbidigo // The clock of a client of a live service, not of a rule.
	}
	client := http.Client{Timeout: 15 * time.Second}
	if cfg.HTTP != nil {
		client = *cfg.HTTP
	}
	client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	cfg.HTTP = &client
	return &webhook{cfg: cfg, gates: gates{now: cfg.Now, maxWait: 30 * time.Second, each: make(map[string]*gate)}}
}

// ParseWebhooks reads the secret: one web address, or lines "channel address",
// the channel as in the club file or "*". Lines that begin with # and a space
// are remarks. Errors show no address.
func ParseWebhooks(secret string) (map[string]string, error) {
	out := map[string]string{}
	n := 0
	for l := range strings.Lines(secret) {
		n++
		f := strings.Fields(l)
		if len(f) == 0 || f[0] == "#" {
			continue
		}
		if len(f) == 1 {
			f = []string{"*", f[0]}
		}
		u, err := url.Parse(f[1])
		if len(f) != 2 || err != nil || u.Host == "" || u.Scheme != "https" && u.Scheme != "http" {
			return nil, fmt.Errorf("webhook addresses, line %d: want an address, or a channel and its address", n)
		}
		if _, twice := out[f[0]]; twice {
			return nil, fmt.Errorf("webhook addresses, line %d: %s is there twice", n, f[0])
		}
		out[f[0]] = f[1]
	}
	if len(out) == 0 {
		return nil, errors.New("webhook addresses: there is none")
	}
	return out, nil
}

func (w *webhook) address(channel string) (string, error) {
	for _, name := range []string{channel, strings.TrimPrefix(channel, "#"), "*"} {
		if a := w.cfg.Addresses[name]; a != "" {
			return a, nil
		}
	}
	return "", &RefusedError{Reason: "there is no webhook for channel " + channel + ": add a line with it and its address, or one with *, to the webhooks' file"}
}

// Post implements [Poster]. The reference is the message's id.
func (w *webhook) Post(ctx context.Context, p Post) (string, error) {
	address, err := w.address(p.Channel)
	if err != nil {
		return "", err
	}
	if p.Attempts > 0 && w.cfg.Drop {
		return "", &RefusedError{Reason: "it may have arrived before, and this chat can't be asked; the club file says to drop it then (chat.in_doubt)"}
	}
	text := strings.TrimSpace(printable(p.Text))
	if text == "" {
		return "", &RefusedError{Reason: remedies["no_text"]}
	}
	if p.Thread != "" {
		text = "(more on the message before) " + text
	}
	for _, piece := range chop(text, maxWebhook) {
		if err := w.gates.through(ctx, address, time.Second, func() error { return w.call(ctx, address, piece) }); err != nil {
			return "", w.sorted(err)
		}
	}
	return p.ID, nil
}

// call hands over one text.
func (w *webhook) call(ctx context.Context, address, text string) error {
	body, err := json.Marshal(map[string]string{"text": escape(text)})
	if err != nil {
		return err
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, address, bytes.NewReader(body))
	if err != nil {
		return &RefusedError{Reason: "the webhook's address is no web address"}
	}
	req.Header.Set("Content-Type", "application/json; charset=utf-8")
	res, err := w.cfg.HTTP.Do(req)
	if err != nil {
		return err
	}
	defer func() { _ = res.Body.Close() }()
	// What it says may hold the secret address: only the status is used.
	_, _ = io.Copy(io.Discard, io.LimitReader(res.Body, 64<<10))
	switch {
	case res.StatusCode >= 200 && res.StatusCode < 300:
		return nil
	case res.StatusCode == http.StatusTooManyRequests:
		wait, err := strconv.Atoi(res.Header.Get("Retry-After"))
		if err != nil || wait < 1 {
			wait = 30
		}
		return &TemporaryError{RetryAfter: time.Duration(wait) * time.Second, Reason: fmt.Sprintf("it asks to wait %d s", wait)}
	case res.StatusCode >= 500 || res.StatusCode == http.StatusRequestTimeout:
		return &TemporaryError{Reason: fmt.Sprintf("it answered with status %d", res.StatusCode)}
	default:
		return &RefusedError{Reason: fmt.Sprintf("the webhook answered with status %d: is its address right, was it taken away?", res.StatusCode)}
	}
}

// sorted keeps the address, which is a secret, out of errors.
func (w *webhook) sorted(err error) error {
	var refused *RefusedError
	var later *TemporaryError
	switch {
	case errors.As(err, &refused), errors.As(err, &later):
		return err
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return classify(err, "", "")
	default:
		if u, ok := errors.AsType[*url.Error](err); ok {
			err = u.Err
		}
		text := err.Error()
		for _, a := range w.cfg.Addresses {
			text = strings.ReplaceAll(text, a, "(address)")
		}
		return &TemporaryError{Reason: text}
	}
}

// Check verifies that every channel has an address. Nothing is sent: a webhook
// answers nothing but messages.
func (w *webhook) Check(_ context.Context, channels []string) error {
	var errs []error
	for _, c := range channels {
		if _, err := w.address(c); err != nil {
			errs = append(errs, err)
		}
	}
	return errors.Join(errs...)
}
