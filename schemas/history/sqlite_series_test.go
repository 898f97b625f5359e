package history

import (
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"canter.example/schemas"
)

// TestValuesThatWereLeftAreReplaced: a retention takes a file's row and leaves its
// younger values; the same file comes again, with others beside them.
func TestValuesThatWereLeftAreReplaced(t *testing.T) {
	t.Parallel()
	s, err := openSQLite(t.Context(), filepath.Join(t.TempDir(), "history.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = s.Close() }()
	const n = 2*seriesAtOnce + 5 // both statements, several times
	sheet := func(version schemas.Version, value float64) FileResult {
		r := FileResult{File: schemas.File{ID: "f", State: schemas.FileSeries, Version: version}, New: true}
		for i := range n {
			r.Series = append(r.Series, schemas.SeriesValue{FileID: "f", Athlete: fmt.Sprint("athlete ", i%7), Squad: "first",
				Date: fmt.Sprintf("2026-01-%02d", 31-i/7), Series: "sleep", Unit: "h", Value: value, Version: version})
		}
		return r
	}
	if err := s.SaveResult(t.Context(), sheet(1, 7)); err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{"DELETE FROM files", "DELETE FROM stored_series WHERE athlete < 'athlete 4'"} {
		if _, err := s.writer.ExecContext(t.Context(), text); err != nil {
			t.Fatal(err)
		}
	}
	want := sheet(2, 8)
	if err := s.SaveResult(t.Context(), want); err != nil {
		t.Fatal(err)
	}
	got, err := s.FileSeries(t.Context(), "f")
	if err != nil {
		t.Fatal(err)
	}
	slices.SortFunc(want.Series, func(a, b schemas.SeriesValue) int {
		return slices.Compare([]string{a.Date, a.Athlete}, []string{b.Date, b.Athlete})
	})
	if !slices.Equal(got, want.Series) {
		t.Errorf("got %v\nwant %v", got, want.Series)
	}
}

// TestValuesOfTwoFilesAreNotOneFiles: what values share is given to SQLite once.
func TestValuesOfTwoFilesAreNotOneFiles(t *testing.T) {
	t.Parallel()
	one := schemas.SeriesValue{FileID: "f", Athlete: "A", Squad: "first", Date: "2026-01-01", Series: "sleep", Unit: "h", Value: 7, Version: 1}
	file, version := one, one
	file.FileID, version.Version = "g", 2
	for _, other := range []schemas.SeriesValue{file, version} {
		if _, err := newSQLiteSeries([]schemas.SeriesValue{one, one, other}, time.Unix(1, 0)); !errors.Is(err, ErrInvalid) {
			t.Errorf("%v beside %v: %v", other, one, err)
		}
	}
}
