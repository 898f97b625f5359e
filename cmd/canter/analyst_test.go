package main

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"canter.example/schemas"
	"canter.example/schemas/history"
	"canter.example/schemas/history/historytest"
)

// TestAnalysts lives through a season once, with the real pipeline, and then
// does with its history what analysts do, in both engines.
func TestAnalysts(t *testing.T) {
	a := newAnalysts(t)
	t.Run("views", a.views)
	t.Run("recipes", a.recipes)
	t.Run("current", a.current)
	t.Run("cluster", a.cluster)
	t.Run("access", a.access)
	t.Run("export", a.export)
	t.Run("erase", a.erase) // last: nothing is as it was
}

// analysts is a season as its analysts find it, with two tests that staff left
// out.
type analysts struct {
	dir, data, club    string
	sqlite, clickhouse string // addresses of the same history
	server             *historytest.Server
	database           string
}

func newAnalysts(t *testing.T) *analysts {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "season")
	a := &analysts{
		dir: dir, data: filepath.Join(dir, "data"), club: filepath.Join(dir, "club.yaml"),
		server: historytest.SharedServer(t), database: historytest.NewDatabase(),
	}
	a.sqlite, a.clickhouse = filepath.Join(a.data, "history.db"), a.server.Address(a.database)
	command(t, "demo", "--dir", dir)
	doubtful := ask(t, a.sqlite, "SELECT test_id FROM tests WHERE quality <> 'good' ORDER BY start_ms, test_id LIMIT 1")
	for _, words := range [][]string{
		{"exclude", "te93838f13bd15787", "--why", "ill that day"},
		{"exclude", doubtful.Values[0][0].(string), "--why", "strap worn out"},
	} {
		command(t, append([]string{"tests", words[0], "--who", "physio", "--data", a.data, "--club", a.club}, words[1:]...)...)
	}
	note := schemas.Note{ID: "n1", AlertID: ask(t, a.sqlite, "SELECT alert_id FROM alerts WHERE test_id = 'te93838f13bd15787'").Values[0][0].(string),
		Athlete: "PGR", Seen: true, Text: "fever since Monday", Who: "physio", When: time.Date(2026, 9, 22, 11, 0, 0, 0, time.UTC)}
	if err := addNote(t.Context(), a.sqlite, note); err != nil {
		t.Fatal(err)
	}
	if err := copyHistory(t.Context(), a.sqlite, a.clickhouse); err != nil {
		t.Fatal(err)
	}
	return a
}

func addNote(ctx context.Context, address string, n schemas.Note) error {
	h, err := history.Open(ctx, address)
	if err != nil {
		return err
	}
	return errors.Join(h.SaveNote(ctx, n), h.Close())
}

// command runs canter in this process and returns what it printed.
func command(t *testing.T, args ...string) string {
	t.Helper()
	var out, errs bytes.Buffer
	if code := run(context.Background(), args, streams{out: &out, err: &errs}); code != exitDone {
		t.Fatalf("canter %s: exit code %d\n%s%s", strings.Join(args, " "), code, out.String(), errs.String())
	}
	return out.String()
}

// ask opens a history for reading and asks it one thing.
func ask(t *testing.T, address, query string) *history.Rows {
	t.Helper()
	r, err := history.OpenReader(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	rows, err := r.Query(t.Context(), query, 0)
	if err != nil {
		t.Fatalf("%v\n%s", err, query)
	}
	return rows
}

// copyHistory copies what stands from one history to another, through the
// interface that the stages write with.
func copyHistory(ctx context.Context, from, to string) error {
	src, err := history.Open(ctx, from)
	if err != nil {
		return err
	}
	defer src.Close()
	dst, err := history.Open(ctx, to)
	if err != nil {
		return err
	}
	defer dst.Close()
	for _, step := range []func(ctx context.Context, src, dst history.Store) error{copyFiles, copyAssessments, copyAlerts} {
		if err := step(ctx, src, dst); err != nil {
			return err
		}
	}
	athletes, err := src.Athletes(ctx)
	if err != nil {
		return err
	}
	return dst.SaveAthletes(ctx, athletes)
}

func copyFiles(ctx context.Context, src, dst history.Store) error {
	files, err := src.Files(ctx, "")
	if err != nil {
		return err
	}
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(64) // files that are saved at one time go as one insert
	for _, f := range files {
		g.Go(func() error {
			tests, err := src.Tests(ctx, history.TestFilter{File: f.ID})
			if err != nil {
				return err
			}
			traces := map[schemas.TestID][]schemas.TraceSecond{}
			for _, o := range tests {
				if traces[o.TestID], err = src.TraceSeconds(ctx, o.TestID); err != nil {
					return err
				}
			}
			loads, err := src.FileLoads(ctx, f.ID)
			if err != nil {
				return err
			}
			series, err := src.FileSeries(ctx, f.ID)
			if err != nil {
				return err
			}
			return dst.SaveResult(ctx, history.FileResult{File: f, Tests: tests, Traces: traces, Loads: loads, Series: series})
		})
	}
	return g.Wait()
}

func copyAssessments(ctx context.Context, src, dst history.Store) error {
	tests, err := src.Tests(ctx, history.TestFilter{})
	if err != nil {
		return err
	}
	var as []schemas.Assessment
	for _, o := range tests {
		a, ok, err := src.Assessment(ctx, o.TestID)
		if err != nil {
			return err
		}
		if ok {
			as = append(as, a)
		}
	}
	return dst.SaveAssessments(ctx, as)
}

// copyAlerts copies alerts, messages, notes and corrections.
func copyAlerts(ctx context.Context, src, dst history.Store) error {
	alerts, err := src.Alerts(ctx, history.AlertFilter{})
	if err != nil {
		return err
	}
	for _, a := range alerts {
		if err := dst.SaveAlert(ctx, a, nil); err != nil {
			return err
		}
	}
	messages, err := src.Messages(ctx, "")
	if err != nil {
		return err
	}
	for _, m := range messages {
		if err := dst.SaveMessage(ctx, m); err != nil {
			return err
		}
	}
	notes, err := src.Notes(ctx, history.NoteFilter{})
	if err != nil {
		return err
	}
	for _, n := range notes {
		if err := dst.SaveNote(ctx, n); err != nil {
			return err
		}
	}
	corrections, err := src.AllCorrections(ctx, "")
	if err != nil {
		return err
	}
	for _, c := range corrections {
		if err := dst.SaveCorrection(ctx, c); err != nil {
			return err
		}
	}
	return nil
}

// views holds every table and view against its twin: the same columns, the
// same rows.
func (a *analysts) views(t *testing.T) {
	for _, name := range history.Names() {
		t.Run(name, func(t *testing.T) {
			query := a.everyRow(name)
			one, two := ask(t, a.sqlite, query), ask(t, a.clickhouse, query)
			if name != "slots" && len(one.Values) == 0 {
				t.Error("the season has no such row: nothing was compared")
			}
			if name == "slots" { // marks of the schedule are not copied
				one.Values, two.Values = nil, nil
			}
			sameRows(t, one, two, false)
		})
	}
}

// everyRow asks for all that a table or view has; of trace_seconds, half a
// million rows, one athlete's are enough.
func (a *analysts) everyRow(name string) string {
	if name == "trace_seconds" {
		return "SELECT * FROM trace_seconds WHERE athlete = 'KMW'"
	}
	return "SELECT * FROM " + name
}

// sameRows compares the answers of two engines; in their order when it counts.
func sameRows(t *testing.T, one, two *history.Rows, ordered bool) {
	t.Helper()
	if !slices.Equal(one.Columns, two.Columns) {
		t.Fatalf("columns differ:\nSQLite     %v\nClickHouse %v", one.Columns, two.Columns)
	}
	if len(one.Values) != len(two.Values) {
		t.Fatalf("SQLite has %d rows, ClickHouse %d", len(one.Values), len(two.Values))
	}
	l, r := comparable(one.Values), comparable(two.Values)
	if !ordered {
		slices.SortFunc(l, byText)
		slices.SortFunc(r, byText)
	}
	for i := range l {
		for j := range l[i] {
			if !alike(l[i][j], r[i][j]) {
				t.Fatalf("row %d, %s: SQLite %v, ClickHouse %v\n%v\n%v", i+1, one.Columns[j], l[i][j], r[i][j], l[i], r[i])
			}
		}
	}
}

// comparable makes numbers float64 and cuts times to the second, which is what
// ClickHouse's readable times have.
func comparable(rows [][]any) [][]any {
	out := make([][]any, len(rows))
	for i, r := range rows {
		out[i] = make([]any, len(r))
		for j, v := range r {
			switch v := v.(type) {
			case int64:
				out[i][j] = float64(v)
			case uint64:
				out[i][j] = float64(v)
			case string:
				out[i][j] = v
				if at, err := time.Parse(time.RFC3339Nano, v); err == nil {
					out[i][j] = at.Truncate(time.Second).Format(time.RFC3339)
				}
			default:
				out[i][j] = v
			}
		}
	}
	return out
}

func alike(a, b any) bool {
	x, ok1 := a.(float64)
	y, ok2 := b.(float64)
	if ok1 && ok2 {
		return math.Abs(x-y) <= 1e-9*max(1, math.Abs(x), math.Abs(y))
	}
	return a == b
}

// byText orders rows by their texts and rounded numbers.
func byText(a, b []any) int {
	for j := range a {
		if c := cmp.Compare(roughly(a[j]), roughly(b[j])); c != 0 {
			return c
		}
	}
	return 0
}

func roughly(v any) string {
	if f, ok := v.(float64); ok {
		return fmt.Sprintf("%.4f", f)
	}
	return fmt.Sprint(v)
}
