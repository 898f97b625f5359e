package history

import (
	"context"
	"fmt"
	"sync"
	"time"
)

// groupMost bounds the writes of one transaction, and with it how long a reader
// of another process may see an older state.
const groupMost = 64

// group gathers writes that wait at the same time into one transaction. What a
// durable write costs is the disk's flush at its commit; those who wait for the
// disk together share one. Each write is still whole or not at all.
type group struct {
	mu      sync.Mutex
	waiting []*groupedWrite
	running bool
	hurry   chan struct{} // tells whoever gathers that somebody can't wait
	begun   time.Time     // when the last transaction began; of whoever gathers
	last    int           // how many writes it had; likewise
}

// pace is the least time between the beginnings of two transactions of writes
// that can wait. What files touch of indexes and the disk's flush are then paid
// for once for many of them while many come, and a file that comes alone waits
// for nothing. After a transaction of many it is paceMany: a season that is loaded
// has time. So many as paceMost share all there is to share, and wait no longer;
// they are fewer than a scorer has in hand on two cores, so that these have work.
const (
	pace     = 20 * time.Millisecond
	paceMany = 80 * time.Millisecond
	many     = 6
	paceMost = 56
)

// groupedWrite is one write that waits for its turn.
type groupedWrite struct {
	ctx  context.Context
	fn   func(*sqliteTx) error
	done chan error
}

// write runs fn in a transaction and returns when it is on disk; what names the
// write in errors.
func (s *sqliteStore) write(ctx context.Context, what string, fn func(*sqliteTx) error) error {
	return s.writeSoon(ctx, what, true, fn)
}

// writePatiently is write for one of many: it may wait for others to share a
// transaction with, for the time of a pace.
func (s *sqliteStore) writePatiently(ctx context.Context, what string, fn func(*sqliteTx) error) error {
	return s.writeSoon(ctx, what, false, fn)
}

func (s *sqliteStore) writeSoon(ctx context.Context, what string, hurry bool, fn func(*sqliteTx) error) error {
	w := &groupedWrite{ctx: ctx, fn: fn, done: make(chan error, 1)}
	s.group.mu.Lock()
	s.group.waiting = append(s.group.waiting, w)
	if hurry || len(s.group.waiting) >= paceMost {
		select {
		case s.group.hurry <- struct{}{}:
		default: // somebody has said so
		}
	}
	lead := !s.group.running
	s.group.running = true
	s.group.mu.Unlock()
	if lead {
		go s.writeGroups() //nolint:contextcheck // it writes for all who wait: no one's context ends it
	}
	if err := <-w.done; err != nil {
		return fmt.Errorf("history: save %s: %w", what, err)
	}
	return nil
}

// writeGroups writes until nobody waits.
func (s *sqliteStore) writeGroups() {
	for {
		s.group.gather()
		s.group.mu.Lock()
		n := min(len(s.group.waiting), groupMost)
		batch := s.group.waiting[:n:n]
		s.group.waiting = s.group.waiting[n:]
		if n == 0 {
			s.group.running = false
			s.group.mu.Unlock()
			return
		}
		s.group.mu.Unlock()
		s.group.last = n
		s.writeGroup(batch)
	}
}

// gather waits until the pace allows another transaction, or somebody can't wait.
func (g *group) gather() {
	least := pace
	if g.last >= many {
		least = paceMany
	}
	if left := least - time.Since(g.begun); left > 0 {
		timer := time.NewTimer(left)
		defer timer.Stop()
		select {
		case <-g.hurry:
		case <-timer.C:
		}
	}
	g.begun = time.Now()
}

// writeGroup runs a batch in one transaction and tells each write how it went.
// Writes hardly ever fail, so they follow each other plainly first; when one
// does, all is undone and done again with a savepoint for each, so that the
// others stand.
func (s *sqliteStore) writeGroup(batch []*groupedWrite) {
	errs := make([]error, len(batch))
	var failed bool
	err := s.inTransaction(func(t *sqliteTx) error {
		for i, w := range batch {
			if errs[i] = w.run(t); errs[i] != nil {
				failed = true
				return errs[i]
			}
		}
		return nil
	})
	if failed && len(batch) > 1 {
		clear(errs)
		err = s.inTransaction(func(t *sqliteTx) error {
			for i, w := range batch {
				errs[i] = t.inSavepoint(w)
			}
			return nil
		})
	}
	for i, w := range batch {
		if errs[i] == nil {
			errs[i] = err
		}
		w.done <- errs[i]
	}
}

// run does the write, unless nobody waits for it any more.
func (w *groupedWrite) run(t *sqliteTx) error {
	if err := w.ctx.Err(); err != nil {
		return err
	}
	return w.fn(t)
}
