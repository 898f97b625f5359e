package history

import (
	"context"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"sync"
	"time"
)

// sweepAfter is how many rows a process hides for good before it sweeps: what is
// in stored_hidden is read with every question to a view.
const sweepAfter = 20_000

// sweepQuiet is how many replaced writes are worth a sweep at a quiet hour: beyond
// so many, looking each row up among them takes longer than reading it (a set of the
// server begins with 256 places). A sweep writes anew what parts have rows of them:
// less than a second for a club's history, minutes for ten million tests.
const sweepQuiet = 10

// foldAfter is how many rows it adds to stored_hidden before it has the server
// merge that table, which leaves out what sums to nothing.
const foldAfter = 5_000

// sweeper takes replaced rows away in the background.
type sweeper struct {
	mu      sync.Mutex
	hidden  int // since the last sweep
	added   int // since the table was merged
	running bool
	ctx     context.Context //nolint:containedctx // ends with the store
	cancel  context.CancelFunc
	runs    sync.WaitGroup
}

// count counts what was hidden for good, and begins a sweep when it is time. One
// that fails or is cut short has done no harm: the next does its work too.
func (w *sweeper) count(hs []hiding, sweep, fold func(context.Context) error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, h := range hs {
		w.hidden += int(h.replaced)
	}
	w.added += len(hs)
	if w.added < foldAfter || w.running || w.ctx == nil {
		return
	}
	if w.hidden < sweepAfter {
		sweep = fold
	} else {
		w.hidden = 0
	}
	w.added = 0
	w.run(sweep)
}

// run sweeps in the background; the caller holds mu, and none is running.
func (w *sweeper) run(sweep func(context.Context) error) {
	w.running = true
	w.runs.Go(func() {
		err := sweep(w.ctx)
		if err != nil && w.ctx.Err() == nil {
			slog.Warn("replaced rows of the history were not taken away, or its parts not merged; the next sweep will", "error", err)
		}
		w.mu.Lock()
		defer w.mu.Unlock()
		w.running = false
	})
}

// quiet begins a sweep that does what is worth doing at a quiet hour, unless one
// is running.
func (w *sweeper) quiet(sweep func(context.Context) error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if !w.running && w.ctx != nil {
		w.run(sweep)
	}
}

// Tidy implements [Store].
func (s *clickhouseStore) Tidy(context.Context) error {
	s.sweeps.quiet(func(ctx context.Context) error { return s.sweepFrom(ctx, sweepQuiet, settleFor) })
	return nil
}

// sweepFrom sweeps when so many writes are replaced and not swept, and folds and
// tidies in any case. Each write of a file or assessment has a row in one of two tables.
func (s *clickhouseStore) sweepFrom(ctx context.Context, least uint64, settle time.Duration) error {
	var replaced uint64
	for _, table := range []string{"stored_file_writes", "stored_assessment_keys"} {
		var n uint64
		if err := s.conn.QueryRow(ctx, "SELECT count() FROM "+table+" WHERE write_id IN ("+replacedNow+")").Scan(&n); err != nil {
			return fmt.Errorf("history: sweep: %w", err)
		}
		replaced += n
	}
	if replaced >= least {
		return s.sweep(ctx, settle)
	}
	return s.foldAndTidy(ctx)
}

// end ends a sweep under way.
func (w *sweeper) end() {
	if w.cancel != nil {
		w.cancel()
	}
	w.runs.Wait()
}

// sweptTables are the tables from which all rows of a replaced write may go. In
// stored_tests those of tests that are no longer found stay: see
// [TestFilter.IncludeRemoved].
var sweptTables = []string{"stored_traces", "stored_loads", "stored_series", "stored_session_tests", "stored_file_writes",
	"stored_athlete_assessments", "stored_assessment_keys", "stored_session_assessments"}

// settleFor is longer than a question takes from the moment it learns what is
// hidden to the moment it opens the tables.
const settleFor = 5 * time.Second

// sweep takes away the rows of the writes that are replaced now, and then their
// numbers. It can be cut short anywhere: numbers go last. On a cluster it does
// nothing yet.
func (s *clickhouseStore) sweep(ctx context.Context, settle time.Duration) error {
	if s.cluster != nil {
		return nil
	}
	run := rand.Uint64()
	these := fmt.Sprintf("write_id IN (SELECT write_id FROM stored_swept WHERE run = %d)", run)
	if err := s.conn.Exec(ctx, fmt.Sprintf("INSERT INTO stored_swept (run, write_id) SELECT toUInt64(%d) AS run, write_id FROM (%s)", run, replacedNow)); err != nil {
		return fmt.Errorf("history: sweep: %w", err)
	}
	steps := make([]string, 0, len(sweptTables)+1)
	for _, table := range sweptTables {
		steps = append(steps, "ALTER TABLE "+table+" DELETE WHERE "+these)
	}
	// Whether a test is there still is asked for those of these writes alone, as a
	// set of all tests takes more memory than the server may have.
	steps = append(steps, "ALTER TABLE stored_tests DELETE WHERE "+these+" AND test_id IN (SELECT test_id FROM stored_tests WHERE write_id NOT IN ("+hiddenNow+")"+
		" AND test_id IN (SELECT test_id FROM stored_tests WHERE "+these+"))")
	if err := s.mutate(ctx, steps...); err != nil {
		return fmt.Errorf("history: sweep: %w", err)
	}
	select {
	case <-time.After(settle):
	case <-ctx.Done():
		return ctx.Err()
	}
	err := s.mutate(ctx, "ALTER TABLE stored_hidden DELETE WHERE "+these+" AND write_id NOT IN (SELECT write_id FROM stored_tests WHERE "+these+")")
	if err == nil {
		err = s.mutate(ctx, fmt.Sprintf("ALTER TABLE stored_swept DELETE WHERE run = %d", run))
	}
	if err == nil {
		err = s.foldAndTidy(ctx)
	}
	if err != nil {
		return fmt.Errorf("history: sweep: %w", err)
	}
	return nil
}

// fold has the server merge stored_hidden.
func (s *clickhouseStore) fold(ctx context.Context) error {
	if s.cluster != nil {
		return nil
	}
	return s.conn.Exec(ctx, "OPTIMIZE TABLE stored_hidden FINAL")
}

// foldAndTidy is fold, and tidy for what this process writes little by little.
func (s *clickhouseStore) foldAndTidy(ctx context.Context) error {
	err := s.fold(ctx)
	if err == nil && !s.writesInBulk() {
		err = s.tidy(ctx, tidyWhen)
	}
	return err
}

// mutate runs the statements and waits until the server has done them.
func (s *clickhouseStore) mutate(ctx context.Context, statements ...string) error {
	for _, statement := range statements {
		if err := s.conn.Exec(ctx, statement); err != nil {
			return err
		}
	}
	return clickhouseEraser{s}.settle(ctx)
}
