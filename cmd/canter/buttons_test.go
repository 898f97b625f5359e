package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"canter.example/alerts/chat/chattest"
	"canter.example/cmd/canter/season"
	"canter.example/schemas/broker"
)

// TestAPressedButtonDoesWhatTheCommandDoes: real processes, from a message's
// button to the audit and back into the message.
func TestAPressedButtonDoesWhatTheCommandDoes(t *testing.T) {
	s, err := season.New(season.Options{Weeks: 6})
	if err != nil {
		t.Fatal(err)
	}
	dir, clubFile := clubDir(t, s)
	server := slackFor(t, clubFile)
	t.Setenv("CANTER_TEST_CHAT_APP", chattest.AppToken)
	b, err := os.ReadFile(clubFile)
	if err != nil {
		t.Fatal(err)
	}
	with := strings.Replace(string(b), "  kind: slack\n", "  kind: slack\n  app_token_env: CANTER_TEST_CHAT_APP\n  staff:\n    - {user: U012345678, name: K. Moss}\n", 1)
	if err := os.WriteFile(clubFile, []byte(with), 0o600); err != nil {
		t.Fatal(err)
	}
	data := filepath.Join(dir, "data")
	history := filepath.Join(data, "history.db")
	p := serve(t, "--club", clubFile, "--data", data)
	n := 0
	for _, day := range s.Days {
		drop(t, dir, day.Files...)
		n += len(day.Files)
	}
	p.handled(history, broker.Config{Dir: data}, n)
	p.eventually("connected to hear of buttons", func() bool { return server.Connected() == 1 })
	var post chattest.Post
	var leaveOut chattest.Button
	for _, x := range server.Posted() {
		for _, button := range x.Buttons {
			if button.ActionID == "canter-exclude" && strings.HasPrefix(button.Value, "a") {
				post, leaveOut = x, button
			}
		}
	}
	if leaveOut.Value == "" {
		t.Fatal("no message has a button to leave a trace out")
	}
	pressed, err := json.Marshal(map[string]any{
		"type": "block_actions", "trigger_id": "1.2.a", "user": map[string]any{"id": "U012345678"}, "channel": map[string]any{"id": post.Channel.ID},
		"actions": []any{map[string]any{"type": "button", "action_id": leaveOut.ActionID, "block_id": leaveOut.BlockID, "value": leaveOut.Value, "action_ts": "1.5"}},
	})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := server.Deliver(pressed); err != nil {
		t.Fatal(err)
	}
	form := server.Views()[0]
	sent, err := json.Marshal(map[string]any{
		"type": "view_submission", "user": map[string]any{"id": "U012345678"},
		"view": map[string]any{"id": form.ID, "type": "modal", "callback_id": form.CallbackID, "private_metadata": form.Metadata,
			"state": map[string]any{"values": map[string]any{"canter-text": map[string]any{"canter-text": map[string]any{"type": "plain_text_input", "value": "strap slipped"}}}}},
	})
	if err != nil {
		t.Fatal(err)
	}
	for range 2 { // delivered twice
		if _, err := server.Deliver(sent); err != nil {
			t.Fatal(err)
		}
	}
	p.eventually("the message says who did it", func() bool {
		for _, x := range server.Posted() {
			if x.TS == post.TS {
				return strings.Contains(x.Plain(), "Left out by K. Moss: strap slipped.")
			}
		}
		return false
	})
	_, test, _ := strings.Cut(leaveOut.Value, " ")
	if got := answer(t, history, "SELECT test_id, action, who, why FROM corrections"); len(got) != 1 || got[0] != test+" | exclude | K. Moss | strap slipped" {
		t.Errorf("audit: %v", got)
	}
	p.stop()
}
