package alerts

import (
	"context"
	"fmt"
	"strings"

	"canter.example/alerts/chat"
	"canter.example/schemas"
)

// parts cuts a session's message at its numbered lines and puts under each
// what staff can do about it; nil for messages without buttons.
func (s *Service) parts(ctx context.Context, m *schemas.Message) ([]chat.Part, error) {
	if !s.club.Chat.Buttons() || !isBoard(m) && !isChange(m) {
		return nil, nil
	}
	numbered := m.Says[1:]
	texts := cutNumbered(m.Text, len(numbered))
	if len(texts) < 2 {
		return nil, nil
	}
	parts := make([]chat.Part, len(texts))
	for i, text := range texts {
		parts[i].Text = text
		n := 0
		if _, err := fmt.Sscanf(text, "%d. ", &n); err != nil || n < 1 || n > len(numbered) || i == 0 {
			continue
		}
		var err error
		if parts[i].Buttons, err = s.buttons(ctx, numbered[n-1].Alert); err != nil {
			return nil, err
		}
	}
	return parts, nil
}

// cutNumbered cuts a text before the lines that begin with "1. ", "2. " and so
// on up to n, each the next, and after the paragraph of each.
func cutNumbered(text string, n int) []string {
	var parts []string
	var part []string
	next, within := 1, false
	flush := func() {
		if t := strings.TrimSpace(strings.Join(part, "\n")); t != "" {
			parts = append(parts, t)
		}
		part = nil
	}
	for l := range strings.Lines(text) {
		l = strings.TrimRight(l, "\n")
		switch {
		case next <= n && strings.HasPrefix(l, fmt.Sprintf("%d. ", next)):
			flush()
			next, within = next+1, true
		case within && strings.TrimSpace(l) == "":
			flush()
			within = false
		}
		part = append(part, l)
	}
	flush()
	return parts
}

// buttons are what can be done about an alert, or about a doubtful test.
func (s *Service) buttons(ctx context.Context, id string) ([]chat.Button, error) {
	al, ok, err := s.history.Alert(ctx, id)
	if err != nil {
		return nil, err
	}
	test := al.TestID
	if !ok {
		test = schemas.TestID(id)
	}
	var out []chat.Button
	offer := func(a chat.Action) { out = append(out, chat.Button{Action: a, Alert: al.ID, Test: test}) }
	if al.State == schemas.AlertOpen {
		offer(chat.ActSeen)
	}
	if ok {
		offer(chat.ActNote)
	}
	o, there, err := s.history.Test(ctx, test)
	if err != nil || !there {
		return out, err
	}
	if o.Quality == schemas.Check && o.Staff != schemas.Accepted {
		offer(chat.ActAccept)
	}
	if o.Staff != schemas.Excluded {
		offer(chat.ActExclude)
	}
	return out, nil
}
