package history_test

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"canter.example/schemas"
	"canter.example/schemas/history"
	"canter.example/schemas/history/historytest"
)

// A history whose views asked for FINAL, with rows that were replaced, rows sent
// twice and a test that is no longer found, is the same after the migrations.
func TestAHistoryOfAnOlderVersionStaysTheSame(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	server, name := historytest.SharedServer(t), historytest.NewDatabase()
	admin := connect(t, server.Address("default"))
	ok(t, admin.Exec(ctx, "CREATE DATABASE "+name))
	conn := connect(t, server.Address(name))

	const table, last = "canter_migrations", 399
	ok(t, conn.Exec(ctx, "CREATE TABLE "+table+" (version_id Int64, is_applied UInt8, stamp DateTime) ENGINE = MergeTree ORDER BY version_id"))
	files, err := filepath.Glob("clickhouse/*.sql")
	ok(t, err)
	number := regexp.MustCompile(`\d+`)
	applied := []string{"0"}
	for _, f := range files {
		var n int
		_, err := fmt.Sscan(strings.TrimLeft(number.FindString(filepath.Base(f)), "0"), &n)
		ok(t, err)
		if n > last {
			continue
		}
		text, err := os.ReadFile(f)
		ok(t, err)
		ok(t, conn.Exec(ctx, strings.TrimSuffix(strings.TrimSpace(string(text)), ";")))
		applied = append(applied, fmt.Sprint(n))
	}
	for _, n := range applied {
		ok(t, conn.Exec(ctx, "INSERT INTO "+table+" (version_id, is_applied, stamp) SELECT toInt64("+n+"), toUInt8(1), now()"))
	}
	insert := func(table, columns string, rows ...string) {
		for _, r := range rows {
			for range 2 { // each as if its acknowledgement got lost
				ok(t, conn.Exec(ctx, "INSERT INTO "+table+" ("+columns+") SELECT "+r))
			}
		}
	}
	const a, b = "U21/sft/2026-03-04", "1772625600000"
	insert("stored_files", "file_id, state, seen_ms, tests_found, version, write_id",
		"'f1', 'scored', toInt64("+b+"), toInt64(2), toUInt64(1), toUInt64(11)", "'f1', 'scored', toInt64("+b+"), toInt64(1), toUInt64(2), toUInt64(12)")
	test := func(id, hrex string, version int) string {
		return fmt.Sprintf("'%s', 'f1', 'anna', 'U21', 'sft', '%s', toInt64(%s), %s, 'good', '[]', '[]', '[]', toUInt64(%d), toUInt64(%d)", id, a, b, hrex, version, 10+version)
	}
	insert("stored_tests", "test_id, file_id, athlete, squad, protocol, session, start_ms, hrex_bpm, quality, reasons_json, recoveries, stages, version, write_id",
		test("t1", "150.", 1), test("t2", "151.", 1), test("t1", "152.", 2))
	insert("stored_traces", "test_id, athlete, file_id, write_id", "'t1', 'anna', 'f1', toUInt64(11)", "'t2', 'anna', 'f1', toUInt64(11)", "'t1', 'anna', 'f1', toUInt64(12)")
	insert("stored_loads", "file_id, athlete, local_date, reasons_json, version, write_id", "'f1', 'anna', '2026-03-04', '[]', toUInt64(2), toUInt64(12)")
	for v, id := range []string{"t1", "t2"} {
		ok(t, admin.Exec(ctx, "INSERT INTO "+name+".stored_assessments (test_id, athlete, squad, protocol, session, start_ms, fired, version, comparison.measure, comparison.z) SELECT '"+
			id+"', 'anna', 'U21', 'sft', '"+a+"', toInt64("+b+"), '[]', toUInt64("+fmt.Sprint(v+1)+"), ['hrex'], [2.5]"))
	}

	for range 2 { // the second time nothing is left to do
		s, err := history.Open(ctx, server.Address(name))
		ok(t, err)
		same(t, "rows", counts(t, s), map[string]int64{"files": 1, "tests": 1, "assessments": 1})
		for _, q := range []string{"session_tests WHERE hrex_z = 2.5 AND hrex_bpm = 152", "latest_tests WHERE hrex_z = 2.5 AND athlete = 'anna'", "loads WHERE counts = 1", "session_changes"} {
			same(t, q, one(t, s, "SELECT count(*) FROM "+q), 1)
		}
		same(t, "tests", athleteTests(t, s, "anna"), []string{"t1 anna v2"})
		all, err := s.Tests(ctx, history.TestFilter{IncludeRemoved: true})
		ok(t, err)
		same(t, "with removed", ids(all), []string{"t1 anna v2", "t2 anna v1"})
		got, _, err := s.Assessment(ctx, "t1")
		ok(t, err)
		same(t, "version of the assessment", got.Version, 1)
		ok(t, s.Close())
	}
	// What comes now replaces what was there, and its test that is gone hides
	// what was said of it.
	s := open(t, server.Address(name))
	f := file(1, 3)
	f.ID = "f1"
	save(t, s, f)
	same(t, "rows", counts(t, s), map[string]int64{"files": 1})
	ok(t, s.SaveAssessments(ctx, []schemas.Assessment{assessment("t1", 3)}))
}
