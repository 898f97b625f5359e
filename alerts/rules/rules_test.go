package rules_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"canter.example/alerts/assess"
	"canter.example/alerts/rules"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

var (
	day0       = time.Date(2026, 3, 3, 9, 30, 0, 0, time.UTC)
	thresholds = &club.Thresholds{
		HRexRisePoints: 2.8, HRexRiseBPM: 5.3, HRRFallBPM: 4.6, Z: 1.5,
		MinBaseline: 4, BaselineTests: 8, BaselineAge: 365 * 24 * time.Hour, HRexTE: 1.2, HRRTE: 3.4,
	}
)

func test(n int) schemas.Outcome {
	file := schemas.FileID(fmt.Sprintf("f%03d", n))
	start := day0.AddDate(0, 0, 7*n)
	return schemas.Outcome{
		TestID: schemas.NewTestID(file, "", "p", 0), FileID: file, Athlete: "a", Squad: "first",
		Protocol: "p", ProtocolVersion: "v1", Session: schemas.SessionID("first", "p", start.Format(time.DateOnly)),
		Start: start, HRexBPM: schemas.Num(160), HRmax: schemas.HRmax{BPM: schemas.Num(200), Source: schemas.HRmaxMeasured},
		Recovery: []schemas.Recovery{{Seconds: 60, BPM: schemas.Num(40)}}, Coverage: 1, Quality: schemas.Good, Version: 7,
	}
}

// moved is an assessment in which HRex and HRR60 changed by this much.
func moved(o schemas.Outcome, hrex, hrexZ, hrr, hrrZ float64) schemas.Assessment {
	compared := func(m schemas.Measure, seconds int, unit string, change, z float64) schemas.Comparison {
		return schemas.Comparison{
			Measure: m, Seconds: seconds, Unit: unit, Value: schemas.Num(80), State: schemas.Inside,
			N: 8, MinN: 4, Mean: schemas.Num(80 - change), Change: schemas.Num(change), Z: schemas.Num(z),
		}
	}
	return schemas.Assessment{
		TestID: o.TestID, Athlete: o.Athlete, Start: o.Start, Version: 9,
		Comparisons: []schemas.Comparison{
			compared(schemas.MeasureHRex, 0, assess.Points, hrex, hrexZ),
			compared(schemas.MeasureHRR, 60, assess.BPM, hrr, hrrZ),
		},
	}
}

func TestChangeRules(t *testing.T) {
	building := func(a *schemas.Assessment, _ *schemas.Outcome) {
		for i := range a.Comparisons {
			a.Comparisons[i].State = schemas.Building
		}
	}
	cases := []struct {
		name                   string
		hrex, hrexZ, hrr, hrrZ float64
		change                 func(*schemas.Assessment, *schemas.Outcome)
		hrexWhy, hrrWhy        rules.Why
		fired                  schemas.RuleID
	}{
		{"an ordinary test is silent", 0.5, 0.3, -1, -0.2, nil, rules.SmallChange, rules.SmallChange, ""},
		{"HRex up beyond both thresholds fires", 3, 2, 0, 0, nil, rules.Fires, rules.SmallChange, schemas.RuleHRexRisen},
		{"exactly at both thresholds fires", 2.8, 1.5, 0, 0, nil, rules.Fires, rules.SmallChange, schemas.RuleHRexRisen},
		{"HRex up a lot for anybody but not for this athlete is silent", 3, 1.4, 0, 0, nil, rules.Usual, rules.SmallChange, ""},
		{"HRex up a little in a very steady athlete is silent", 2.7, 5, 0, 0, nil, rules.SmallChange, rules.SmallChange, ""},
		{"HRex down, however much, is silent", -9, -6, 0, 0, nil, rules.SmallChange, rules.SmallChange, ""},
		{"HRR down beyond both thresholds fires", 0, 0, -5, -2, nil, rules.SmallChange, rules.Fires, schemas.RuleHRRWorsened},
		{"HRR up, however much, is silent", 0, 0, 20, 5, nil, rules.SmallChange, rules.SmallChange, ""},
		{"both are one rule", 3, 2, -5, -2, nil, rules.Fires, rules.Fires, schemas.RuleBoth},
		{"HRex down and HRR down is the HRR alone", -5, -3, -5, -2, nil, rules.SmallChange, rules.Fires, schemas.RuleHRRWorsened},
		{"a baseline that is building is silent", 9, 9, -20, -9, building, rules.NoBaseline, rules.NoBaseline, ""},
		{"a doubtful test is silent", 9, 9, -20, -9, func(_ *schemas.Assessment, o *schemas.Outcome) { o.Quality = schemas.Check }, rules.NotValid, rules.NotValid, ""},
		{"a doubtful test that staff accepted speaks", 9, 9, 0, 0, func(_ *schemas.Assessment, o *schemas.Outcome) {
			o.Quality, o.Staff = schemas.Check, schemas.Accepted
		}, rules.Fires, rules.SmallChange, schemas.RuleHRexRisen},
		{"a test that staff left out is silent", 9, 9, -20, -9, func(_ *schemas.Assessment, o *schemas.Outcome) { o.Staff = schemas.Excluded }, rules.NotValid, rules.NotValid, ""},
		{"a test without recovery is judged by HRex", 3, 2, 0, 0, func(a *schemas.Assessment, _ *schemas.Outcome) {
			a.Comparisons[1].State = schemas.NoValue
		}, rules.Fires, rules.NoNumber, schemas.RuleHRexRisen},
		{"in bpm the bpm threshold holds", 5, 2, 0, 0, func(a *schemas.Assessment, _ *schemas.Outcome) {
			a.Comparisons[0].Unit = assess.BPM
		}, rules.SmallChange, rules.SmallChange, ""},
		{"a protocol without recovery has no such number", 3, 2, 0, 0, func(a *schemas.Assessment, _ *schemas.Outcome) {
			a.Comparisons = a.Comparisons[:1]
		}, rules.Fires, rules.NoNumber, schemas.RuleHRexRisen},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			o := test(0)
			a := moved(o, c.hrex, c.hrexZ, c.hrr, c.hrrZ)
			if c.change != nil {
				c.change(&a, &o)
			}
			ds := rules.Decide(a, o, nil, rules.Before{}, thresholds)
			if ds[0].Why != c.hrexWhy || ds[1].Why != c.hrrWhy {
				t.Errorf("HRex: %s, HRR: %s; want %s, %s", ds[0].Why, ds[1].Why, c.hrexWhy, c.hrrWhy)
			}
			fired := rules.Evaluate(a, o, nil, rules.Before{}, thresholds)
			var got schemas.RuleID
			if len(fired) == 1 {
				got = fired[0].Rule
			}
			if len(fired) > 1 || got != c.fired {
				t.Fatalf("fired %v, want %q", fired, c.fired)
			}
			if c.fired != "" && !strings.Contains(fired[0].Reason, "mean of 8 tests") {
				t.Errorf("reason %q does not say what was compared", fired[0].Reason)
			}
		})
	}
}

func TestHRR60IsTheOneThatCounts(t *testing.T) {
	a := moved(test(0), 0, 0, -9, -9)
	at120 := a.Comparisons[1]
	at120.Seconds = 120
	a.Comparisons = []schemas.Comparison{a.Comparisons[0], at120, a.Comparisons[1]}
	if c := rules.MainHRR(&a); c.Seconds != 60 {
		t.Errorf("got HRR%d", c.Seconds)
	}
	a.Comparisons = a.Comparisons[:2]
	if c := rules.MainHRR(&a); c.Seconds != 120 {
		t.Errorf("got HRR%d", c.Seconds)
	}
	if fired := rules.Evaluate(a, test(0), nil, rules.Before{}, thresholds); len(fired) != 1 || !strings.HasPrefix(fired[0].Reason, "HRR120") {
		t.Errorf("fired %v", fired)
	}
}

func TestOneRunOneAlert(t *testing.T) {
	watch, strap := test(0), test(0)
	strap.TestID, strap.FileID, strap.Start = "strap", "e", strap.Start.Add(2*time.Minute)
	watch.Coverage = 0.9
	if ds := rules.Decide(moved(watch, 9, 9, 0, 0), watch, []schemas.Outcome{strap}, rules.Before{}, thresholds); ds[0].Why != rules.OtherFile {
		t.Errorf("watch: %s", ds[0].Why)
	}
	if ds := rules.Decide(moved(strap, 9, 9, 0, 0), strap, []schemas.Outcome{watch}, rules.Before{}, thresholds); ds[0].Why != rules.Fires {
		t.Errorf("strap: %s", ds[0].Why)
	}
}

func TestAlertOfAChange(t *testing.T) {
	o := test(0)
	alertsOf := func(hrex, hrr float64) []schemas.Alert {
		a := moved(o, hrex, 3, hrr, -3)
		return rules.Alerts(a, o, nil, rules.Evaluate(a, o, nil, rules.Before{}, thresholds))
	}
	hrex, hrr, both := alertsOf(5, 0), alertsOf(0, -9), alertsOf(5, -9)
	if len(hrex) != 1 || len(hrr) != 1 || len(both) != 1 {
		t.Fatalf("%d, %d and %d alerts, want one each", len(hrex), len(hrr), len(both))
	}
	want := schemas.Alert{
		ID: rules.ChangeAlertID(o.TestID), Rule: schemas.RuleBoth, Urgency: schemas.LookNow, TestID: o.TestID, FileID: o.FileID,
		Athlete: "a", Squad: "first", Protocol: "p", Session: o.Session, About: o.Start, State: schemas.AlertOpen, Version: 9,
	}
	if d := cmp.Diff(want, both[0]); d != "" {
		t.Errorf("alert (-want +got):\n%s", d)
	}
	// A corrected number changes the alert, it does not make a second.
	if hrex[0].ID != both[0].ID || hrr[0].ID != both[0].ID {
		t.Error("one test, several alerts")
	}
	if hrex[0].Urgency != schemas.Look || hrr[0].Urgency != schemas.Look {
		t.Errorf("urgencies %s and %s of single changes", hrex[0].Urgency, hrr[0].Urgency)
	}
	if quiet := alertsOf(0, 0); len(quiet) != 0 {
		t.Errorf("an ordinary test makes %v", quiet)
	}
}

// bad is a test whose trace came to nothing.
func bad(n int) schemas.Outcome {
	o := test(n)
	o.Quality, o.HRexBPM = schemas.Reject, schemas.Number{}
	o.Reasons = []schemas.Reason{{Code: schemas.ReasonLowCoverage, Text: "12 % of the HRex window covered"}}
	return o
}

func TestTraceUnusableTwiceRunning(t *testing.T) {
	stopped := bad(1)
	stopped.Reasons = []schemas.Reason{{Code: schemas.ReasonCutShort, Text: "stopped after 2 min"}}
	empty := func(week int) schemas.Outcome {
		o := bad(week)
		o.Reasons = []schemas.Reason{{Code: schemas.ReasonNoTest, Text: "no test was found in the trace"}}
		return o
	}
	leftOut := bad(2)
	leftOut.Staff = schemas.Excluded
	twin := test(1)
	twin.TestID, twin.Start = "twin", twin.Start.Add(time.Minute)
	cases := []struct {
		name    string
		o       schemas.Outcome
		history []schemas.Outcome
		why     rules.Why
	}{
		{"a usable trace is silent", test(2), []schemas.Outcome{bad(1)}, rules.TraceUsable},
		{"the first unusable trace is silent", bad(2), []schemas.Outcome{test(1)}, rules.FirstUnusable},
		{"the first test ever, unusable, is silent", bad(0), nil, rules.FirstUnusable},
		{"the second running fires", bad(2), []schemas.Outcome{test(0), bad(1)}, rules.Fires},
		{"the third running is still the same fact", bad(3), []schemas.Outcome{bad(2), test(0), bad(1)}, rules.Fires},
		{"a usable one in between breaks the run", bad(3), []schemas.Outcome{bad(1), test(2)}, rules.FirstUnusable},
		{"a later bad trace does not count", bad(2), []schemas.Outcome{test(1), bad(3)}, rules.FirstUnusable},
		{"an athlete who stopped early has no strap trouble", bad(2), []schemas.Outcome{stopped}, rules.FirstUnusable},
		{"a strap that fails for good leaves no test", empty(2), []schemas.Outcome{test(0), bad(1)}, rules.Fires},
		{"a trace without a test begins no run", empty(2), []schemas.Outcome{test(1)}, rules.TraceUsable},
		{"nor do two of them", empty(2), []schemas.Outcome{empty(1)}, rules.TraceUsable},
		{"nor before an unusable one", bad(2), []schemas.Outcome{empty(1)}, rules.FirstUnusable},
		{"one between two unusable ones does not end it", bad(3), []schemas.Outcome{bad(1), empty(2)}, rules.Fires},
		{"a second file with a good trace saves the run", bad(2), []schemas.Outcome{bad(1), twin}, rules.FirstUnusable},
		{"a test that staff left out is silent", leftOut, []schemas.Outcome{bad(1)}, rules.LeftOut},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			ds := rules.Decide(moved(c.o, 0, 0, 0, 0), c.o, c.history, rules.Before{}, thresholds)
			if got := ds[3]; got.Rule != schemas.RuleTraceInvalid || got.Why != c.why {
				t.Errorf("%s, want %s", got.Why, c.why)
			}
		})
	}
}

func TestTheSameFailingStrapIsOneAlert(t *testing.T) {
	var ids []string
	tests := []schemas.Outcome{test(0), bad(1), bad(2), bad(3), bad(4)}
	for i, o := range tests {
		a := moved(o, 0, 0, 0, 0)
		for _, al := range rules.Alerts(a, o, tests, rules.Evaluate(a, o, tests, rules.Before{}, thresholds)) {
			if al.TestID != tests[2].TestID || !al.About.Equal(tests[2].Start) || al.Urgency != schemas.Routine {
				t.Errorf("test %d: alert about %s of %s, %s", i, al.TestID, al.About, al.Urgency)
			}
			ids = append(ids, al.ID)
		}
	}
	if len(ids) != 3 || ids[0] != ids[1] || ids[1] != ids[2] {
		t.Errorf("ids %v, want one id from the second bad trace on", ids)
	}
}

func TestParked(t *testing.T) {
	f := schemas.File{ID: "abc", State: schemas.FileParked, Reason: "empty", Origin: schemas.Origin{Squad: "first", Seen: day0}, Version: 3}
	a, ok := rules.Parked(f)
	again, _ := rules.Parked(f)
	if !ok || a.ID != again.ID || a.Rule != schemas.RuleFileParked || a.FileID != "abc" || a.Squad != "first" || !a.About.Equal(day0) || a.Version != 3 {
		t.Errorf("got %+v, %t", a, ok)
	}
	f.State = schemas.FileScored
	if _, ok := rules.Parked(f); ok {
		t.Error("a scored file is parked")
	}
}

func TestAttendance(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Fatal(err)
	}
	slot := club.Slot{Planned: &club.Planned{ID: "tue", Squad: "first", Protocol: "p", Within: 15 * time.Minute}, Time: day0}
	in := func(ids ...string) []schemas.Athlete {
		var as []schemas.Athlete
		for _, id := range ids {
			as = append(as, schemas.Athlete{ID: id, Squads: []schemas.Membership{{Squad: "first"}}})
		}
		return as
	}
	of := func(athlete string, change func(*schemas.Outcome)) schemas.Outcome {
		o := test(0)
		o.Athlete = athlete
		if change != nil {
			change(&o)
		}
		return o
	}
	left := in("z")
	left[0].Squads[0].To = day0.Add(-time.Hour)
	cases := []struct {
		name     string
		athletes []schemas.Athlete
		tests    []schemas.Outcome
		missing  []rules.Missing
		expected int
		ran      bool
	}{
		{"everybody came", in("a", "b"), []schemas.Outcome{of("a", nil), of("b", nil)}, nil, 2, true},
		{"one is missing", in("b", "a"), []schemas.Outcome{of("a", nil)}, []rules.Missing{{Athlete: "b", Absence: rules.NoTest}}, 2, true},
		{"a session nobody has a test of did not run", in("b", "a"), nil,
			[]rules.Missing{{Athlete: "a", Absence: rules.NoTest}, {Athlete: "b", Absence: rules.NoTest}}, 2, false},
		{"who has left the squad is not missed", append(in("a"), left...), []schemas.Outcome{of("a", nil)}, nil, 1, true},
		{"a rejected test is there but not usable", in("a"), []schemas.Outcome{of("a", func(o *schemas.Outcome) { o.Quality = schemas.Reject })},
			[]rules.Missing{{Athlete: "a", Absence: rules.NotUsable}}, 1, true},
		{"a doubtful test waits for staff", in("a"), []schemas.Outcome{of("a", func(o *schemas.Outcome) { o.Quality = schemas.Check })},
			[]rules.Missing{{Athlete: "a", Absence: rules.Doubtful}}, 1, true},
		{"a test that staff left out is not usable", in("a"), []schemas.Outcome{of("a", func(o *schemas.Outcome) { o.Staff = schemas.Excluded })},
			[]rules.Missing{{Athlete: "a", Absence: rules.NotUsable}}, 1, true},
		{"a second, good file makes up for a bad one", in("a"),
			[]schemas.Outcome{of("a", func(o *schemas.Outcome) { o.Quality = schemas.Reject }), of("a", nil)}, nil, 1, true},
		{"a test in the evening of the day counts", in("a"), []schemas.Outcome{of("a", func(o *schemas.Outcome) { o.Start = day0.Add(9 * time.Hour) })}, nil, 1, true},
		{"a test of yesterday does not", in("a"), []schemas.Outcome{of("a", func(o *schemas.Outcome) { o.Start = day0.Add(-24 * time.Hour) })},
			[]rules.Missing{{Athlete: "a", Absence: rules.NoTest}}, 1, false},
		{"a test of another protocol does not", in("a"), []schemas.Outcome{of("a", func(o *schemas.Outcome) { o.Protocol = "q" })},
			[]rules.Missing{{Athlete: "a", Absence: rules.NoTest}}, 1, false},
		{"an empty squad has nobody missing", nil, nil, nil, 0, false},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			at := rules.Attend(slot, c.athletes, c.tests, zone)
			if d := cmp.Diff(c.missing, at.Missing); d != "" || at.Expected != c.expected || at.Ran != c.ran {
				t.Errorf("expected %d, ran %t, missing (-want +got):\n%s", at.Expected, at.Ran, d)
			}
			al, ok := at.Alert()
			if ok != (len(c.missing) > 0) {
				t.Fatalf("alert: %t", ok)
			}
			if ok && (al.Rule != schemas.RuleTestMissing || !al.About.Equal(day0) || al.Session != "first/p/2026-03-03") {
				t.Errorf("alert %+v", al)
			}
		})
	}
}

func TestASlotAcrossMidnightKeepsItsTests(t *testing.T) {
	late := time.Date(2026, 3, 3, 23, 55, 0, 0, time.UTC)
	slot := club.Slot{Planned: &club.Planned{ID: "late", Squad: "first", Protocol: "p", Within: 15 * time.Minute}, Time: late}
	o := test(0)
	o.Start = late.Add(10 * time.Minute)
	at := rules.Attend(slot, []schemas.Athlete{{ID: "a", Squads: []schemas.Membership{{Squad: "first"}}}}, []schemas.Outcome{o}, time.UTC)
	if len(at.Missing) != 0 {
		t.Errorf("missing %v", at.Missing)
	}
}

func TestALowerHRexOrAFasterRecoveryNeverAlerts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := test(0)
		down := rapid.Float64Range(-30, 0)
		up := rapid.Float64Range(0, 60)
		a := moved(o, down.Draw(t, "HRex"), down.Draw(t, "z"), up.Draw(t, "HRR"), up.Draw(t, "zr"))
		if fired := rules.Evaluate(a, o, nil, rules.Before{}, thresholds); len(fired) > 0 {
			t.Fatalf("fired %v", fired)
		}
	})
}

func TestRulesAndAssessmentAgree(t *testing.T) {
	// The state in the assessment and the rule on its numbers are one decision.
	settings := assess.From(*thresholds)
	rapid.Check(t, func(t *rapid.T) {
		var history []schemas.Outcome
		for i := range 8 {
			h := test(i)
			h.HRexBPM = schemas.Num(rapid.Float64Range(150, 170).Draw(t, "hrex"))
			h.Recovery = []schemas.Recovery{{Seconds: 60, BPM: schemas.Num(rapid.Float64Range(30, 50).Draw(t, "hrr"))}}
			history = append(history, h)
		}
		o := test(8)
		o.HRexBPM = schemas.Num(rapid.Float64Range(140, 190).Draw(t, "now"))
		o.Recovery = []schemas.Recovery{{Seconds: 60, BPM: schemas.Num(rapid.Float64Range(10, 60).Draw(t, "hrr now"))}}
		a := assess.Test(o, history, assess.Context{}, settings)
		ds := rules.Decide(a, o, history, rules.Before{}, thresholds)
		if higher := a.Comparisons[0].State == schemas.Higher; higher != (ds[0].Why == rules.Fires) {
			t.Fatalf("HRex is %s but the rule says %s", a.Comparisons[0].State, ds[0].Why)
		}
		if lower := a.Comparisons[1].State == schemas.Lower; lower != (ds[1].Why == rules.Fires) {
			t.Fatalf("HRR is %s but the rule says %s", a.Comparisons[1].State, ds[1].Why)
		}
	})
}
