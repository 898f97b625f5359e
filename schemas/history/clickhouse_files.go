package history

import (
	"context"
	"fmt"
	"slices"
	"time"

	"golang.org/x/sync/errgroup"

	"canter.example/schemas"
)

// The columns of what ClickHouse stores, beside those of the rows.
var (
	traceArrays         = []string{"trace.second", "trace.raw_bpm", "trace.clean_bpm", "trace.dropped", "trace.speed_ms"}
	storedTraceColumns  = slices.Concat([]string{"test_id", "athlete", "file_id"}, traceArrays, []string{"write_id"})
	storedFileColumns   = append(append([]string{}, fileColumns.plain...), "digest", "again", "test_ids", "write_id")
	storedLoadColumns   = append(append([]string{}, loadColumns.plain...), "write_id")
	storedSeriesColumns = append(append([]string{}, seriesColumns.plain...), "write_id")
	storedTestColumns   = append(append([]string{}, testColumns.plain...), "write_id")
)

// fileWrite is one SaveResult, ready to be sent.
type fileWrite struct {
	result  *FileResult
	id      string
	version uint64
	digest  uint64 // names the content
	tests   []string
	done    chan error

	// Of the attempt to write it that is under way.
	again, writeID uint64
}

// fileBlocks are the rows of files, by table.
type fileBlocks struct{ files, tests, traces, loads, series block }

// SaveFile implements [Store].
func (s *clickhouseStore) SaveFile(ctx context.Context, f schemas.File, tests []schemas.Outcome, traces map[schemas.TestID][]schemas.TraceSecond) error {
	return s.SaveResult(ctx, FileResult{File: f, Tests: tests, Traces: traces})
}

// SaveResult implements [Store].
func (s *clickhouseStore) SaveResult(ctx context.Context, r FileResult) error {
	w := newFileWrite(&r)
	err := (*fileBlocks)(nil).add(w, newDigest())
	if err == nil && r.New {
		err = s.checkNew(ctx, r.File.ID)
	}
	if err == nil {
		err = s.files.save(ctx, w)
	}
	if err != nil {
		return fmt.Errorf("history: save file %s: %w", r.File.ID.Short(), err)
	}
	return nil
}

// checkNew returns [ErrKnown] when anything is known of a file. Whoever works on
// the same file at the same time stores the same, or is told of by a later event.
func (s *clickhouseStore) checkNew(ctx context.Context, id schemas.FileID) error {
	known, err := s.Known(ctx, id)
	if err == nil && known {
		err = ErrKnown
	}
	return err
}

// SaveResults implements [Store].
func (s *clickhouseStore) SaveResults(ctx context.Context, rs []FileResult) error {
	if len(rs) == 0 {
		return nil
	}
	rs = lastOfEach(rs)
	ws, rows := make([]*fileWrite, len(rs)), newFileBlocks(rs)
	digest, again := newDigest(), uint64(time.Now().UnixMicro())
	for i := range rs {
		w := newFileWrite(&rs[i])
		w.again = again
		if err := rows.add(w, digest); err != nil {
			return fmt.Errorf("history: save file %s: %w", rs[i].File.ID.Short(), err)
		}
		ws[i] = w
	}
	first := s.bulk.take(len(ws))
	s.bulk.begin(fileNames(ws))
	err := s.hide(ctx, hidings(first, len(ws), 1))
	if err == nil {
		err = s.writeFiles(ctx, ws, rows, first, s.rowsBeside)
	}
	if err != nil {
		return fmt.Errorf("history: save %d files: %w", len(ws), err)
	}
	return nil
}

func newFileWrite(r *FileResult) *fileWrite {
	w := &fileWrite{result: r, id: string(r.File.ID), version: uint64(r.File.Version), tests: make([]string, len(r.Tests))}
	for i := range r.Tests {
		w.tests[i] = string(r.Tests[i].TestID)
	}
	return w
}

func newFileBlocks(rs []FileResult) *fileBlocks {
	b := &fileBlocks{files: block{expect: len(rs)}}
	for i := range rs {
		b.tests.expect += len(rs[i].Tests)
		b.loads.expect += len(rs[i].Loads)
		b.series.expect += len(rs[i].Series)
	}
	b.traces.expect = b.tests.expect
	return b
}

// add adds the rows of a write, all but their number, and makes its digest. With
// no blocks it makes the digest alone.
func (b *fileBlocks) add(w *fileWrite, digest *digest) error {
	r := w.result
	if err := checkWrite(&r.File, r.Tests, r.Traces); err != nil {
		return err
	}
	if err := r.checkContext(); err != nil {
		return err
	}
	into := func(of *block) *record { return &record{block: of, digest: digest} }
	var files, tests, loads, series *record
	if b == nil {
		files, tests, loads, series = into(nil), into(nil), into(nil), into(nil)
	} else {
		files, tests, loads, series = into(&b.files), into(&b.tests), into(&b.loads), into(&b.series)
	}
	if err := putFile(files, &r.File); err != nil {
		return err
	}
	for i := range r.Tests {
		o := &r.Tests[i]
		if err := putTest(tests, o); err != nil {
			return err
		}
		window := r.Traces[o.TestID]
		digest.window(window)
		if b != nil {
			b.addTrace(o, window)
		}
	}
	for i := range r.Loads {
		if err := putLoad(loads, &r.Loads[i]); err != nil {
			return err
		}
	}
	for i := range r.Series {
		if err := putSeries(series, &r.Series[i], r.File.Origin.Seen); err != nil {
			return err
		}
	}
	w.digest = digest.sum()
	if b != nil {
		files.digest = nil
		files.uint(w.digest)
		files.uint(w.again)
		tests := files.column()
		tests.lists = append(tests.lists, w.tests)
	}
	return nil
}

// addTrace adds a trace window as arrays of equal length.
func (b *fileBlocks) addTrace(o *schemas.Outcome, ts []schemas.TraceSecond) {
	r := &record{block: &b.traces}
	r.text(string(o.TestID), o.Athlete, string(o.FileID))
	from := r.next
	for i := range ts {
		t := &ts[i]
		r.next = from
		second := r.column()
		second.small = append(second.small, int32(t.Second))
		r.number(t.Raw, t.Clean)
		r.text(t.Dropped)
		r.number(t.Speed)
	}
	b.traces.endArrays(from, len(traceArrays))
}

// number adds to each row the number of its write.
func (b *fileBlocks) number(ws []*fileWrite) {
	for _, t := range []struct {
		rows *block
		of   func(*FileResult) int
	}{
		{&b.files, func(*FileResult) int { return 1 }},
		{&b.tests, func(r *FileResult) int { return len(r.Tests) }},
		{&b.traces, func(r *FileResult) int { return len(r.Tests) }},
		{&b.loads, func(r *FileResult) int { return len(r.Loads) }},
		{&b.series, func(r *FileResult) int { return len(r.Series) }},
	} {
		ids := make([]uint64, 0, t.rows.rows())
		for _, w := range ws {
			for range t.of(w.result) {
				ids = append(ids, w.writeID)
			}
		}
		t.rows.columns = append(t.rows.columns, column{uints: ids})
	}
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
	if len(fresh) == 0 {
		return nil
	}
	rows, digest := &fileBlocks{}, newDigest()
	for _, w := range fresh {
		if err := rows.add(w, digest); err != nil {
			return err
		}
	}
	first, err := s.hidden.take(ctx, len(fresh))
	if err != nil {
		return err
	}
	return s.writeFiles(ctx, fresh, rows, first, s.fileRows)
}

// writeFiles stores files whatever is there. Their rows come under numbers that
// are hidden, those of the files themselves last: from then on the methods of
// [Store] count the new rows, and once they are shown so do the views. Beside
// finds what rows of the files there are then.
func (s *clickhouseStore) writeFiles(ctx context.Context, ws []*fileWrite, rows *fileBlocks, first uint64, beside findRows) error {
	for i, w := range ws {
		w.writeID = first + uint64(i)
	}
	rows.number(ws)
	var sending errgroup.Group
	for _, t := range []struct {
		table   string
		columns []string
		rows    *block
	}{
		{"stored_loads", storedLoadColumns, &rows.loads},
		{"stored_series", storedSeriesColumns, &rows.series},
		{"stored_traces", storedTraceColumns, &rows.traces},
		{"stored_tests", storedTestColumns, &rows.tests},
	} {
		sending.Go(func() error { return s.insertBlock(ctx, t.table, t.columns, t.rows) })
	}
	if err := sending.Wait(); err != nil {
		return err
	}
	if err := s.insertBlock(ctx, "stored_file_writes", storedFileColumns, &rows.files); err != nil {
		return err
	}
	return s.showFiles(ctx, ws, beside)
}
