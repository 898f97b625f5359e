package history_test

import (
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/history"
	"canter.example/schemas/history/historytest"
)

// filled stores one of everything, every text hostile.
func filled(t testing.TB, s history.Store) (schemas.File, schemas.Outcome) {
	t.Helper()
	ctx := t.Context()
	f := file(1, 5)
	f.ID, f.Origin.Folder, f.Origin.Path, f.Origin.Squad, f.Format, f.State, f.Reason = hostile, hostile, hostile, hostile, hostile, hostile, hostile
	o := outcome(&f, 0, hostile)
	o.TestID, o.Part, o.Squad, o.Protocol, o.ProtocolVersion, o.Session = hostile, hostile, hostile, hostile, hostile, hostile
	o.StartSource, o.HRmax.Source, o.Quality, o.Reasons = hostile, hostile, hostile, []schemas.Reason{{Code: hostile, Text: hostile}}
	o.MicrocycleDay, o.Surface, o.Staff = hostile, hostile, hostile
	ts := trace(3)
	ts[1].Dropped = hostile
	l := load(&f, hostile, hostile, noon, time.Hour, 50)
	l.Squad, l.HRmax.Source, l.Reasons = hostile, hostile, []schemas.Reason{{Code: hostile, Text: hostile}}
	v := schemas.SeriesValue{Athlete: hostile, Squad: hostile, Date: "2026-03-04", Series: hostile, Value: 1, Unit: hostile, FileID: f.ID, Version: f.Version}
	ok(t, s.SaveResult(ctx, history.FileResult{
		File: f, Tests: []schemas.Outcome{o}, Traces: map[schemas.TestID][]schemas.TraceSecond{o.TestID: ts},
		Loads: []schemas.TraceLoad{l}, Series: []schemas.SeriesValue{v},
	}))
	a := assessment(hostile, 5)
	a.Athlete, a.Squad, a.Protocol, a.Session, a.Fired[0] = hostile, hostile, hostile, hostile, schemas.FiredRule{Rule: hostile, Reason: hostile}
	c := &a.Comparisons[0]
	c.Measure, c.Unit, c.State, c.SDMethod = hostile, hostile, hostile, hostile
	ok(t, s.SaveAssessments(ctx, []schemas.Assessment{a}))
	x := schemas.Alert{
		ID: hostile, Rule: hostile, Urgency: hostile, TestID: hostile, FileID: hostile, Athlete: hostile, Squad: hostile,
		Protocol: hostile, Session: hostile, State: hostile, Text: hostile, About: noon,
	}
	m := schemas.Message{
		ID: hostile, AlertID: hostile, Channel: hostile, Thread: hostile, Text: hostile, State: schemas.MessagePending,
		Reference: hostile, Reason: hostile, Created: noon,
	}
	ok(t, s.SaveAlert(ctx, x, []schemas.Message{m}))
	k := schemas.Correction{ID: hostile, TestID: hostile, FileID: hostile, Action: hostile, Who: hostile, Why: hostile, When: noon}
	ok(t, s.SaveCorrection(ctx, k))
	w := history.AthleteRow{ID: hostile, Name: hostile, Squad: hostile, Sex: hostile, HRmax: schemas.HRmax{Source: hostile}, Squads: []schemas.Membership{{Squad: hostile}}}
	ok(t, s.SaveAthletes(ctx, []history.AthleteRow{w}))
	ok(t, s.MarkSlot(ctx, hostile, hostile, noon))

	gotFile, _, err := s.File(ctx, f.ID)
	ok(t, err)
	same(t, "file", gotFile, f)
	same(t, "loads", loadsOf(t, s, hostile), []schemas.TraceLoad{l})
	values, err := s.AthleteSeries(ctx, hostile, hostile, "", "")
	ok(t, err)
	same(t, "series", values, []schemas.SeriesValue{v})
	seconds, err := s.TraceSeconds(ctx, o.TestID)
	ok(t, err)
	same(t, "trace", seconds, ts)
	gotAssessment, _, err := s.Assessment(ctx, a.TestID)
	ok(t, err)
	same(t, "assessment", gotAssessment, a)
	alerts, err := s.Alerts(ctx, history.AlertFilter{Squad: hostile, Athlete: hostile, TestID: hostile, Sessions: []string{hostile}, State: hostile})
	ok(t, err)
	same(t, "alerts", alerts, []schemas.Alert{x})
	gotMessage, _, err := s.Message(ctx, hostile)
	ok(t, err)
	same(t, "message", gotMessage, m)
	corrections, err := s.Corrections(ctx, f.ID)
	ok(t, err)
	same(t, "corrections", corrections, []schemas.Correction{k})
	athletes, err := s.Athletes(ctx)
	ok(t, err)
	same(t, "athletes", athletes, []history.AthleteRow{w})
	done, err := s.SlotDone(ctx, hostile, hostile)
	ok(t, err)
	same(t, "slot", done, true)
	return f, o
}

func TestHostileTextsComeBack(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		_, o := filled(t, s)
		for name, read := range map[string]func() ([]schemas.Outcome, error){
			"by athlete": func() ([]schemas.Outcome, error) { return s.AthleteTests(t.Context(), hostile, hostile) },
			"by session": func() ([]schemas.Outcome, error) { return s.SessionTests(t.Context(), hostile) },
			"by squad": func() ([]schemas.Outcome, error) {
				return s.SquadTests(t.Context(), hostile, hostile, noon, time.Time{})
			},
			"by file": func() ([]schemas.Outcome, error) {
				return s.Tests(t.Context(), history.TestFilter{File: hostile, IncludeRemoved: true})
			},
		} {
			got, err := read()
			ok(t, err)
			same(t, name, got, []schemas.Outcome{o})
		}
	})
}

// The names and columns that people query are the same in both engines.
func TestBothEnginesHaveTheSameColumns(t *testing.T) {
	t.Parallel()
	sqlite, clickhouse := open(t, historytest.SQLite(t)), open(t, historytest.ClickHouse(t))
	filled(t, sqlite)
	filled(t, clickhouse)
	for _, name := range []string{"files", "tests", "trace_seconds", "assessments", "alerts", "messages", "corrections", "athletes", "slots",
		"loads", "athlete_days", "tests_with_load", "daily_series"} {
		a, err := sqlite.Query(t.Context(), "SELECT * FROM "+name, 0)
		ok(t, err)
		b, err := clickhouse.Query(t.Context(), "SELECT * FROM "+name, 0)
		ok(t, err)
		same(t, "columns of "+name, b.Columns, a.Columns)
		if len(a.Values) == 0 || len(a.Values) != len(b.Values) {
			t.Errorf("%s has %d rows in SQLite, %d in ClickHouse", name, len(a.Values), len(b.Values))
			continue
		}
		for i, column := range a.Columns {
			x, y := a.Values[0][i], b.Values[0][i]
			if u, isUnsigned := y.(uint64); isUnsigned {
				y = int64(u)
			}
			if text, isText := x.(string); isText && isTime.MatchString(text) {
				x = text[:len("2006-01-02T15:04:05")] + "Z" // ClickHouse has whole seconds
			}
			same(t, name+"."+column, y, x)
		}
	}
}

var isTime = regexp.MustCompile(`^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z$`)

// The SQL files are the data dictionary: a column without a word is a gap.
func TestEveryColumnIsExplained(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob("*/0*.sql")
	ok(t, err)
	column := regexp.MustCompile(`^    [a-z][a-z0-9_]+ +(TEXT|INTEGER|REAL|String|U?Int\d+|Float64|Nullable|Array)\b`)
	explained := 0
	for _, name := range files {
		b, err := os.ReadFile(name)
		ok(t, err)
		for line := range strings.SplitSeq(string(b), "\n") {
			if column.MatchString(line) {
				explained++
				if !regexp.MustCompile(` -- \S.{8,}`).MatchString(line) {
					t.Errorf("%s: no explanation: %s", name, line)
				}
			}
		}
	}
	if explained < 200 {
		t.Errorf("found %d columns only: is the pattern still right?", explained)
	}
}

func TestQuery(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		f := file(1, 1)
		save(t, s, f, outcome(&f, 0, "anna"))
		for _, sql := range []string{
			"SELECT athlete, count(*) AS n, avg(hrex_bpm) AS mean FROM tests GROUP BY athlete",
			"  -- who\n/* ; */ select athlete, count(*) AS n, avg(hrex_bpm) AS mean from tests where athlete != ';?' group by athlete ; -- done\n",
		} {
			r, err := s.Query(t.Context(), sql, 10)
			ok(t, err)
			if n, isUnsigned := r.Values[0][1].(uint64); isUnsigned {
				r.Values[0][1] = int64(n)
			}
			same(t, "answer", *r, history.Rows{Columns: []string{"athlete", "n", "mean"}, Values: [][]any{{"anna", int64(1), 165.3}}})
		}
		r, err := s.Query(t.Context(), "SELECT second FROM trace_seconds ORDER BY second", 3)
		ok(t, err)
		same(t, "cut off", *r, history.Rows{Columns: []string{"second"}, Values: [][]any{{int64(-30)}, {int64(-29)}, {int64(-28)}}, More: true})
		r, err = s.Query(t.Context(), "SELECT raw_bpm, clean_bpm, dropped FROM trace_seconds WHERE second = -23", 1)
		ok(t, err)
		same(t, "a dropped reading", *r, history.Rows{Columns: []string{"raw_bpm", "clean_bpm", "dropped"}, Values: [][]any{{140 + 7.0/3, nil, "spike"}}})
		if _, err := s.Query(t.Context(), "SELECT nonsense FROM tests", 0); err == nil || !strings.Contains(err.Error(), "nonsense") || history.IsNoTable(err) {
			t.Errorf("an unknown column: %v", err)
		}
		if _, err := s.Query(t.Context(), "SELECT 1 FROM nonsense", 0); !history.IsNoTable(err) {
			t.Errorf("an unknown table: %v", err)
		}
	})
}

func TestQueryOnlyReads(t *testing.T) {
	t.Parallel()
	refused := []string{
		"", ";", "-- nothing", "42",
		"DELETE FROM %s", "INSERT INTO %s SELECT * FROM %s", "UPDATE %s SET state = 'x'", "DROP TABLE %s", "ALTER TABLE %s DROP COLUMN state",
		"CREATE TABLE x (a INTEGER)", "CREATE TEMP TABLE x (a INTEGER)", "TRUNCATE TABLE %s", "OPTIMIZE TABLE %s FINAL", "RENAME TABLE %s TO x",
		"PRAGMA query_only = 0", "PRAGMA journal_mode = DELETE", "ATTACH '/tmp/x.db' AS x", "DETACH x", "VACUUM", "VACUUM INTO '/tmp/x.db'", "REINDEX", "ANALYZE",
		"SET readonly = 0", "SYSTEM SHUTDOWN", "KILL QUERY WHERE 1", "USE system", "BEGIN", "COMMIT", "SAVEPOINT a",
		"SELECT 1; DELETE FROM %s", "SELECT 1; SELECT 2", "SELECT ';'; -- x\n DROP TABLE %s", "(SELECT 1); DROP TABLE %s",
		"WITH x AS (SELECT 1) DELETE FROM %s", "WITH x AS (SELECT 1) INSERT INTO %s SELECT * FROM %s", "EXPLAIN DELETE FROM %s",
	}
	for _, e := range engines {
		t.Run(e.name, func(t *testing.T) {
			t.Parallel()
			table, byEngine := "files", []string{"SELECT load_extension('x')", "SELECT * FROM pragma_query_only(0)", "SELECT 1 /* '*/; DELETE FROM files --'"}
			if e.name == "ClickHouse" {
				table, byEngine = "stored_files", []string{`SELECT '\''; DROP TABLE stored_files --'`}
			}
			s := open(t, e.address(t))
			f := file(1, 1)
			save(t, s, f)
			for _, sql := range append(byEngine, refused...) {
				sql = strings.ReplaceAll(sql, "%s", table)
				r, err := s.Query(t.Context(), sql, 0)
				if err == nil {
					t.Errorf("%q gave %v", sql, r)
				}
			}
			for _, sql := range refused[4:] {
				if strings.HasPrefix(sql, "WITH") || strings.HasPrefix(sql, "EXPLAIN") { // refused by the engine, in its words
					continue
				}
				if _, err := s.Query(t.Context(), strings.ReplaceAll(sql, "%s", table), 0); !errors.Is(err, history.ErrReadOnly) {
					t.Errorf("%q: %v, want one that says only reading is allowed", sql, err)
				}
			}
			same(t, "rows after all that", counts(t, s), map[string]int64{"files": 1})
			ok(t, s.Ping(t.Context()))
		})
	}
}

func TestAddresses(t *testing.T) {
	t.Parallel()
	for _, address := range []string{"", "sqlite://", ":memory:", "postgres://x/y", "http://localhost:8123", "clickhouse://a:b@:x:y"} {
		_, err := history.Open(t.Context(), address)
		if !errors.Is(err, history.ErrAddress) {
			t.Errorf("%q: %v", address, err)
		}
		if err != nil && strings.Contains(err.Error(), "b@") {
			t.Errorf("%q: the error shows the password: %v", address, err)
		}
	}
}
