package historytest

import (
	"path/filepath"
	"testing"
)

// SQLite returns the address of an empty SQLite history of this test's own.
func SQLite(tb testing.TB) string {
	tb.Helper()
	return "sqlite://" + filepath.Join(tb.TempDir(), "canter.db")
}
