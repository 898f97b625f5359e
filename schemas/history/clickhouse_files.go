package history

import (
	"context"
	"fmt"
	"math"
	"runtime"
	"slices"
	"time"

	"golang.org/x/sync/errgroup"

	"canter.example/schemas"
)

// The columns of what ClickHouse stores, beside those of the rows.
var (
	storedTraceColumns = []string{"test_id", "athlete", "file_id",
		"trace.second", "trace.raw_bpm", "trace.clean_bpm", "trace.dropped", "trace.speed_ms", "write_id"}
	storedFileColumns   = append(append([]string{}, fileColumns.plain...), "digest", "again", "test_ids", "write_id")
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

// SaveResults implements [Store].
func (s *clickhouseStore) SaveResults(ctx context.Context, rs []FileResult) error {
	if len(rs) == 0 {
		return nil
	}
	rs = lastOfEach(rs)
	ws := make([]*fileWrite, len(rs))
	var making errgroup.Group
	const piece = 1000
	making.SetLimit(runtime.GOMAXPROCS(0))
	for from := 0; from < len(rs); from += piece {
		making.Go(func() error {
			for i := from; i < min(from+piece, len(rs)); i++ {
				w, err := newFileWrite(&rs[i])
				if err != nil {
					return fmt.Errorf("history: save file %s: %w", rs[i].File.ID.Short(), err)
				}
				w.again = uint64(time.Now().UnixMicro())
				ws[i] = w
			}
			return nil
		})
	}
	err := making.Wait()
	if err == nil {
		if err = s.writeFiles(ctx, ws); err != nil {
			err = fmt.Errorf("history: save %d files: %w", len(ws), err)
		}
	}
	return err
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
		digest.window(window)
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
		files = append(files, append(slices.Clip(w.file), w.digest, w.again, w.tests, w.writeID))
		all.add(&w.rows, w.writeID)
	}
	var sending errgroup.Group
	for _, t := range []struct {
		table   string
		columns []string
		rows    [][]any
	}{
		{"stored_loads", storedLoadColumns, all.loads},
		{"stored_series", storedSeriesColumns, all.series},
		{"stored_traces", storedTraceColumns, all.traces},
		{"stored_tests", storedTestColumns, all.tests},
	} {
		sending.Go(func() error { return s.insert(ctx, t.table, t.columns, t.rows) })
	}
	if err := sending.Wait(); err != nil {
		return err
	}
	if err := s.insert(ctx, "stored_file_writes", storedFileColumns, files); err != nil {
		return err
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
