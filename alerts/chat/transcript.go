package chat

import (
	"context"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"
	"sync"
	"time"
)

// Transcript is a chat that keeps what another one is told and writes it down
// as a page, with answers under their messages and pictures under their text,
// as a chat that can show them would. It is for trying things out: it keeps
// everything in memory. Several goroutines may use it.
type Transcript struct {
	next Poster

	mu    sync.Mutex
	roots []*entry
	by    map[string]*entry
}

// entry is a message with the answers in its thread.
type entry struct {
	post    Post
	answers []*entry
}

// NewTranscript returns a transcript of what is posted to next.
func NewTranscript(next Poster) *Transcript {
	return &Transcript{next: next, by: map[string]*entry{}}
}

// ShowsPictures is always so.
func (t *Transcript) ShowsPictures() bool { return true }

// Check asks the chat that is written down.
func (t *Transcript) Check(ctx context.Context, channels []string) error {
	return t.next.Check(ctx, channels)
}

// Post passes p on and keeps it once.
func (t *Transcript) Post(ctx context.Context, p Post) (string, error) {
	ref, err := t.next.Post(ctx, p)
	if err != nil {
		return "", err
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.by[p.ID] != nil {
		return ref, nil
	}
	e := &entry{post: p}
	t.by[p.ID] = e
	if root := t.by[p.Thread]; root != nil {
		root.answers = append(root.answers, e)
	} else {
		t.roots = append(t.roots, e)
	}
	return ref, nil
}

// Len is the number of messages that were posted.
func (t *Transcript) Len() int {
	t.mu.Lock()
	defer t.mu.Unlock()
	return len(t.by)
}

//go:embed transcript.html
var transcriptHTML string

// transcriptPage writes a page that needs nothing else: pictures are inside it.
var transcriptPage = template.Must(template.New("transcript").Parse(transcriptHTML))

// transcriptData is what the page shows.
type transcriptData struct {
	Title, Intro string
	Channels     []transcriptChannel
}

type transcriptChannel struct {
	Anchor, Name string
	Messages     []transcriptMessage
}

type transcriptMessage struct {
	Day      string // where a new one begins, else ""
	At       string
	Headline string
	Text     string
	Pictures []transcriptPicture
	Answers  []transcriptMessage
}

type transcriptPicture struct {
	Src   template.URL
	Title string
	Alt   string
}

// WritePage writes the channels one after the other, each message with its
// answers, times in the zone given. intro says in a sentence what it is.
func (t *Transcript) WritePage(w io.Writer, title, intro string, zone *time.Location) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	d := transcriptData{Title: title, Intro: intro}
	at := map[string]int{}
	for _, e := range t.roots {
		name := printable(e.post.Channel)
		if name == "" {
			name = "staff"
		}
		i, known := at[name]
		if !known {
			i = len(d.Channels)
			at[name] = i
			d.Channels = append(d.Channels, transcriptChannel{Anchor: fmt.Sprintf("channel-%d", i+1), Name: name})
		}
		c := &d.Channels[i]
		m := e.shown(zone, "Mon 2 Jan 2006, 15:04")
		m.Day = e.post.Created.In(zone).Format("Monday, 2 January 2006")
		if n := len(c.Messages); n > 0 && lastDay(c.Messages) == m.Day {
			m.Day = ""
		}
		c.Messages = append(c.Messages, m)
	}
	return transcriptPage.Execute(w, d)
}

// lastDay is the day of the last message.
func lastDay(list []transcriptMessage) string {
	for _, m := range slices.Backward(list) {
		if m.Day != "" {
			return m.Day
		}
	}
	return ""
}

// shown is a message as the page has it: its first line bold, as a chat has it.
func (e *entry) shown(zone *time.Location, layout string) transcriptMessage {
	m := transcriptMessage{At: e.post.Created.In(zone).Format(layout)}
	m.Headline, m.Text, _ = strings.Cut(strings.TrimSpace(printable(e.post.Text)), "\n")
	for _, p := range e.post.Pictures {
		src := "data:image/png;base64," + base64.StdEncoding.EncodeToString(p.PNG)
		m.Pictures = append(m.Pictures, transcriptPicture{Src: template.URL(src), Title: printable(p.Title), Alt: printable(p.Alt)}) //nolint:gosec // our own PNG, in base64
	}
	for _, a := range e.answers {
		m.Answers = append(m.Answers, a.shown(zone, layout))
	}
	return m
}
