package chat_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"canter.example/alerts/chat"
	"canter.example/schemas"
)

func TestTheTerminalPrintsAMessageOnce(t *testing.T) {
	var out bytes.Buffer
	p := chat.NewTerminal(&out, "")
	m := schemas.Message{ID: "m1", Channel: "first-team", Text: "A. Sample: HRex higher\x1b[2J\nline two\n"}
	for range 2 {
		if ref, err := p.Post(t.Context(), chat.Post{Message: m}); err != nil || ref != "m1" {
			t.Fatalf("reference %q, %v", ref, err)
		}
	}
	answer := schemas.Message{ID: "m2", Channel: "first-team", Thread: "m1", Text: "Withdrawn."}
	if _, err := p.Post(t.Context(), chat.Post{Message: answer}); err != nil {
		t.Fatal(err)
	}
	want := "---- to first-team\n  A. Sample: HRex higher[2J\n  line two\n\n" +
		"---- to first-team, about message m1\n  Withdrawn.\n\n"
	if out.String() != want {
		t.Errorf("printed\n%s\nwant\n%s", out.String(), want)
	}
	if err := p.Check(t.Context(), []string{"any"}); err != nil {
		t.Error(err)
	}
}

func TestTheTerminalKeepsMessagesWhole(t *testing.T) {
	var out bytes.Buffer
	p := chat.NewTerminal(&out, "")
	var wg sync.WaitGroup
	for i := range 50 {
		wg.Go(func() {
			text := strings.Repeat(fmt.Sprintf("line of %d\n", i), 5)
			if _, err := p.Post(t.Context(), chat.Post{Message: schemas.Message{ID: fmt.Sprint(i), Channel: "c", Text: text}}); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	for i := range 50 {
		if whole := strings.Repeat(fmt.Sprintf("  line of %d\n", i), 5); !strings.Contains(out.String(), whole) {
			t.Errorf("message %d is torn", i)
		}
	}
}

type broken struct{}

func (broken) Write([]byte) (int, error) { return 0, errors.New("pipe closed") }

func TestWhatTheTerminalCannotDo(t *testing.T) {
	p := chat.NewTerminal(broken{}, "")
	m := schemas.Message{ID: "m1", Text: "text"}
	if _, err := p.Post(t.Context(), chat.Post{Message: m}); !errors.Is(err, chat.ErrTemporary) {
		t.Errorf("a broken pipe: %v", err)
	}
	m.Text = " "
	if _, err := p.Post(t.Context(), chat.Post{Message: m}); !errors.Is(err, chat.ErrRefused) {
		t.Errorf("an empty message: %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	m.Text = "text"
	if _, err := p.Post(ctx, chat.Post{Message: m}); !errors.Is(err, chat.ErrTemporary) || !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	if err := chat.NewTerminal(nil, "").Check(t.Context(), nil); !errors.Is(err, chat.ErrRefused) {
		t.Errorf("no terminal: %v", err)
	}
}

// TestTheTerminalRemembersAcrossProcesses is a process that died after printing
// and before it could say so.
func TestTheTerminalRemembersAcrossProcesses(t *testing.T) {
	record := filepath.Join(t.TempDir(), "printed")
	m := schemas.Message{ID: "m1", Channel: "c", Text: "once"}
	var out bytes.Buffer
	post := func(m schemas.Message) {
		t.Helper()
		if _, err := chat.NewTerminal(&out, record).Post(t.Context(), chat.Post{Message: m}); err != nil {
			t.Fatal(err)
		}
	}
	post(m)
	m.Attempts = 1
	post(m)
	if want := "---- to c\n  once\n\n"; out.String() != want {
		t.Errorf("printed\n%s\nwant\n%s", out.String(), want)
	}
	if info, err := os.Stat(record); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("record: %v, %v", info, err)
	}
	// Died before the record was whole: shown again, and said to be so.
	if err := os.WriteFile(record, []byte("m0\nm"), 0o600); err != nil {
		t.Fatal(err)
	}
	out.Reset()
	post(m)
	post(m)
	if want := "---- to c (may have been shown before)\n  once\n\n"; out.String() != want {
		t.Errorf("printed\n%s\nwant\n%s", out.String(), want)
	}
}

func TestTheTerminalsRecordStaysShort(t *testing.T) {
	record := filepath.Join(t.TempDir(), "printed")
	var old strings.Builder
	for i := range 10_000 {
		fmt.Fprintf(&old, "m%d\n", i)
	}
	if err := os.WriteFile(record, []byte(old.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	p := chat.NewTerminal(&out, record)
	for _, id := range []string{"m9999", "m6000", "new"} {
		if _, err := p.Post(t.Context(), chat.Post{Message: schemas.Message{ID: id, Channel: "c", Text: id}}); err != nil {
			t.Fatal(err)
		}
	}
	if want := "---- to c\n  new\n\n"; out.String() != want {
		t.Errorf("printed\n%s\nwant\n%s", out.String(), want)
	}
	b, err := os.ReadFile(record)
	if err != nil || len(b) > 50_000 || !strings.HasSuffix(string(b), "m9999\nnew\n") {
		t.Errorf("%d bytes, %v", len(b), err)
	}
}

// TestTheTerminalSeesWhatAnotherProcessPrinted: two processes share a data
// folder; one prints and dies before it can say so, the other has long read the
// record.
func TestTheTerminalSeesWhatAnotherProcessPrinted(t *testing.T) {
	record := filepath.Join(t.TempDir(), "printed")
	var one, other bytes.Buffer
	first, second := chat.NewTerminal(&one, record), chat.NewTerminal(&other, record)
	post := func(p chat.Poster, m schemas.Message) {
		t.Helper()
		if _, err := p.Post(t.Context(), chat.Post{Message: m}); err != nil {
			t.Fatal(err)
		}
	}
	post(second, schemas.Message{ID: "m0", Channel: "c", Text: "before"})
	m := schemas.Message{ID: "m1", Channel: "c", Text: "once"}
	post(first, m)
	m.Attempts = 1
	post(second, m)
	if strings.Contains(other.String(), "once") || !strings.Contains(one.String(), "once") {
		t.Errorf("one printed\n%s\nthe other\n%s", one.String(), other.String())
	}
}
