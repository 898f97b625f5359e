package history_test

import (
	"compress/gzip"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/ClickHouse/clickhouse-go/v2"

	"canter.example/schemas"
	"canter.example/schemas/history"
	"canter.example/schemas/history/historytest"
)

// first is what a history of the first schema holds, as read through the
// interface: four files with a test each, the last of which was scored again
// without one; one file parked.
const first = `file U21/2026-03-04/0.fit scored "" v10
file U21/2026-03-04/1.fit scored "" v11
file U21/2026-03-04/2.fit scored "" v12
file U21/2026-03-04/3.fit training "" v20
file U21/2026-03-04/9.fit parked "whose it is can't be told from its path" v30
test anna U21/sft/2026-03-04 HRex 165.25 bpm 83.0 % HRR60 41.2 check accepted: 60 s, from -30 140.0 bpm
test ben U21/sft/2026-03-04 HRex 166.25 bpm 83.5 % HRR60 41.2 check accepted: 60 s, from -30 140.0 bpm
correction exclude by Kim: strap slipped
test anna U21/sft/2026-03-11 HRex 167.25 bpm 84.0 % HRR60 41.2 check accepted: 60 s, from -30 140.0 bpm
assessed v12: hrex 83.1 higher, z 2.77 of 8
fired hrex-risen: 3.6 points above the baseline
alert a1 hrex-risen open told "Anna: HRex risen"
message m1 sent 1700.42 after 1, m2 pending
digest of 2026-03-04 done true, of 2026-03-11 false
`

// TestAHistoryOfTheFirstSchemaIsServed opens histories as the first schema left
// them: all that is in them is read as before, and new results are written
// beside it. It holds whatever migrations are added.
func TestAHistoryOfTheFirstSchemaIsServed(t *testing.T) {
	t.Parallel()
	for engine, old := range map[string]func(*testing.T) string{"SQLite": firstSQLite, "ClickHouse": firstClickHouse} {
		t.Run(engine, func(t *testing.T) {
			t.Parallel()
			address := old(t)
			for range 2 { // once to upgrade it, once as it is then
				s := open(t, address)
				same(t, "what is served", served(t, s), first)
				ok(t, s.Close())
			}
			s := open(t, address)
			f := file(50, 60)
			o := outcome(&f, 0, "anna")
			o.Start, o.Session = noon.AddDate(0, 0, 14), "U21/sft/2026-03-18"
			l := load(&f, "", "anna", o.Start, 3600e9, 50)
			ok(t, s.SaveResult(t.Context(), history.FileResult{File: f, Tests: []schemas.Outcome{o}, Loads: []schemas.TraceLoad{l}}))
			tests, err := s.AthleteTests(t.Context(), "anna", "sft")
			ok(t, err)
			same(t, "tests of one athlete, old and new", len(tests), 3)
			// A file of the first schema is scored again.
			again := file(0, 70)
			ok(t, s.SaveResult(t.Context(), history.FileResult{File: again}))
			tests, err = s.AthleteTests(t.Context(), "anna", "sft")
			ok(t, err)
			same(t, "tests when an old one is gone", len(tests), 2)
			rows, err := s.Query(t.Context(), "SELECT count(*) FROM athlete_timeline WHERE athlete = 'anna'", 0)
			ok(t, err)
			if len(rows.Values) != 1 || fmt.Sprint(rows.Values[0][0]) == "0" {
				t.Errorf("the views of today show nothing of it: %v", rows.Values)
			}
		})
	}
}

// served writes down what a history holds.
func served(t *testing.T, s history.Store) string {
	t.Helper()
	ctx := t.Context()
	var b strings.Builder
	files, err := s.Files(ctx, "")
	ok(t, err)
	byPath := map[string]schemas.File{}
	for _, f := range files {
		byPath[f.Origin.Path] = f
	}
	for _, n := range []int{0, 1, 2, 3, 9} {
		f := byPath[fmt.Sprintf("U21/2026-03-04/%d.fit", n)]
		fmt.Fprintf(&b, "file %s %s %q v%d\n", f.Origin.Path, f.State, f.Reason, f.Version)
	}
	tests, err := s.SquadTests(ctx, "U21", "sft", time.Time{}, time.Time{})
	ok(t, err)
	for _, n := range []int{0, 1, 2, 3} {
		for _, o := range tests {
			if o.FileID == file(n, 0).ID {
				serveTest(t, s, &b, &o)
			}
		}
	}
	m1, _, err := s.Message(ctx, "m1")
	ok(t, err)
	m2, _, err := s.Message(ctx, "m2")
	ok(t, err)
	fmt.Fprintf(&b, "message m1 %s %s after %d, m2 %s\n", m1.State, m1.Reference, m1.Attempts, m2.State)
	done, err := s.SlotDone(ctx, "digest", "2026-03-04")
	ok(t, err)
	next, err := s.SlotDone(ctx, "digest", "2026-03-11")
	ok(t, err)
	fmt.Fprintf(&b, "digest of 2026-03-04 done %v, of 2026-03-11 %v\n", done, next)
	return b.String()
}

func serveTest(t *testing.T, s history.Store, b *strings.Builder, o *schemas.Outcome) {
	t.Helper()
	ctx := t.Context()
	seconds, err := s.TraceSeconds(ctx, o.TestID)
	ok(t, err)
	r, _ := o.HRR(60)
	fmt.Fprintf(b, "test %s %s HRex %s bpm %s %% HRR60 %s %s %s: %d s", o.Athlete, o.Session, o.HRexBPM.Text(2), o.HRexPct.Text(1), r.BPM.Text(1), o.Quality, o.Staff, len(seconds))
	if len(seconds) > 0 {
		fmt.Fprintf(b, ", from %d %s bpm", seconds[0].Second, seconds[0].Clean.Text(1))
	}
	b.WriteString("\n")
	corrections, err := s.AllCorrections(ctx, o.TestID)
	ok(t, err)
	for _, c := range corrections {
		fmt.Fprintf(b, "correction %s by %s: %s\n", c.Action, c.Who, c.Why)
	}
	a, found, err := s.Assessment(ctx, o.TestID)
	ok(t, err)
	if found {
		c := a.Comparison(schemas.MeasureHRex, 0)
		fmt.Fprintf(b, "assessed v%d: hrex %s %s, z %s of %d\nfired %s: %s\n", a.Version, c.Value.Text(1), c.State, c.Z.Text(2), c.N, a.Fired[0].Rule, a.Fired[0].Reason)
	}
	alerts, err := s.Alerts(ctx, history.AlertFilter{TestID: o.TestID})
	ok(t, err)
	for _, al := range alerts {
		told := "quiet"
		if al.Told {
			told = "told"
		}
		fmt.Fprintf(b, "alert %s %s %s %s %q\n", al.ID, al.Rule, al.State, told, al.Text)
	}
}

// firstSQLite is a file that the program of commit a329cd7 wrote: the first that
// had a history.
func firstSQLite(t *testing.T) string {
	t.Helper()
	packed, err := os.Open(filepath.Join("testdata", "first-schema.db.gz"))
	ok(t, err)
	defer packed.Close()
	r, err := gzip.NewReader(packed)
	ok(t, err)
	b, err := io.ReadAll(r)
	ok(t, err)
	path := filepath.Join(t.TempDir(), "history.db")
	ok(t, os.WriteFile(path, b, 0o600))
	return path
}

// firstClickHouse makes the tables of the first schema and fills them as the
// program of that time did.
func firstClickHouse(t *testing.T) string {
	t.Helper()
	address := historytest.ClickHouse(t)
	options, err := clickhouse.ParseDSN(address)
	ok(t, err)
	database := options.Auth.Database
	options.Auth.Database = "default"
	conn, err := clickhouse.Open(options)
	ok(t, err)
	ok(t, conn.Exec(t.Context(), "CREATE DATABASE "+database))
	ok(t, conn.Close())
	options.Auth.Database = database
	conn, err = clickhouse.Open(options)
	ok(t, err)
	defer conn.Close()
	b, err := os.ReadFile(filepath.Join("testdata", "first-clickhouse.sql"))
	ok(t, err)
	statements := strings.Split(string(b), ";\n")
	run := func(q string, args ...any) {
		t.Helper()
		if err := conn.Exec(t.Context(), q, args...); err != nil {
			t.Fatalf("%s: %v", q, err)
		}
	}
	run("CREATE TABLE canter_migrations (version_id Int64, is_applied UInt8, stamp DateTime) ENGINE = MergeTree ORDER BY version_id")
	applied := 0
	for _, q := range statements {
		if strings.TrimSpace(q) != "" {
			run(q)
			applied++
		}
	}
	for v := range applied + 1 {
		run("INSERT INTO canter_migrations (version_id, is_applied, stamp) SELECT toInt64(?), toUInt8(1), now()", v)
	}
	fillFirst(t, run)
	return address
}

func fillFirst(t *testing.T, run func(string, ...any)) {
	t.Helper()
	ms := func(at time.Time) int64 { return at.UnixMilli() }
	const files = "INSERT INTO stored_files (file_id, folder, path, squad, seen_ms, size_bytes, file_format, state, reason, tests_found, traces_found, version, write_id) SELECT ?, 'in', ?, 'U21', ?, 4711, 'fit', ?, ?, ?, 2, ?, ?"
	path := func(n int) string { return fmt.Sprintf("U21/2026-03-04/%d.fit", n) }
	for i, who := range []string{"anna", "ben", "anna", "anna"} {
		f := file(i, schemas.Version(10+i))
		o := outcome(&f, 0, who)
		start := noon.AddDate(0, 0, 7*(i/2))
		session := schemas.SessionID("U21", "sft", start.Format(time.DateOnly))
		run(files, string(f.ID), path(i), ms(noon), "scored", "", 1, uint64(f.Version), uint64(100+i))
		run(`INSERT INTO stored_tests (test_id, file_id, part, athlete, squad, protocol, protocol_version, session, start_ms, start_source, start_confidence, duration_s,
			hrex_bpm, hrex_pct, hrr60_bpm, recoveries, stages, coverage, quality, reasons, reasons_json, staff, scorer_version, version, write_id)
			SELECT ?, ?, 'p', ?, 'U21', 'sft', '0123456789ab', ?, ?, 'lap', 0.97, 240, ?, ?, 41.2,
			'[{"seconds":60,"bpm":41.2,"pct_end":24.5,"se":1.1,"coverage":1}]', '[]', 0.98, 'check', '', '[]', 'accepted', 3, ?, ?`,
			string(o.TestID), string(f.ID), who, session, ms(start), 165.25+float64(i), 83+float64(i)/2, uint64(f.Version), uint64(100+i))
		run(`INSERT INTO stored_traces (test_id, athlete, file_id, trace.second, trace.raw_bpm, trace.clean_bpm, trace.dropped, trace.speed_ms, write_id)
			SELECT ?, ?, ?, arrayMap(x -> toInt32(x) - 30, range(60)), arrayMap(x -> 140., range(60)), arrayMap(x -> 140., range(60)), arrayMap(x -> '', range(60)), arrayMap(x -> 3.33, range(60)), ?`,
			string(o.TestID), who, string(f.ID), uint64(100+i))
		switch i {
		case 1:
			run("INSERT INTO stored_corrections (correction_id, test_id, file_id, action, who, made_ms, why) SELECT 'c1', ?, ?, 'exclude', 'Kim', ?, 'strap slipped'", string(o.TestID), string(f.ID), ms(noon))
		case 2:
			run(`INSERT INTO stored_assessments (test_id, athlete, squad, protocol, session, start_ms, rules, fired, version,
				comparison.measure, comparison.seconds, comparison.unit, comparison.value, comparison.state, comparison.previous, comparison.prev_change, comparison.prev_pct,
				comparison.previous_time_ms, comparison.baseline_n, comparison.baseline_min_n, comparison.baseline_from_ms, comparison.baseline_to_ms, comparison.baseline_mean,
				comparison.baseline_sd, comparison.sd_used, comparison.sd_method, comparison.change, comparison.change_pct, comparison.z, comparison.pred_low, comparison.pred_high,
				comparison.te, comparison.swc, comparison.mdc, comparison.prob_change)
				SELECT ?, 'anna', 'U21', 'sft', ?, ?, 'hrex-risen', '[{"rule":"hrex-risen","reason":"3.6 points above the baseline"}]', toUInt64(12),
				['hrex'], [toInt64(0)], ['% points of HRmax'], [83.1], ['higher'], [80.], [3.1], [3.875], [toInt64(0)], [toInt64(8)], [toInt64(4)], [toInt64(0)], [toInt64(0)], [79.5],
				[1.2], [1.3], ['own, pulled'], [3.6], [4.5], [2.77], [76.], [83.], [1.2], [0.5], [3.33], [0.99]`, string(o.TestID), session, ms(start))
			run("INSERT INTO stored_alerts (alert_id, rule, urgency, test_id, file_id, athlete, squad, protocol, session, about_ms, state, told, text, version) SELECT 'a1', 'hrex-risen', 'look now', ?, ?, 'anna', 'U21', 'sft', ?, ?, 'open', 1, 'Anna: HRex risen', toUInt64(12)", string(o.TestID), string(f.ID), session, ms(start))
			run("INSERT INTO stored_messages (message_id, alert_id, channel, text, state, reference, created_ms, sent_ms, attempts, rank) SELECT 'm1', 'a1', '#u21', 'Anna: HRex risen', 'sent', '1700.42', ?, ?, 1, toUInt64(3000001)", ms(noon), ms(noon))
			run("INSERT INTO stored_messages (message_id, alert_id, channel, text, state, created_ms, attempts, rank) SELECT 'm2', 'a1', '#u21', 'Anna: HRex risen', 'pending', ?, 0, toUInt64(1000000)", ms(noon))
		case 3:
			run(files, string(f.ID), path(i), ms(noon), "training", "", 0, uint64(20), uint64(120))
		}
	}
	run(files, string(file(9, 0).ID), path(9), ms(noon), "parked", "whose it is can't be told from its path", 0, uint64(30), uint64(130))
	run("INSERT INTO stored_slots (job, slot, done_ms) SELECT 'digest', '2026-03-04', ?", ms(noon))
}
