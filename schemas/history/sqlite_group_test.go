package history

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"sync"
	"testing"
	"time"
)

// TestAWriteThatFailsLeavesThoseOfItsGroup holds the writer up until many wait,
// so that they share a transaction: each of them is whole or not at all.
func TestAWriteThatFailsLeavesThoseOfItsGroup(t *testing.T) {
	t.Parallel()
	s, err := openSQLite(t.Context(), filepath.Join(t.TempDir(), "history.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = s.Close() }()
	mark := func(tx *sqliteTx, slot string) error {
		_, err := tx.exec(sqliteMarkSlot, "job", slot, "", int64(1))
		return err
	}
	held, begun := make(chan struct{}), make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		err := s.write(t.Context(), "first", func(tx *sqliteTx) error { close(begun); <-held; return mark(tx, "first") })
		if err != nil {
			t.Error(err)
		}
	})
	<-begun
	broken := errors.New("broken")
	const n = 9
	for i := range n {
		wg.Go(func() {
			err := s.write(t.Context(), "one", func(tx *sqliteTx) error {
				if err := mark(tx, fmt.Sprint(i)); err != nil || i%3 != 1 {
					return err
				}
				return broken
			})
			if want := i%3 == 1; errors.Is(err, broken) != want {
				t.Errorf("write %d: %v", i, err)
			}
		})
	}
	for waiting := 0; waiting < n; time.Sleep(time.Millisecond) {
		s.group.mu.Lock()
		waiting = len(s.group.waiting)
		s.group.mu.Unlock()
	}
	close(held)
	wg.Wait()
	for i := range n {
		done, err := s.SlotDone(t.Context(), "job", fmt.Sprint(i))
		if err != nil || done == (i%3 == 1) {
			t.Errorf("write %d: stored %v, %v", i, done, err)
		}
	}
}

// TestAnInterruptedStatementLeavesTheWriterWhole: database/sql closes a connection
// on which a statement was interrupted, and the writer's own statements were of it.
func TestAnInterruptedStatementLeavesTheWriterWhole(t *testing.T) {
	t.Parallel()
	s, err := openSQLite(t.Context(), filepath.Join(t.TempDir(), "history.db"))
	if err != nil {
		t.Fatal(err)
	}
	mark := func(slot string) {
		t.Helper()
		if err := s.MarkSlot(t.Context(), "job", slot, time.Unix(1, 0)); err != nil {
			t.Fatal(err)
		}
	}
	mark("before")
	before := s.writing.conn
	for range 2 {
		ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
		_, err = s.writer.ExecContext(ctx, "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 1e12) DELETE FROM notes WHERE note_id IN (SELECT i FROM n)")
		cancel()
		if err == nil {
			t.Fatal("nothing was interrupted")
		}
	}
	mark("after")
	if s.writing.conn == before {
		t.Error("the connection is the same: this test tries nothing")
	}
	for _, slot := range []string{"before", "after"} {
		if done, err := s.SlotDone(t.Context(), "job", slot); err != nil || !done {
			t.Errorf("%s: stored %v, %v", slot, done, err)
		}
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}
