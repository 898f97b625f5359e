package chat_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"canter.example/alerts/chat"
	"canter.example/alerts/chat/chattest"
	"canter.example/schemas"
)

// desk keeps what was said, each key once, as the real one does.
type desk struct {
	mu   sync.Mutex
	said []string
	keys map[string]bool
	fail error
	slow time.Duration
}

func (d *desk) Note(ctx context.Context, w chat.Word, alert string, seen bool) error {
	return d.keep(ctx, w, fmt.Sprint("note ", alert, " seen=", seen))
}

func (d *desk) Correct(ctx context.Context, w chat.Word, test schemas.TestID, action schemas.CorrectionAction) error {
	return d.keep(ctx, w, fmt.Sprint(action, " ", test))
}

func (d *desk) keep(ctx context.Context, w chat.Word, what string) error {
	select {
	case <-time.After(d.slow):
	case <-ctx.Done():
		return ctx.Err()
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.fail != nil {
		return d.fail
	}
	if d.keys == nil {
		d.keys = map[string]bool{}
	}
	if !d.keys[w.Key] {
		d.keys[w.Key] = true
		d.said = append(d.said, what+" by "+w.Who+": "+w.Text)
	}
	return nil
}

func (d *desk) all() string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return strings.Join(d.said, "\n")
}

const staffUser = "U012345678"

// listening starts a server and as many listeners as given.
func listening(t *testing.T, d *desk, listeners int) *chattest.Server {
	t.Helper()
	s := chattest.Start(chattest.Options{Channels: []string{"first-team"}})
	ctx, cancel := context.WithCancel(t.Context())
	var wg sync.WaitGroup
	for range listeners {
		wg.Go(func() {
			err := chat.Listen(ctx, chat.ListenConfig{
				Token: chattest.Token, AppToken: chattest.AppToken, APIURL: s.URL(), Desk: d,
				Name: func(user string) string { return map[string]string{staffUser: "K. Moss"}[user] },
			})
			if err != nil {
				t.Error(err)
			}
		})
	}
	t.Cleanup(func() { cancel(); s.Close(); wg.Wait() })
	connected(t, s, listeners)
	return s
}

func connected(t *testing.T, s *chattest.Server, n int) {
	t.Helper()
	for range 400 {
		if s.Connected() == n {
			return
		}
		time.Sleep(25 * time.Millisecond)
	}
	t.Fatalf("%d apps connected, want %d", s.Connected(), n)
}

func press(user, action, value, at string) []byte {
	b, _ := json.Marshal(map[string]any{
		"type": "block_actions", "trigger_id": "1.2.abc", "user": map[string]any{"id": user}, "channel": map[string]any{"id": "C000000001"},
		"actions": []map[string]any{{"type": "button", "action_id": action, "block_id": "b", "value": value, "action_ts": at}},
	})
	return b
}

func send(user string, v chattest.View, text string) []byte {
	b, _ := json.Marshal(map[string]any{
		"type": "view_submission", "user": map[string]any{"id": user},
		"view": map[string]any{"id": v.ID, "type": "modal", "callback_id": v.CallbackID, "private_metadata": v.Metadata,
			"state": map[string]any{"values": map[string]any{"canter-text": map[string]any{"canter-text": map[string]any{"type": "plain_text_input", "value": text}}}}},
	})
	return b
}

func deliver(t *testing.T, s *chattest.Server, payload []byte) string {
	t.Helper()
	ack, err := s.Deliver(payload)
	if err != nil {
		t.Fatal(err)
	}
	return string(ack)
}

func TestPressedButtonsAreKeptOnce(t *testing.T) {
	d := &desk{}
	s := listening(t, d, 2)
	for range 3 { // delivered again, to whichever process
		deliver(t, s, press(staffUser, "canter-seen", "a1 t1", "1700000000.1"))
	}
	if got := d.all(); got != "note a1 seen=true by K. Moss: " {
		t.Errorf("kept:\n%s", got)
	}
	for _, action := range []string{"canter-note", "canter-exclude", "canter-accept"} {
		deliver(t, s, press(staffUser, action, "a1 t1", "1700000001.1"))
	}
	views := s.Views()
	if len(views) != 3 {
		t.Fatalf("%d forms, want 3", len(views))
	}
	for _, v := range views {
		for range 2 {
			if ack := deliver(t, s, send(staffUser, v, " strap\tslipped ")); strings.Contains(ack, "errors") {
				t.Errorf("refused: %s", ack)
			}
		}
	}
	want := "note a1 seen=true by K. Moss: \nnote a1 seen=false by K. Moss: strap slipped\nexclude t1 by K. Moss: strap slipped\naccept t1 by K. Moss: strap slipped"
	if got := d.all(); got != want {
		t.Errorf("kept:\n%s\nwant:\n%s", got, want)
	}
}

func TestWhoIsNotStaffChangesNothing(t *testing.T) {
	d := &desk{}
	s := listening(t, d, 1)
	deliver(t, s, press("U099999999", "canter-seen", "a1 t1", "1"))
	deliver(t, s, press("U099999999", "canter-exclude", "a1 t1", "1"))
	if a := s.Asides(); len(a) != 2 || a[0].User != "U099999999" || !strings.Contains(a[0].Text, "staff") {
		t.Errorf("told %+v", a)
	}
	// Not by way of a form that somebody else opened, either.
	deliver(t, s, press(staffUser, "canter-exclude", "a1 t1", "2"))
	if ack := deliver(t, s, send("U099999999", s.Views()[0], "because")); !strings.Contains(ack, "not among the staff") {
		t.Errorf("acknowledged with %s", ack)
	}
	if len(s.Views()) != 1 || d.all() != "" {
		t.Errorf("%d forms, kept %q", len(s.Views()), d.all())
	}
}

func TestWhatIsWrongWithAFormIsSaidInIt(t *testing.T) {
	d := &desk{}
	s := listening(t, d, 1)
	deliver(t, s, press(staffUser, "canter-note", "a1 ", "1"))
	v := s.Views()[0]
	for text, says := range map[string]string{"": "few words", " \n ": "few words", strings.Repeat("x", 301): "keep it to 300"} {
		if ack := deliver(t, s, send(staffUser, v, text)); !strings.Contains(ack, says) || !strings.Contains(ack, `"canter-text"`) {
			t.Errorf("%q: %s", text, ack)
		}
	}
	forged := v
	forged.Metadata = `{"action":"erase"}`
	if ack := deliver(t, s, send(staffUser, forged, "text")); !strings.Contains(ack, "not one of canter's") {
		t.Errorf("a forged form: %s", ack)
	}
	d.fail = errors.New("there is no alert a1 any more")
	if ack := deliver(t, s, send(staffUser, v, "text")); !strings.Contains(ack, "no alert a1") {
		t.Errorf("acknowledged with %s", ack)
	}
}

// What can't be stored in time is not acknowledged: the chat then shows the
// person that it failed.
func TestWhatIsNotStoredIsNotAcknowledged(t *testing.T) {
	d := &desk{slow: time.Minute}
	s := listening(t, d, 1)
	if _, err := s.Deliver(press(staffUser, "canter-seen", "a1 t1", "1")); !errors.Is(err, chattest.ErrNotAcknowledged) {
		t.Errorf("got %v", err)
	}
	for range 100 {
		if len(s.Asides()) > 0 {
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	if a := s.Asides(); len(a) != 1 || !strings.Contains(a[0].Text, "Not kept") {
		t.Errorf("told %+v", a)
	}
}

func TestTheListenerConnectsAgain(t *testing.T) {
	d := &desk{}
	s := listening(t, d, 1)
	s.Disconnect()
	for range 400 {
		if s.Calls("apps.connections.open") > 1 {
			break
		}
		time.Sleep(25 * time.Millisecond)
	}
	connected(t, s, 1)
	deliver(t, s, press(staffUser, "canter-seen", "a1 t1", "1"))
	if d.all() == "" {
		t.Error("nothing was kept after the connection was cut")
	}
}

func TestAWrongAppTokenIsSaidSo(t *testing.T) {
	s := chattest.Start(chattest.Options{})
	defer s.Close()
	err := chat.Listen(t.Context(), chat.ListenConfig{Token: chattest.Token, AppToken: "xapp-wrong", APIURL: s.URL(), Desk: &desk{}, Name: func(string) string { return "" }})
	if !errors.Is(err, chat.ErrRefused) || strings.Contains(err.Error(), "xapp-wrong") {
		t.Errorf("got %v", err)
	}
}
