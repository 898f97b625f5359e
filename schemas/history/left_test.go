package history_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/history"
)

// keptTables hold nothing of anybody's: marks of the schedule, which numbers of
// writes count, what was migrated.
var keptTables = []string{"slots", "hidden", "swept", "migrations"}

// Whatever tables an engine has: retention and erasure empty every one that has
// rows about somebody. A new table that they forget fails this, and so does one
// that is not filled here.
func TestNoTableIsForgotten(t *testing.T) {
	t.Parallel()
	for name, empty := range map[string]func(t *testing.T, s history.Store){
		"retention": func(t *testing.T, s history.Store) {
			t.Helper()
			_, err := s.Retain(t.Context(), noon.AddDate(10, 0, 0))
			ok(t, err)
		},
		"erasure": func(t *testing.T, s history.Store) {
			t.Helper()
			files, err := s.Files(t.Context(), "")
			ok(t, err)
			who := history.Erasure{Athlete: "anna"}
			for _, f := range files {
				who.Files = append(who.Files, f.ID)
			}
			done, err := s.Erase(t.Context(), who)
			ok(t, err)
			same(t, "left", done.Left, nil)
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			eachEngine(t, func(t *testing.T, s history.Store) {
				fillEveryTable(t, s)
				tables := storedTables(t, s)
				for _, table := range tables {
					if one(t, s, "SELECT count(*) FROM "+table) == 0 {
						t.Errorf("%s is not filled: nothing is tried with it", table)
					}
				}
				empty(t, s)
				for _, table := range tables {
					if name == "retention" && strings.HasSuffix(table, "athletes") {
						continue // the club file says who is there
					}
					if n := one(t, s, "SELECT count(*) FROM "+table); n != 0 {
						t.Errorf("%s still has %d rows", table, n)
					}
				}
			})
		})
	}
}

// storedTables are the tables of the engine itself that hold rows about people.
func storedTables(t *testing.T, s history.Store) []string {
	t.Helper()
	query := "SELECT name FROM system.tables WHERE database IN (currentDatabase(), concat(currentDatabase(), '_shard')) AND engine LIKE '%MergeTree' ORDER BY name"
	if _, err := s.Query(t.Context(), query, 0); err != nil {
		query = "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY name"
	}
	rows, err := s.Query(t.Context(), query, 0)
	ok(t, err)
	var tables []string
next:
	for _, r := range rows.Values {
		name := r[0].(string)
		for _, kept := range keptTables {
			if strings.HasSuffix(name, kept) {
				continue next
			}
		}
		tables = append(tables, name)
	}
	if len(tables) < 8 {
		t.Fatalf("only %v", tables)
	}
	return tables
}

// fillEveryTable stores something of anna's in every table.
func fillEveryTable(t *testing.T, s history.Store) {
	t.Helper()
	ctx := t.Context()
	f := file(1, 1)
	o := outcome(&f, 0, "anna")
	ok(t, s.SaveResult(ctx, history.FileResult{
		File: f, Tests: []schemas.Outcome{o}, Traces: map[schemas.TestID][]schemas.TraceSecond{o.TestID: trace(60)},
		Loads:  []schemas.TraceLoad{load(&f, "", "anna", noon, time.Hour, 55)},
		Series: []schemas.SeriesValue{{FileID: f.ID, Version: 1, Athlete: "anna", Squad: "U21", Date: noon.Format(time.DateOnly), Series: "sleep", Value: 7, Unit: "h"}},
	}))
	a := assessment(o.TestID, 1)
	a.Athlete = "anna"
	ok(t, s.SaveAssessments(ctx, []schemas.Assessment{a}))
	x, m := alert("a1", 1), message("m1")
	x.TestID, x.Athlete, m.AlertID = o.TestID, "anna", x.ID
	ok(t, s.SaveAlert(ctx, x, []schemas.Message{m}))
	ok(t, s.SaveCorrection(ctx, schemas.Correction{ID: "c1", TestID: o.TestID, FileID: f.ID, Action: schemas.ActionAccept, Who: "kim", When: noon, Why: "seen"}))
	ok(t, s.SaveNote(ctx, schemas.Note{ID: "n1", AlertID: x.ID, Athlete: "anna", Text: "slept badly", Who: "kim", When: noon}))
	ok(t, s.SaveAthletes(ctx, []history.AthleteRow{{ID: "anna", Name: "Anna Nowhere"}}))
	same(t, "tests", fmt.Sprint(athleteTests(t, s, "anna")), fmt.Sprint(ids([]schemas.Outcome{o})))
}
