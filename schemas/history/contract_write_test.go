package history_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/history"
)

func ids(tests []schemas.Outcome) []string {
	list := make([]string, len(tests))
	for i, o := range tests {
		list[i] = fmt.Sprintf("%s %s v%d", o.TestID, o.Athlete, o.Version)
	}
	return list
}

func athleteTests(t testing.TB, s history.Store, athlete string) []string {
	t.Helper()
	tests, err := s.AthleteTests(t.Context(), athlete, "")
	ok(t, err)
	return ids(tests)
}

func TestTheNewestVersionOfAFileStands(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		ctx := t.Context()
		at := func(v schemas.Version, hrex float64, athlete string, ordinals ...int) (schemas.File, []schemas.Outcome) {
			f := file(1, v)
			f.Reason = fmt.Sprint("write of version ", v)
			var tests []schemas.Outcome
			for _, n := range ordinals {
				o := outcome(&f, n, athlete)
				o.HRexBPM = schemas.Num(hrex)
				tests = append(tests, o)
			}
			return f, tests
		}
		f5, t5 := at(5, 160, "anna", 0, 1, 2)
		save(t, s, f5, t5...)
		save(t, s, f5, t5...) // the same again
		f4, t4 := at(4, 150, "anna", 0, 3)
		save(t, s, f4, t4...) // late
		got, _, err := s.File(ctx, f5.ID)
		ok(t, err)
		same(t, "file", got, f5)
		tests, err := s.AthleteTests(ctx, "anna", "sft")
		ok(t, err)
		same(t, "tests", tests, t5)

		// Scored again: the second test is no longer found.
		f6, t6 := at(6, 161, "anna", 0, 2)
		save(t, s, f6, t6...)
		tests, err = s.AthleteTests(ctx, "anna", "sft")
		ok(t, err)
		same(t, "tests after one vanished", tests, t6)
		_, found, err := s.Test(ctx, t5[1].TestID)
		ok(t, err)
		same(t, "vanished test found", found, false)
		seconds, err := s.TraceSeconds(ctx, t5[1].TestID)
		ok(t, err)
		same(t, "trace of the vanished test", len(seconds), 0)
		all, err := s.Tests(ctx, history.TestFilter{File: f6.ID, IncludeRemoved: true})
		ok(t, err)
		same(t, "with removed", all, []schemas.Outcome{t6[0], t5[1], t6[1]})

		// The file turns out to be another athlete's; nothing of it is Anna's.
		f7, t7 := at(7, 161, "ben", 0)
		save(t, s, f7, t7...)
		same(t, "Anna's", athleteTests(t, s, "anna"), []string{})
		same(t, "Ben's", athleteTests(t, s, "ben"), ids(t7))
		all, err = s.Tests(ctx, history.TestFilter{Athlete: "anna", IncludeRemoved: true})
		ok(t, err)
		same(t, "removed of Anna's", ids(all), ids([]schemas.Outcome{t5[1], t6[1]}))

		// Found again, and then the file is parked.
		f8, t8 := at(8, 162, "anna", 0, 1)
		save(t, s, f8, t8...)
		same(t, "found again", athleteTests(t, s, "anna"), ids(t8))
		f9 := file(1, 9)
		f9.State = schemas.FileParked
		save(t, s, f9)
		same(t, "parked", athleteTests(t, s, "anna"), []string{})
		parked, err := s.Files(ctx, schemas.FileParked)
		ok(t, err)
		same(t, "parked files", parked, []schemas.File{f9})
		scored, err := s.Files(ctx, schemas.FileScored)
		ok(t, err)
		same(t, "scored files", len(scored), 0)
	})
}

func TestAnEqualVersionWrittenLaterWins(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		ctx := t.Context()
		f := file(1, 5)
		a, b := outcome(&f, 0, "anna"), outcome(&f, 1, "anna")
		save(t, s, f, a, b)
		a.HRexBPM = schemas.Num(1)
		save(t, s, f, a)
		tests, err := s.AthleteTests(ctx, "anna", "")
		ok(t, err)
		same(t, "tests", tests, []schemas.Outcome{a})
		a.HRexBPM = schemas.Number{}
		save(t, s, f, a, b)
		tests, err = s.AthleteTests(ctx, "anna", "")
		ok(t, err)
		same(t, "tests", tests, []schemas.Outcome{a, b})

		as := []schemas.Assessment{assessment(a.TestID, 5)}
		ok(t, s.SaveAssessments(ctx, as))
		as[0].Comparisons = as[0].Comparisons[:1]
		ok(t, s.SaveAssessments(ctx, as))
		got, _, err := s.Assessment(ctx, a.TestID)
		ok(t, err)
		same(t, "assessment", got, as[0])
		old := assessment(a.TestID, 4)
		ok(t, s.SaveAssessments(ctx, []schemas.Assessment{old}))
		got, _, err = s.Assessment(ctx, a.TestID)
		ok(t, err)
		same(t, "assessment after an older one", got, as[0])

		x := alert("a1", 5)
		ok(t, s.SaveAlert(ctx, x, nil))
		x.State = schemas.AlertSeen
		ok(t, s.SaveAlert(ctx, x, nil))
		ok(t, s.SaveAlert(ctx, alert("a1", 4), nil))
		gotAlert, _, err := s.Alert(ctx, "a1")
		ok(t, err)
		same(t, "alert", gotAlert, x)
		same(t, "row counts of the views", counts(t, s), map[string]int64{
			"files": 1, "tests": 2, "trace_seconds": 120, "assessments": 1, "alerts": 1,
		})
	})
}

// counts returns how many rows the views that people query have.
func counts(t testing.TB, s history.Store) map[string]int64 {
	t.Helper()
	got := make(map[string]int64)
	for _, name := range []string{"files", "tests", "trace_seconds", "assessments", "alerts", "messages", "corrections", "athletes", "slots"} {
		if n := one(t, s, "SELECT count(*) FROM "+name); n != 0 {
			got[name] = n
		}
	}
	return got
}

func one(t testing.TB, s history.Reader, sql string) int64 {
	t.Helper()
	r, err := s.Query(t.Context(), sql, 0)
	ok(t, err)
	switch v := r.Values[0][0].(type) {
	case int64:
		return v
	case uint64:
		return int64(v)
	default:
		t.Fatalf("%s gave a %T", sql, v)
		return 0
	}
}

func TestCorrectionsAreAddedOnlyAndOrderedByID(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		ctx := t.Context()
		c := func(id string, test schemas.TestID, f schemas.FileID) schemas.Correction {
			return schemas.Correction{ID: id, TestID: test, FileID: f, Action: schemas.ActionExclude, Who: "Kim", When: noon, Why: "slipped"}
		}
		for _, x := range []schemas.Correction{c("3", "t1", "f1"), c("1", "t2", "f1"), c("2", "t3", "f2"), c("1", "t2", "f1")} {
			ok(t, s.SaveCorrection(ctx, x))
		}
		changed := c("1", "t2", "f1")
		changed.Why = "rewritten"
		ok(t, s.SaveCorrection(ctx, changed))
		got, err := s.Corrections(ctx, "f1")
		ok(t, err)
		same(t, "of a file", got, []schemas.Correction{c("1", "t2", "f1"), c("3", "t1", "f1")})
		got, err = s.AllCorrections(ctx, "")
		ok(t, err)
		same(t, "all", got, []schemas.Correction{c("1", "t2", "f1"), c("2", "t3", "f2"), c("3", "t1", "f1")})
		got, err = s.AllCorrections(ctx, "t3")
		ok(t, err)
		same(t, "of a test", got, []schemas.Correction{c("2", "t3", "f2")})
		same(t, "rows", one(t, s, "SELECT count(*) FROM corrections"), 3)
	})
}

func TestAMessageNeverGoesBack(t *testing.T) {
	t.Parallel()
	steps := []struct {
		name     string
		state    schemas.MessageState
		attempts int
		stands   bool
	}{
		{"pending comes first", schemas.MessagePending, 0, true},
		{"an attempt outranks none", schemas.MessagePending, 2, true},
		{"fewer attempts don't", schemas.MessagePending, 1, false},
		{"failed outranks pending, whatever its attempts", schemas.MessageFailed, 1, true},
		{"pending does not come back", schemas.MessagePending, 9, false},
		{"sent outranks failed", schemas.MessageSent, 0, true},
		{"failed does not come back", schemas.MessageFailed, 99, false},
		{"more attempts outrank fewer among sent", schemas.MessageSent, 3, true},
	}
	eachEngine(t, func(t *testing.T, s history.Store) {
		ctx := t.Context()
		var want schemas.Message
		for i, step := range steps {
			m := message("m1")
			m.State, m.Attempts, m.Reason = step.state, step.attempts, step.name
			if i%2 == 0 { // whether it is in the outbox already or not
				ok(t, s.SaveAlert(ctx, alert("a1", 1), []schemas.Message{message("m1")}))
			}
			ok(t, s.SaveMessage(ctx, m))
			if step.stands {
				want = m
			}
			got, _, err := s.Message(ctx, "m1")
			ok(t, err)
			same(t, step.name, got, want)
			ok(t, s.SaveAlert(ctx, alert("a1", 2), []schemas.Message{message("m1")}))
			got, _, err = s.Message(ctx, "m1")
			ok(t, err)
			same(t, step.name+", after its alert was saved again", got, want)
		}
		second := message("m2")
		second.Created = noon.Add(-time.Second)
		ok(t, s.SaveAlert(ctx, alert("a1", 2), []schemas.Message{second, message("m1"), second}))
		for state, want := range map[schemas.MessageState][]schemas.Message{
			schemas.MessagePending: {second}, schemas.MessageSent: {want}, schemas.MessageFailed: nil, "": {second, want},
		} {
			got, err := s.Messages(ctx, state)
			ok(t, err)
			same(t, fmt.Sprintf("messages in state %q", state), got, want)
		}
		unknown := message("m3")
		unknown.State = "lost"
		if err := s.SaveMessage(ctx, unknown); !errors.Is(err, history.ErrInvalid) {
			t.Errorf("a message in an unknown state: %v", err)
		}
	})
}

func TestWhatCannotBeRightIsRefused(t *testing.T) {
	t.Parallel()
	f := file(1, 5)
	with := func(change func(o *schemas.Outcome)) []schemas.Outcome {
		o := outcome(&f, 0, "anna")
		change(&o)
		return []schemas.Outcome{o}
	}
	tooLarge := f
	tooLarge.Version = math.MaxUint64
	cases := map[string]struct {
		f     schemas.File
		tests []schemas.Outcome
		trace schemas.TestID
	}{
		"a file without an id":         {f: schemas.File{}},
		"a version out of range":       {f: tooLarge},
		"a test without an id":         {f: f, tests: with(func(o *schemas.Outcome) { o.TestID = "" })},
		"a test of another file":       {f: f, tests: with(func(o *schemas.Outcome) { o.FileID = "other" })},
		"a test of another version":    {f: f, tests: with(func(o *schemas.Outcome) { o.Version = 4 })},
		"a coverage of NaN":            {f: f, tests: with(func(o *schemas.Outcome) { o.Coverage = math.NaN() })},
		"a test twice":                 {f: f, tests: append(with(func(*schemas.Outcome) {}), with(func(*schemas.Outcome) {})...)},
		"a trace of no test":           {f: f, trace: "t9"},
		"a NaN inside the recovery":    {f: f, tests: with(func(o *schemas.Outcome) { o.Recovery[0].Coverage = math.NaN() })},
		"an infinity among the stages": {f: f, tests: with(func(o *schemas.Outcome) { o.Stages[0].Coverage = math.Inf(1) })},
	}
	eachEngine(t, func(t *testing.T, s history.Store) {
		for name, c := range cases {
			traces := map[schemas.TestID][]schemas.TraceSecond{}
			if c.trace != "" {
				traces[c.trace] = trace(3)
			}
			if err := s.SaveFile(t.Context(), c.f, c.tests, traces); !errors.Is(err, history.ErrInvalid) {
				t.Errorf("%s: %v", name, err)
			}
		}
		same(t, "rows", counts(t, s), map[string]int64{})
	})
}

func TestFilters(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		ctx := t.Context()
		for i, who := range []string{"anna", "ben", "anna", "cleo", "anna", "ben"} {
			f := file(i, 1)
			o := outcome(&f, 0, who)
			o.TestID = schemas.TestID(fmt.Sprint("t", i))
			o.Start = noon.AddDate(0, 0, i/2)
			o.Squad = []string{"U21", "U19"}[i/4]
			o.Quality = []schemas.Quality{schemas.Good, schemas.Check, schemas.Good, schemas.Reject}[i%4]
			o.Protocol = []string{"sft", "long"}[i%2]
			o.Session = schemas.SessionID(o.Squad, o.Protocol, o.Start.Format(time.DateOnly))
			save(t, s, f, o)
			a := alert(fmt.Sprint("a", i), 1)
			a.Athlete, a.Squad, a.Session, a.TestID, a.About = who, o.Squad, o.Session, o.TestID, o.Start
			a.State = []schemas.AlertState{schemas.AlertOpen, schemas.AlertClosed}[i%2]
			ok(t, s.SaveAlert(ctx, a, nil))
		}
		day := noon.AddDate(0, 0, 1)
		short := func(tests []schemas.Outcome, err error) string {
			ok(t, err)
			var list []string
			for _, o := range tests {
				list = append(list, string(o.TestID))
			}
			return strings.Join(list, " ")
		}
		same(t, "athlete", short(s.AthleteTests(ctx, "anna", "")), "t0 t2 t4")
		same(t, "athlete by another protocol", short(s.AthleteTests(ctx, "anna", "long")), "")
		same(t, "athlete ''", short(s.AthleteTests(ctx, "", "")), "")
		same(t, "session", short(s.SessionTests(ctx, "U21/sft/2026-03-05")), "t2")
		same(t, "squad", short(s.SquadTests(ctx, "U21", "", time.Time{}, time.Time{})), "t0 t1 t2 t3")
		same(t, "squad, from", short(s.SquadTests(ctx, "U21", "", day, time.Time{})), "t2 t3")
		same(t, "squad, to", short(s.SquadTests(ctx, "U21", "sft", time.Time{}, day)), "t0")
		for want, f := range map[string]history.TestFilter{
			"t0 t1 t2 t3 t4 t5": {}, "t4 t5": {Limit: 2}, "t1 t5": {Athlete: "ben"}, "t3": {Squad: "U21", Protocol: "long", From: day},
			"t0 t1": {To: day}, "t2 t3": {From: day, To: day.Add(time.Millisecond)}, "t5": {File: file(5, 1).ID}, "t1": {Sessions: []string{"U21/long/2026-03-04"}},
			"t1 t2": {Sessions: []string{"U21/sft/2026-03-05", "U21/long/2026-03-04", "U21/sft/1999-01-01"}},
			"t2 t4": {Athlete: "anna", Limit: 2, IncludeRemoved: true}, "": {Athlete: "dora"},
			"t1 t3 t5": {NotGood: true}, "t1 t3": {NotGood: true, Squad: "U21"},
		} {
			same(t, fmt.Sprintf("%+v", f), short(s.Tests(ctx, f)), want)
		}
		for want, f := range map[string]history.AlertFilter{
			"a0 a1 a2 a3 a4 a5": {}, "a1 a3 a5": {State: schemas.AlertClosed}, "a0 a2 a4": {Athlete: "anna"}, "a4 a5": {Squad: "U19"},
			"a3": {TestID: "t3"}, "a2": {Sessions: []string{"U21/sft/2026-03-05"}}, "a2 a3": {From: day, To: day.AddDate(0, 0, 1)},
		} {
			alerts, err := s.Alerts(ctx, f)
			ok(t, err)
			var list []string
			for _, a := range alerts {
				list = append(list, a.ID)
			}
			same(t, fmt.Sprintf("%+v", f), strings.Join(list, " "), want)
		}
	})
}
