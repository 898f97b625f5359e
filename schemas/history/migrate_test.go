package history_test

import (
	"database/sql"
	"os"
	"strings"
	"testing"
	"time"

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
		conn := connect(t, address)
		ok(t, conn.Exec(t.Context(), "DROP TABLE "+table))
		ok(t, conn.Exec(t.Context(), "INSERT INTO canter_migrations (version_id, is_applied, stamp) SELECT toInt64(?), toUInt8(0), now() + 1", gone))
		check(t, address)
	})
}

// A migration that finds a view away, as another process is making it anew, waits
// for it.
func TestAMigrationWaitsForAViewThatIsAway(t *testing.T) {
	t.Parallel()
	ctx, server, name := t.Context(), historytest.NewServer(t), historytest.NewDatabase()
	address := server.Address(name)
	s, err := history.Open(ctx, address)
	ok(t, err)
	ok(t, s.Close())
	conn := connect(t, address)
	// The newest form of weekly_tests is not there, nor what it builds upon.
	members, err := os.ReadFile("clickhouse/00206_squad_members.sql")
	ok(t, err)
	for _, q := range []string{"DROP TABLE weekly_tests", "DROP TABLE squad_members",
		"INSERT INTO canter_migrations (version_id, is_applied, stamp) SELECT toInt64(528), toUInt8(0), now() + 1"} {
		ok(t, conn.Exec(ctx, q))
	}
	opened := make(chan error, 1)
	go func() {
		s, err := history.Open(ctx, address+historytest.Logging)
		if err == nil {
			err = s.Close()
		}
		opened <- err
	}()
	refused := func() (n uint64) {
		err := conn.QueryRow(ctx, "SELECT count() FROM system.query_log WHERE type > 2 AND query LIKE '%CREATE VIEW IF NOT EXISTS weekly_tests%'").Scan(&n)
		if err != nil {
			n = 0 // the log is not there yet
		}
		return n
	}
	for refused() == 0 {
		select {
		case err := <-opened:
			t.Fatalf("opened before what the view builds upon was there: %v", err)
		case <-time.After(50 * time.Millisecond):
		}
	}
	ok(t, conn.Exec(ctx, strings.TrimSuffix(strings.TrimSpace(string(members)), ";")))
	ok(t, <-opened)
	var n uint64
	ok(t, conn.QueryRow(ctx, "SELECT count() FROM weekly_tests").Scan(&n))
}
