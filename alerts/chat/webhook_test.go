package chat_test

import (
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"canter.example/alerts/chat"
)

// hook is a chat server's incoming webhook.
type hook struct {
	*httptest.Server
	texts  []string
	status []int // of the next calls, 200 when there is none
}

func newHook(t *testing.T) *hook {
	h := &hook{}
	h.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		var body map[string]string
		if json.NewDecoder(r.Body).Decode(&body) != nil || r.Header.Get("Content-Type") != "application/json; charset=utf-8" || len(body) != 1 {
			http.Error(w, "no", http.StatusBadRequest)
			return
		}
		status := http.StatusOK
		if len(h.status) > 0 {
			status, h.status = h.status[0], h.status[1:]
		}
		if status == 599 { // taken, and nobody hears of it
			h.texts = append(h.texts, body["text"])
			panic(http.ErrAbortHandler)
		}
		if status == http.StatusOK {
			h.texts = append(h.texts, body["text"])
		}
		w.WriteHeader(status)
	}))
	t.Cleanup(h.Close)
	return h
}

func TestAWebhookTakesPlainText(t *testing.T) {
	h := newHook(t)
	p := chat.NewWebhook(chat.WebhookConfig{Addresses: map[string]string{"first-team": h.URL + "/secret"}})
	m := note("m1", "A. Sample <@all> & more")
	m.Channel = "#first-team"
	if ref, err := p.Post(t.Context(), chat.Post{Message: m}); err != nil || ref != "m1" {
		t.Fatal(ref, err)
	}
	if len(h.texts) != 1 || h.texts[0] != "A. Sample &lt;@all&gt; &amp; more" {
		t.Errorf("%q", h.texts)
	}
	if err := p.Check(t.Context(), []string{"first-team", "board"}); err == nil || !strings.Contains(err.Error(), "board") || strings.Contains(err.Error(), "first-team") {
		t.Errorf("check: %v", err)
	}
}

func TestAWebhookInDoubt(t *testing.T) {
	for _, drop := range []bool{false, true} {
		h := newHook(t)
		h.status = []int{599}
		p := chat.NewWebhook(chat.WebhookConfig{Addresses: map[string]string{"*": h.URL}, Drop: drop, Now: func() time.Time { return time.Time{} }})
		m := note("m1", "once or twice")
		_, err := p.Post(t.Context(), chat.Post{Message: m})
		if !errors.Is(err, chat.ErrTemporary) || strings.Contains(err.Error(), h.URL) {
			t.Fatalf("drop %v: %v", drop, err)
		}
		m.Attempts = 1
		p = chat.NewWebhook(chat.WebhookConfig{Addresses: map[string]string{"*": h.URL}, Drop: drop})
		_, err = p.Post(t.Context(), chat.Post{Message: m})
		if drop && (!errors.Is(err, chat.ErrRefused) || len(h.texts) != 1) || !drop && (err != nil || len(h.texts) != 2) {
			t.Errorf("drop %v: told %d times, %v", drop, len(h.texts), err)
		}
	}
}

func TestAWebhookThatDoesNotTakeIt(t *testing.T) {
	for status, want := range map[int]error{404: chat.ErrRefused, 307: chat.ErrRefused, 400: chat.ErrRefused, 503: chat.ErrTemporary, 429: chat.ErrTemporary} {
		h := newHook(t)
		h.status = []int{status}
		p := chat.NewWebhook(chat.WebhookConfig{Addresses: map[string]string{"*": h.URL + "/secret"}})
		_, err := p.Post(t.Context(), chat.Post{Message: note("m1", "text")})
		if !errors.Is(err, want) || strings.Contains(err.Error(), "secret") {
			t.Errorf("status %d: %v", status, err)
		}
		var later *chat.TemporaryError
		if status == 429 && (!errors.As(err, &later) || later.RetryAfter != 30*time.Second) {
			t.Errorf("asked to wait: %v", err)
		}
	}
	p := chat.NewWebhook(chat.WebhookConfig{Addresses: map[string]string{"*": "http://127.0.0.1:1/secret"}})
	if _, err := p.Post(t.Context(), chat.Post{Message: note("m1", "text")}); !errors.Is(err, chat.ErrTemporary) || strings.Contains(err.Error(), "secret") {
		t.Errorf("nobody there: %v", err)
	}
}

func TestParseWebhooks(t *testing.T) {
	got, err := chat.ParseWebhooks("# remark\n#first-team https://a.example/1\n\n* https://a.example/2\n")
	if err != nil || len(got) != 2 || got["#first-team"] != "https://a.example/1" || got["*"] != "https://a.example/2" {
		t.Errorf("%v, %v", got, err)
	}
	for _, bad := range []string{"", "# only a remark", "a b c", "ftp://x/y", "#a https://x/1\n#a https://x/2"} {
		if got, err := chat.ParseWebhooks(bad); err == nil || strings.Contains(err.Error(), "//x") {
			t.Errorf("%q: %v, %v", bad, got, err)
		}
	}
}
