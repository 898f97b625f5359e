package history_test

import (
	"database/sql"
	"strings"
	"testing"

	"github.com/ClickHouse/clickhouse-go/v2"

	"canter.example/schemas"
	"canter.example/schemas/history"
	"canter.example/schemas/history/historytest"
)

// Tables that come with a lower number than some that are there are made all
// the same: branches add them side by side and merge in either order.
func TestAMigrationBelowTheHighestIsApplied(t *testing.T) {
	t.Parallel()
	const table, view, gone = "stored_loads", "loads", 101
	check := func(t *testing.T, address string) {
		t.Helper()
		s := open(t, address)
		f := file(1, 1)
		l := load(&f, "", "anna", noon, 3600e9, 50)
		ok(t, s.SaveResult(t.Context(), history.FileResult{File: f, Loads: []schemas.TraceLoad{l}}))
		same(t, "loads", loadsOf(t, s, "anna"), []schemas.TraceLoad{l})
	}
	t.Run("SQLite", func(t *testing.T) {
		t.Parallel()
		address := historytest.SQLite(t)
		s, err := history.Open(t.Context(), address)
		ok(t, err)
		ok(t, s.Close())
		db, err := sql.Open("sqlite", strings.TrimPrefix(address, "sqlite://"))
		ok(t, err)
		for _, q := range []string{"DROP VIEW " + view, "DROP TABLE " + table, "DELETE FROM canter_migrations WHERE version_id = 101"} {
			_, err := db.ExecContext(t.Context(), q)
			ok(t, err)
		}
		ok(t, db.Close())
		check(t, address)
	})
	t.Run("ClickHouse", func(t *testing.T) {
		t.Parallel()
		address := historytest.ClickHouse(t)
		s, err := history.Open(t.Context(), address)
		ok(t, err)
		ok(t, s.Close())
		options, err := clickhouse.ParseDSN(address)
		ok(t, err)
		conn, err := clickhouse.Open(options)
		ok(t, err)
		defer conn.Close()
		ok(t, conn.Exec(t.Context(), "DROP TABLE "+table))
		ok(t, conn.Exec(t.Context(), "INSERT INTO canter_migrations (version_id, is_applied, stamp) SELECT toInt64(?), toUInt8(0), now() + 1", gone))
		check(t, address)
	})
}
