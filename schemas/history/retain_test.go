package history_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/history"
)

func TestWhatIsOlderThanTheClubKeepsGoes(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		ctx := t.Context()
		var tests []schemas.Outcome
		for i := range 4 {
			at := noon.AddDate(i-3, 0, 0)
			f := file(i, 1)
			f.Origin.Seen = at.Add(time.Hour)
			o := outcome(&f, 0, "anna")
			o.Start = at
			tests = append(tests, o)
			ok(t, s.SaveResult(ctx, history.FileResult{
				File: f, Tests: []schemas.Outcome{o}, Traces: map[schemas.TestID][]schemas.TraceSecond{o.TestID: trace(60)},
				Loads:  []schemas.TraceLoad{load(&f, "", "anna", at, time.Hour, 55)},
				Series: []schemas.SeriesValue{{FileID: f.ID, Version: 1, Athlete: "anna", Squad: "U21", Date: at.Format(time.DateOnly), Series: "sleep", Value: 7, Unit: "h"}},
			}))
			a := assessment(o.TestID, 1)
			a.Start = at
			ok(t, s.SaveAssessments(ctx, []schemas.Assessment{a}))
			x, m := alert(fmt.Sprint("a", i), 1), message(fmt.Sprint("m", i))
			x.TestID, x.About, m.AlertID, m.Created = o.TestID, at, x.ID, at
			ok(t, s.SaveAlert(ctx, x, []schemas.Message{m}))
			ok(t, s.SaveCorrection(ctx, schemas.Correction{ID: fmt.Sprint(i), TestID: o.TestID, FileID: f.ID, Action: schemas.ActionAccept, Who: "kim", When: at, Why: "seen"}))
			ok(t, s.SaveNote(ctx, schemas.Note{ID: fmt.Sprint(i), AlertID: x.ID, Athlete: "anna", Text: "slept badly", Who: "kim", When: at}))
		}
		ok(t, s.SaveAthletes(ctx, []history.AthleteRow{{ID: "anna", Name: "Anna Nowhere"}}))

		before := noon.AddDate(-1, -6, 0)
		done, err := s.Retain(ctx, before)
		ok(t, err)
		for _, name := range history.Names() {
			want, skip := int64(2), false
			switch name {
			case "trace_seconds":
				want = 2 * 60
			case "assessments", "session_changes":
				want = one(t, s, "SELECT count(*) FROM "+name) // below
				skip = want == 0
			case "athletes", "slots":
				want = 1
			case "squad_members", "weekly_tests", "weekly_coverage", "latest_tests", "athlete_timeline", "session_tests", "valid_tests", "athlete_days", "tests_with_load", "alert_outcomes":
				continue // made of the others
			}
			if got := one(t, s, "SELECT count(*) FROM "+name); got != want || skip {
				t.Errorf("%s has %d rows, want %d", name, got, want)
			}
		}
		same(t, "assessed tests", one(t, s, "SELECT count(DISTINCT test_id) FROM assessments"), 2)
		same(t, "tests", athleteTests(t, s, "anna"), ids(tests[2:]))
		if done.Rows() == 0 || done.Removed["stored_tests"] != 2 {
			t.Errorf("it counts %v", done.Removed)
		}
		audit, err := s.Query(ctx, "SELECT slot FROM slots WHERE job = '"+history.RetainJob+"'", 0)
		ok(t, err)
		if line := fmt.Sprint(audit.Values); !strings.Contains(line, done.String()) || strings.Contains(line, "anna") {
			t.Errorf("the audit says %s", line)
		}

		again, err := s.Retain(ctx, before)
		ok(t, err)
		same(t, "rows the second time", again.Rows(), 0)
		same(t, "marks", one(t, s, "SELECT count(*) FROM slots"), 1)
		if _, err := s.Retain(ctx, time.Time{}); err == nil {
			t.Error("without a time it did something")
		}
	})
}
