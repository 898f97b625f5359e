package history

import (
	"context"
	"database/sql"
	"fmt"
	"sync"
)

// A write in bulk is of thousands of rows, such as years of history. Most indexes
// are of SHA-256 names, so a row falls on any page of them: the pages are read,
// and written twice, once for each transaction that touches them. So a transaction
// takes tens of thousands of files, and meanwhile the writer keeps what a million
// tests have of such pages, and the log grows to as many before they are put in
// their places.
const (
	bulkFrom  = 5_000  // rows, from which on a write is in bulk
	bulkOnce  = 50_000 // files of one transaction: others who write wait for its end, some seconds
	bulkCache = 512 << 10
	bulkLog   = 128 << 10
)

// sqliteBulk are the writes in bulk under way.
type sqliteBulk struct {
	mu sync.Mutex
	n  int
}

// begin prepares the writer for a write of so many rows; end is to be called
// when they are written.
func (b *sqliteBulk) begin(ctx context.Context, writer *sql.DB, rows int) (end func() error, err error) {
	if rows < bulkFrom {
		return func() error { return nil }, nil
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.n == 0 {
		if err := setCache(ctx, writer, bulkCache, bulkLog); err != nil {
			return nil, err
		}
	}
	b.n++
	ctx = context.WithoutCancel(ctx)
	return func() error {
		b.mu.Lock()
		defer b.mu.Unlock()
		if b.n--; b.n > 0 {
			return nil
		}
		if err := setCache(ctx, writer, sqliteCache, sqliteLog); err != nil {
			return err
		}
		// As far as readers let it; the next checkpoint does what is left.
		_, err := writer.ExecContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)")
		return err
	}, nil
}

func setCache(ctx context.Context, writer *sql.DB, kib, pages int) error {
	for _, text := range []string{fmt.Sprintf("PRAGMA cache_size = -%d", kib), fmt.Sprintf("PRAGMA wal_autocheckpoint = %d", pages)} {
		if _, err := writer.ExecContext(ctx, text); err != nil {
			return err
		}
	}
	return nil
}
