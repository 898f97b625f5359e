package history_test

import (
	"fmt"
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/history"
	"canter.example/schemas/history/historytest"
)

// A sweep takes replaced rows from the disk and changes nothing that is seen: of
// a test that is no longer found the last row stays.
func TestASweepChangesNothingThatIsSeen(t *testing.T) {
	t.Parallel()
	ctx, address := t.Context(), historytest.ClickHouse(t)
	s := open(t, address)
	for v := schemas.Version(1); v <= 3; v++ {
		for n := range 4 {
			f := file(n, v)
			tests := []schemas.Outcome{outcome(&f, 0, "anna"), outcome(&f, int(v), "anna")}
			r := history.FileResult{File: f, Tests: tests, Loads: []schemas.TraceLoad{load(&f, "", "anna", noon, 3600e9, 50)}, Series: []schemas.SeriesValue{value(&f, "anna", "sleep", n, 8)}}
			r.Traces = map[schemas.TestID][]schemas.TraceSecond{tests[0].TestID: trace(20)}
			ok(t, s.SaveResult(ctx, r))
			ok(t, s.SaveAssessments(ctx, []schemas.Assessment{assessment(tests[0].TestID, v), assessment(tests[1].TestID, v)}))
		}
	}
	seen := func() string {
		all, err := s.Tests(ctx, history.TestFilter{IncludeRemoved: true})
		ok(t, err)
		return fmt.Sprint(counts(t, s), one(t, s, "SELECT count(*) FROM session_tests"), one(t, s, "SELECT count(*) FROM loads"), athleteTests(t, s, "anna"), ids(all))
	}
	conn := connect(t, address)
	rows := func(table string) uint64 {
		var n uint64
		ok(t, conn.QueryRow(ctx, "SELECT count() FROM "+table).Scan(&n))
		return n
	}
	before := seen()
	same(t, "rows of tests before", rows("stored_tests"), 24)
	for range 2 {
		ok(t, history.Sweep(ctx, s))
		same(t, "seen after the sweep", seen(), before)
		for table, want := range map[string]uint64{"stored_file_writes": 4, "stored_tests": 8 + 8, "stored_session_tests": 8, "stored_traces": 8, "stored_loads": 4, "stored_series": 4, "stored_athlete_assessments": 8, "stored_swept": 0} {
			same(t, table, rows(table), want)
		}
	}
	// Of what is replaced only the writes of the tests that are gone are known still.
	same(t, "numbers kept", one(t, s, "SELECT count(*) FROM (SELECT write_id FROM stored_hidden GROUP BY write_id HAVING sum(replaced) > 0)"), 8)
}

// At a quiet hour a sweep begins for a few replaced writes, in the background.
func TestAQuietHourTakesReplacedRowsAway(t *testing.T) {
	t.Parallel()
	ctx, s := t.Context(), open(t, historytest.ClickHouse(t))
	for v := schemas.Version(1); v <= 12; v++ {
		f := file(1, v)
		save(t, s, f, outcome(&f, 0, "anna"))
	}
	before := fmt.Sprint(counts(t, s), athleteTests(t, s, "anna"))
	stored := func() any { return one(t, s, "SELECT toInt64(count()) FROM stored_tests") }
	same(t, "rows before", stored(), any(int64(12)))
	ok(t, s.Tidy(ctx))
	ok(t, s.Tidy(ctx)) // while the first is under way
	for stored() != int64(1) || one(t, s, "SELECT toInt64(count()) FROM ("+history.ReplacedNow+")") != int64(0) {
		select {
		case <-ctx.Done():
			t.Fatal(ctx.Err())
		case <-time.After(50 * time.Millisecond):
		}
	}
	same(t, "seen after", fmt.Sprint(counts(t, s), athleteTests(t, s, "anna")), before)
}

// Settled, each table that is asked by athlete or squad is one part, rows that were
// replaced are gone, and nothing else is different.
func TestASettledHistoryIsTheSame(t *testing.T) {
	t.Parallel()
	ctx, address := t.Context(), historytest.ClickHouse(t)
	s := open(t, address)
	for n := range 6 {
		f := file(n, 1)
		o := outcome(&f, 0, "anna")
		save(t, s, f, o)
		ok(t, s.SaveAssessments(ctx, []schemas.Assessment{assessment(o.TestID, 1)}))
	}
	again := file(3, 2)
	save(t, s, again, outcome(&again, 0, "anna"))
	seen := func() string {
		return fmt.Sprint(counts(t, s), one(t, s, "SELECT count(*) FROM session_tests"), athleteTests(t, s, "anna"))
	}
	before := seen()
	ok(t, history.Settle(ctx, s))
	same(t, "seen when settled", seen(), before)
	same(t, "rows of tests", one(t, s, "SELECT toInt64(count()) FROM stored_tests"), 6)
	same(t, "replaced writes", one(t, s, "SELECT toInt64(count()) FROM ("+history.ReplacedNow+")"), 0)
	for _, table := range []string{"stored_tests", "stored_session_tests", "stored_athlete_assessments", "stored_session_assessments", "stored_file_writes"} {
		same(t, "parts of "+table, one(t, s, "SELECT toInt64(count()) FROM system.parts WHERE database = currentDatabase() AND active AND table = '"+table+"'"), 1)
	}
}
