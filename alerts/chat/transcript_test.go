package chat_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"canter.example/alerts/chat"
	"canter.example/schemas"
)

// TestATranscriptKeepsThreadsAndPictures: channels one after the other, answers
// under their messages, each message once, names that can't become markup.
func TestATranscriptKeepsThreadsAndPictures(t *testing.T) {
	var printed bytes.Buffer
	tr := chat.NewTranscript(chat.NewTerminal(&printed, ""))
	lisbon, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Fatal(err)
	}
	at := time.Date(2026, 9, 22, 17, 0, 0, 0, time.UTC)
	post := func(id, channel, thread, text string, pictures ...chat.Picture) {
		t.Helper()
		p := chat.Post{Message: schemas.Message{ID: id, Channel: channel, Thread: thread, Text: text, Created: at}, Pictures: pictures}
		if _, err := tr.Post(t.Context(), p); err != nil {
			t.Fatal(err)
		}
		at = at.Add(time.Hour)
	}
	post("m1", "#first", "", "First squad: 1 deserves a look\n1. <b>A. Sample</b> & co")
	post("m2", "#second", "", "Second squad: nobody stands out")
	post("a1", "#first", "m1", "A. Sample: HRex higher\nnumbers", chat.Picture{Title: "Trace", Alt: "A trace of \"A. Sample\"", PNG: []byte("PNG")})
	for range 2 {
		post("m3", "#first", "", "Later\ntext")
	}
	if tr.Len() != 4 {
		t.Errorf("%d messages kept, want 4", tr.Len())
	}
	if n := strings.Count(printed.String(), "----"); n != 4 {
		t.Errorf("%d messages passed on, want 4:\n%s", n, printed.String())
	}
	var page bytes.Buffer
	if err := tr.WritePage(&page, "Title", "Intro", lisbon); err != nil {
		t.Fatal(err)
	}
	text := page.String()
	last := -1
	for _, want := range []string{
		"<h1>Title</h1>", "#first</a>: 2 messages", "#second</a>: 1 messages",
		`<h2 id="channel-1">#first</h2>`, "Tuesday, 22 September 2026", "Tue 22 Sep 2026, 18:00", "First squad: 1 deserves a look",
		"1. &lt;b&gt;A. Sample&lt;/b&gt; &amp; co", "1 in its thread", "A. Sample: HRex higher",
		`<img src="data:image/png;base64,UE5H" alt="A trace of &#34;A. Sample&#34;">`, "Later",
		`<h2 id="channel-2">#second</h2>`, "nobody stands out",
	} {
		i := strings.Index(text, want)
		if i < last {
			t.Errorf("%q is at %d, want it after %d", want, i, last)
		}
		last = max(i, last)
	}
	if n := strings.Count(text, "Tuesday, 22 September 2026"); n != 2 {
		t.Errorf("the day stands %d times, want once a channel", n)
	}
	if strings.Contains(text, "<script") || strings.Contains(text, "http") && !strings.Contains(text, "http-equiv") {
		t.Error("the page is not self-contained")
	}
}
