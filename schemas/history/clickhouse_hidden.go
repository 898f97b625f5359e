package history

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"sync"
	"time"

	"canter.example/schemas"
)

// The numbers of rows that don't count, and of those that never will again.
const (
	hiddenNow   = "SELECT write_id FROM stored_hidden GROUP BY write_id HAVING sum(hides) > 0"
	replacedNow = "SELECT write_id FROM stored_hidden GROUP BY write_id HAVING sum(replaced) > 0"
)

// hiding is a row of stored_hidden.
type hiding struct {
	writeID         uint64
	hides, replaced int64
}

// hidings hides (1) or shows (-1) n numbers in a row.
func hidings(first uint64, n int, hides int64) []hiding {
	hs := make([]hiding, n)
	for i := range hs {
		hs[i] = hiding{writeID: first + uint64(i), hides: hides}
	}
	return hs
}

// hide inserts rows into stored_hidden, all of them or none.
func (s *clickhouseStore) hide(ctx context.Context, hs []hiding) error {
	if len(hs) == 0 {
		return nil
	}
	ids, hides, replaced := make([]uint64, len(hs)), make([]int64, len(hs)), make([]int64, len(hs))
	for i, h := range hs {
		ids[i], hides[i], replaced[i] = h.writeID, h.hides, h.replaced
	}
	err := s.insertBlock(ctx, "stored_hidden", []string{"write_id", "hides", "replaced"},
		&block{columns: []column{{uints: ids}, {ints: hides}, {ints: replaced}}})
	if err == nil {
		s.sweeps.count(hs, func(ctx context.Context) error { return s.sweep(ctx, settleFor) }, s.foldAndTidy)
	}
	return err
}

// How many numbers are put by at least and at most: what is hidden is read with
// every question, and of a whole table each row is looked up among it, which is
// quick while it is next to nothing. A process that dies leaves those it had put by.
const (
	fewNumbers  = 16
	manyNumbers = 4096
)

// Numbers that went within busyFor were too few. What is left of them when nobody
// took one for idleFor is given back.
const (
	busyFor = 10 * time.Second
	idleFor = time.Minute
)

// numbers hands out write_ids that are hidden already. They are put by many at
// a time, so that a write seldom waits for it.
type numbers struct {
	hide func(context.Context, []hiding) error

	mu    sync.Mutex
	next  uint64
	left  int
	batch int
	since time.Time // when the last were put by
	idle  *time.Timer
}

// take returns the first of n numbers in a row.
func (p *numbers) take(ctx context.Context, n int) (uint64, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.left < n {
		if time.Since(p.since) < busyFor {
			p.batch = min(2*p.batch, manyNumbers)
		} else {
			p.batch = fewNumbers
		}
		size := max(n, p.batch)
		first := rand.Uint64N(1 << 63) //nolint:gosec // to be unlike others, not secret
		if err := p.hide(ctx, hidings(first, size, 1)); err != nil {
			return 0, fmt.Errorf("put numbers by: %w", err)
		}
		if err := p.release(ctx); err != nil {
			return 0, err
		}
		p.next, p.left, p.since = first, size, time.Now()
	}
	if p.idle == nil {
		p.idle = time.AfterFunc(idleFor, func() { _ = p.giveBack() }) //nolint:contextcheck // comes when the call is over
	} else {
		p.idle.Reset(idleFor)
	}
	first := p.next
	p.next += uint64(n)
	p.left -= n
	return first, nil
}

// release makes the numbers that were not used vanish from stored_hidden.
func (p *numbers) release(ctx context.Context) error {
	if p.left == 0 {
		return nil
	}
	hs := hidings(p.next, p.left, -1)
	p.left = 0
	if err := p.hide(ctx, hs); err != nil {
		return fmt.Errorf("give numbers back: %w", err)
	}
	return nil
}

// giveBack is release for a store that closes or has nothing to do. That a server is
// away then is no error: the numbers stay put by.
func (p *numbers) giveBack() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.idle != nil {
		p.idle.Stop()
	}
	_ = p.release(context.Background())
	return nil
}

// fileRow is a row of stored_file_writes, as far as it tells which write stands.
type fileRow struct {
	id                      string
	version, again, writeID uint64
	digest                  uint64
	tests                   []string
	testsFound              int64
	hidden, replaced        bool
}

// compare orders the writes of a file: the newest is the greatest.
func (r *fileRow) compare(o *fileRow) int {
	return cmp.Or(cmp.Compare(r.version, o.version), cmp.Compare(r.again, o.again), cmp.Compare(r.writeID, o.writeID))
}

func newestRow(rows []fileRow) *fileRow {
	var newest *fileRow
	for i := range rows {
		if newest == nil || rows[i].compare(newest) > 0 {
			newest = &rows[i]
		}
	}
	return newest
}

func scanFileRow(scan scanner) (r fileRow, err error) {
	var hidden, replaced uint8
	err = scan(&r.id, &r.version, &r.again, &r.writeID, &r.digest, &r.tests, &r.testsFound, &hidden, &replaced)
	r.hidden, r.replaced = hidden != 0, replaced != 0
	return r, err
}

const selectFileRows = "SELECT file_id, version, again, write_id, digest, test_ids, tests_found," +
	" write_id IN (" + hiddenNow + ") AS is_hidden, write_id IN (" + replacedNow + ") AS is_replaced FROM stored_file_writes "

// findRows returns the rows of the files, by file; of files with no other row than
// that of the write itself they may be left out.
type findRows func(context.Context, []*fileWrite) (map[string][]fileRow, error)

// fileRows returns the rows of the files, by file.
func (s *clickhouseStore) fileRows(ctx context.Context, ws []*fileWrite) (map[string][]fileRow, error) {
	var all []fileRow
	for part := range slices.Chunk(ws, maxFlush) {
		ids := make([]any, len(part))
		for i, w := range part {
			ids[i] = w.id
		}
		rows, err := clickhouseRows(ctx, s, "writes of files", scanFileRow, selectFileRows+"WHERE file_id IN ("+marks(len(ids))+")", ids...)
		if err != nil {
			return nil, err
		}
		all = append(all, rows...)
	}
	return byFile(all), nil
}

// rowsBeside is fileRows for what is written in bulk. While there are no rows but
// those that this process wrote in bulk, which is so when years of history are
// loaded, it knows by itself which files have others: to look for tens of thousands
// of files among millions would take longer than to write them.
func (s *clickhouseStore) rowsBeside(ctx context.Context, ws []*fileWrite) (map[string][]fileRow, error) {
	again := s.bulk.again(fileNames(ws))
	alone, err := s.alone(ctx, "stored_file_writes", &s.bulk)
	if err != nil {
		return nil, err
	}
	if alone || len(ws) <= maxFlush {
		if !alone {
			return s.fileRows(ctx, ws)
		}
		some := make([]*fileWrite, len(again))
		for i, at := range again {
			some[i] = ws[at]
		}
		return s.fileRows(ctx, some)
	}
	// The numbers of ws are in a row, so that the files need not be named.
	first, last := ws[0].writeID, ws[len(ws)-1].writeID
	rows, err := clickhouseRows(ctx, s, "writes of files", scanFileRow,
		selectFileRows+s.prewhere("file_id IN (SELECT file_id FROM stored_file_writes WHERE write_id >= ? AND write_id <= ?)")+" (write_id < ? OR write_id > ?)",
		first, last, first, last)
	if err != nil {
		return nil, err
	}
	return byFile(rows), nil
}

func fileNames(ws []*fileWrite) []string {
	names := make([]string, len(ws))
	for i, w := range ws {
		names[i] = w.id
	}
	return names
}

// prewhere asks for a condition before the other columns are read, where there
// is no distributed table between.
func (s *clickhouseStore) prewhere(condition string) string {
	if s.cluster != nil {
		return "WHERE " + condition + " AND"
	}
	return "PREWHERE " + condition + " WHERE"
}

func byFile(rows []fileRow) map[string][]fileRow {
	of := make(map[string][]fileRow)
	for _, r := range rows {
		of[r.id] = append(of[r.id], r)
	}
	return of
}

// showFiles shows the rows that were just written and hides what they replace,
// in one insert. It looks only after the rows of the files are there: of two
// that write at one time at least the later sees both, and each that sees a
// newer one than its own leaves its own hidden. What is replaced stays so
// whatever its writer does afterwards.
func (s *clickhouseStore) showFiles(ctx context.Context, ws []*fileWrite, beside findRows) error {
	rows, err := beside(ctx, ws)
	if err != nil {
		return err
	}
	hs := make([]hiding, 0, len(ws))
	gone := make(map[string]bool) // tests that were there and are not
	var unlisted []any            // files whose tests an older version did not list
	for _, w := range ws {
		own := fileRow{id: w.id, version: w.version, again: w.again, writeID: w.writeID}
		if newest := newestRow(rows[w.id]); newest != nil && newest.compare(&own) > 0 {
			hs = append(hs, hiding{w.writeID, 1, 1})
			continue
		}
		hs = append(hs, hiding{w.writeID, -1, 0})
		for i := range rows[w.id] {
			r := &rows[w.id][i]
			if r.writeID == w.writeID || r.replaced {
				continue
			}
			hs = append(hs, hiding{r.writeID, 1, 1})
			for _, t := range r.tests {
				gone[t] = true
			}
			if len(r.tests) == 0 && r.testsFound > 0 {
				unlisted = append(unlisted, r.id)
			}
		}
	}
	more, err := s.assessmentsToHide(ctx, ws, gone, unlisted)
	if err != nil {
		return err
	}
	return s.hide(ctx, append(hs, more...))
}

// assessmentsToHide returns the assessments of tests that were found in the
// files before and no longer are.
func (s *clickhouseStore) assessmentsToHide(ctx context.Context, ws []*fileWrite, gone map[string]bool, unlisted []any) ([]hiding, error) {
	for part := range slices.Chunk(unlisted, maxFlush) {
		ids, err := clickhouseRows(ctx, s, "tests of files", func(scan scanner) (id string, err error) { return id, scan(&id) },
			"SELECT DISTINCT test_id FROM stored_traces WHERE file_id IN ("+marks(len(part))+")", part...)
		if err != nil {
			return nil, err
		}
		for _, id := range ids {
			gone[id] = true
		}
	}
	if len(gone) == 0 {
		return nil, nil
	}
	for _, w := range ws {
		for _, t := range w.tests {
			delete(gone, t)
		}
	}
	var hs []hiding
	for part := range slices.Chunk(slices.Sorted(maps.Keys(gone)), maxFlush) {
		rows, err := s.assessmentRows(ctx, part, nil)
		if err != nil {
			return nil, err
		}
		for _, r := range rows {
			hs = append(hs, hiding{r.writeID, 1, 1})
		}
	}
	return hs, nil
}

// assessmentRow is a row of stored_athlete_assessments that was not replaced.
type assessmentRow struct {
	test                    string
	version, again, writeID uint64
}

func (r *assessmentRow) compare(o *assessmentRow) int {
	return cmp.Or(cmp.Compare(r.version, o.version), cmp.Compare(r.again, o.again), cmp.Compare(r.writeID, o.writeID))
}

func scanAssessmentRow(scan scanner) (r assessmentRow, err error) {
	return r, scan(&r.test, &r.version, &r.again, &r.writeID)
}

// assessmentRows returns the rows of these tests; athletes are those whose rows
// may be there without a key yet, as a writer left them that died.
func (s *clickhouseStore) assessmentRows(ctx context.Context, tests, athletes []string) ([]assessmentRow, error) {
	const columns = "SELECT test_id, version, again, write_id FROM "
	is := " WHERE test_id IN (" + marks(len(tests)) + ")"
	query, args := columns+"stored_assessment_keys"+is, anys(tests)
	if len(athletes) > 0 {
		query += " UNION ALL " + columns + "stored_athlete_assessments" + is + " AND athlete IN (" + marks(len(athletes)) + ")"
		args = append(append(args, anys(tests)...), anys(athletes)...)
	}
	return clickhouseRows(ctx, s, "writes of assessments", scanAssessmentRow,
		"SELECT test_id, version, again, write_id FROM ("+query+") WHERE write_id NOT IN ("+replacedNow+")", args...)
}

// hideReplacedAssessments leaves of each test the newest assessment to be seen.
// It looks after the new ones are there, so that of two writers at least the
// later sees both.
func (s *clickhouseStore) hideReplacedAssessments(ctx context.Context, as []schemas.Assessment) error {
	var hs []hiding
	for part := range slices.Chunk(as, maxFlush) {
		tests, athletes := make(map[string]bool), make(map[string]bool)
		for i := range part {
			tests[string(part[i].TestID)], athletes[part[i].Athlete] = true, true
		}
		rows, err := s.assessmentRows(ctx, slices.Sorted(maps.Keys(tests)), slices.Sorted(maps.Keys(athletes)))
		if err != nil {
			return err
		}
		newest := make(map[string]assessmentRow, len(tests))
		for _, r := range rows {
			n, found := newest[r.test]
			switch {
			case !found:
				newest[r.test] = r
			case r.writeID == n.writeID: // the row itself and its key
			case r.compare(&n) > 0:
				hs = append(hs, hiding{n.writeID, 1, 1})
				newest[r.test] = r
			default:
				hs = append(hs, hiding{r.writeID, 1, 1})
			}
		}
	}
	return s.hide(ctx, hs)
}
