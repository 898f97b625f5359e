package history

import (
	"cmp"
	"context"
	"slices"
	"time"

	"canter.example/schemas"
)

// How the newest write of a file is found.
const (
	newestFirst  = " ORDER BY version DESC, again DESC, write_id DESC"
	newestOfEach = newestFirst + " LIMIT 1 BY file_id"
)

// head is the newest write of a file.
type head struct {
	id      string
	version uint64
	writeID uint64
}

func scanHead(scan scanner) (h head, err error) {
	return h, scan(&h.id, &h.version, &h.writeID)
}

// File implements [Store].
func (s *clickhouseStore) File(ctx context.Context, id schemas.FileID) (schemas.File, bool, error) {
	return first(clickhouseRows(ctx, s, "file "+id.Short(), scanFile,
		"SELECT "+fileColumns.list()+" FROM stored_file_writes WHERE file_id = ?"+newestFirst+" LIMIT 1", string(id)))
}

// Files implements [Store].
func (s *clickhouseStore) Files(ctx context.Context, state schemas.FileState) ([]schemas.File, error) {
	var c conditions
	c.equal("state", string(state))
	among := ""
	if len(c.terms) > 0 {
		among = " WHERE file_id IN (SELECT file_id FROM stored_file_writes" + c.sql() + ")"
	}
	return clickhouseRows(ctx, s, "files", scanFile,
		"SELECT "+fileColumns.list()+" FROM (SELECT "+fileColumns.list()+", again, write_id FROM stored_file_writes"+among+newestOfEach+")"+
			c.sql()+" ORDER BY seen_ms, file_id", append(c.args, c.args...)...)
}

// Corrections implements [Store].
func (s *clickhouseStore) Corrections(ctx context.Context, file schemas.FileID) ([]schemas.Correction, error) {
	var c conditions
	c.add("file_id = ?", string(file))
	return s.corrections(ctx, c)
}

// AllCorrections implements [Store].
func (s *clickhouseStore) AllCorrections(ctx context.Context, test schemas.TestID) ([]schemas.Correction, error) {
	var c conditions
	c.equal("test_id", string(test))
	return s.corrections(ctx, c)
}

func (s *clickhouseStore) corrections(ctx context.Context, c conditions) ([]schemas.Correction, error) {
	return clickhouseRows(ctx, s, "corrections", scanCorrection,
		"SELECT "+correctionColumns.list()+" FROM stored_corrections FINAL"+c.sql()+" ORDER BY correction_id", c.args...)
}

// Test implements [Store].
func (s *clickhouseStore) Test(ctx context.Context, id schemas.TestID) (schemas.Outcome, bool, error) {
	h, found, err := s.testHead(ctx, id)
	if err != nil || !found {
		return schemas.Outcome{}, false, err
	}
	return first(clickhouseRows(ctx, s, "test "+string(id), scanOneTest,
		"SELECT "+testColumns.list()+" FROM stored_tests WHERE test_id = ? AND write_id = ?"+
			" AND athlete IN (SELECT athlete FROM stored_traces WHERE test_id = ? AND write_id = ?) LIMIT 1",
		string(id), h.writeID, string(id), h.writeID))
}

// testHead returns the write that counts for the file of a test.
func (s *clickhouseStore) testHead(ctx context.Context, id schemas.TestID) (head, bool, error) {
	return first(clickhouseRows(ctx, s, "file of test "+string(id), scanHead,
		"SELECT file_id, version, write_id FROM stored_file_writes"+
			" WHERE file_id IN (SELECT file_id FROM stored_traces WHERE test_id = ?)"+newestOfEach, string(id)))
}

// AthleteTests implements [Store].
func (s *clickhouseStore) AthleteTests(ctx context.Context, athlete, protocol string) ([]schemas.Outcome, error) {
	var c conditions
	c.add("athlete = ?", athlete)
	c.equal("protocol", protocol)
	return s.tests(ctx, c)
}

// SessionTests implements [Store].
func (s *clickhouseStore) SessionTests(ctx context.Context, session string) ([]schemas.Outcome, error) {
	var c conditions
	c.add("session = ?", session)
	return s.tests(ctx, ofSquad(c, "", []string{session}))
}

// SquadTests implements [Store].
func (s *clickhouseStore) SquadTests(ctx context.Context, squad, protocol string, from, to time.Time) ([]schemas.Outcome, error) {
	var c conditions
	c.add("squad = ?", squad)
	c.equal("protocol", protocol)
	c.within("start_ms", from, to)
	return s.tests(ctx, ofSquad(c, squad, nil))
}

// ofSquad adds to a condition on tests the athletes who have such: tests are
// ordered by athlete, and the rows that lead to them by squad and session.
func ofSquad(c conditions, squad string, sessions []string) conditions {
	var of conditions
	squadOf(&of, squad, sessions)
	of.among("session", sessions)
	if len(of.terms) > 0 {
		c.add("athlete IN (SELECT athlete FROM stored_session_tests"+of.sql()+")", of.args...)
	}
	return c
}

// storedTest is a test with the write it belongs to.
type storedTest struct {
	schemas.Outcome
	writeID uint64
}

func scanStoredTest(scan scanner) (t storedTest, err error) {
	t.Outcome, err = scanTest(scan, &t.writeID)
	return t, err
}

// tests returns the tests that stand and meet the condition.
func (s *clickhouseStore) tests(ctx context.Context, c conditions) ([]schemas.Outcome, error) {
	counts, rows, err := s.storedTests(ctx, c)
	if err != nil {
		return nil, err
	}
	seen := make(map[schemas.TestID]bool, len(rows))
	list := make([]schemas.Outcome, 0, len(rows))
	for i := range rows {
		t := &rows[i]
		if counts[t.writeID] && !seen[t.TestID] { // a write sent twice has its rows twice
			seen[t.TestID] = true
			list = append(list, t.Outcome)
		}
	}
	sortTests(list)
	return list, nil
}

func sortTests(list []schemas.Outcome) {
	slices.SortFunc(list, func(a, b schemas.Outcome) int {
		return cmp.Or(a.Start.Compare(b.Start), cmp.Compare(a.TestID, b.TestID))
	})
}

// storedTests returns all rows of stored_tests that meet the condition, and
// the writes that count among those of their files. The writes are read first:
// rows of a write that counts are never taken away, so a file that is written
// meanwhile shows as it was. In one statement the server would be free to look
// at the tests before the files.
func (s *clickhouseStore) storedTests(ctx context.Context, c conditions) (counts map[uint64]bool, rows []storedTest, err error) {
	query := "SELECT write_id FROM stored_file_writes"
	if len(c.terms) > 0 {
		query += " WHERE file_id IN (SELECT file_id FROM stored_tests" + c.sql() + ")"
	}
	query += newestOfEach
	ids, err := clickhouseRows(ctx, s, "versions of files", func(scan scanner) (id uint64, err error) { return id, scan(&id) }, query, c.args...)
	if err != nil {
		return nil, nil, err
	}
	counts = make(map[uint64]bool, len(ids))
	for _, id := range ids {
		counts[id] = true
	}
	rows, err = clickhouseRows(ctx, s, "tests", scanStoredTest,
		"SELECT "+testColumns.list()+", write_id FROM stored_tests"+c.sql(), c.args...)
	return counts, rows, err
}

// Tests implements [Store].
func (s *clickhouseStore) Tests(ctx context.Context, f TestFilter) ([]schemas.Outcome, error) {
	var list []schemas.Outcome
	var err error
	if f.IncludeRemoved {
		list, err = s.testsWithRemoved(ctx, &f)
	} else {
		list, err = s.tests(ctx, ofSquad(f.where(), f.Squad, f.Sessions))
	}
	if f.Limit > 0 && len(list) > f.Limit {
		list = list[len(list)-f.Limit:]
	}
	return list, err
}

// testsWithRemoved takes the newest row of each test, whether it counts or
// not, and filters after that: a test that was given to another athlete is not
// a removed one of the first.
func (s *clickhouseStore) testsWithRemoved(ctx context.Context, f *TestFilter) ([]schemas.Outcome, error) {
	var c conditions
	if inner := f.where(); len(inner.terms) > 0 {
		c.add("test_id IN (SELECT test_id FROM stored_tests"+inner.sql()+")", inner.args...)
	}
	counts, rows, err := s.storedTests(ctx, c)
	if err != nil {
		return nil, err
	}
	newest := make(map[schemas.TestID]*storedTest, len(rows))
	for i := range rows {
		t := &rows[i]
		n := newest[t.TestID]
		if n == nil || !counts[n.writeID] && (counts[t.writeID] || t.Version >= n.Version) {
			newest[t.TestID] = t
		}
	}
	var list []schemas.Outcome
	for _, t := range newest {
		if f.matches(&t.Outcome) {
			list = append(list, t.Outcome)
		}
	}
	sortTests(list)
	return list, nil
}

// TraceSeconds implements [Store].
func (s *clickhouseStore) TraceSeconds(ctx context.Context, id schemas.TestID) ([]schemas.TraceSecond, error) {
	h, found, err := s.testHead(ctx, id)
	if err != nil || !found {
		return nil, err
	}
	ts, _, err := first(clickhouseRows(ctx, s, "trace of test "+string(id), scanTraceArrays,
		"SELECT trace.second, trace.raw_bpm, trace.clean_bpm, trace.dropped, trace.speed_ms FROM stored_traces WHERE test_id = ? AND write_id = ? LIMIT 1",
		string(id), h.writeID))
	return ts, err
}

// SessionTraces implements [Store].
func (s *clickhouseStore) SessionTraces(ctx context.Context, session string) (map[schemas.TestID][]schemas.TraceSecond, error) {
	var c conditions
	c.add("session = ?", session)
	counts, tests, err := s.storedTests(ctx, ofSquad(c, "", []string{session}))
	if err != nil {
		return nil, err
	}
	writeOf := map[schemas.TestID]uint64{}
	var w conditions
	for i := range tests {
		if t := &tests[i]; counts[t.writeID] {
			writeOf[t.TestID] = t.writeID
			w.args = append(w.args, string(t.TestID))
		}
	}
	if len(writeOf) == 0 {
		return nil, nil
	}
	w.terms = []string{"test_id IN (" + marks(len(w.args)) + ")"}
	type row struct {
		id     schemas.TestID
		write  uint64
		window []schemas.TraceSecond
	}
	rows, err := clickhouseRows(ctx, s, "traces of session "+session, func(scan scanner) (r row, err error) {
		r.window, err = scanTraceArrays(func(dest ...any) error { return scan(append([]any{(*string)(&r.id), &r.write}, dest...)...) })
		return r, err
	}, "SELECT test_id, write_id, trace.second, trace.raw_bpm, trace.clean_bpm, trace.dropped, trace.speed_ms FROM stored_traces"+w.sql(), w.args...)
	if err != nil {
		return nil, err
	}
	out := make(map[schemas.TestID][]schemas.TraceSecond, len(writeOf))
	for _, r := range rows {
		if writeOf[r.id] == r.write && len(r.window) > 0 {
			out[r.id] = r.window
		}
	}
	return out, nil
}

// counted adds that a row's write counts. Only the files with rows that meet
// the condition so far are asked about.
func (c conditions) counted(table string) conditions {
	c.add("write_id IN (SELECT write_id FROM stored_file_writes WHERE file_id IN (SELECT file_id FROM "+table+c.sql()+")"+newestOfEach+")", c.args...)
	return c
}

// FileLoads implements [Store].
func (s *clickhouseStore) FileLoads(ctx context.Context, file schemas.FileID) ([]schemas.TraceLoad, error) {
	var c conditions
	c.add("file_id = ?", string(file))
	return s.loads(ctx, c)
}

// AthleteLoads implements [Store].
func (s *clickhouseStore) AthleteLoads(ctx context.Context, athlete string, from, to time.Time) ([]schemas.TraceLoad, error) {
	return s.loads(ctx, loadsWhere(athlete, from, to))
}

func (s *clickhouseStore) loads(ctx context.Context, c conditions) ([]schemas.TraceLoad, error) {
	c = c.counted("stored_loads")
	return clickhouseRows(ctx, s, "loads", scanLoad,
		"SELECT "+loadColumns.list()+" FROM stored_loads"+c.sql()+" ORDER BY start_ms, file_id, part", c.args...)
}

// AthleteSeries implements [Store]. It is the view daily_series with the
// condition inside, where the server can make use of it.
func (s *clickhouseStore) AthleteSeries(ctx context.Context, athlete, squad, from, to string) ([]schemas.SeriesValue, error) {
	c := seriesWhere(athlete, squad, from, to).counted("stored_series")
	return clickhouseRows(ctx, s, "series of athlete "+athlete, scanSeries,
		"SELECT "+seriesColumns.list()+" FROM (SELECT "+seriesColumns.list()+", seen_ms FROM stored_series"+c.sql()+
			" ORDER BY seen_ms DESC, file_id DESC LIMIT 1 BY athlete, squad, local_date, series) ORDER BY local_date, series, athlete, squad", c.args...)
}

// FileSeries implements [Store].
func (s *clickhouseStore) FileSeries(ctx context.Context, file schemas.FileID) ([]schemas.SeriesValue, error) {
	var c conditions
	c.add("file_id = ?", string(file))
	c = c.counted("stored_series")
	return clickhouseRows(ctx, s, "series of file "+file.Short(), scanSeries,
		"SELECT "+seriesColumns.list()+" FROM stored_series"+c.sql()+" ORDER BY local_date, series, athlete, squad", c.args...)
}

func scanTraceArrays(scan scanner) ([]schemas.TraceSecond, error) {
	var second []int32
	var dropped []string
	var raw, clean, speed []float64
	if err := scan(&second, &raw, &clean, &dropped, &speed); err != nil {
		return nil, err
	}
	ts := make([]schemas.TraceSecond, len(second))
	for i := range ts {
		ts[i] = schemas.TraceSecond{
			Second: int(second[i]), Dropped: dropped[i],
			Raw: schemas.Num(raw[i]), Clean: schemas.Num(clean[i]), Speed: schemas.Num(speed[i]),
		}
	}
	return ts, nil
}

// Alert implements [Store].
func (s *clickhouseStore) Alert(ctx context.Context, id string) (schemas.Alert, bool, error) {
	return first(clickhouseRows(ctx, s, "alert "+id, scanAlert,
		"SELECT "+alertColumns.list()+" FROM stored_alerts FINAL WHERE alert_id = ?", id))
}

// Alerts implements [Store].
func (s *clickhouseStore) Alerts(ctx context.Context, f AlertFilter) ([]schemas.Alert, error) {
	c := f.where()
	return clickhouseRows(ctx, s, "alerts", scanAlert,
		"SELECT "+alertColumns.list()+" FROM stored_alerts FINAL"+c.sql()+" ORDER BY about_ms, alert_id", c.args...)
}

// Message implements [Store].
func (s *clickhouseStore) Message(ctx context.Context, id string) (schemas.Message, bool, error) {
	return first(clickhouseRows(ctx, s, "message "+id, scanMessage,
		"SELECT "+messageColumns.list()+" FROM stored_messages FINAL WHERE message_id = ?", id))
}

// Messages implements [Store].
func (s *clickhouseStore) Messages(ctx context.Context, state schemas.MessageState) ([]schemas.Message, error) {
	var c conditions
	c.equal("state", string(state))
	return clickhouseRows(ctx, s, "messages", scanMessage,
		"SELECT "+messageColumns.list()+" FROM stored_messages FINAL"+c.sql()+" ORDER BY created_ms, message_id", c.args...)
}

// SessionMessages implements [Store].
func (s *clickhouseStore) SessionMessages(ctx context.Context, sessions ...string) ([]schemas.Message, error) {
	var c conditions
	c.among("session", sessions)
	return clickhouseRows(ctx, s, "messages", scanMessage,
		"SELECT "+messageColumns.list()+" FROM stored_messages FINAL"+c.sql()+" ORDER BY created_ms, message_id", c.args...)
}

// Notes implements [Store].
func (s *clickhouseStore) Notes(ctx context.Context, f NoteFilter) ([]schemas.Note, error) {
	c := f.where()
	return clickhouseRows(ctx, s, "notes", scanNote,
		"SELECT "+noteColumns.list()+" FROM stored_notes FINAL"+c.sql()+" ORDER BY note_id", c.args...)
}

// SlotDone implements [Store].
func (s *clickhouseStore) SlotDone(ctx context.Context, job, slot string) (bool, error) {
	return s.exists(ctx, "stored_slots", "job = ? AND slot = ?", job, slot)
}

// Athletes implements [Store].
func (s *clickhouseStore) Athletes(ctx context.Context) ([]AthleteRow, error) {
	return clickhouseRows(ctx, s, "athletes", scanAthlete, "SELECT "+athleteColumns.list()+" FROM athletes ORDER BY athlete")
}
