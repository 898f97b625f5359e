package chat_test

import (
	"errors"
	"net/http"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"canter.example/alerts/chat"
	"canter.example/alerts/chat/chattest"
	"canter.example/schemas"
)

// reply is an answer with two pictures to the message m1.
func reply() chat.Post {
	m := note("m2", "A. Sample: HRex higher than usual\nmore & <more>")
	m.Thread = "m1"
	return chat.Post{Message: m, Pictures: []chat.Picture{
		{Title: "History of A. Sample", Alt: "HRex 86.1, expected 80 to 84", PNG: []byte("\x89PNG one")},
		{Title: "Trace of A. Sample", Alt: strings.Repeat("long ", 400), PNG: []byte("\x89PNG two")},
	}}
}

func TestAnAnswerComesWithItsPictures(t *testing.T) {
	s, p := onLoopback(t, chattest.Options{}, chat.SlackConfig{})
	root := mustPost(t, p, note("m1", "the session"))
	for range 2 {
		if _, err := p.Post(t.Context(), reply()); err != nil {
			t.Fatal(err)
		}
	}
	posted := s.Posted()
	if len(posted) != 2 {
		t.Fatalf("%d messages, want the session and its answer", len(posted))
	}
	got := posted[1]
	if got.ThreadTS != root || got.Plain() != reply().Text || strings.ContainsAny(got.Text, "<>") {
		t.Errorf("in thread %q of %q: %q", got.ThreadTS, root, got.Text)
	}
	if len(got.Files) != 2 || string(got.Files[1].Content) != "\x89PNG two" || got.Files[0].Title != "History of A. Sample" {
		t.Fatalf("files %+v", got.Files)
	}
	if got.Files[0].Alt != "HRex 86.1, expected 80 to 84" || len([]rune(got.Files[1].Alt)) != 1000 {
		t.Errorf("texts for who can't see: %q, %d characters", got.Files[0].Alt, len(got.Files[1].Alt))
	}
}

// Whatever goes wrong between asking where to send a picture and hearing that
// it is shown, staff see the answer once, and its pictures once.
func TestPicturesAreShownOnceWhateverGoesWrong(t *testing.T) {
	const ask, send, show = "files.getUploadURLExternal", "upload", "files.completeUploadExternal"
	cases := []struct {
		name     string
		faults   []chattest.Fault
		pictures int
	}{
		{"nothing", nil, 2},
		{"asking is answered late", []chattest.Fault{{Method: ask, Kept: true, Hang: true}}, 2},
		{"the bytes break off", []chattest.Fault{{Method: send, Drop: true}}, 2},
		{"the second picture's bytes break off", []chattest.Fault{{Method: send, Skip: 1, Status: 503}}, 2},
		{"the connection breaks before they are shown", []chattest.Fault{{Method: show, Drop: true}}, 2},
		{"they are shown, and nobody hears of it", []chattest.Fault{{Method: show, Kept: true, Drop: true}}, 2},
		{"they are shown, and it says they are not", []chattest.Fault{{Method: show, Kept: true, Code: "internal_error"}}, 2},
		{"they are shown, and looking fails at first", []chattest.Fault{{Method: show, Kept: true, Hang: true}, {Method: "conversations.replies", Times: 2}}, 2},
		{"it asks to wait", []chattest.Fault{{Method: ask, RetryAfter: time.Nanosecond}, {Method: show, RetryAfter: time.Nanosecond}}, 2},
		{"the app may not send files", []chattest.Fault{{Method: ask, Code: "missing_scope", Times: -1}}, 0},
		{"the address for files is forbidden", []chattest.Fault{{Method: send, Status: 403, Times: -1}}, 0},
		{"files never go through", []chattest.Fault{{Method: send, Drop: true, Times: -1}}, 0},
		{"showing is refused", []chattest.Fault{{Method: show, Code: "file_upload_disabled"}}, 0},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			s, p := onLoopback(t, chattest.Options{}, chat.SlackConfig{HTTP: &http.Client{Timeout: 200 * time.Millisecond}})
			mustPost(t, p, note("m1", "the session"))
			s.Fail(c.faults...)
			m := reply()
			for {
				// Each attempt by a process that remembers nothing.
				p = chat.NewSlack(with(chat.SlackConfig{HTTP: &http.Client{Timeout: 200 * time.Millisecond}}, s.URL()))
				_, err := p.Post(t.Context(), m)
				if err == nil {
					break
				}
				if !errors.Is(err, chat.ErrTemporary) {
					t.Fatal(err)
				}
				if m.Attempts++; m.Attempts > 8 {
					t.Fatalf("still failing: %v", err)
				}
			}
			m.Attempts++
			if _, err := chat.NewSlack(with(chat.SlackConfig{}, s.URL())).Post(t.Context(), m); err != nil {
				t.Errorf("looking again: %v", err)
			}
			posted := s.Posted()
			if len(posted) != 2 || len(posted[1].Files) != c.pictures || posted[1].Plain() != m.Text && posted[1].Plain() != "*A. Sample: HRex higher than usual*\nmore & <more>" {
				t.Errorf("%d messages, want 2 with %d pictures: %+v", len(posted), c.pictures, posted)
			}
		})
	}
}

func TestAPictureIsRefusedWhereItsChannelIs(t *testing.T) {
	s, p := onLoopback(t, chattest.Options{}, chat.SlackConfig{})
	s.AddChannel(chattest.Channel{Name: "old", Archived: true, Member: true})
	m := reply()
	m.Thread, m.Channel = "", "old"
	if _, err := p.Post(t.Context(), m); !errors.Is(err, chat.ErrRefused) || !strings.Contains(err.Error(), "archived") {
		t.Errorf("got %v", err)
	}
}

func TestPicturesKeepTheChannelsPace(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := chattest.New(chattest.Options{Channels: []string{"first-team"}, Pace: time.Second})
		p := chat.NewSlack(chat.SlackConfig{Token: chattest.Token, APIURL: s.URL(), HTTP: s.Client()})
		start := time.Now()
		if _, err := p.Post(t.Context(), chat.Post{Message: note("m1", "the session")}); err != nil {
			t.Fatal(err)
		}
		if _, err := p.Post(t.Context(), reply()); err != nil {
			t.Fatal(err)
		}
		if d := time.Since(start); d != time.Second || s.Calls("files.completeUploadExternal") != 1 || len(s.Posted()) != 2 {
			t.Errorf("%s, %d calls to show files, %d messages", d, s.Calls("files.completeUploadExternal"), len(s.Posted()))
		}
	})
}

func TestAMessageIsChanged(t *testing.T) {
	s, p := onLoopback(t, chattest.Options{}, chat.SlackConfig{})
	m := note("m1", "First team: 20 tested")
	buttons := []chat.Button{{Action: chat.ActSeen, Alert: "a1", Test: "t1"}, {Action: chat.ActExclude, Alert: "a1", Test: "t1"}}
	ref, err := p.Post(t.Context(), chat.Post{Message: m, Parts: []chat.Part{{Text: m.Text}, {Text: "1. A. Sample", Buttons: buttons}, {Text: "the end"}}})
	if err != nil {
		t.Fatal(err)
	}
	if b := s.Posted()[0].Buttons; len(b) != 2 || b[0].Under != 1 || b[0].Value != "a1 t1" || b[1].Label != "Trace is bad: leave it out" {
		t.Fatalf("buttons %+v", b)
	}
	m.Text = "First team: 23 tested"
	for range 2 {
		if err := p.(chat.Editor).Edit(t.Context(), ref, chat.Post{Message: m}); err != nil {
			t.Fatal(err)
		}
	}
	got := s.Posted()
	if len(got) != 1 || got[0].Plain() != "*First team: 23 tested*" || got[0].Edits != 2 || got[0].ID != "m1" || len(got[0].Buttons) != 0 {
		t.Errorf("%+v", got)
	}
	s.Delete(ref)
	if err := p.(chat.Editor).Edit(t.Context(), ref, chat.Post{Message: m}); !errors.Is(err, chat.ErrRefused) {
		t.Errorf("a message that is gone: %v", err)
	}
}

func TestAMessageToOnePerson(t *testing.T) {
	s, p := onLoopback(t, chattest.Options{}, chat.SlackConfig{})
	s.AddPerson("U012345678")
	m := note("m1", "straps to check")
	m.Channel, m.Attempts = "U012345678", 1
	mustPost(t, p, m)
	m.Attempts = 2
	mustPost(t, chat.NewSlack(with(chat.SlackConfig{}, s.URL())), m)
	if got := s.Posted(); len(got) != 1 || got[0].Channel.ID != "D012345678" {
		t.Errorf("%+v", got)
	}
	m.ID, m.Channel = "m2", "U099999999"
	if _, err := p.Post(t.Context(), chat.Post{Message: m}); !errors.Is(err, chat.ErrRefused) || !strings.Contains(err.Error(), "no such person") {
		t.Errorf("somebody unknown: %v", err)
	}
}

func TestManyButtonsKeepTheLimits(t *testing.T) {
	s, p := onLoopback(t, chattest.Options{}, chat.SlackConfig{})
	m := note("m1", "")
	post := chat.Post{Message: m}
	for range 60 {
		post.Parts = append(post.Parts, chat.Part{Text: strings.Repeat("word ", 20), Buttons: []chat.Button{
			{Action: chat.ActSeen, Alert: "a"}, {Action: chat.ActNote, Alert: "a"}, {Action: chat.ActExclude, Alert: "a", Test: schemas.TestID("t")},
		}})
	}
	if _, err := p.Post(t.Context(), post); err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, x := range s.Posted() {
		n += len(x.Buttons)
	}
	if n != 180 {
		t.Errorf("%d buttons, want 180", n)
	}
}
