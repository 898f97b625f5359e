package history

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"canter.example/schemas"
)

// sqliteSeries are the daily values of a file, as statements take them.
type sqliteSeries struct {
	shared []any   // what seriesShared names
	rows   [][]any // what seriesOwn names, of each value
}

// What all values of a file share, and what each has for itself: the columns of
// stored_series in the order in which insertSeries takes them.
var (
	seriesShared = []string{"file_id", "seen_ms", "version"}
	seriesOwn    = []string{"athlete", "squad", "local_date", "series", "value", "unit"}
)

// seriesAtOnce is how many values sqliteAddManySeries adds.
const seriesAtOnce = 32

// insertSeries returns the INSERT of n values of one file, with what becomes of those
// that are there. Its arguments are those of seriesShared, and then for each value
// those of seriesOwn.
func insertSeries(n int, conflict string) string {
	var b strings.Builder
	b.WriteString("INSERT OR FAIL INTO stored_series (" + strings.Join(slices.Concat(seriesShared, seriesOwn), ", ") + ") VALUES ")
	b.WriteString("(" + marks(len(seriesShared)+len(seriesOwn)) + ")")
	for range n - 1 {
		b.WriteString(", (?1, ?2, ?3, " + marks(len(seriesOwn)) + ")")
	}
	b.WriteString(" ON CONFLICT (file_id, athlete, squad, local_date, series) " + conflict)
	return b.String()
}

// newSQLiteSeries makes the values of a file ready, in the order of the index by
// athlete: so those of an athlete go to one page of it, one after the other.
func newSQLiteSeries(vs []schemas.SeriesValue, seen time.Time) (sqliteSeries, error) {
	w := sqliteSeries{rows: make([][]any, len(vs))}
	n := len(seriesColumns.write)
	r := &record{at: sqliteClock, values: make([]any, 0, n*len(vs))}
	for i := range vs {
		if err := putSeries(r, &vs[i], seen); err != nil {
			return w, err
		}
		all := r.values[n*i:] // file_id, seriesOwn, seen_ms, version
		w.rows[i] = all[1 : n-2 : n-2]
		shared := []any{all[0], all[n-2], all[n-1]}
		if i > 0 && !slices.Equal(shared, w.shared) {
			return w, fmt.Errorf("%w: daily values of files %v and %v, versions %v and %v, in one", ErrInvalid, w.shared[0], shared[0], w.shared[2], shared[2])
		}
		w.shared = shared
	}
	slices.SortStableFunc(w.rows, func(a, b []any) int {
		for i := range 4 { // athlete, squad, local_date, series
			x, _ := a[i].(string)
			y, _ := b[i].(string)
			if c := strings.Compare(x, y); c != 0 {
				return c
			}
		}
		return 0
	})
	return w, nil
}

// into adds the values, many with one statement: a sheet of a season has hundreds.
func (w *sqliteSeries) into(t *sqliteTx) error {
	var args []any
	for rows := w.rows; len(rows) > 0; {
		n, add := seriesAtOnce, sqliteAddManySeries
		if len(rows) < n {
			n, add = 1, sqliteAddSeries
		}
		args = append(args[:0], w.shared...)
		for _, r := range rows[:n] {
			args = append(args, r...)
		}
		added, err := t.exec(add, args...)
		if err != nil {
			return err
		}
		if added < int64(n) { // a retention left some of them
			if err := w.save(t, rows[:n]); err != nil {
				return err
			}
		}
		rows = rows[n:]
	}
	return nil
}

// save writes values that may be there.
func (w *sqliteSeries) save(t *sqliteTx, rows [][]any) error {
	for _, r := range rows {
		if _, err := t.exec(sqliteSaveSeries, slices.Concat(w.shared, r)...); err != nil {
			return err
		}
	}
	return nil
}
