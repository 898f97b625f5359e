package history_test

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/ClickHouse/clickhouse-go/v2"
	"github.com/ClickHouse/clickhouse-go/v2/lib/driver"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"canter.example/schemas"
	"canter.example/schemas/history"
	"canter.example/schemas/history/historytest"
)

// engines are what the contract is held against: the real ones.
var engines = []struct {
	name    string
	address func(testing.TB) string
}{
	{"SQLite", historytest.SQLite},
	{"ClickHouse", logged},
	{"Cluster", historytest.ClusterHistory},
}

// eachEngine runs a test of the contract against every engine, each with an
// empty database of its own.
func eachEngine(t *testing.T, fn func(t *testing.T, s history.Store)) {
	t.Helper()
	eachAddress(t, func(t *testing.T, address string) { fn(t, open(t, address)) })
}

func eachAddress(t *testing.T, fn func(t *testing.T, address string)) {
	t.Helper()
	for _, e := range engines {
		t.Run(e.name, func(t *testing.T) {
			t.Parallel()
			fn(t, e.address(t))
		})
	}
}

// connect asks a ClickHouse server itself, past the history.
func connect(t testing.TB, address string) driver.Conn {
	t.Helper()
	options, err := clickhouse.ParseDSN(address)
	ok(t, err)
	conn, err := clickhouse.Open(options)
	ok(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	return conn
}

func open(t testing.TB, address string) history.Store {
	t.Helper()
	s, err := history.Open(context.Background(), address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

// same compares values as the history keeps them: empty lists and absent ones
// are alike.
func same[T any](t testing.TB, what string, got, want T) {
	t.Helper()
	if d := cmp.Diff(want, got, cmpopts.EquateEmpty(), cmp.AllowUnexported(schemas.Number{})); d != "" {
		t.Errorf("%s differs (- want, + got):\n%s", what, d)
	}
}

func ok(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// hostile is a text that breaks careless quoting, escaping or encoding.
const hostile = "O'Brien \"x\" `y` \\ \\' ; -- /* ? $1 {a} %s\n\tline two\r\n– Ünïçødé 走る 🏃 \u202ertl"

var noon = time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC)

// file returns a file with every field set.
func file(n int, v schemas.Version) schemas.File {
	return schemas.File{
		ID:     schemas.NewFileID(fmt.Appendf(nil, "file %d", n)),
		Origin: schemas.Origin{Folder: "in", Path: fmt.Sprintf("U21/2026-03-04/%d.fit", n), Squad: "U21", Modified: noon.Add(-time.Hour), Seen: noon.Add(1234 * time.Millisecond)},
		Size:   4711, Format: "fit", State: schemas.FileScored, Reason: "ends early", Tests: 1, Traces: 2, Version: v,
	}
}

// outcome returns a test of the file with every field set.
func outcome(f *schemas.File, ordinal int, athlete string) schemas.Outcome {
	return schemas.Outcome{
		TestID: schemas.NewTestID(f.ID, "p", "sft", ordinal), FileID: f.ID, Part: "p",
		Athlete: athlete, Squad: "U21", Protocol: "sft", ProtocolVersion: "0123456789ab", Session: "U21/sft/2026-03-04",
		Start: noon.Add(time.Duration(ordinal)*time.Hour + 250*time.Millisecond), StartSource: schemas.StartByLap, StartConfidence: 0.97,
		Duration: 4*time.Minute + 123456789*time.Nanosecond,
		HRexBPM:  schemas.Num(165.3), HRexPct: schemas.Num(83.1), HRexSE: schemas.Num(0.4),
		HRmax:   schemas.HRmax{BPM: schemas.Num(199), Source: schemas.HRmaxEstimated, SEE: schemas.Num(10.8)},
		PeakBPM: schemas.Num(171), EndHR: schemas.Num(168.0 / 1.1),
		Recovery: []schemas.Recovery{
			{Seconds: 60, BPM: schemas.Num(41.2), PctEnd: schemas.Num(24.5), SE: schemas.Num(1.1), Coverage: 1},
			{Seconds: 120, Coverage: 0.2},
		},
		Stages:      []schemas.StageHR{{Stage: 1, BPM: schemas.Num(150), Pct: schemas.Num(75), Coverage: 0.9}},
		RecoveryTau: schemas.Num(52.5), RecoveryTauSE: schemas.Num(3), BandSeconds: schemas.Num(181),
		SpeedKMH: schemas.Num(12.02), SpeedCV: schemas.Num(2.1), Coverage: 0.98,
		Quality: schemas.Check, Reasons: []schemas.Reason{{Code: schemas.ReasonArtefacts, Text: "3 % of the readings were dropped"}},
		MicrocycleDay: "MD-2", Surface: "grass", Staff: schemas.Accepted, ScorerVersion: 3, Version: f.Version,
	}
}

// trace returns a trace window: lead-in, a dropped reading, a gap, recovery.
func trace(n int) []schemas.TraceSecond {
	ts := make([]schemas.TraceSecond, n)
	for i := range ts {
		hr := schemas.Num(140 + float64(i%40)/3)
		ts[i] = schemas.TraceSecond{Second: i - 30, Raw: hr, Clean: hr, Speed: schemas.Num(3.33)}
		switch i % 50 {
		case 7:
			ts[i].Clean, ts[i].Dropped = schemas.Number{}, "spike"
		case 8:
			ts[i] = schemas.TraceSecond{Second: i - 30}
		}
	}
	return ts
}

func save(t testing.TB, s history.Store, f schemas.File, tests ...schemas.Outcome) {
	t.Helper()
	traces := make(map[schemas.TestID][]schemas.TraceSecond)
	for _, o := range tests {
		traces[o.TestID] = trace(60)
	}
	ok(t, s.SaveFile(t.Context(), f, tests, traces))
}

func TestEveryFieldComesBack(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		ctx := t.Context()
		ok(t, s.Ping(ctx))
		f := file(1, 7)
		full, bare := outcome(&f, 0, "anna"), schemas.Outcome{TestID: "t-bare", FileID: f.ID, Version: 7}
		window := trace(1200)
		ok(t, s.SaveFile(ctx, f, []schemas.Outcome{full, bare}, map[schemas.TestID][]schemas.TraceSecond{full.TestID: window}))

		gotFile, found, err := s.File(ctx, f.ID)
		ok(t, err)
		same(t, "file found", found, true)
		same(t, "file", gotFile, f)
		for _, want := range []schemas.Outcome{full, bare} {
			got, found, err := s.Test(ctx, want.TestID)
			ok(t, err)
			same(t, "test found", found, true)
			same(t, "test", got, want)
		}
		seconds, err := s.TraceSeconds(ctx, full.TestID)
		ok(t, err)
		same(t, "trace", seconds, window)
		seconds, err = s.TraceSeconds(ctx, bare.TestID)
		ok(t, err)
		same(t, "no trace", seconds, []schemas.TraceSecond(nil))

		empty := schemas.File{ID: "only an id"}
		ok(t, s.SaveFile(ctx, empty, nil, nil))
		gotFile, _, err = s.File(ctx, empty.ID)
		ok(t, err)
		same(t, "file with an id only", gotFile, empty)
		all, err := s.Files(ctx, "")
		ok(t, err)
		same(t, "files", all, []schemas.File{empty, f})

		c := schemas.Correction{ID: "c1", TestID: full.TestID, FileID: f.ID, Action: schemas.ActionStart, Start: noon, Who: "Kim", When: noon.Add(time.Millisecond), Why: "lap late"}
		ok(t, s.SaveCorrection(ctx, c))
		d := schemas.Correction{ID: "c2", TestID: full.TestID, FileID: f.ID, Action: schemas.ActionExclude}
		ok(t, s.SaveCorrection(ctx, d))
		e := schemas.Correction{ID: "c3", FileID: f.ID, Action: schemas.ActionAthlete, Part: "export.zip/one.fit", Athlete: "AKF", Who: "Kim", When: noon, Why: "spare strap"}
		ok(t, s.SaveCorrection(ctx, e))
		cs, err := s.Corrections(ctx, f.ID)
		ok(t, err)
		same(t, "corrections", cs, []schemas.Correction{c, d, e})
	})
}

func assessment(test schemas.TestID, v schemas.Version) schemas.Assessment {
	return schemas.Assessment{
		TestID: test, Athlete: "anna", Squad: "U21", Protocol: "sft", Session: "U21/sft/2026-03-04", Start: noon,
		Comparisons: []schemas.Comparison{
			{
				Measure: schemas.MeasureHRex, Unit: "% points of HRmax", Value: schemas.Num(83.1), State: schemas.Higher,
				Previous: schemas.Num(80), PrevChange: schemas.Num(3.1), PrevPct: schemas.Num(3.875), PreviousTime: noon.AddDate(0, 0, -7),
				N: 8, MinN: 4, From: noon.AddDate(0, -2, 0), To: noon.AddDate(0, 0, -7),
				Mean: schemas.Num(79.5), SD: schemas.Num(1.2), SDUsed: schemas.Num(1.3), SDMethod: "own, pulled", Change: schemas.Num(3.6), Pct: schemas.Num(4.5), Z: schemas.Num(2.77),
				PredLow: schemas.Num(76), PredHigh: schemas.Num(83), TE: schemas.Num(1.2), SWC: schemas.Num(0.5), MDC: schemas.Num(3.33), ProbChange: schemas.Num(0.99),
				Basis: schemas.BasisReturn, Squad: schemas.SquadShift{State: "estimated", Size: schemas.Num(4), SE: schemas.Num(0.4), N: 20, Material: true},
				Deviation: schemas.Num(-0.4), DeviationZ: schemas.Num(-0.3),
				Drift: schemas.Drift{
					N: 12, EWMA: schemas.Num(1.1), EWMALimit: schemas.Num(1.2), High: schemas.Num(5), Low: schemas.Num(0), Limit: schemas.Num(4.8),
					Side: schemas.DriftUp, Since: noon.AddDate(0, 0, -42),
				},
			},
			{Measure: schemas.MeasureHRR, Seconds: 60, Unit: "bpm", State: schemas.NoValue, MinN: 4},
		},
		Fired:   []schemas.FiredRule{{Rule: schemas.RuleHRexRisen, Reason: "3.6 points above the baseline"}, {Rule: schemas.RuleBoth, Reason: "x"}},
		Version: v,
	}
}

func alert(id string, v schemas.Version) schemas.Alert {
	return schemas.Alert{
		ID: id, Rule: schemas.RuleHRexRisen, Urgency: schemas.LookNow, TestID: "t1", FileID: "f1", Athlete: "anna", Squad: "U21",
		Protocol: "sft", Session: "U21/sft/2026-03-04", About: noon, State: schemas.AlertOpen, Told: true, Text: "Anna: HRex risen", Version: v,
	}
}

func message(id string) schemas.Message {
	return schemas.Message{
		ID: id, AlertID: "a1", Channel: "#u21", Thread: "m0", Text: "Anna: HRex risen", State: schemas.MessagePending, Created: noon,
		Session: "U21/sft/2026-03-04", Says: []schemas.Saying{{Alert: "a1", Number: 2, Turn: schemas.TurnCorrected, Digest: hostile}},
	}
}

func TestAssessmentsAlertsMessagesComeBack(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		ctx := t.Context()
		full, bare := assessment("t1", 3), schemas.Assessment{TestID: "t2"}
		ok(t, s.SaveAssessments(ctx, nil))
		ok(t, s.SaveAssessments(ctx, []schemas.Assessment{full, bare}))
		for _, want := range []schemas.Assessment{full, bare} {
			got, found, err := s.Assessment(ctx, want.TestID)
			ok(t, err)
			same(t, "assessment found", found, true)
			same(t, "assessment", got, want)
		}
		a, m := alert("a1", 3), message("m1")
		ok(t, s.SaveAlert(ctx, a, []schemas.Message{m, message("m2")}))
		ok(t, s.SaveAlert(ctx, schemas.Alert{ID: "a2"}, nil))
		later := alert("a3", 3)
		later.Session = "U21/sft/2026-03-18"
		ok(t, s.SaveAlerts(ctx, nil))
		ok(t, s.SaveAlerts(ctx, []schemas.Alert{later, {ID: "a4"}}))
		ok(t, s.SaveAlerts(ctx, []schemas.Alert{alert("a3", 2), {ID: "a4", Version: 1, Text: hostile}}))
		together, err := s.Alerts(ctx, history.AlertFilter{Sessions: []string{later.Session, a.Session, "another"}})
		ok(t, err)
		same(t, "alerts of several sessions", together, []schemas.Alert{a, later})
		for _, want := range []schemas.Alert{a, {ID: "a2"}, later, {ID: "a4", Version: 1, Text: hostile}} {
			got, found, err := s.Alert(ctx, want.ID)
			ok(t, err)
			same(t, "alert found", found, true)
			same(t, "alert", got, want)
		}
		m.State, m.Reference, m.Reason, m.Sent, m.Attempts = schemas.MessageSent, "1700.42", "late", noon.Add(time.Second), 2
		ok(t, s.SaveMessage(ctx, m))
		got, _, err := s.Message(ctx, "m1")
		ok(t, err)
		same(t, "message", got, m)

		of, err := s.SessionMessages(ctx, m.Session)
		ok(t, err)
		same(t, "messages of a session", of, []schemas.Message{m, message("m2")})
		elsewhere := message("m3")
		elsewhere.Session = "U21/sft/2026-03-18"
		ok(t, s.SaveMessage(ctx, elsewhere))
		of, err = s.SessionMessages(ctx, elsewhere.Session, "another", m.Session)
		ok(t, err)
		same(t, "messages of several sessions", of, []schemas.Message{m, message("m2"), elsewhere})
		of, err = s.SessionMessages(ctx, "another")
		ok(t, err)
		same(t, "messages of another session", len(of), 0)
	})
}

func TestNotesComeBack(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		ctx := t.Context()
		n := schemas.Note{ID: "n2", AlertID: "a1", Athlete: "anna", Seen: true, Text: hostile, Who: "Kim", When: noon}
		bare2 := schemas.Note{ID: "n1", AlertID: "a2"}
		for _, x := range []schemas.Note{n, bare2, n} {
			ok(t, s.SaveNote(ctx, x))
		}
		notes, err := s.Notes(ctx, history.NoteFilter{})
		ok(t, err)
		same(t, "notes", notes, []schemas.Note{bare2, n})
		notes, err = s.Notes(ctx, history.NoteFilter{Athlete: "anna", From: noon, To: noon.Add(time.Hour)})
		ok(t, err)
		same(t, "notes of an athlete", notes, []schemas.Note{n})
	})
}

func TestAthletesAreThoseSavedLast(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		ctx := t.Context()
		athletes := []history.AthleteRow{
			{
				ID: "anna", Name: "A.", Squad: "U21", Squads: []schemas.Membership{{Squad: "U21", Period: schemas.Period{From: noon}}, {Squad: "U19"}},
				BirthYear: 2005, Sex: schemas.Female, HRmax: schemas.HRmax{BPM: schemas.Num(199), Source: schemas.HRmaxMeasured}, HRrest: schemas.Num(52),
			},
			{ID: "ben"},
		}
		ok(t, s.SaveAthletes(ctx, athletes))
		gotAthletes, err := s.Athletes(ctx)
		ok(t, err)
		same(t, "athletes", gotAthletes, athletes)
		ok(t, s.SaveAthletes(ctx, athletes[1:]))
		gotAthletes, err = s.Athletes(ctx)
		ok(t, err)
		same(t, "athletes after one left", gotAthletes, athletes[1:])
		ok(t, s.SaveAthletes(ctx, nil))
		gotAthletes, err = s.Athletes(ctx)
		ok(t, err)
		same(t, "athletes after all left", gotAthletes, []history.AthleteRow(nil))
	})
}

func TestASlotKeepsItsFirstMark(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		ctx := t.Context()
		done, err := s.SlotDone(ctx, "digest", "2026-03-04")
		ok(t, err)
		same(t, "slot before", done, false)
		ok(t, s.MarkSlot(ctx, "digest", "2026-03-04", noon))
		ok(t, s.MarkSlot(ctx, "digest", "2026-03-04", noon.Add(time.Hour)))
		done, err = s.SlotDone(ctx, "digest", "2026-03-04")
		ok(t, err)
		same(t, "slot after", done, true)
		r, err := s.Query(ctx, "SELECT done_ms FROM slots", 0)
		ok(t, err)
		same(t, "earliest mark", r.Values, [][]any{{noon.UnixMilli()}})
	})
}

// TestWhatIsKnownOfAFile: a record of its own, tests that are gone, or staff's
// word alone.
func TestWhatIsKnownOfAFile(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		ctx := t.Context()
		known := func(what string, id schemas.FileID, want bool) {
			t.Helper()
			got, err := s.Known(ctx, id)
			ok(t, err)
			same(t, what, got, want)
		}
		f, other := file(1, 1), file(2, 1)
		known("a file before", f.ID, false)
		o := outcome(&f, 0, "anna")
		ok(t, s.SaveFile(ctx, f, []schemas.Outcome{o}, nil))
		known("a file", f.ID, true)
		known("another", other.ID, false)
		f.Version = 2
		ok(t, s.SaveFile(ctx, f, nil, nil))
		known("a file without tests", f.ID, true)
		ok(t, s.SaveCorrection(ctx, schemas.Correction{ID: "c", FileID: other.ID, Action: schemas.ActionDrop, Who: "staff", When: noon}))
		known("a file that staff spoke of", other.ID, true)

		fresh := file(3, 1)
		o = outcome(&fresh, 0, "ben")
		save := func(what string, want error, r history.FileResult) {
			t.Helper()
			r.New = true
			if err := s.SaveResult(ctx, r); !errors.Is(err, want) {
				t.Errorf("%s saved as new: got the error %v, want %v", what, err, want)
			}
		}
		save("a new file", nil, history.FileResult{File: fresh, Tests: []schemas.Outcome{o}})
		stored, err := s.Tests(ctx, history.TestFilter{File: fresh.ID})
		ok(t, err)
		same(t, "tests of the new file", stored, []schemas.Outcome{o})
		fresh.Version, o.Version, o.Quality = 2, 2, schemas.Reject
		save("a file with a record", history.ErrKnown, history.FileResult{File: fresh, Tests: []schemas.Outcome{o}})
		save("a file that staff spoke of", history.ErrKnown, history.FileResult{File: other})
		stored, err = s.Tests(ctx, history.TestFilter{File: fresh.ID})
		ok(t, err)
		if len(stored) != 1 || stored[0].Version != 1 {
			t.Errorf("after a refused write the file's tests are %+v, want the first write's", stored)
		}
		if _, found, err := s.File(ctx, other.ID); err != nil || found {
			t.Errorf("after a refused write the file is there: %v, %v", found, err)
		}
	})
}

func TestNothingIsFoundInAnEmptyHistory(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		ctx := t.Context()
		var found [5]bool
		var errs [5]error
		_, found[0], errs[0] = s.File(ctx, "none")
		_, found[1], errs[1] = s.Test(ctx, "none")
		_, found[2], errs[2] = s.Assessment(ctx, "none")
		_, found[3], errs[3] = s.Alert(ctx, "none")
		_, found[4], errs[4] = s.Message(ctx, "none")
		same(t, "found", found, [5]bool{})
		for _, err := range errs {
			ok(t, err)
		}
		tests, err := s.Tests(ctx, history.TestFilter{IncludeRemoved: true})
		ok(t, err)
		same(t, "tests", tests, []schemas.Outcome(nil))
	})
}
