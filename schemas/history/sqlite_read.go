package history

import (
	"context"
	"fmt"
	"slices"
	"time"

	"canter.example/schemas"
)

// File implements [Store].
func (s *sqliteStore) File(ctx context.Context, id schemas.FileID) (schemas.File, bool, error) {
	return first(sqliteRows(ctx, s, "file "+id.Short(), scanFile,
		"SELECT "+fileColumns.list()+" FROM files WHERE file_id = ?", string(id)))
}

// Files implements [Store].
func (s *sqliteStore) Files(ctx context.Context, state schemas.FileState) ([]schemas.File, error) {
	var c conditions
	c.equal("state", string(state))
	return sqliteRows(ctx, s, "files", scanFile,
		"SELECT "+fileColumns.list()+" FROM files"+c.sql()+" ORDER BY seen_ms, file_id", c.args...)
}

// Corrections implements [Store].
func (s *sqliteStore) Corrections(ctx context.Context, file schemas.FileID) ([]schemas.Correction, error) {
	return sqliteRows(ctx, s, "corrections", scanCorrection,
		"SELECT "+correctionColumns.list()+" FROM corrections WHERE file_id = ? ORDER BY correction_id", string(file))
}

// AllCorrections implements [Store].
func (s *sqliteStore) AllCorrections(ctx context.Context, test schemas.TestID) ([]schemas.Correction, error) {
	var c conditions
	c.equal("test_id", string(test))
	return sqliteRows(ctx, s, "corrections", scanCorrection,
		"SELECT "+correctionColumns.list()+" FROM corrections"+c.sql()+" ORDER BY correction_id", c.args...)
}

// Test implements [Store].
func (s *sqliteStore) Test(ctx context.Context, id schemas.TestID) (schemas.Outcome, bool, error) {
	return first(sqliteRows(ctx, s, "test "+string(id), scanOneTest,
		"SELECT "+testColumns.list()+" FROM tests WHERE test_id = ?", string(id)))
}

func scanOneTest(scan scanner) (schemas.Outcome, error) { return scanTest(scan) }

// AthleteTests implements [Store].
func (s *sqliteStore) AthleteTests(ctx context.Context, athlete, protocol string) ([]schemas.Outcome, error) {
	var c conditions
	c.add("athlete = ?", athlete)
	c.equal("protocol", protocol)
	return s.tests(ctx, "tests", c)
}

// SessionTests implements [Store].
func (s *sqliteStore) SessionTests(ctx context.Context, session string) ([]schemas.Outcome, error) {
	var c conditions
	c.add("session = ?", session)
	return s.tests(ctx, "tests", c)
}

// SquadTests implements [Store].
func (s *sqliteStore) SquadTests(ctx context.Context, squad, protocol string, from, to time.Time) ([]schemas.Outcome, error) {
	var c conditions
	c.add("squad = ?", squad)
	c.equal("protocol", protocol)
	c.within("start_ms", from, to)
	return s.tests(ctx, "tests", c)
}

func (s *sqliteStore) tests(ctx context.Context, table string, c conditions) ([]schemas.Outcome, error) {
	return sqliteRows(ctx, s, "tests", scanOneTest,
		"SELECT "+testColumns.list()+" FROM "+table+c.sql()+" ORDER BY start_ms, test_id", c.args...)
}

// Tests implements [Store].
func (s *sqliteStore) Tests(ctx context.Context, f TestFilter) ([]schemas.Outcome, error) {
	table, c := "tests", f.where()
	if f.IncludeRemoved {
		table = "stored_tests"
	}
	if f.File != "" || len(f.Sessions) == 1 {
		ctx = briefly(ctx)
	}
	if f.Limit <= 0 {
		return s.tests(ctx, table, c)
	}
	list, err := sqliteRows(ctx, s, "tests", scanOneTest,
		"SELECT "+testColumns.list()+" FROM "+table+c.sql()+" ORDER BY start_ms DESC, test_id DESC LIMIT ?", append(c.args, f.Limit)...)
	slices.Reverse(list)
	return list, err
}

// TraceSeconds implements [Store].
func (s *sqliteStore) TraceSeconds(ctx context.Context, id schemas.TestID) ([]schemas.TraceSecond, error) {
	what := "trace of test " + string(id)
	text, ok, err := first(sqliteRows(ctx, s, what, func(scan scanner) (b []byte, err error) { return b, scan(&b) },
		"SELECT seconds FROM stored_traces WHERE test_id = ?1 AND EXISTS (SELECT 1 FROM tests WHERE test_id = ?1)", string(id)))
	if err != nil || !ok {
		return nil, err
	}
	ts, err := decodeTrace(text)
	if err != nil {
		return nil, fmt.Errorf("history: read %s: %w", what, err)
	}
	return ts, nil
}

// SessionTraces implements [Store].
func (s *sqliteStore) SessionTraces(ctx context.Context, session string) (map[schemas.TestID][]schemas.TraceSecond, error) {
	type row struct {
		id   schemas.TestID
		text []byte
	}
	what := "traces of session " + session
	rows, err := sqliteRows(ctx, s, what, func(scan scanner) (r row, err error) { return r, scan((*string)(&r.id), &r.text) },
		"SELECT w.test_id, w.seconds FROM stored_traces AS w JOIN tests AS t ON t.test_id = w.test_id WHERE t.session = ?", session)
	if err != nil {
		return nil, err
	}
	out := make(map[schemas.TestID][]schemas.TraceSecond, len(rows))
	for _, r := range rows {
		window, err := decodeTrace(r.text)
		if err != nil {
			return nil, fmt.Errorf("history: read %s: %w", what, err)
		}
		if len(window) > 0 {
			out[r.id] = window
		}
	}
	return out, nil
}

// FileLoads implements [Store].
func (s *sqliteStore) FileLoads(ctx context.Context, file schemas.FileID) ([]schemas.TraceLoad, error) {
	return sqliteRows(ctx, s, "loads of file "+file.Short(), scanLoad,
		"SELECT "+loadColumns.list()+" FROM stored_loads WHERE file_id = ? ORDER BY start_ms, file_id, part", string(file))
}

// AthleteLoads implements [Store].
func (s *sqliteStore) AthleteLoads(ctx context.Context, athlete string, from, to time.Time) ([]schemas.TraceLoad, error) {
	c := loadsWhere(athlete, from, to)
	return sqliteRows(ctx, s, "loads of athlete "+athlete, scanLoad,
		"SELECT "+loadColumns.list()+" FROM stored_loads"+c.sql()+" ORDER BY start_ms, file_id, part", c.args...)
}

// AthleteSeries implements [Store].
func (s *sqliteStore) AthleteSeries(ctx context.Context, athlete, squad, from, to string) ([]schemas.SeriesValue, error) {
	c := seriesWhere(athlete, squad, from, to)
	return sqliteRows(ctx, s, "series of athlete "+athlete, scanSeries,
		"SELECT "+seriesColumns.list()+" FROM daily_series"+c.sql()+" ORDER BY local_date, series, athlete, squad", c.args...)
}

// FileSeries implements [Store].
func (s *sqliteStore) FileSeries(ctx context.Context, file schemas.FileID) ([]schemas.SeriesValue, error) {
	return sqliteRows(ctx, s, "series of file "+file.Short(), scanSeries,
		"SELECT "+seriesColumns.list()+" FROM stored_series WHERE file_id = ? ORDER BY local_date, series, athlete, squad", string(file))
}

// Alert implements [Store].
func (s *sqliteStore) Alert(ctx context.Context, id string) (schemas.Alert, bool, error) {
	return first(sqliteRows(ctx, s, "alert "+id, scanAlert,
		"SELECT "+alertColumns.list()+" FROM alerts WHERE alert_id = ?", id))
}

// Alerts implements [Store].
func (s *sqliteStore) Alerts(ctx context.Context, f AlertFilter) ([]schemas.Alert, error) {
	c := f.where()
	return sqliteRows(ctx, s, "alerts", scanAlert,
		"SELECT "+alertColumns.list()+" FROM alerts"+c.sql()+" ORDER BY about_ms, alert_id", c.args...)
}

// Message implements [Store].
func (s *sqliteStore) Message(ctx context.Context, id string) (schemas.Message, bool, error) {
	return first(sqliteRows(ctx, s, "message "+id, scanMessage,
		"SELECT "+messageColumns.list()+" FROM messages WHERE message_id = ?", id))
}

// Messages implements [Store].
func (s *sqliteStore) Messages(ctx context.Context, state schemas.MessageState) ([]schemas.Message, error) {
	var c conditions
	c.equal("state", string(state))
	return sqliteRows(ctx, s, "messages", scanMessage,
		"SELECT "+messageColumns.list()+" FROM messages"+c.sql()+" ORDER BY created_ms, message_id", c.args...)
}

// SessionMessages implements [Store].
func (s *sqliteStore) SessionMessages(ctx context.Context, sessions ...string) ([]schemas.Message, error) {
	var c conditions
	c.among("session", sessions)
	return sqliteRows(ctx, s, "messages", scanMessage,
		"SELECT "+messageColumns.list()+" FROM messages"+c.sql()+" ORDER BY created_ms, message_id", c.args...)
}

// Notes implements [Store].
func (s *sqliteStore) Notes(ctx context.Context, f NoteFilter) ([]schemas.Note, error) {
	c := f.where()
	return sqliteRows(ctx, s, "notes", scanNote,
		"SELECT "+noteColumns.list()+" FROM notes"+c.sql()+" ORDER BY note_id", c.args...)
}

// SlotDone implements [Store].
func (s *sqliteStore) SlotDone(ctx context.Context, job, slot string) (bool, error) {
	_, done, err := first(sqliteRows(ctx, s, "slot "+slot+" of "+job, func(scan scanner) (n int64, err error) { return n, scan(&n) },
		"SELECT done_ms FROM slots WHERE job = ? AND slot = ?", job, slot))
	return done, err
}

// Athletes implements [Store].
func (s *sqliteStore) Athletes(ctx context.Context) ([]AthleteRow, error) {
	return sqliteRows(ctx, s, "athletes", scanAthlete, "SELECT "+athleteColumns.list()+" FROM athletes ORDER BY athlete")
}
