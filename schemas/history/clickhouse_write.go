package history

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"hash"
	"math"
	"slices"
	"time"

	"canter.example/schemas"
)

// The columns of what ClickHouse stores, beside those of the rows.
var (
	storedTraceColumns = []string{"test_id", "athlete", "file_id",
		"trace.second", "trace.raw_bpm", "trace.clean_bpm", "trace.dropped", "trace.speed_ms", "write_id"}
	storedFileColumns   = append(append([]string{}, fileColumns.plain...), "digest", "again", "test_ids", "attempt", "write_id")
	storedLoadColumns   = append(append([]string{}, loadColumns.plain...), "write_id")
	storedSeriesColumns = append(append([]string{}, seriesColumns.plain...), "write_id")
	storedTestColumns   = append(append([]string{}, testColumns.plain...), "write_id")
)

// fileWrite is one SaveFile, ready to be sent.
type fileWrite struct {
	id      string
	version uint64
	digest  uint64 // names the content
	tests   []string
	file    []any
	rows    fileRows
	done    chan error

	// Of the attempt to write it that is under way.
	again, writeID uint64
}

// fileRows are the rows that belong to files, by table.
type fileRows struct{ loads, series, traces, tests [][]any }

// SaveFile implements [Store].
func (s *clickhouseStore) SaveFile(ctx context.Context, f schemas.File, tests []schemas.Outcome, traces map[schemas.TestID][]schemas.TraceSecond) error {
	return s.SaveResult(ctx, FileResult{File: f, Tests: tests, Traces: traces})
}

// SaveResult implements [Store].
func (s *clickhouseStore) SaveResult(ctx context.Context, r FileResult) error {
	w, err := newFileWrite(&r)
	if err == nil {
		err = s.files.save(ctx, w)
	}
	if err != nil {
		return fmt.Errorf("history: save file %s: %w", r.File.ID.Short(), err)
	}
	return nil
}

func newFileWrite(r *FileResult) (*fileWrite, error) {
	f := &r.File
	w := &fileWrite{id: string(f.ID), version: uint64(f.Version), tests: make([]string, len(r.Tests))}
	row, err := fileValues(f, noClock)
	if err != nil {
		return nil, err
	}
	if err := checkWrite(f, r.Tests, r.Traces); err != nil {
		return nil, err
	}
	if err := r.checkContext(); err != nil {
		return nil, err
	}
	digest := newDigest()
	w.file = fileColumns.withoutTimes(row)
	digest.add(w.file)
	for i := range r.Tests {
		o := &r.Tests[i]
		values, err := testValues(o, noClock)
		if err != nil {
			return nil, err
		}
		values = testColumns.withoutTimes(values)
		window := r.Traces[o.TestID]
		digest.add(values)
		digest.add(window)
		w.tests[i] = string(o.TestID)
		w.rows.tests = append(w.rows.tests, absentAsNaN(values))
		w.rows.traces = append(w.rows.traces, append([]any{string(o.TestID), o.Athlete, string(o.FileID)}, traceArrays(window)...))
	}
	if err := w.addContext(r, digest); err != nil {
		return nil, err
	}
	w.digest, err = digest.sum()
	return w, err
}

// addContext makes the rows of loads and series.
func (w *fileWrite) addContext(r *FileResult, digest *digest) error {
	for i := range r.Loads {
		values, err := loadValues(&r.Loads[i], noClock)
		if err != nil {
			return err
		}
		values = loadColumns.withoutTimes(values)
		digest.add(values)
		w.rows.loads = append(w.rows.loads, absentAsNaN(values))
	}
	for i := range r.Series {
		values, err := seriesValues(&r.Series[i], r.File.Origin.Seen)
		if err != nil {
			return err
		}
		digest.add(values)
		w.rows.series = append(w.rows.series, values)
	}
	return nil
}

// digest names a content: the same content has the same name in every process.
type digest struct {
	h    hash.Hash
	text *json.Encoder
	err  error
}

func newDigest() *digest {
	h := sha256.New()
	return &digest{h: h, text: json.NewEncoder(h)}
}

func (d *digest) add(row any) {
	if d.err != nil {
		return
	}
	d.err = d.text.Encode(row)
}

func (d *digest) sum() (uint64, error) {
	if d.err != nil {
		return 0, fmt.Errorf("%w: %w", ErrInvalid, d.err)
	}
	return binary.BigEndian.Uint64(d.h.Sum(nil)), nil
}

// traceArrays returns a trace window as arrays of equal length.
func traceArrays(ts []schemas.TraceSecond) []any {
	second, dropped := make([]int32, len(ts)), make([]string, len(ts))
	raw, clean, speed := make([]float64, len(ts)), make([]float64, len(ts)), make([]float64, len(ts))
	for i := range ts {
		t := &ts[i]
		second[i], dropped[i] = int32(t.Second), t.Dropped
		raw[i], clean[i], speed[i] = t.Raw.Or(math.NaN()), t.Clean.Or(math.NaN()), t.Speed.Or(math.NaN())
	}
	return []any{second, raw, clean, dropped, speed}
}

// flushFiles stores many files. It leaves out what is stored already, or newer.
func (s *clickhouseStore) flushFiles(ctx context.Context, ws []*fileWrite) error {
	stored, err := s.fileRows(ctx, ws)
	if err != nil {
		return err
	}
	fresh := make([]*fileWrite, 0, len(ws))
	for _, w := range ws {
		newest := newestRow(stored[w.id])
		if newest != nil && (newest.version > w.version || newest.version == w.version && newest.digest == w.digest && !newest.hidden) {
			continue
		}
		w.again = uint64(time.Now().UnixMicro())
		if newest != nil && newest.version == w.version {
			w.again = max(w.again, newest.again+1)
		}
		fresh = append(fresh, w)
	}
	return s.writeFiles(ctx, fresh)
}

// writeFiles stores files whatever is there. Their rows come under numbers that
// are hidden, those of the files themselves last: from then on the methods of
// [Store] count the new rows, and once they are shown so do the views.
func (s *clickhouseStore) writeFiles(ctx context.Context, ws []*fileWrite) error {
	if len(ws) == 0 {
		return nil
	}
	first, err := s.hidden.take(ctx, len(ws))
	if err != nil {
		return err
	}
	var files [][]any
	var all fileRows
	for i, w := range ws {
		w.writeID = first + uint64(i)
		files = append(files, append(slices.Clip(w.file), w.digest, w.again, w.tests, w.writeID, w.writeID))
		all.add(&w.rows, w.writeID)
	}
	for _, t := range []struct {
		table   string
		columns []string
		rows    [][]any
	}{
		{"stored_loads", storedLoadColumns, all.loads},
		{"stored_series", storedSeriesColumns, all.series},
		{"stored_traces", storedTraceColumns, all.traces},
		{"stored_tests", storedTestColumns, all.tests},
		{"stored_files", storedFileColumns, files},
	} {
		if err := s.insert(ctx, t.table, t.columns, t.rows); err != nil {
			return err
		}
	}
	return s.showFiles(ctx, ws)
}

// add adds the rows of a write under its number.
func (all *fileRows) add(of *fileRows, writeID uint64) {
	for _, t := range []struct {
		to   *[][]any
		from [][]any
	}{{&all.loads, of.loads}, {&all.series, of.series}, {&all.traces, of.traces}, {&all.tests, of.tests}} {
		for _, r := range t.from {
			*t.to = append(*t.to, append(slices.Clip(r), writeID))
		}
	}
}

// exists tells whether the stored table has a row that meets the condition.
func (s *clickhouseStore) exists(ctx context.Context, table, condition string, args ...any) (bool, error) {
	var n uint64
	err := s.conn.QueryRow(ctx, "SELECT count() FROM "+table+" WHERE "+condition, args...).Scan(&n)
	return n > 0, err
}

// SaveCorrection implements [Store].
func (s *clickhouseStore) SaveCorrection(ctx context.Context, c schemas.Correction) error {
	row, err := correctionValues(&c, noClock)
	if err == nil {
		var there bool
		if there, err = s.exists(ctx, "stored_corrections", "correction_id = ?", c.ID); there {
			return nil
		}
	}
	if err == nil {
		err = s.insert(ctx, "stored_corrections", correctionColumns.plain, [][]any{correctionColumns.withoutTimes(row)})
	}
	if err != nil {
		return fmt.Errorf("history: save correction %s: %w", c.ID, err)
	}
	return nil
}

// SaveAlert implements [Store].
func (s *clickhouseStore) SaveAlert(ctx context.Context, a schemas.Alert, messages []schemas.Message) error {
	err := s.addMessages(ctx, messages)
	if err == nil {
		var row []any
		if row, err = alertValues(&a, noClock); err == nil {
			err = s.insert(ctx, "stored_alerts", alertColumns.plain, [][]any{alertColumns.withoutTimes(row)})
		}
	}
	if err != nil {
		return fmt.Errorf("history: save alert %s: %w", a.ID, err)
	}
	return nil
}

var storedMessageColumns = append(append([]string{}, messageColumns.plain...), "rank")

func storedMessage(m *schemas.Message) ([]any, error) {
	row, err := messageValues(m, noClock)
	if err != nil {
		return nil, err
	}
	return append(messageColumns.withoutTimes(row), messageRank(m)), nil
}

// addMessages inserts the messages that are not there yet. One that another
// process adds meanwhile has at least the rank of the row added here.
func (s *clickhouseStore) addMessages(ctx context.Context, messages []schemas.Message) error {
	if len(messages) == 0 {
		return nil
	}
	ids := make([]any, len(messages))
	for i := range messages {
		ids[i] = messages[i].ID
	}
	there, err := clickhouseRows(ctx, s, "messages", func(scan scanner) (id string, err error) { return id, scan(&id) },
		"SELECT message_id FROM stored_messages WHERE message_id IN ("+marks(len(ids))+")", ids...)
	if err != nil {
		return err
	}
	known := make(map[string]bool, len(there))
	for _, id := range there {
		known[id] = true
	}
	var rows [][]any
	for i := range messages {
		row, err := storedMessage(&messages[i])
		if err != nil {
			return err
		}
		if !known[messages[i].ID] {
			known[messages[i].ID] = true
			rows = append(rows, row)
		}
	}
	return s.insert(ctx, "stored_messages", storedMessageColumns, rows)
}

// SaveMessage implements [Store].
func (s *clickhouseStore) SaveMessage(ctx context.Context, m schemas.Message) error {
	row, err := storedMessage(&m)
	if err == nil {
		err = s.insert(ctx, "stored_messages", storedMessageColumns, [][]any{row})
	}
	if err != nil {
		return fmt.Errorf("history: save message %s: %w", m.ID, err)
	}
	return nil
}

// SaveNote implements [Store].
func (s *clickhouseStore) SaveNote(ctx context.Context, n schemas.Note) error {
	row, err := noteValues(&n, noClock)
	if err == nil {
		var there bool
		if there, err = s.exists(ctx, "stored_notes", "note_id = ?", n.ID); there {
			return nil
		}
	}
	if err == nil {
		err = s.insert(ctx, "stored_notes", noteColumns.plain, [][]any{noteColumns.withoutTimes(row)})
	}
	if err != nil {
		return fmt.Errorf("history: save note %s: %w", n.ID, err)
	}
	return nil
}

// MarkSlot implements [Store].
func (s *clickhouseStore) MarkSlot(ctx context.Context, job, slot string, at time.Time) error {
	there, err := s.exists(ctx, "stored_slots", "job = ? AND slot = ? AND done_ms <= ?", job, slot, millis(at))
	if err == nil && !there {
		err = s.insert(ctx, "stored_slots", []string{"job", "slot", "done_ms"}, [][]any{{job, slot, millis(at)}})
	}
	if err != nil {
		return fmt.Errorf("history: save slot %s of %s: %w", slot, job, err)
	}
	return nil
}

// SaveAthletes implements [Store].
func (s *clickhouseStore) SaveAthletes(ctx context.Context, as []AthleteRow) error {
	if err := s.saveAthletes(ctx, as); err != nil {
		return fmt.Errorf("history: save athletes: %w", err)
	}
	return nil
}

func (s *clickhouseStore) saveAthletes(ctx context.Context, as []AthleteRow) error {
	d := newDigest()
	rows := make([][]any, 0, len(as)+1)
	for i := range as {
		row, err := athleteValues(&as[i])
		if err != nil {
			return err
		}
		d.add(row)
		rows = append(rows, row)
	}
	sum, err := d.sum()
	if err != nil {
		return err
	}
	if len(rows) == 0 {
		rows = append(rows, []any{"", "", "", "[]", nil, "", nil, "", nil, nil})
	}
	var newest uint64
	if err := s.conn.QueryRow(ctx, "SELECT max(snapshot) FROM stored_athletes").Scan(&newest); err != nil {
		return err
	}
	const low = 1<<32 - 1
	if newest != 0 && newest&low == sum&low {
		return nil // it is what is there
	}
	snapshot := (newest>>32+1)<<32 | sum&low
	for i := range rows {
		rows[i] = append(rows[i], snapshot)
	}
	return s.insert(ctx, "stored_athletes", append(append([]string{}, athleteColumns.plain...), "snapshot"), rows)
}
