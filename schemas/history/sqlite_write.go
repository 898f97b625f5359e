package history

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"canter.example/schemas"
)

// SaveFile implements [Store].
func (s *sqliteStore) SaveFile(ctx context.Context, f schemas.File, tests []schemas.Outcome, traces map[schemas.TestID][]schemas.TraceSecond) error {
	return s.SaveResult(ctx, FileResult{File: f, Tests: tests, Traces: traces})
}

// sqliteWrite is one SaveResult, ready to be written: all that can be made
// before is, so that the write lock is held briefly.
type sqliteWrite struct {
	id, version  any
	isNew        bool // see FileResult.New
	file         []any
	tests, trace [][]any
	loads        [][]any
	series       sqliteSeries
	buffers      []*[]byte // where the traces' texts are
}

// traceBuffers are where texts of traces grow: with ten kilobytes and more they are
// most of what a write needs of memory.
var traceBuffers = sync.Pool{New: func() any { return new([]byte) }}

// release gives up the memory of a write that is done.
func (w *sqliteWrite) release() {
	for _, b := range w.buffers {
		traceBuffers.Put(b)
	}
	w.buffers, w.trace = nil, nil
}

func newSQLiteWrite(r *FileResult) (*sqliteWrite, error) {
	f := &r.File
	w := &sqliteWrite{id: string(f.ID), version: uint64(f.Version)}
	var err error
	if w.file, err = fileValues(f, sqliteClock); err != nil {
		return nil, err
	}
	if err := checkWrite(f, r.Tests, r.Traces); err != nil {
		return nil, err
	}
	if err := r.checkContext(); err != nil {
		return nil, err
	}
	for i := range r.Tests {
		o := &r.Tests[i]
		values, err := testValues(o, sqliteClock)
		if err != nil {
			return nil, err
		}
		buffer, _ := traceBuffers.Get().(*[]byte)
		w.buffers = append(w.buffers, buffer)
		if *buffer, err = appendTrace((*buffer)[:0], r.Traces[o.TestID]); err != nil {
			return nil, fmt.Errorf("trace of test %s: %w: %w", o.TestID, ErrInvalid, err)
		}
		w.tests = append(w.tests, append(values, nil))
		w.trace = append(w.trace, []any{string(o.TestID), *buffer, uint64(o.Version)})
	}
	for i := range r.Loads {
		values, err := loadValues(&r.Loads[i], sqliteClock)
		if err != nil {
			return nil, err
		}
		w.loads = append(w.loads, values)
	}
	w.series, err = newSQLiteSeries(r.Series, f.Origin.Seen)
	return w, err
}

// SaveResult implements [Store].
func (s *sqliteStore) SaveResult(ctx context.Context, r FileResult) error {
	what := "file " + r.File.ID.Short()
	w, err := newSQLiteWrite(&r)
	if err != nil {
		return fmt.Errorf("history: save %s: %w", what, err)
	}
	defer w.release()
	w.isNew = r.New
	return s.writePatiently(ctx, what, w.into)
}

// SaveResults implements [Store].
func (s *sqliteStore) SaveResults(ctx context.Context, rs []FileResult) (err error) {
	end, err := s.bulk.begin(ctx, s.writer, len(rs))
	if err != nil {
		return fmt.Errorf("history: save %d files: %w", len(rs), err)
	}
	defer func() { err = errors.Join(err, end()) }()
	for part := range slices.Chunk(rs, bulkOnce) {
		ws := make([]*sqliteWrite, len(part))
		for i := range part {
			var err error
			if ws[i], err = newSQLiteWrite(&part[i]); err != nil {
				return fmt.Errorf("history: save file %s: %w", part[i].File.ID.Short(), err)
			}
		}
		err := s.write(ctx, fmt.Sprint(len(part), " files"), func(t *sqliteTx) error {
			for _, w := range ws {
				if err := w.into(t); err != nil {
					return err
				}
			}
			return nil
		})
		for _, w := range ws {
			w.release()
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// into writes it within a transaction. Of a file without a row no loads and
// values need removing: at most a retention left some that are younger than the
// file, and they are what the same bytes give again.
func (w *sqliteWrite) into(t *sqliteTx) error {
	if w.isNew {
		if n, err := t.exec(sqliteAddNewFile, w.file...); err != nil || n == 0 {
			return cmp.Or(err, ErrKnown)
		}
		return w.rows(t)
	}
	added, err := t.exec(sqliteAddFile, w.file...)
	if err != nil {
		return err
	}
	if added == 0 {
		if n, err := t.exec(sqliteSaveFile, w.file...); err != nil || n == 0 {
			return err // n == 0: a newer version is stored
		}
		for _, drop := range []writing{sqliteDropLoads, sqliteDropSeries} {
			if _, err := t.exec(drop, w.id); err != nil {
				return err
			}
		}
	}
	if _, err := t.exec(sqliteRemoveTests, w.version, w.id); err != nil {
		return err
	}
	return w.rows(t)
}

// rows writes what was found in the file.
func (w *sqliteWrite) rows(t *sqliteTx) error {
	for i := range w.tests {
		if _, err := t.exec(sqliteSaveTest, w.tests[i]...); err != nil {
			return err
		}
		if _, err := t.exec(sqliteSaveTrace, w.trace[i]...); err != nil {
			return err
		}
	}
	for _, r := range w.loads {
		if _, err := t.exec(sqliteSaveLoad, r...); err != nil {
			return err
		}
	}
	return w.series.into(t)
}

// SaveCorrection implements [Store].
func (s *sqliteStore) SaveCorrection(ctx context.Context, c schemas.Correction) error {
	row, err := correctionValues(&c, sqliteClock)
	if err != nil {
		return fmt.Errorf("history: save correction %s: %w", c.ID, err)
	}
	return s.write(ctx, "correction "+c.ID, func(t *sqliteTx) error {
		_, err := t.exec(sqliteAddCorrection, row...)
		return err
	})
}

// SaveAssessments implements [Store].
func (s *sqliteStore) SaveAssessments(ctx context.Context, as []schemas.Assessment) (err error) {
	if len(as) == 0 {
		return nil
	}
	end, err := s.bulk.begin(ctx, s.writer, len(as))
	if err != nil {
		return fmt.Errorf("history: save assessments: %w", err)
	}
	defer func() { err = errors.Join(err, end()) }()
	rows := make([][]any, len(as))
	for i := range as {
		var err error
		if rows[i], err = assessmentValues(&as[i], sqliteClock); err != nil {
			return fmt.Errorf("history: save assessments: %w", err)
		}
	}
	// So many share nothing more by waiting for others.
	return s.writeSoon(ctx, "assessments", len(as) >= paceMost, func(t *sqliteTx) error {
		for i := range as {
			if err := t.saveAssessment(&as[i], rows[i]); err != nil {
				return err
			}
		}
		return nil
	})
}

func (t *sqliteTx) saveAssessment(a *schemas.Assessment, row []any) error {
	if n, err := t.exec(sqliteSaveAssessment, row...); err != nil || n == 0 {
		return err // n == 0: a newer version is stored
	}
	id := string(a.TestID)
	if _, err := t.exec(sqliteDropComparisons, id); err != nil {
		return err
	}
	for i := range a.Comparisons {
		values := append([]any{id, int64(i)}, comparisonValues(&a.Comparisons[i], sqliteClock)...)
		if _, err := t.exec(sqliteSaveComparison, values...); err != nil {
			return err
		}
	}
	return nil
}

// SaveAlert implements [Store].
func (s *sqliteStore) SaveAlert(ctx context.Context, a schemas.Alert, messages []schemas.Message) error {
	return s.saveAlerts(ctx, []schemas.Alert{a}, messages)
}

// SaveAlerts implements [Store].
func (s *sqliteStore) SaveAlerts(ctx context.Context, as []schemas.Alert) error {
	if len(as) == 0 {
		return nil
	}
	return s.saveAlerts(ctx, as, nil)
}

// saveAlerts stores alerts, at least one, with the messages they bring: all or
// nothing.
func (s *sqliteStore) saveAlerts(ctx context.Context, as []schemas.Alert, messages []schemas.Message) (err error) {
	alerts, added := make([][]any, len(as)), make([][]any, len(messages))
	for i := range as {
		if alerts[i], err = alertValues(&as[i], sqliteClock); err != nil {
			return fmt.Errorf("history: save alert %s: %w", as[i].ID, err)
		}
	}
	for i := range messages {
		if added[i], err = messageValues(&messages[i], sqliteClock); err != nil {
			return fmt.Errorf("history: save %s: %w", alertsInWords(as), err)
		}
	}
	return s.write(ctx, alertsInWords(as), func(t *sqliteTx) error {
		for _, row := range added {
			if _, err := t.exec(sqliteAddMessage, row...); err != nil {
				return err
			}
		}
		for _, row := range alerts {
			if _, err := t.exec(sqliteSaveAlert, row...); err != nil {
				return err
			}
		}
		return nil
	})
}

// alertsInWords names alerts, at least one, in an error.
func alertsInWords(as []schemas.Alert) string {
	if len(as) == 1 {
		return "alert " + as[0].ID
	}
	return fmt.Sprintf("%d alerts from %s on", len(as), as[0].ID)
}

// SaveMessage implements [Store].
func (s *sqliteStore) SaveMessage(ctx context.Context, m schemas.Message) error {
	row, err := messageValues(&m, sqliteClock)
	if err != nil {
		return fmt.Errorf("history: save message %s: %w", m.ID, err)
	}
	return s.write(ctx, "message "+m.ID, func(t *sqliteTx) error {
		_, err := t.exec(sqliteSaveMessage, row...)
		return err
	})
}

// SaveNote implements [Store].
func (s *sqliteStore) SaveNote(ctx context.Context, n schemas.Note) error {
	row, err := noteValues(&n, sqliteClock)
	if err != nil {
		return fmt.Errorf("history: save note %s: %w", n.ID, err)
	}
	return s.write(ctx, "note "+n.ID, func(t *sqliteTx) error {
		_, err := t.exec(sqliteAddNote, row...)
		return err
	})
}

// MarkSlot implements [Store].
func (s *sqliteStore) MarkSlot(ctx context.Context, job, slot string, at time.Time) error {
	return s.write(ctx, "slot "+slot+" of "+job, func(t *sqliteTx) error {
		_, err := t.exec(sqliteMarkSlot, job, slot, sqliteClock(at), millis(at))
		return err
	})
}

// SaveAthletes implements [Store].
func (s *sqliteStore) SaveAthletes(ctx context.Context, as []AthleteRow) error {
	rows := make([][]any, len(as))
	for i := range as {
		var err error
		if rows[i], err = athleteValues(&as[i]); err != nil {
			return fmt.Errorf("history: save athletes: %w", err)
		}
	}
	return s.write(ctx, "athletes", func(t *sqliteTx) error {
		if _, err := t.exec(sqliteDropAthletes); err != nil {
			return err
		}
		for _, r := range rows {
			if _, err := t.exec(sqliteAddAthlete, r...); err != nil {
				return err
			}
		}
		return nil
	})
}
