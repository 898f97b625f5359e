package history

import (
	"context"
	"fmt"
	"time"
)

// tidiedTables are those that are asked by athlete or squad, and the files of what is
// found there. A question opens each part of a table, and of each part each column: of
// an athlete's few hundred rows in five large parts it takes three times as long as of
// one. A file's name is looked for in each part, as it may be in any.
var tidiedTables = []string{"stored_tests", "stored_session_tests", "stored_athlete_assessments", "stored_session_assessments", "stored_loads",
	"stored_file_writes", "stored_assessment_keys"}

// tidyWhen is the share of a table's rows outside its largest part from which on the
// server merges it to one: the small parts of a few months cost a question little,
// and a row is written anew a few times in all.
const tidyWhen = 0.2

// tidyMost is how long a merge of a whole table may take: a minute for ten million
// tests on two cores.
const tidyMost = time.Hour

// Settle puts in order what came in many writes, such as years of history, where
// it is in ClickHouse: rows that were replaced are taken away, as what is hidden is
// read with every question, and each table that questions go to becomes one part.
// It does nothing in SQLite, nor on a cluster. The service does so by itself as rows
// come, and at night: see [Store.Tidy].
func Settle(ctx context.Context, s Store) error {
	c, ok := s.(*clickhouseStore)
	if !ok {
		return nil
	}
	if err := c.sweepFrom(ctx, 1, settleFor); err != nil {
		return fmt.Errorf("history: settle: %w", err)
	}
	return c.tidy(ctx, 0)
}

// tidy has the server merge the tables of which a larger share than this is outside
// the largest part. A merge under way, or a disk too full for one, is no error: the
// next time does it.
func (s *clickhouseStore) tidy(ctx context.Context, share float64) error {
	if s.cluster != nil {
		return nil
	}
	for _, table := range tidiedTables {
		var all, largest uint64
		if err := s.conn.QueryRow(ctx, "SELECT sum(rows), max(rows) FROM system.parts WHERE database = currentDatabase() AND table = ? AND active", table).Scan(&all, &largest); err != nil {
			return fmt.Errorf("history: parts of %s: %w", table, err)
		}
		if float64(all-largest) <= share*float64(all) {
			continue
		}
		// The server says nothing until it is done, which takes longer than it
		// may be silent for otherwise.
		patient, cancel := context.WithTimeout(ctx, tidyMost)
		err := s.conn.Exec(patient, "OPTIMIZE TABLE "+table+" FINAL")
		cancel()
		if err != nil {
			return fmt.Errorf("history: merge %s: %w", table, err)
		}
	}
	return nil
}

// writesInBulk tells whether this process does: whoever loads years settles them
// when they are there, not again and again as they come.
func (s *clickhouseStore) writesInBulk() bool {
	for _, b := range []*bulk{&s.bulk, &s.bulkOf} {
		b.mu.Lock()
		begun := b.next != 0
		b.mu.Unlock()
		if begun {
			return true
		}
	}
	return false
}
