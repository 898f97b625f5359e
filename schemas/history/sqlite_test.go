package history_test

import (
	"os"
	"path/filepath"
	"testing"

	"canter.example/schemas/history"
)

// Heart-rate data is health data: other users of the machine have no business
// in the file, whatever the umask.
func TestTheFileIsPrivate(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "new", "with % ? # and ü")
	s := open(t, filepath.Join(dir, "canter.db"))
	save(t, s, file(1, 1))
	same(t, "files", one(t, s, "SELECT count(*) FROM files"), 1)
	entries, err := os.ReadDir(dir)
	ok(t, err)
	if len(entries) < 2 { // the file and its write-ahead log
		t.Errorf("only %v", entries)
	}
	for _, e := range entries {
		info, err := e.Info()
		ok(t, err)
		same(t, e.Name()+" may be used by", info.Mode().Perm(), 0o600)
	}
}

// TestWritesAreSyncedOnceTheTablesAreThere: a new history, and one that is opened
// again. 2 is FULL (SQLite's documentation of PRAGMA synchronous).
func TestWritesAreSyncedOnceTheTablesAreThere(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "canter.db")
	for _, what := range []string{"new", "opened again"} {
		s, err := history.Open(t.Context(), path)
		ok(t, err)
		how, err := history.Synchronous(t.Context(), s)
		ok(t, err)
		same(t, "synchronous, "+what, how, 2)
		ok(t, s.Close())
	}
}

func TestAReaderMakesNoFile(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "none.db")
	if _, err := history.OpenReader(t.Context(), path); err == nil {
		t.Error("a file that is not there was opened")
	}
	if _, err := os.Stat(path); err == nil {
		t.Error("the file was made")
	}
}

func TestAReaderOfASQLiteFile(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "canter.db")
	s := open(t, path)
	r, err := history.OpenReader(t.Context(), "sqlite://"+path)
	ok(t, err)
	defer r.Close()
	save(t, s, file(1, 1))
	same(t, "files", one(t, r, "SELECT count(*) FROM files"), 1)
	same(t, "columns listed", one(t, r, "SELECT count(*) FROM pragma_table_info('slots')"), 4)
	if _, err := r.Query(t.Context(), "SELECT * FROM sqlite_master", 1); err != nil {
		t.Error(err)
	}
}
