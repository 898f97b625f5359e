package scorer

import (
	"context"
	"errors"
	"sync"
)

// reading lets those who want the same of the history at the same time read it once:
// the files whose results were stored by one transaction look at the same session
// right after it. What somebody is given was read after they asked, so it has all
// that they stored before.
type reading[T any] struct {
	read func(ctx context.Context, what string) (T, error)

	mu   sync.Mutex
	next map[string]*readOnce[T] // those that have not begun: who comes now has a part in them
	busy map[string]*readOnce[T] // those that have
}

// readOnce is one look into the history, for all who have a part in it.
type readOnce[T any] struct {
	done  chan struct{} // closed when it is over
	value T
	err   error
}

// errNotRead is that of a look that ended in a panic.
var errNotRead = errors.New("scorer: the look into the history that this one had a part in failed")

func newReading[T any](read func(ctx context.Context, what string) (T, error)) *reading[T] {
	return &reading[T]{read: read, next: map[string]*readOnce[T]{}, busy: map[string]*readOnce[T]{}}
}

// of returns what was read. Others have it, too: it is not to be changed.
func (r *reading[T]) of(ctx context.Context, what string) (T, error) {
	r.mu.Lock()
	one, before := r.next[what], r.busy[what]
	if one != nil {
		r.mu.Unlock()
		select {
		case <-one.done:
		case <-ctx.Done():
			var none T
			return none, ctx.Err()
		}
		if one.err != nil {
			return r.read(ctx, what) // whoever read for both may have been called off
		}
		return one.value, nil
	}
	one = &readOnce[T]{done: make(chan struct{}), err: errNotRead}
	r.next[what] = one
	r.mu.Unlock()
	if before != nil {
		<-before.done
	}
	r.mu.Lock()
	delete(r.next, what)
	r.busy[what] = one
	r.mu.Unlock()
	defer func() {
		r.mu.Lock()
		if r.busy[what] == one {
			delete(r.busy, what)
		}
		r.mu.Unlock()
		close(one.done)
	}()
	one.value, one.err = r.read(ctx, what)
	return one.value, one.err
}
