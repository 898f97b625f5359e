package history

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"hash"
	"math"
	"time"

	"canter.example/schemas"
)

// The columns of what ClickHouse stores, beside those of the rows.
var (
	storedTraceColumns = []string{"test_id", "athlete", "file_id",
		"trace.second", "trace.raw_bpm", "trace.clean_bpm", "trace.dropped", "trace.speed_ms", "write_id"}
	storedFileColumns   = append(append([]string{}, fileColumns.plain...), "write_id")
	storedLoadColumns   = append(append([]string{}, loadColumns.plain...), "write_id")
	storedSeriesColumns = append(append([]string{}, seriesColumns.plain...), "write_id")
	storedTestColumns   = append(append([]string{}, testColumns.plain...), "write_id")
)

// fileWrite is one SaveFile, ready to be sent.
type fileWrite struct {
	id      string
	version uint64
	writeID uint64
	file    []any
	tests   [][]any
	traces  [][]any
	loads   [][]any
	series  [][]any
	done    chan error
}

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
	w := &fileWrite{id: string(f.ID), version: uint64(f.Version)}
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
		w.tests = append(w.tests, absentAsNaN(values))
		w.traces = append(w.traces, append([]any{string(o.TestID), o.Athlete, string(o.FileID)}, traceArrays(window)...))
	}
	if err := w.addContext(r, digest); err != nil {
		return nil, err
	}
	if w.writeID, err = digest.sum(); err != nil {
		return nil, err
	}
	w.file = append(w.file, w.writeID)
	for _, rows := range [][][]any{w.tests, w.traces, w.loads, w.series} {
		for i := range rows {
			rows[i] = append(rows[i], w.writeID)
		}
	}
	return w, nil
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
		w.loads = append(w.loads, absentAsNaN(values))
	}
	for i := range r.Series {
		values, err := seriesValues(&r.Series[i], r.File.Origin.Seen)
		if err != nil {
			return err
		}
		digest.add(values)
		w.series = append(w.series, values)
	}
	return nil
}

// digest names a content: the same content has the same name in every process.
type digest struct {
	h   hash.Hash
	err error
}

func newDigest() *digest { return &digest{h: sha256.New()} }

func (d *digest) add(row any) {
	if d.err != nil {
		return
	}
	d.err = json.NewEncoder(d.h).Encode(row)
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

// head is the newest write of a file.
type head struct {
	id      string
	version uint64
	writeID uint64
}

func scanHead(scan scanner) (h head, err error) {
	return h, scan(&h.id, &h.version, &h.writeID)
}

// flushFiles stores many files. The rows of the files come last: from then on
// their tests and traces count.
func (s *clickhouseStore) flushFiles(ctx context.Context, ws []*fileWrite) error {
	ids := make([]any, len(ws))
	for i, w := range ws {
		ids[i] = w.id
	}
	heads, err := clickhouseRows(ctx, s, "versions of files", scanHead,
		"SELECT file_id, version, write_id FROM stored_files FINAL WHERE file_id IN ("+marks(len(ids))+")", ids...)
	if err != nil {
		return err
	}
	stored := make(map[string]head, len(heads))
	for _, h := range heads {
		stored[h.id] = h
	}
	var files, tests, traces, loads, series [][]any
	for _, w := range ws {
		h, found := stored[w.id]
		if found && (h.version > w.version || h.version == w.version && h.writeID == w.writeID) {
			continue // a newer version is stored, or this very write
		}
		files = append(files, w.file)
		tests = append(tests, w.tests...)
		traces = append(traces, w.traces...)
		loads = append(loads, w.loads...)
		series = append(series, w.series...)
	}
	if err := s.insert(ctx, "stored_loads", storedLoadColumns, loads); err != nil {
		return err
	}
	if err := s.insert(ctx, "stored_series", storedSeriesColumns, series); err != nil {
		return err
	}
	if err := s.insert(ctx, "stored_traces", storedTraceColumns, traces); err != nil {
		return err
	}
	if err := s.insert(ctx, "stored_tests", storedTestColumns, tests); err != nil {
		return err
	}
	return s.insert(ctx, "stored_files", storedFileColumns, files)
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

// SaveAssessments implements [Store].
func (s *clickhouseStore) SaveAssessments(ctx context.Context, as []schemas.Assessment) error {
	names := append([]string{}, assessmentColumns.plain...)
	for _, name := range comparisonColumns.plain {
		names = append(names, "comparison."+name)
	}
	newest := make(map[schemas.TestID]int, len(as)) // one row a test in a block
	var rows [][]any
	for i := range as {
		a := &as[i]
		row, err := assessmentValues(a, noClock)
		if err != nil {
			return fmt.Errorf("history: save assessments: %w", err)
		}
		row = append(assessmentColumns.withoutTimes(row), comparisonArrays(a.Comparisons)...)
		at, again := newest[a.TestID]
		switch {
		case !again:
			newest[a.TestID] = len(rows)
			rows = append(rows, row)
		case row[assessmentVersion].(uint64) >= rows[at][assessmentVersion].(uint64):
			rows[at] = row
		}
	}
	if err := s.insert(ctx, "stored_assessments", names, rows); err != nil {
		return fmt.Errorf("history: save assessments: %w", err)
	}
	return nil
}

// assessmentVersion is where the version stands among the plain values.
var assessmentVersion = len(assessmentColumns.plain) - 1

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
