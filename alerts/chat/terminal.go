package chat

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"canter.example/schemas"
)

// remembered is how many message ids a terminal keeps to tell repeats.
const remembered = 4096

// terminal prints messages. What was printed it can't see again, so it keeps a
// record of its own: the ids, a line each, in a file.
type terminal struct {
	mu     sync.Mutex
	w      io.Writer
	record string
	opened bool
	done   map[string]bool
	ring   []string
	next   int
}

// NewTerminal returns a chat that prints to w. It may be used by several
// goroutines; a message is written in one piece.
//
// Record is a file that outlives the process, "" for none: a message that was
// printed but not yet marked as sent when the process died is found there, by
// whoever tries it next, and not printed again. Between the print and its record are two system calls; who
// dies just there, or has no record, prints it once more, and the message says
// that it may have been shown before.
func NewTerminal(w io.Writer, record string) Poster {
	return &terminal{w: w, record: record, done: make(map[string]bool), ring: make([]string, remembered)}
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
	if m.Attempts > 0 && !t.done[m.ID] {
		t.opened = false // another process may have printed it since
	}
	if err := t.recall(); err != nil {
		return "", &TemporaryError{Reason: "can't read what was printed before: " + err.Error(), err: err}
	}
	if t.done[m.ID] {
		return m.ID, nil
	}
	if _, err := io.WriteString(t.w, layout(m)); err != nil {
		return "", &TemporaryError{Reason: "can't write to the terminal: " + err.Error(), err: err}
	}
	t.remember(m.ID)
	t.note(m.ID)
	return m.ID, nil
}

func (t *terminal) remember(id string) {
	delete(t.done, t.ring[t.next])
	t.ring[t.next], t.done[id] = id, true
	t.next = (t.next + 1) % len(t.ring)
}

// recall reads the record, once until it is asked for anew, and shortens one
// that has grown long. Processes that share a data folder share the record; of
// all of them one at a time sends messages, so that nobody adds to it meanwhile.
func (t *terminal) recall() error {
	if t.opened || t.record == "" {
		return nil
	}
	b, err := os.ReadFile(t.record)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	ids := strings.Fields(string(b))
	if n := len(ids); n > 2*remembered || len(b) > 0 && b[len(b)-1] != '\n' {
		ids = ids[max(0, n-remembered):]
		if err := t.rewrite(ids); err != nil {
			return err
		}
	}
	for _, id := range ids {
		if !t.done[id] {
			t.remember(id)
		}
	}
	t.opened = true
	return nil
}

// rewrite puts a record of these ids in the place of the one that is there.
func (t *terminal) rewrite(ids []string) (err error) {
	f, err := os.CreateTemp(filepath.Dir(t.record), filepath.Base(t.record)+".*")
	if err != nil {
		return err
	}
	_, err = f.WriteString(strings.Join(ids, "\n") + "\n")
	if err = errors.Join(err, f.Close()); err == nil {
		err = os.Rename(f.Name(), t.record)
	}
	if err != nil {
		_ = os.Remove(f.Name())
	}
	return err
}

// note adds a printed message to the record. Trouble with that is none of the
// message's, which is out.
func (t *terminal) note(id string) {
	if t.record == "" {
		return
	}
	if err := os.MkdirAll(filepath.Dir(t.record), 0o700); err != nil {
		return
	}
	f, err := os.OpenFile(t.record, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		return
	}
	_, _ = f.WriteString(id + "\n")
	_ = f.Close()
}

// Check fails when there is nothing to write to.
func (t *terminal) Check(context.Context, []string) error {
	if t.w == nil {
		return &RefusedError{Reason: "there is no terminal to write to"}
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
	fmt.Fprintf(&b, "---- to %s", channel)
	if m.Thread != "" {
		fmt.Fprintf(&b, ", about message %s", printable(m.Thread))
	}
	if m.Attempts > 0 {
		b.WriteString(" (may have been shown before)")
	}
	b.WriteString("\n")
	for line := range strings.Lines(strings.TrimSpace(printable(m.Text))) {
		b.WriteString("  " + strings.TrimRight(line, "\n ") + "\n")
	}
	b.WriteString("\n")
	return b.String()
}
