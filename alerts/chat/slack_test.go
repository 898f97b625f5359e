package chat_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"canter.example/alerts/chat"
	"canter.example/alerts/chat/chattest"
	"canter.example/schemas"
)

func note(id, text string) schemas.Message {
	return schemas.Message{ID: id, AlertID: "a" + id, Channel: "first-team", Text: text, Created: time.Now()}
}

// onLoopback starts a listening server and a chat that calls it.
func onLoopback(t *testing.T, o chattest.Options, cfg chat.SlackConfig) (*chattest.Server, chat.Poster) {
	t.Helper()
	if o.Channels == nil {
		o.Channels = []string{"first-team", "staff"}
	}
	s := chattest.Start(o)
	t.Cleanup(s.Close)
	return s, chat.NewSlack(with(cfg, s.URL()))
}

func with(cfg chat.SlackConfig, url string) chat.SlackConfig {
	if cfg.Token == "" {
		cfg.Token = chattest.Token
	}
	if cfg.Pace == 0 {
		cfg.Pace = time.Nanosecond
	}
	cfg.APIURL = url
	return cfg
}

func mustPost(t *testing.T, p chat.Poster, m schemas.Message) string {
	t.Helper()
	ref, err := p.Post(t.Context(), chat.Post{Message: m})
	if err != nil {
		t.Fatalf("post %s: %v", m.ID, err)
	}
	return ref
}

func TestAPostedMessageReadsAsWritten(t *testing.T) {
	s, p := onLoopback(t, chattest.Options{}, chat.SlackConfig{})
	text := "A. Sample: HRex higher than usual\nHRex 86.1 %HRmax & more <!channel> @here\nNaïve \u202Eturned\x1b[31m"
	ref := mustPost(t, p, note("m1", text))
	posted := s.Posted()
	if len(posted) != 1 {
		t.Fatalf("%d messages, want 1", len(posted))
	}
	got := posted[0]
	if got.TS != ref || got.Channel.Name != "first-team" || got.ID != "m1" || got.EventType != "canter_message" {
		t.Errorf("got %+v, reference %s", got, ref)
	}
	want := "*A. Sample: HRex higher than usual*\nHRex 86.1 %HRmax & more <!channel> @here\nNaïve turned[31m"
	if got.Plain() != want {
		t.Errorf("reads\n%q, want\n%q", got.Plain(), want)
	}
	for _, sent := range append(got.Sections, got.Text) {
		if strings.ContainsAny(sent, "<>") {
			t.Errorf("not escaped: %q", sent)
		}
	}
}

func TestOneMessageWhateverGoesWrong(t *testing.T) {
	const post = "chat.postMessage"
	cases := []struct {
		name   string
		faults []chattest.Fault
	}{
		{"nothing", nil},
		{"the server is down for a moment", []chattest.Fault{{Method: post, Times: 2}}},
		{"the answer is lost after the message was kept", []chattest.Fault{{Method: post, Kept: true, Hang: true}}},
		{"the connection breaks after the message was kept", []chattest.Fault{{Method: post, Kept: true, Drop: true}}},
		{"the connection breaks before", []chattest.Fault{{Method: post, Drop: true, Times: 3}}},
		{"it says it failed, but the message was kept", []chattest.Fault{{Method: post, Kept: true, Code: "internal_error"}}},
		{"a proxy answers with a page", []chattest.Fault{{Method: post, Kept: true, Body: "<html>sorry</html>"}}},
		{"looking fails as well", []chattest.Fault{{Method: post, Kept: true, Status: 502}, {Method: "conversations.history", Times: 2}}},
		{"listing channels fails as well", []chattest.Fault{{Method: post, Kept: true, Status: 502}, {Method: "conversations.list", Drop: true}}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			s, p := onLoopback(t, chattest.Options{}, chat.SlackConfig{HTTP: &http.Client{Timeout: 200 * time.Millisecond}})
			s.Fail(c.faults...)
			m := note("m1", "once")
			var ref string
			for {
				var err error
				if ref, err = p.Post(t.Context(), chat.Post{Message: m}); err == nil {
					break
				}
				if !errors.Is(err, chat.ErrTemporary) {
					t.Fatalf("attempt %d: %v", m.Attempts, err)
				}
				if m.Attempts++; m.Attempts > 8 {
					t.Fatalf("still failing: %v", err)
				}
			}
			if posted := s.Posted(); len(posted) != 1 || posted[0].TS != ref {
				t.Errorf("%d messages, want 1 with ts %s", len(posted), ref)
			}
		})
	}
}

func TestAnotherProcessFindsWhatTheFirstOneSent(t *testing.T) {
	// Small pages, so that looking has to turn several.
	s, first := onLoopback(t, chattest.Options{MaxHistory: 3}, chat.SlackConfig{})
	long := strings.Repeat(strings.Repeat("word ", 30)+"\n", 150)
	var m schemas.Message
	refs := map[string]string{}
	for i := range 10 {
		m = note(fmt.Sprintf("m%d", i), "text")
		if i == 4 {
			m.Text = long
		}
		refs[m.ID] = mustPost(t, first, m)
	}
	before := len(s.Posted())
	second := chat.NewSlack(with(chat.SlackConfig{}, s.URL()))
	for id, want := range refs {
		m := note(id, "text")
		if id == "m4" {
			m.Text = long
		}
		m.Attempts = 1
		if got := mustPost(t, second, m); got != want {
			t.Errorf("%s: reference %s, want %s", id, got, want)
		}
	}
	if n := len(s.Posted()); n != before {
		t.Errorf("%d messages, want the %d of before", n, before)
	}
}

// TestAClockThatIsOffRepeatsNothing is a machine that believes to have made a
// message long after, or long before, the chat got it.
func TestAClockThatIsOffRepeatsNothing(t *testing.T) {
	s, first := onLoopback(t, chattest.Options{MaxHistory: 3}, chat.SlackConfig{})
	refs := map[string]string{"root": mustPost(t, first, note("root", "text"))}
	answer := note("answer", "text")
	answer.Thread = "root"
	refs["answer"] = mustPost(t, first, answer)
	for i := range 20 {
		mustPost(t, first, note(fmt.Sprint("later", i), "text"))
	}
	before := len(s.Posted())
	for _, off := range []time.Duration{400 * 24 * time.Hour, time.Hour, -time.Hour, -400 * 24 * time.Hour} {
		second := chat.NewSlack(with(chat.SlackConfig{Reference: func(_ context.Context, id string) (string, error) { return refs[id], nil }}, s.URL()))
		for id, thread := range map[string]string{"root": "", "answer": "root"} {
			m := note(id, "text")
			m.Thread, m.Attempts, m.Created = thread, 1, time.Now().Add(off)
			if got := mustPost(t, second, m); got != refs[id] {
				t.Errorf("clock off by %s, %s: reference %s, want %s", off, id, got, refs[id])
			}
		}
	}
	if n := len(s.Posted()); n != before {
		t.Errorf("%d messages, want the %d of before", n, before)
	}
}

func TestALongMessageGoesInPagesAndIsTakenUpWhereItBroke(t *testing.T) {
	s, p := onLoopback(t, chattest.Options{}, chat.SlackConfig{})
	long := strings.Repeat("<&> "+strings.Repeat("x", 70)+"\n", 400)
	s.Fail(chattest.Fault{Method: "chat.postMessage", Skip: 1})
	m := note("m1", long)
	if _, err := p.Post(t.Context(), chat.Post{Message: m}); !errors.Is(err, chat.ErrTemporary) {
		t.Fatalf("got %v, want a temporary error at page 2", err)
	}
	m.Attempts = 1
	ref := mustPost(t, p, m)
	posted := s.Posted()
	if len(posted) < 3 {
		t.Fatalf("%d pages of %d characters", len(posted), len(long))
	}
	var all strings.Builder
	for i, page := range posted {
		if page.Page != i+1 || page.ID != "m1" {
			t.Errorf("page %d is %d of %s", i+1, page.Page, page.ID)
		}
		if i == 0 && (page.ThreadTS != "" || page.TS != ref) || i > 0 && page.ThreadTS != ref {
			t.Errorf("page %d: ts %s in thread %q, reference %s", i+1, page.TS, page.ThreadTS, ref)
		}
		all.WriteString(page.Plain() + "\n")
	}
	// The headline is bold: two asterisks more.
	if strings.Join(strings.Fields(strings.ReplaceAll(all.String(), "*", "")), " ") != strings.Join(strings.Fields(long), " ") {
		t.Error("the pages together are not the message")
	}
}

func TestAnswersGoIntoTheThread(t *testing.T) {
	s, first := onLoopback(t, chattest.Options{}, chat.SlackConfig{})
	parent := mustPost(t, first, note("m1", "alert"))
	answer := func(id string) schemas.Message {
		m := note(id, "withdrawn")
		m.Thread = "m1"
		return m
	}
	mustPost(t, first, answer("m2"))
	// A later process asks the outbox, or looks in the channel.
	outbox := func(context.Context, string) (string, error) { return parent, nil }
	mustPost(t, chat.NewSlack(with(chat.SlackConfig{Reference: outbox}, s.URL())), answer("m3"))
	looking := chat.NewSlack(with(chat.SlackConfig{}, s.URL()))
	mustPost(t, looking, answer("m4"))
	// An answer that may have gone out is looked for in the thread.
	again := answer("m3")
	again.Attempts = 1
	mustPost(t, looking, again)
	posted := s.Posted()
	if len(posted) != 4 {
		t.Fatalf("%d messages, want 4", len(posted))
	}
	for _, m := range posted[1:] {
		if m.ThreadTS != parent {
			t.Errorf("%s is in thread %q, want %s", m.ID, m.ThreadTS, parent)
		}
	}
	// Staff delete the alert: what answers it is said all the same.
	s.Delete(parent)
	mustPost(t, looking, answer("m5"))
	if last := s.Posted()[3]; last.ID != "m5" || last.ThreadTS != "" {
		t.Errorf("got %s in thread %q, want m5 by itself", last.ID, last.ThreadTS)
	}
}

func TestWithoutTheRightToReadAMessageIsSentRatherThanLost(t *testing.T) {
	var log bytes.Buffer
	s, p := onLoopback(t, chattest.Options{}, chat.SlackConfig{Log: slog.New(slog.NewTextHandler(&log, nil))})
	s.Fail(chattest.Fault{Method: "conversations.history", Code: "missing_scope", Times: -1})
	m := note("m1", "text")
	m.Attempts = 1
	mustPost(t, p, m)
	if len(s.Posted()) != 1 || !strings.Contains(log.String(), "missing_scope") {
		t.Errorf("%d messages, log %q", len(s.Posted()), log.String())
	}
}

func TestRefusals(t *testing.T) {
	cases := []struct {
		name    string
		fault   chattest.Fault
		channel string
		token   string
		says    string
	}{
		{"an unknown channel", chattest.Fault{}, "nowhere", "", "there is no channel nowhere"},
		{"a channel the app is not in", chattest.Fault{}, "board", "", "invite it"},
		{"an archived channel", chattest.Fault{}, "old", "", "archived"},
		{"a wrong token", chattest.Fault{}, "staff", "not-the-token", "token is not valid"},
		{"a missing permission", chattest.Fault{Code: "missing_scope"}, "staff", "", "lacks a permission"},
		{"an error nobody knows", chattest.Fault{Code: "brand_new_error"}, "staff", "", "brand_new_error"},
		{"an address that is no chat", chattest.Fault{Status: 404, Body: "not here"}, "staff", "", "api_url"},
		{"a redirect", chattest.Fault{Status: 307, Location: "http://127.0.0.1:1/"}, "staff", "", "status 307"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			s, p := onLoopback(t, chattest.Options{}, chat.SlackConfig{Token: c.token})
			s.AddChannel(chattest.Channel{Name: "board"})
			s.AddChannel(chattest.Channel{Name: "old", Archived: true, Member: true})
			if c.fault != (chattest.Fault{}) {
				s.Fail(c.fault)
			}
			m := note("m1", "text")
			m.Channel = c.channel
			_, err := p.Post(t.Context(), chat.Post{Message: m})
			var refused *chat.RefusedError
			if !errors.Is(err, chat.ErrRefused) || !errors.As(err, &refused) || errors.Is(err, chat.ErrTemporary) {
				t.Fatalf("got %v, want a refusal", err)
			}
			if !strings.Contains(err.Error(), c.says) {
				t.Errorf("%q does not say %q", err, c.says)
			}
			if n := s.Calls("chat.postMessage"); n != 1 {
				t.Errorf("%d calls, want 1", n)
			}
		})
	}
	_, p := onLoopback(t, chattest.Options{}, chat.SlackConfig{})
	if _, err := p.Post(t.Context(), chat.Post{Message: note("m1", " \n\x00")}); !errors.Is(err, chat.ErrRefused) {
		t.Errorf("an empty message: %v", err)
	}
}

func TestTheTokenIsNeverShown(t *testing.T) {
	const token = "secret-token-1234"
	var log bytes.Buffer
	echo := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_ = r.ParseForm()
		fmt.Fprintf(w, "you sent %v %v", r.Header, r.PostForm)
	}))
	defer echo.Close()
	cfg := with(chat.SlackConfig{Token: token, Log: slog.New(slog.NewTextHandler(&log, nil))}, echo.URL+"/"+token+"/")
	cfg.HTTP = &http.Client{Timeout: time.Second}
	for range 2 {
		p := chat.NewSlack(cfg)
		m := note("m1", "text")
		m.Attempts = 1
		_, err := p.Post(t.Context(), chat.Post{Message: m})
		if err == nil {
			t.Fatal("an echo is taken for an answer")
		}
		check := p.Check(t.Context(), []string{"staff"})
		if all := fmt.Sprintf("%v %+v %#v %v %s", err, err, err, check, log.String()); strings.Contains(all, token) {
			t.Errorf("shows the token: %s", all)
		}
		echo.Close() // then a connection that fails
	}
}

func TestARedirectDoesNotCarryTheTokenAway(t *testing.T) {
	away := 0
	elsewhere := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { away++ }))
	defer elsewhere.Close()
	s, p := onLoopback(t, chattest.Options{}, chat.SlackConfig{HTTP: &http.Client{}})
	s.Fail(chattest.Fault{Status: 307, Location: elsewhere.URL})
	if _, err := p.Post(t.Context(), chat.Post{Message: note("m1", "text")}); err == nil || away != 0 {
		t.Errorf("error %v, %d calls elsewhere", err, away)
	}
}

func TestCheck(t *testing.T) {
	s, p := onLoopback(t, chattest.Options{Scopes: "chat:write,channels:read,channels:history"}, chat.SlackConfig{})
	id := s.AddChannel(chattest.Channel{Name: "medical", Private: true, Member: true})
	s.AddChannel(chattest.Channel{Name: "board"})
	s.AddChannel(chattest.Channel{Name: "hidden", Private: true})
	if err := p.Check(t.Context(), []string{"first-team", "#staff", "medical", id}); err != nil {
		t.Errorf("all is well, but: %v", err)
	}
	err := p.Check(t.Context(), []string{"first-team", "board", "hidden"})
	if !errors.Is(err, chat.ErrRefused) || !strings.Contains(err.Error(), `"board"`) || !strings.Contains(err.Error(), `"hidden"`) || strings.Contains(err.Error(), `"first-team"`) {
		t.Errorf("got %v, want board and hidden refused", err)
	}
	s.Fail(chattest.Fault{Method: "auth.test", Status: 503})
	if err := p.Check(t.Context(), nil); !errors.Is(err, chat.ErrTemporary) {
		t.Errorf("a server that is down: %v", err)
	}
	if n := len(s.Posted()); n != 0 {
		t.Errorf("checking posted %d messages", n)
	}
	if err := chat.NewSlack(chat.SlackConfig{}).Check(t.Context(), nil); !errors.Is(err, chat.ErrRefused) {
		t.Errorf("no token: %v", err)
	}
	poor, q := onLoopback(t, chattest.Options{Scopes: "channels:read"}, chat.SlackConfig{})
	_ = poor
	if err := q.Check(t.Context(), []string{"staff"}); err == nil || !strings.Contains(err.Error(), "chat:write") {
		t.Errorf("without the scope to post: %v", err)
	}
}

func TestOneMessageASecondAndChannel(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := chattest.New(chattest.Options{Channels: []string{"first-team", "staff"}, Pace: time.Second})
		p := chat.NewSlack(chat.SlackConfig{Token: chattest.Token, APIURL: s.URL(), HTTP: s.Client()})
		start := time.Now()
		var wg sync.WaitGroup
		for i := range 10 {
			wg.Go(func() {
				m := note(fmt.Sprintf("m%d", i), "text")
				if i >= 5 {
					m.Channel = "staff"
				}
				if _, err := p.Post(t.Context(), chat.Post{Message: m}); err != nil {
					t.Errorf("%s: %v", m.ID, err)
				}
			})
		}
		wg.Wait()
		// The server answers 429 to anything faster, so that 10 calls for 10
		// messages show that none was too early.
		if n := s.Calls("chat.postMessage"); n != 10 || len(s.Posted()) != 10 {
			t.Errorf("%d calls, %d messages, want 10 and 10", n, len(s.Posted()))
		}
		if d := time.Since(start); d != 4*time.Second {
			t.Errorf("5 messages in each of two channels took %s, want 4s", d)
		}
	})
}

func TestRetryAfterIsHonoured(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := chattest.New(chattest.Options{Channels: []string{"first-team", "staff"}})
		p := chat.NewSlack(chat.SlackConfig{Token: chattest.Token, APIURL: s.URL(), HTTP: s.Client()})
		s.Fail(chattest.Fault{Method: "chat.postMessage", RetryAfter: 7 * time.Second})
		start := time.Now()
		if _, err := p.Post(t.Context(), chat.Post{Message: note("m1", "text")}); err != nil {
			t.Fatal(err)
		}
		if d := time.Since(start); d != 7*time.Second {
			t.Errorf("waited %s, want the 7 s asked for", d)
		}
		// A long wait is the caller's: it is told how long, nobody sleeps, and
		// the channel is left alone until then.
		s.Fail(chattest.Fault{Method: "chat.postMessage", RetryAfter: time.Hour})
		time.Sleep(time.Second)
		start = time.Now()
		_, err := p.Post(t.Context(), chat.Post{Message: note("m2", "text")})
		var later *chat.TemporaryError
		if !errors.As(err, &later) || later.RetryAfter != time.Hour || time.Since(start) != 0 {
			t.Fatalf("after %s: %v", time.Since(start), err)
		}
		before := s.Calls("chat.postMessage")
		if _, err := p.Post(t.Context(), chat.Post{Message: note("m3", "text")}); !errors.As(err, &later) || s.Calls("chat.postMessage") != before {
			t.Errorf("called again within the hour: %v", err)
		}
		other := note("m4", "text")
		other.Channel = "staff"
		if _, err := p.Post(t.Context(), chat.Post{Message: other}); err != nil {
			t.Errorf("another channel is held back: %v", err)
		}
		time.Sleep(time.Hour)
		if _, err := p.Post(t.Context(), chat.Post{Message: note("m2", "text")}); err != nil {
			t.Errorf("after the hour: %v", err)
		}
	})
}

func TestACancelledPostGivesUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := chattest.New(chattest.Options{Channels: []string{"first-team"}})
		defer s.Close()
		p := chat.NewSlack(chat.SlackConfig{Token: chattest.Token, APIURL: s.URL(), HTTP: s.Client()})
		s.Fail(chattest.Fault{Method: "chat.postMessage", Hang: true})
		ctx, cancel := context.WithTimeout(t.Context(), 3*time.Second)
		defer cancel()
		start := time.Now()
		_, err := p.Post(ctx, chat.Post{Message: note("m1", "text")})
		if !errors.Is(err, chat.ErrTemporary) || !errors.Is(err, context.DeadlineExceeded) || time.Since(start) != 3*time.Second {
			t.Errorf("after %s: %v", time.Since(start), err)
		}
	})
}
