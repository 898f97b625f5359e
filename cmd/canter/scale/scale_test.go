package scale

import (
	"errors"
	"fmt"
	"io"
	"regexp"
	"strings"
	"testing"

	"github.com/ClickHouse/clickhouse-go/v2"

	"canter.example/schemas/history"
	"canter.example/schemas/history/historytest"
)

var small = Plan{Clubs: 3, Athletes: 6, Weeks: 60, Assessed: 20, Recorded: 3, Rescored: 10, Batch: 100, Writers: 2, Seed: 7}

// A small form of the benchmark: everything that was planned is there, once,
// and every question has an answer.
func TestASmallHistoryIsFilledAndAsked(t *testing.T) {
	for name, address := range map[string]string{"SQLite": historytest.SQLite(t), "ClickHouse": historytest.ClickHouse(t)} {
		t.Run(name, func(t *testing.T) {
			ctx := t.Context()
			s, err := history.Open(ctx, address)
			if err != nil {
				t.Fatal(err)
			}
			defer s.Close()
			loaded, err := small.Load(ctx, s, io.Discard)
			if err != nil {
				t.Fatal(err)
			}
			people := int64(small.Clubs * small.Athletes)
			recordings := people * 5 * int64(small.Recorded)
			for table, want := range map[string]int64{
				"tests": int64(small.Tests()), "files": int64(small.Tests()) + recordings, "assessments": 2 * people * int64(small.Assessed),
				"loads": recordings, "session_tests": int64(small.Tests()), "latest_tests": people, "athletes": people,
			} {
				if n, err := count(ctx, s, table); err != nil || n != want {
					t.Errorf("%s has %d rows, want %d; %v", table, n, want, err)
				}
			}
			if _, err := small.Load(ctx, s, io.Discard); !errors.Is(err, ErrNotEmpty) {
				t.Errorf("a history that is not empty was filled: %v", err)
			}
			if name == "ClickHouse" {
				if n, err := s.Query(ctx, "SELECT toInt64(count()) FROM system.parts WHERE database = currentDatabase() AND active AND table = 'stored_tests'", 0); err != nil || n.Values[0][0] != int64(1) {
					t.Errorf("the tests are in %v parts; %v", n, err)
				}
			}
			all, err := small.Measure(ctx, s, address, 3, io.Discard)
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range all {
				if len(m.View) == 0 || m.Rows == 0 && !strings.Contains(m.About, "alert_outcomes") && !strings.Contains(m.About, "session_changes") && !strings.Contains(m.About, "valid_tests by session") {
					t.Errorf("%s: %d rows, asked %d times", m.About, m.Rows, len(m.View))
				}
			}
			var report strings.Builder
			var bare *Bare
			if name == "ClickHouse" {
				if bare, err = BareInsert(ctx, "clickhouse-client", address, loaded); err != nil {
					t.Fatal(err)
				}
			}
			WriteLoaded(&report, loaded, bare)
			if err := errors.Join(WriteSize(ctx, &report, s, address), WriteMeasured(&report, all)); err != nil {
				t.Fatal(err)
			}
			for _, word := range []string{"1080", "bytes a test", "p99", "an athlete over time"} {
				if !strings.Contains(report.String(), word) {
					t.Errorf("%q is not in the report:\n%s", word, report.String())
				}
			}
			t.Log("\n" + report.String())
		})
	}
}

// scans is a step that goes through all rows of a table; those of a subquery are few.
var scans = regexp.MustCompile(`SCAN (stored_|[a-z]\b)`)

// The two questions asked most go by an index: SQLite says so, and old servers
// read no more than a few granules of what is there.
func TestTheTwoQuestionsGoByAnIndex(t *testing.T) {
	p := small
	p.Weeks, p.Clubs, p.Assessed, p.Recorded, p.Rescored, p.Batch = 120, 20, 120, 1, 0, 5000
	questions := map[string]struct{ sql, index string }{
		"one athlete over time": {"SELECT * FROM valid_tests WHERE athlete = '004-02' ORDER BY start_ms", "stored_tests_by_athlete"},
		"one squad on a day":    {"SELECT * FROM session_tests WHERE squad = 'club 004' AND local_date = '" + date(100) + "'", "stored_tests_by_day"},
		"a squad's changes":     {"SELECT * FROM session_changes WHERE squad = 'club 004' AND local_date = '" + date(100) + "'", "stored_tests_by_day"},
	}
	t.Run("SQLite", func(t *testing.T) {
		s := filled(t, &p, historytest.SQLite(t))
		rows, err := s.Query(t.Context(), "EXPLAIN QUERY PLAN SELECT count(*) FROM tests", 0)
		if err != nil {
			t.Fatal(err)
		}
		// The index is of the tests that stand: nothing else need be read to count them.
		if step := fmt.Sprint(rows.Values); !strings.Contains(step, "stored_tests_by_day") {
			t.Errorf("a count of all tests: %s", step)
		}
		for name, q := range questions {
			rows, err := s.Query(t.Context(), "EXPLAIN QUERY PLAN "+q.sql, 0)
			if err != nil {
				t.Fatal(err)
			}
			var steps []string
			for _, r := range rows.Values {
				steps = append(steps, r[len(r)-1].(string))
			}
			if text := strings.Join(steps, "\n"); !strings.Contains(text, "SEARCH stored_tests USING INDEX "+q.index) || scans.MatchString(text) {
				t.Errorf("%s:\n%s", name, text)
			}
		}
	})
	t.Run("ClickHouse", func(t *testing.T) {
		address := historytest.ClickHouse(t)
		s := filled(t, &p, address)
		options, err := clickhouse.ParseDSN(address)
		if err != nil {
			t.Fatal(err)
		}
		conn, err := clickhouse.Open(options)
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		for _, table := range []string{"stored_tests", "stored_session_tests", "stored_session_assessments"} {
			if err := conn.Exec(t.Context(), "OPTIMIZE TABLE "+table+" FINAL"); err != nil {
				t.Fatal(err)
			}
		}
		for name, q := range questions {
			rows, err := s.Query(t.Context(), q.sql, 0)
			if err != nil || len(rows.Values) < 1 {
				t.Fatalf("%s: %v", name, err)
			}
			if read, _ := read(t, conn, q.sql); read == 0 || read > 4096 {
				t.Errorf("%s: of %d tests and as many assessments %d rows were read", name, p.Tests(), read)
			}
		}
		// To count the tests, nothing is read of them but the number of the write.
		if rows, bytes := read(t, conn, "SELECT count(*) FROM tests"); rows < uint64(p.Tests()) || bytes > 8*rows {
			t.Errorf("counted: of %d tests %d rows were read, %d bytes", p.Tests(), rows, bytes)
		}
	})
}

func filled(t *testing.T, p *Plan, address string) history.Store {
	t.Helper()
	s, err := history.Open(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	if _, err := p.Load(t.Context(), s, io.Discard); err != nil {
		t.Fatal(err)
	}
	return s
}

// read is how many rows and bytes the server reads for a statement.
func read(t *testing.T, conn clickhouse.Conn, sql string) (readRows, readBytes uint64) {
	t.Helper()
	ctx := clickhouse.Context(t.Context(), clickhouse.WithSettings(clickhouse.Settings{"enable_optimize_predicate_expression": 1}),
		clickhouse.WithProgress(func(p *clickhouse.Progress) { readRows, readBytes = readRows+p.Rows, readBytes+p.Bytes }))
	rows, err := conn.Query(ctx, sql)
	if err != nil {
		t.Fatal(err)
	}
	for rows.Next() {
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		t.Fatal(err)
	}
	return readRows, readBytes
}
