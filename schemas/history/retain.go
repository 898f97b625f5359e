package history

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
)

// RetainJob is the mark that [Store.Retain] leaves among the slots: when, up to
// which time, and how many rows, without personal data.
const RetainJob = "removed what is older than the club keeps"

// Retained counts what a retention removed.
type Retained struct {
	// Before is the time it was done for: what is older went.
	Before time.Time
	// Removed rows, by stored table.
	Removed map[string]int
}

// Rows returns how many rows were removed in all.
func (r *Retained) Rows() int {
	n := 0
	for _, v := range r.Removed {
		n += v
	}
	return n
}

// String is the audit's line.
func (r *Retained) String() string {
	return fmt.Sprintf("before %s: %d rows removed", r.Before.UTC().Format(time.RFC3339), r.Rows())
}

// retention says what is old in each stored table, in the order in which rows
// go: those that are found through others first. Athletes and slots stay.
var retention = []struct{ table, old string }{
	{"traces", "test_id IN (SELECT test_id FROM stored_tests WHERE start_ms < ?)"},
	{"comparisons", "test_id IN (SELECT test_id FROM stored_assessments WHERE start_ms < ?)"},
	{"assessments", "start_ms < ?"},
	{"athlete_assessments", "start_ms < ?"},
	{"session_assessments", "start_ms < ?"},
	{"assessment_keys", "start_ms < ?"},
	{"session_tests", "start_ms < ?"},
	{"tests", "start_ms < ?"},
	{"loads", "start_ms < ?"},
	{"series", "local_date < ?"},
	{"notes", "made_ms < ?"},
	{"messages", "created_ms < ?"},
	{"alerts", "about_ms < ?"},
	{"corrections", "made_ms < ?"},
	{"file_writes", "seen_ms < ?"},
	{"files", "seen_ms < ?"},
}

// errNoTime keeps a forgotten setting from emptying a history.
var errNoTime = errors.New("no time is given")

func retain(ctx context.Context, e eraser, before time.Time, mark func(r *Retained) error) (*Retained, error) {
	done := &Retained{Before: before.UTC(), Removed: map[string]int{}}
	err := errNoTime
	if !before.IsZero() {
		err = removeOld(ctx, e, done)
	}
	if err == nil && done.Rows() > 0 {
		err = mark(done)
	}
	if err != nil {
		return done, fmt.Errorf("history: retention: %w", err)
	}
	return done, nil
}

func removeOld(ctx context.Context, e eraser, done *Retained) error {
	columns, err := e.textColumns(ctx)
	if err != nil {
		return err
	}
	for _, r := range retention {
		table := r.table
		if _, plain := columns[table]; !plain {
			table = "stored_" + table
		}
		if _, there := columns[table]; !there {
			continue // the other engine's
		}
		arg := any(millis(done.Before))
		if strings.HasPrefix(r.old, "local_date") {
			arg = done.Before.Format(time.DateOnly)
		}
		n, err := e.remove(ctx, table, r.old, []any{arg})
		if err != nil {
			return fmt.Errorf("%s: %w", table, err)
		}
		if n == 0 {
			continue
		}
		done.Removed[table] = n
		if slices.Contains([]string{"traces", "comparisons"}, r.table) {
			// What leads to these rows goes next.
			if err := e.wait(ctx); err != nil {
				return err
			}
		}
	}
	if len(done.Removed) == 0 {
		return nil
	}
	return e.settle(ctx)
}
