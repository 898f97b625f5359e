package history

import (
	"context"
	"hash/maphash"
	"math"
	"math/rand/v2"
	"sync"
)

// bulk is what this process writes in bulk into one table: rows under numbers in a
// row, and whose rows they are.
type bulk struct {
	mu          sync.Mutex
	first, next uint64              // numbers given out: first ≤ number < next
	known       map[uint64]struct{} // hashes of the names that have begun
	twice       map[uint64]struct{} // of those that did so more than once
	seed        maphash.Seed
	full        bool // there were too many to remember
}

// mostKnown ends the memory of names: some 300 MB.
const mostKnown = 20_000_000

// take returns the first of n numbers in a row.
func (b *bulk) take(n int) uint64 {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.next == 0 {
		b.first = 1 + rand.Uint64N(math.MaxInt64) //nolint:gosec // to be unlike others, not secret
		b.next = b.first
		b.known, b.twice, b.seed = make(map[uint64]struct{}), make(map[uint64]struct{}), maphash.MakeSeed()
	}
	first := b.next
	b.next += uint64(n)
	return first
}

// begin remembers whose rows are about to be written, whether or not that succeeds.
func (b *bulk) begin(names []string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.full {
		return
	}
	for _, name := range names {
		h := maphash.String(b.seed, name)
		if _, there := b.known[h]; there {
			b.twice[h] = struct{}{}
		}
		b.known[h] = struct{}{}
	}
	if len(b.known) > mostKnown {
		b.full = true
		b.known, b.twice = nil, nil // nobody asks any more: see alone
	}
}

// again returns which of the names have begun more than once. Asked when their
// rows are there, at least the later of two writers of a name is told so.
func (b *bulk) again(names []string) []int {
	b.mu.Lock()
	defer b.mu.Unlock()
	var again []int
	for i, name := range names {
		if _, there := b.twice[maphash.String(b.seed, name)]; there {
			again = append(again, i)
		}
	}
	return again
}

// alone tells whether a table has no rows but those that were written in bulk by
// this process, and it remembers whose they are.
func (s *clickhouseStore) alone(ctx context.Context, table string, b *bulk) (bool, error) {
	b.mu.Lock()
	first, next, full := b.first, b.next, b.full
	b.mu.Unlock()
	if full {
		return false, nil
	}
	ctx, err := detached(ctx)
	if err != nil {
		return false, err
	}
	var others uint64
	err = s.conn.QueryRow(ctx, "SELECT count() FROM "+table+" WHERE write_id < ? OR write_id >= ?", first, next).Scan(&others)
	return others == 0, err
}
