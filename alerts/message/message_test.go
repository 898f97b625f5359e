package message_test

import (
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"canter.example/alerts/assess"
	"canter.example/alerts/message"
	"canter.example/alerts/rules"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

var update = flag.Bool("update", false, "write the golden files anew")

// golden compares a text with its file in testdata.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name+".golden")
	if *update {
		if err := os.WriteFile(path, []byte(got+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatalf("%v; run with -update to write it", err)
	}
	if d := cmp.Diff(string(want), got+"\n"); d != "" {
		t.Errorf("wording of %s (-want +got):\n%s", name, d)
	}
}

var lisbon = func() *time.Location {
	z, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		panic(err)
	}
	return z
}()

// rivermeet is an invented club.
func rivermeet(style club.NameStyle) *club.Club {
	return &club.Club{
		Name: "Rivermeet", Zone: lisbon, Privacy: club.Privacy{ChatNames: style},
		Squads: []club.Squad{{ID: "first", Name: "First squad"}},
		Athletes: []schemas.Athlete{
			{ID: "a07", Name: "Ines Valbrook", Initials: "IV", Aliases: []string{"Valbrook I."}},
			{ID: "a11", Name: "Tor Lindqvale", Initials: "TL"},
			{ID: "a19", Name: "Mara Oduwin", Initials: "MO"},
		},
		Protocols:  []schemas.Protocol{{ID: "steady4", Name: "Steady 4 min at 12 km/h"}},
		Thresholds: thresholds,
	}
}

var thresholds = club.Thresholds{
	HRexRisePoints: 2.8, HRexRiseBPM: 5.3, HRRFallBPM: 4.6, Z: 1.5,
	MinBaseline: 4, BaselineTests: 8, BaselineAge: 365 * 24 * time.Hour, HRexTE: 1.2, HRRTE: 3.4,
}

// run is a test in a given week; HRmax 190.
func run(athlete string, week int, hrex, hrr float64) schemas.Outcome {
	file := schemas.NewFileID([]byte(athlete + string(rune('A'+week))))
	start := time.Date(2025, 12, 16, 10, 5, 0, 0, lisbon).AddDate(0, 0, 7*week).UTC()
	return schemas.Outcome{
		TestID: schemas.NewTestID(file, "", "steady4", 0), FileID: file, Athlete: athlete, Squad: "first",
		Protocol: "steady4", ProtocolVersion: "v1", Session: "first/steady4/" + start.Format(time.DateOnly),
		Start: start, StartSource: schemas.StartByLap, HRexBPM: schemas.Num(hrex), HRexPct: schemas.Num(hrex / 1.9),
		HRmax:    schemas.HRmax{BPM: schemas.Num(190), Source: schemas.HRmaxMeasured},
		Recovery: []schemas.Recovery{{Seconds: 60, BPM: schemas.Num(hrr)}},
		Coverage: 0.984, Quality: schemas.Good, MicrocycleDay: "MD-3", Surface: "grass",
	}
}

// past are weeks 0 to n-1 of an athlete who moves a little about 155 bpm and 40 bpm.
func past(athlete string, n int) []schemas.Outcome {
	var out []schemas.Outcome
	for w := range n {
		out = append(out, run(athlete, w, 155+[]float64{0, 2, -1, 1}[w%4], 40+[]float64{1, -2, 0, 2}[w%4]))
	}
	return out
}

// told assesses a test and puts the rules to it.
func told(t *testing.T, o schemas.Outcome, history []schemas.Outcome) message.Item {
	t.Helper()
	a := assess.Test(o, history, assess.Context{}, assess.From(thresholds))
	a.Fired = rules.Evaluate(a, o, history, rules.Before{}, &thresholds)
	alerts := rules.Alerts(a, o, history, a.Fired)
	if len(alerts) != 1 {
		t.Fatalf("%d alerts, want 1: %+v", len(alerts), a.Comparisons)
	}
	return message.Item{Alert: alerts[0], Assessment: a, Outcome: o}
}

func TestWordingOfChanges(t *testing.T) {
	cases := []struct {
		name  string
		style club.NameStyle
		item  func(t *testing.T) message.Item
	}{
		{"both", club.ShowName, func(t *testing.T) message.Item {
			return told(t, run("a07", 8, 164, 28), past("a07", 8))
		}},
		{"hrex-risen", club.ShowInitials, func(t *testing.T) message.Item {
			return told(t, run("a07", 8, 163, 39), past("a07", 8))
		}},
		{"hrr-worsened-hrex-lower", club.ShowID, func(t *testing.T) message.Item {
			return told(t, run("a07", 8, 147, 30), past("a07", 8))
		}},
		{"hrex-risen-recovery-faster", club.ShowName, func(t *testing.T) message.Item {
			return told(t, run("a07", 8, 163, 52), past("a07", 8))
		}},
		{"hrmax-estimated", club.ShowName, func(t *testing.T) message.Item {
			o := run("a11", 8, 164, 28)
			o.HRmax = schemas.HRmax{BPM: schemas.Num(195), Source: schemas.HRmaxEstimated, SEE: schemas.Num(10.8)}
			return told(t, o, past("a11", 8))
		}},
		{"hrmax-unknown", club.ShowName, func(t *testing.T) message.Item {
			o := run("a11", 8, 164, 41)
			o.HRmax, o.HRexPct = schemas.HRmax{Source: schemas.HRmaxUnknown}, schemas.Number{}
			return told(t, o, past("a11", 8))
		}},
		{"no-recovery", club.ShowName, func(t *testing.T) message.Item {
			o := run("a11", 8, 164, 0)
			o.Recovery[0].BPM = schemas.Number{}
			o.Reasons = []schemas.Reason{{Code: schemas.ReasonNoRecovery, Text: "The recording ends 12 s after the run."}}
			return told(t, o, past("a11", 8))
		}},
		{"recovery-still-building", club.ShowName, func(t *testing.T) message.Item {
			history := past("a11", 6)
			for i := range history[:4] {
				history[i].Recovery = nil
			}
			o := run("a11", 6, 164, 28)
			o.StartSource, o.Quality, o.Staff, o.Surface = schemas.StartByTrace, schemas.Check, schemas.Accepted, ""
			return told(t, o, history)
		}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			it := c.item(t)
			text := message.About(rivermeet(c.style), it)
			golden(t, "change-"+c.name, text)
			isSafe(t, text)
			if n := len(text); n > 1500 {
				t.Errorf("%d characters are too many for a phone", n)
			}
		})
	}
}

// isSafe checks what every message about an athlete has to keep.
func isSafe(t *testing.T, text string) {
	t.Helper()
	if !strings.HasSuffix(text, message.Caution) {
		t.Error("does not end with the caution")
	}
	body := strings.ToLower(strings.TrimSuffix(text, message.Caution))
	body = strings.ReplaceAll(body, "not good or bad by itself", "")
	body = strings.ReplaceAll(body, "trace good", "")
	for _, word := range []string{"good", "great", "better", "improve", "fitter", "healthy", "overtrain", "overreach", "diagnos", "sick", "arrhythm", "red", "amber", "green"} {
		for _, w := range strings.FieldsFunc(body, func(r rune) bool { return r < 'a' || r > 'z' }) {
			if strings.HasPrefix(w, word) {
				t.Errorf("says %q", w)
			}
		}
	}
}

func TestWordingOfSeveralChanges(t *testing.T) {
	items := []message.Item{
		told(t, run("a07", 8, 164, 28), past("a07", 8)),
		told(t, run("a11", 8, 163, 39), past("a11", 8)),
	}
	text := message.Together(rivermeet(club.ShowInitials), items)
	golden(t, "changes", text)
	isSafe(t, text)
	one := items[:1]
	if got, want := message.Together(rivermeet(club.ShowName), one), message.About(rivermeet(club.ShowName), one[0]); got != want {
		t.Error("one item is not worded as one change")
	}
	if message.Together(rivermeet(club.ShowName), nil) != "" {
		t.Error("no item makes a message")
	}
}

func TestWordingOfTheRest(t *testing.T) {
	c := rivermeet(club.ShowName)
	bad := run("a19", 8, 0, 0)
	bad.HRexBPM, bad.Quality = schemas.Number{}, schemas.Reject
	bad.Reasons = []schemas.Reason{
		{Code: schemas.ReasonLowCoverage, Text: "12 % of the HRex window covered"},
		{Code: schemas.ReasonStuck, Text: "The same reading for 95 s."},
	}
	trace := message.Trace(c, bad, "trace unusable 2 tests running, since 2026-02-03")
	golden(t, "trace", trace)
	isSafe(t, trace)

	slot := club.Slot{Planned: &club.Planned{ID: "tue", Squad: "first", Protocol: "steady4"}, Time: time.Date(2026, 3, 3, 10, 0, 0, 0, lisbon)}
	golden(t, "missing", message.Missing(c, rules.Attendance{Slot: slot, Expected: 24, Ran: true, Missing: []rules.Missing{
		{Athlete: "a07", Absence: rules.NoTest}, {Athlete: "a11", Absence: rules.NotUsable}, {Athlete: "a19", Absence: rules.NoTest}, {Athlete: "a20", Absence: rules.Doubtful},
	}}))
	golden(t, "missing-all", message.Missing(c, rules.Attendance{Slot: slot, Expected: 24, Missing: make([]rules.Missing, 24)}))

	al := schemas.Alert{Athlete: "a07", Squad: "first", About: run("a07", 8, 0, 0).Start}
	golden(t, "withdrawn", message.Withdrawn(c, al, message.TestExcluded, "Excluded by the sports scientist: strap slipped at 3 min"))
	golden(t, "withdrawn-file", message.Withdrawn(c, schemas.Alert{FileID: schemas.NewFileID(nil)}, message.FileRead, ""))
	golden(t, "withdrawn-missing", message.Withdrawn(c, schemas.Alert{Squad: "first", About: slot.Time}, message.TestsCame, ""))

	it := told(t, run("a07", 8, 164, 28), past("a07", 8))
	corrected := message.Correction + message.About(c, it)
	isSafe(t, corrected)
	if !strings.HasPrefix(corrected, "Corrected") || !strings.Contains(corrected, "HRex 86.3 %HRmax") {
		t.Errorf("correction reads\n%s", corrected)
	}
	for why, words := range map[message.Withdrawal]string{
		message.TestGone: "no such test", message.NoLongerFires: "no longer pass", message.NotSo: "is not so", message.OtherFile: "better file",
	} {
		if text := message.Withdrawn(c, al, why, ""); !strings.Contains(text, words) || !strings.Contains(text, "medical staff") {
			t.Errorf("%s: %s", why, text)
		}
	}
}

func parked(path, reason string) schemas.File {
	return schemas.File{
		ID: schemas.NewFileID([]byte(path)), State: schemas.FileParked, Reason: reason,
		Origin: schemas.Origin{Path: path, Squad: "first", Seen: time.Date(2026, 3, 3, 11, 2, 0, 0, time.UTC)},
	}
}

func TestParkedFilesKeepNamesBack(t *testing.T) {
	files := []schemas.File{
		parked("2026-03-03/ines valbrook.fit", `no athlete is called "Ines Valbrok"; add the name to the club file`),
		parked("export/team.csv", "row 14: VALBROOK I. has two heart rates for 10:05:09 in /srv/hr/export/team.csv."),
		parked("x.tcx", ""),
		parked("y.gpx", "the file's squad isn't known ('Valbrook U19'): move it"),
	}
	golden(t, "parked", message.Parked(rivermeet(club.ShowName), files...))
	for _, style := range []club.NameStyle{club.ShowInitials, club.ShowID} {
		text := message.Parked(rivermeet(style), files...)
		golden(t, "parked-"+string(style), text)
		for _, leak := range []string{"ines", "valbro", "/srv", "team.csv", "Valbrok"} {
			if strings.Contains(strings.ToLower(text), strings.ToLower(leak)) {
				t.Errorf("%s style shows %q:\n%s", style, leak, text)
			}
		}
	}
	many := make([]schemas.File, 14)
	for i := range many {
		many[i] = parked("a.fit", "empty")
	}
	if text := message.Parked(rivermeet(club.ShowName), many...); !strings.Contains(text, "14 heart-rate files") || !strings.Contains(text, "and 4 more") {
		t.Errorf("reads\n%s", text)
	}
	if message.Parked(rivermeet(club.ShowName)) != "" {
		t.Error("no file makes a message")
	}
}

func TestNamesFollowThePrivacySettingInEveryMessage(t *testing.T) {
	it := told(t, run("a07", 8, 164, 28), past("a07", 8))
	it.Outcome.Reasons = []schemas.Reason{{Code: schemas.ReasonSensorMismatch, Text: "the strap is that of ines valbrook"}}
	for style, want := range map[club.NameStyle]string{club.ShowName: "Ines Valbrook", club.ShowInitials: "IV", club.ShowID: "a07"} {
		c := rivermeet(style)
		for _, text := range []string{
			message.About(c, it),
			message.Together(c, []message.Item{it, it}),
			message.Correction + message.About(c, it),
			message.Withdrawn(c, it.Alert, message.TestExcluded, "left out by staff: Ines Valbrook had no strap"),
			message.Trace(c, it.Outcome, "trace unusable 2 tests running"),
			message.Missing(c, rules.Attendance{Slot: club.Slot{Planned: &club.Planned{Squad: "first"}}, Ran: true, Missing: []rules.Missing{{Athlete: "a07", Absence: rules.NoTest}}}),
		} {
			if !strings.Contains(text, want) {
				t.Errorf("%s: %q is missing in\n%s", style, want, text)
			}
			if style != club.ShowName && strings.Contains(strings.ToLower(text), "valbrook") {
				t.Errorf("%s shows the name in\n%s", style, text)
			}
		}
	}
}

func TestTheDirectionOfANumberIsNeverPraised(t *testing.T) {
	for _, c := range []struct {
		measure schemas.Measure
		state   schemas.ComparisonState
		want    bool
	}{
		{schemas.MeasureHRex, schemas.Lower, true}, {schemas.MeasureHRR, schemas.Higher, true},
		{schemas.MeasureHRex, schemas.Higher, false}, {schemas.MeasureHRR, schemas.Lower, false},
		{schemas.MeasureHRex, schemas.Inside, false},
	} {
		got := message.Direction(&schemas.Comparison{Measure: c.measure, State: c.state})
		if (got != "") != c.want || c.want && !strings.Contains(got, "overload") {
			t.Errorf("%s %s: %q", c.measure, c.state, got)
		}
	}
}

func TestANameCannotBreakALine(t *testing.T) {
	c := rivermeet(club.ShowName)
	c.Athletes[0].Name = "Ines\nCaution: all is well"
	it := told(t, run("a07", 8, 164, 28), past("a07", 8))
	text := message.About(c, it)
	if first, _, _ := strings.Cut(text, "\n"); !strings.HasPrefix(first, "Ines Caution: all is well: HRex") {
		t.Errorf("first line %q", first)
	}
}

// TestAHotDayInTheBaselineIsTakenOffInWordsToo: the number was judged without
// it; with it, the same change looks usual.
func TestAHotDayInTheBaselineIsTakenOffInWordsToo(t *testing.T) {
	c := rivermeet(club.ShowName)
	it := told(t, run("a07", 8, 164, 39), past("a07", 8))
	m := it.Assessment.Comparison(schemas.MeasureHRex, 0)
	m.Change, m.Z, m.Deviation, m.DeviationZ = schemas.Num(2.9), schemas.Num(1.4), schemas.Num(3.4), schemas.Num(2.6)
	m.Squad = schemas.SquadShift{State: "estimated", Size: schemas.Num(0.2), SE: schemas.Num(0.4), N: 18}
	text := message.About(c, it)
	for _, want := range []string{
		"bpm): well outside the usual spread\n",
		"The squad was as usual that day (18 athletes), but not on each day of the baseline; without that: HRex +3.4 points (z +2.6).\n",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing in\n%s", want, text)
		}
	}
	if got, want := message.Moved(m), "HRex +3.4 points with the squad's changes taken off (z +2.6)"; !strings.HasPrefix(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	m.Deviation, m.DeviationZ = m.Change, m.Z
	if text := message.About(c, it); !strings.Contains(text, "The squad was as usual that day (18 athletes).\n") {
		t.Errorf("nothing to take off, and yet:\n%s", text)
	}
}

// TestWhatIsOverIsSaidOfWhatItWas: a strap's trace was never inside.
func TestWhatIsOverIsSaidOfWhatItWas(t *testing.T) {
	s := session()
	for i := range s.Looks {
		s.Looks[i].Alert.State = schemas.AlertClosed
	}
	text := message.Summarise(rivermeet(club.ShowName), s)
	for _, want := range []string{"1. (not so at the next session) Whole squad", "2. (back inside at the next test) Ines", "3. (not so at the next test) Tor"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing in\n%s", want, text)
		}
	}
}

func TestMinusSignsAreTrueOnes(t *testing.T) {
	hyphen := regexp.MustCompile(`(^|[\s(])-[0-9]`)
	o := run("a07", 8, 147, -3)
	it := told(t, o, past("a07", 8))
	it.Assessment.Fired = append(it.Assessment.Fired, schemas.FiredRule{Rule: schemas.RuleHRRRunning, Reason: it.Assessment.Fired[0].Reason})
	text := message.About(rivermeet(club.ShowName), it)
	if hyphen.MatchString(text) || !strings.Contains(text, "HRR60 −3 bpm") {
		t.Errorf("reads\n%s", text)
	}
}

func TestSeriesAreCalledAsPeopleWriteThem(t *testing.T) {
	for series, want := range map[string]string{"rpe": "RPE", "session-rpe": "session RPE", "sleep": "sleep"} {
		if got := message.SeriesWords(series); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
