package history_test

import (
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/history"
	"canter.example/schemas/history/historytest"
)

// An account that may only read, by the server's own settings, is enough to
// query and not enough to open.
func TestAReadingAccountCanQuery(t *testing.T) {
	t.Parallel()
	server, name := historytest.SharedServer(t), historytest.NewDatabase()
	s := open(t, server.Address(name))
	save(t, s, file(1, 1))
	r, err := history.OpenReader(t.Context(), server.ReaderAddress(name))
	ok(t, err)
	defer r.Close()
	same(t, "files", one(t, r, "SELECT count() FROM files"), 1)
	if _, err := r.Query(t.Context(), "WITH 1 AS x INSERT INTO stored_file_writes SELECT * FROM stored_file_writes", 0); err == nil {
		t.Error("it could insert")
	}
	if s, err := history.Open(t.Context(), strings.Replace(server.ReaderAddress(name), name, "other", 1)); err == nil {
		t.Error("it could make a database", s.Close())
	}
}

// Rows of a write that never came to its end don't count, whether it died before
// the row of its file or after, nor do they when the server has merged them.
func TestRowsLeftByADeadWriterDoNotCount(t *testing.T) {
	t.Parallel()
	address := historytest.ClickHouse(t)
	s := open(t, address)
	f := file(1, 5)
	want := outcome(&f, 0, "anna")
	save(t, s, f, want)
	ok(t, s.SaveAssessments(t.Context(), []schemas.Assessment{assessment(want.TestID, 5)}))
	before := counts(t, s)

	conn := connect(t, address)
	// die leaves what a newer write of the same file leaves that dies before the
	// last of these tables.
	die := func(writeID, version int, tables ...string) {
		ok(t, conn.Exec(t.Context(), fmt.Sprintf("INSERT INTO stored_hidden (write_id, hides, replaced) SELECT toUInt64(%d), toInt64(1), toInt64(0)", writeID)))
		for _, table := range tables {
			var names, values []string
			rows, err := conn.Query(t.Context(), "SELECT name FROM system.columns WHERE database = currentDatabase() AND table = ?", table)
			ok(t, err)
			for rows.Next() {
				var name string
				ok(t, rows.Scan(&name))
				names = append(names, name)
				switch name {
				case "write_id", "digest":
					values = append(values, fmt.Sprintf("toUInt64(%d)", writeID))
				case "version":
					values = append(values, fmt.Sprintf("toUInt64(%d)", version))
				case "hrex_bpm":
					values = append(values, "99.")
				default:
					values = append(values, name)
				}
			}
			ok(t, errors.Join(rows.Err(), rows.Close()))
			ok(t, conn.Exec(t.Context(), fmt.Sprintf("INSERT INTO %s (%s) SELECT %s FROM %[1]s WHERE version = 5", table, strings.Join(names, ", "),
				strings.Join(values, ", "))))
		}
	}
	check := func(when string) {
		t.Helper()
		got, err := s.AthleteTests(t.Context(), "anna", "")
		ok(t, err)
		same(t, "tests "+when, got, []schemas.Outcome{want})
		all, err := s.Tests(t.Context(), history.TestFilter{IncludeRemoved: true})
		ok(t, err)
		same(t, "all tests "+when, all, []schemas.Outcome{want})
		same(t, "rows "+when, counts(t, s), before)
	}
	die(1, 6, "stored_tests")
	check("before the merge")
	for _, table := range []string{"stored_tests", "stored_session_tests", "stored_traces", "stored_file_writes", "stored_hidden", "stored_athlete_assessments"} {
		ok(t, conn.Exec(t.Context(), "OPTIMIZE TABLE "+table+" FINAL"))
	}
	check("after the merge")

	// One that died after the row of its file: its event comes again.
	die(2, 6, "stored_file_writes")
	same(t, "rows before the event came again", counts(t, s), before)
	f = file(1, 6)
	want = outcome(&f, 0, "anna")
	save(t, s, f, want)
	check("after the event came again")
}

// The server is killed while files are being saved, and comes back: what was
// acknowledged is there, what was not can be written again, and no file is
// there in part.
func TestTheServerIsKilledAndComesBack(t *testing.T) {
	t.Parallel()
	server := historytest.NewServer(t)
	s := open(t, server.Address("canter"))
	var mu sync.Mutex
	acknowledged := make(map[int]bool)
	write := func(n int) error {
		f := file(n, 1)
		a, b := outcome(&f, 0, "anna"), outcome(&f, 1, "anna")
		return s.SaveFile(t.Context(), f, []schemas.Outcome{a, b}, map[schemas.TestID][]schemas.TraceSecond{a.TestID: trace(300)})
	}
	const files = 120
	var wg sync.WaitGroup
	for lane := range 4 {
		wg.Go(func() {
			for n := lane; n < files; n += 4 {
				if write(n) == nil {
					mu.Lock()
					acknowledged[n] = true
					mu.Unlock()
				}
			}
		})
	}
	for { // in the middle of it
		mu.Lock()
		n := len(acknowledged)
		mu.Unlock()
		if n >= files/4 {
			break
		}
		time.Sleep(time.Millisecond)
	}
	ok(t, server.Kill())
	wg.Wait()
	if err := s.Ping(t.Context()); err == nil {
		t.Fatal("the server answers though it was killed")
	}
	ok(t, server.Start())
	ok(t, s.Ping(t.Context()))
	tests, err := s.AthleteTests(t.Context(), "anna", "")
	ok(t, err)
	of := make(map[schemas.FileID]int)
	for _, o := range tests {
		of[o.FileID]++
	}
	for n := range files {
		if has := of[file(n, 1).ID]; has != 2 && (has != 0 || acknowledged[n]) {
			t.Errorf("file %d, acknowledged %v, has %d tests", n, acknowledged[n], has)
		}
	}
	var errs []error
	for n := range files {
		errs = append(errs, write(n))
	}
	ok(t, errors.Join(errs...))
	same(t, "rows", counts(t, s), map[string]int64{"files": files, "tests": 2 * files, "trace_seconds": 300 * files})
	t.Logf("%d of %d files were acknowledged before the server was killed", len(acknowledged), files)
}
