package chat

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"

	"canter.example/schemas"
)

// remembered is how many message ids a terminal keeps to tell repeats.
const remembered = 4096

// terminal prints messages. It remembers what it printed while it runs; what
// an earlier process printed it can't see, so a message that was printed but
// not yet marked as sent when the process died is printed again.
type terminal struct {
	mu   sync.Mutex
	w    io.Writer
	done map[string]bool
	ring []string
	next int
}

// NewTerminal returns a chat that prints to w. It may be used by several
// goroutines; a message is written in one piece.
func NewTerminal(w io.Writer) Poster {
	return &terminal{w: w, done: make(map[string]bool), ring: make([]string, remembered)}
}

// Post prints the message under the name of its channel. The reference is the
// message's id.
func (t *terminal) Post(ctx context.Context, p Post) (string, error) {
	m := p.Message
	if err := ctx.Err(); err != nil {
		return "", classify(err, m.Channel, "")
	}
	if strings.TrimSpace(printable(m.Text)) == "" {
		return "", &RefusedError{Reason: remedies["no_text"]}
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.done[m.ID] {
		return m.ID, nil
	}
	if _, err := io.WriteString(t.w, layout(m)); err != nil {
		return "", &TemporaryError{Reason: "can't write to the terminal: " + err.Error(), err: err}
	}
	delete(t.done, t.ring[t.next])
	t.ring[t.next], t.done[m.ID] = m.ID, true
	t.next = (t.next + 1) % len(t.ring)
	return m.ID, nil
}

// Check fails when there is nothing to write to.
func (t *terminal) Check(context.Context, []string) error {
	if t.w == nil {
		return &RefusedError{Reason: errors.New("there is no terminal to write to").Error()}
	}
	return nil
}

// layout is the message as printed: a heading, the text set in, a blank line.
func layout(m schemas.Message) string {
	var b strings.Builder
	channel := printable(m.Channel)
	if channel == "" {
		channel = "staff"
	}
	if m.Thread == "" {
		fmt.Fprintf(&b, "---- to %s\n", channel)
	} else {
		fmt.Fprintf(&b, "---- to %s, about message %s\n", channel, printable(m.Thread))
	}
	for line := range strings.Lines(strings.TrimSpace(printable(m.Text))) {
		b.WriteString("  " + strings.TrimRight(line, "\n ") + "\n")
	}
	b.WriteString("\n")
	return b.String()
}
