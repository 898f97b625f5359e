package chat

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"testing"

	"canter.example/schemas"
)

type nowhere struct{}

func (nowhere) RoundTrip(*http.Request) (*http.Response, error) { return nil, errors.New("nowhere") }

// strict fails the test when something is said that nobody allowed could say.
type strict struct{ t *testing.T }

func (s strict) Note(_ context.Context, w Word, alert string, _ bool) error { return s.check(w, alert) }

func (s strict) Correct(_ context.Context, w Word, test schemas.TestID, _ schemas.CorrectionAction) error {
	return s.check(w, string(test))
}

func (s strict) check(w Word, _ string) error {
	if w.Who != "K. Moss" || len([]rune(w.Text)) > maxTyped || w.Key == "" || strings.ContainsAny(w.Text, "\x00\x1b") {
		s.t.Fatalf("said: %+v", w)
	}
	return nil
}

// FuzzInteraction: whatever the chat, or somebody in its name, sends, nobody
// but staff says anything, and nothing panics.
func FuzzInteraction(f *testing.F) {
	for _, seed := range []string{
		`{"type":"block_actions","user":{"id":"U012345678"},"actions":[{"type":"button","action_id":"canter-seen","value":"a1 t1","action_ts":"1.2"}]}`,
		`{"type":"block_actions","user":{"id":"U0"},"actions":[{"type":"button","action_id":"canter-exclude","value":"a1 t1"}],"trigger_id":"x"}`,
		`{"type":"view_submission","user":{"id":"U012345678"},"view":{"callback_id":"canter-form","id":"V1","private_metadata":"{\"action\":\"exclude\",\"test\":\"t1\"}","state":{"values":{"canter-text":{"canter-text":{"value":"slipped \u001b[2J"}}}}}}`,
		`{"type":"block_actions","actions":[null,{}],"state":[]}`, `{"type":"view_submission","view":null}`, `[]`, `null`, ``, `{"actions":[{"type":"datepicker"}]}`,
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		l := newListener(ListenConfig{Desk: strict{t}, HTTP: &http.Client{Transport: nowhere{}}, Name: func(u string) string {
			if u == "U012345678" {
				return "K. Moss"
			}
			return ""
		}})
		l.handle(context.Background(), raw)
	})
}
