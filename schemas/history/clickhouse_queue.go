package history

import (
	"context"
	"sync"
)

// fileQueue gathers the files that are to be saved at one time, so that many
// scorers make few large inserts: each insert is a part on the server's disk
// that has to be merged. Whoever finds nobody writing writes for all who wait.
type fileQueue struct {
	flush func(context.Context, []*fileWrite) error

	mu      sync.Mutex
	waiting []*fileWrite
	writing bool
	runs    sync.WaitGroup
}

// maxFlush keeps the statement that asks for the files' versions well below
// the server's limit of 256 KiB.
const maxFlush = 500

// save queues the write and returns when it is stored.
func (q *fileQueue) save(ctx context.Context, w *fileWrite) error {
	w.done = make(chan error, 1)
	q.mu.Lock()
	q.waiting = append(q.waiting, w)
	lead := !q.writing
	q.writing = true
	q.mu.Unlock()
	if lead {
		// Others wait for this: it doesn't end with the first one's context.
		ctx := context.WithoutCancel(ctx)
		q.runs.Go(func() { q.run(ctx) })
	}
	select {
	case err := <-w.done:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (q *fileQueue) run(ctx context.Context) {
	for {
		batch := q.take()
		if len(batch) == 0 {
			return
		}
		err := q.flush(ctx, batch)
		for _, w := range batch {
			w.done <- err
		}
	}
}

// take returns what is to be written next: the first write of each waiting
// file; nil, and nobody writing, when none is left.
func (q *fileQueue) take() []*fileWrite {
	q.mu.Lock()
	defer q.mu.Unlock()
	var batch, rest []*fileWrite
	seen := make(map[string]bool)
	for _, w := range q.waiting {
		if seen[w.id] || len(batch) == maxFlush {
			rest = append(rest, w)
			continue
		}
		seen[w.id] = true
		batch = append(batch, w)
	}
	q.waiting = rest
	q.writing = len(batch) > 0
	return batch
}
