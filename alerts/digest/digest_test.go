package digest_test

import (
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"github.com/google/go-cmp/cmp"

	"canter.example/alerts/digest"
	"canter.example/alerts/message"
	"canter.example/alerts/schedule"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

var update = flag.Bool("update", false, "write the golden files anew")

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name+".golden")
	if *update {
		if err := os.MkdirAll("testdata", 0o750); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(got+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path) //nolint:gosec // a test's own file
	if err != nil {
		t.Fatalf("%v; run with -update to write it", err)
	}
	if d := cmp.Diff(string(want), got+"\n"); d != "" {
		t.Errorf("%s (-want +got):\n%s", name, d)
	}
}

var lisbon = func() *time.Location {
	z, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		panic(err)
	}
	return z
}()

// rivermeet is an invented club of eight.
func rivermeet() *club.Club {
	c := &club.Club{Name: "Rivermeet", Zone: lisbon, Squads: []club.Squad{{ID: "first", Name: "First squad"}}, Thresholds: club.DefaultThresholds(), Privacy: club.Privacy{ChatNames: club.ShowInitials}}
	for i := range 8 {
		c.Athletes = append(c.Athletes, schemas.Athlete{ID: fmt.Sprint("a", i), Name: fmt.Sprint("Sample ", i), Initials: fmt.Sprint("S", i), Squads: []schemas.Membership{{Squad: "first"}}})
	}
	return c
}

func comparison(m schemas.Measure, change, z, p float64, state schemas.ComparisonState) schemas.Comparison {
	c := schemas.Comparison{Measure: m, Unit: "% points of HRmax", State: state, Value: schemas.Num(80), Change: schemas.Num(change), Z: schemas.Num(z), ProbChange: schemas.Num(p)}
	if m == schemas.MeasureHRR {
		c.Unit, c.Seconds = "bpm", 60
	}
	return c
}

// rows are a week in which two moved for the worse, one for the better without
// a message, one a little, and one strap failed.
func rows() *digest.Rows {
	at := time.Date(2026, 10, 6, 9, 30, 0, 0, time.UTC)
	r := &digest.Rows{}
	add := func(i int, quality schemas.Quality, cs ...schemas.Comparison) schemas.TestID {
		id := schemas.TestID(fmt.Sprint("t", i))
		r.Tests = append(r.Tests, schemas.Outcome{TestID: id, Athlete: fmt.Sprint("a", i), Squad: "first", Protocol: "p", ProtocolVersion: "v", Session: "first/p/2026-10-06", Start: at,
			HRexPct: schemas.Num(80), HRexBPM: schemas.Num(160), Quality: quality, Coverage: 0.9})
		r.Assessments = append(r.Assessments, schemas.Assessment{TestID: id, Athlete: fmt.Sprint("a", i), Squad: "first", Session: "first/p/2026-10-06", Start: at, Comparisons: cs})
		return id
	}
	up := add(0, schemas.Good, comparison(schemas.MeasureHRex, 4.2, 3.1, 0.99, schemas.Higher), comparison(schemas.MeasureHRR, -9, -3.2, 0.98, schemas.Lower))
	add(1, schemas.Good, comparison(schemas.MeasureHRex, 2.1, 1.8, 0.96, schemas.Inside))
	add(2, schemas.Good, comparison(schemas.MeasureHRex, -3.4, -2.6, 0.997, schemas.Lower))
	add(3, schemas.Good, comparison(schemas.MeasureHRex, 1, 0.8, 0.97, schemas.Inside), comparison(schemas.MeasureHRR, 2, 0.5, 0.4, schemas.Inside))
	add(4, schemas.Reject)
	add(5, schemas.Good, comparison(schemas.MeasureHRex, 0, 0, 0, schemas.Building))
	alert := func(id string, rule schemas.RuleID, test schemas.TestID, athlete string, state schemas.AlertState, told bool, days int) schemas.Alert {
		return schemas.Alert{ID: id, Rule: rule, TestID: test, Athlete: athlete, Squad: "first", State: state, Told: told, About: at.AddDate(0, 0, days), Text: "S6: HRex higher than usual\nmore"}
	}
	r.Alerts = []schemas.Alert{
		alert("x1", schemas.RuleBoth, up, "a0", schemas.AlertOpen, true, 0), alert("x2", schemas.RuleEasier, "t2", "a2", schemas.AlertOpen, false, 0),
		alert("x3", schemas.RuleTestMissing, "", "", schemas.AlertOpen, true, 0), alert("x4", schemas.RuleSquadEffect, "", "", schemas.AlertOpen, true, 0),
	}
	r.Before = []schemas.Alert{
		alert("y1", schemas.RuleHRexRisen, "t9", "a6", schemas.AlertSeen, true, -7), alert("y2", schemas.RuleHRexRisen, "t8", "a7", schemas.AlertClosed, true, -7),
		alert("y3", schemas.RuleHRexRisen, "t7", "a5", schemas.AlertWithdrawn, true, -7),
	}
	return r
}

func TestAWeekOnAPhone(t *testing.T) {
	week := schedule.WeekOf(time.Date(2026, 10, 6, 12, 0, 0, 0, lisbon), lisbon)
	d := digest.Sum(rivermeet(), digest.Week, "first", week, rows())
	text := d.Text(rivermeet())
	golden(t, "week", text)
	if !strings.HasSuffix(text, message.Caution) {
		t.Error("no caution at its end")
	}
	b, err := json.MarshalIndent(d, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	golden(t, "week.json", string(b))
	quiet := digest.Sum(rivermeet(), digest.Week, "first", week, &digest.Rows{})
	if !quiet.Empty() || !strings.Contains(quiet.Text(rivermeet()), "No test.") {
		t.Errorf("a week without anything: %+v", quiet)
	}
}

// On a day when the squad moved, what is left of a change decides.
func TestAHotDayMakesNoMovers(t *testing.T) {
	r := rows()
	for i := range r.Assessments {
		for j := range r.Assessments[i].Comparisons {
			c := &r.Assessments[i].Comparisons[j]
			c.Squad = schemas.SquadShift{State: "estimated", Size: schemas.Num(3), N: 6, Material: true}
			c.State, c.Deviation, c.DeviationZ = schemas.Inside, schemas.Num(0.2), schemas.Num(0.1)
		}
	}
	d := digest.Sum(rivermeet(), digest.Week, "first", schedule.WeekOf(time.Date(2026, 10, 6, 12, 0, 0, 0, lisbon), lisbon), r)
	if len(d.Harder)+len(d.Easier) != 0 || len(d.Shifts) != 2 {
		t.Errorf("movers %+v %+v, shifts %+v", d.Harder, d.Easier, d.Shifts)
	}
	golden(t, "hot-week", d.Text(rivermeet()))
}

func TestAMonthHasTheSquadsOwnTypicalError(t *testing.T) {
	r := rows()
	for w := range 10 {
		for i := range 7 {
			at := time.Date(2026, 8, 4, 9, 30, 0, 0, time.UTC).AddDate(0, 0, 7*w)
			noise := []float64{1, -1, 0.5, -0.5, 1.5, -1.5}[(w+2*i)%6]
			r.Past = append(r.Past, schemas.Outcome{
				TestID: schemas.TestID(fmt.Sprint("p", w, i)), Athlete: fmt.Sprint("a", i), Squad: "first", Protocol: "p", ProtocolVersion: "v", Session: "first/p/" + at.Format(time.DateOnly),
				Start: at, HRexPct: schemas.Num(75 + float64(i) + noise), HRexBPM: schemas.Num(2 * (75 + float64(i) + noise)), HRmax: schemas.HRmax{BPM: schemas.Num(200), Source: schemas.HRmaxMeasured},
				Recovery: []schemas.Recovery{{Seconds: 60, BPM: schemas.Num(40 + 3*noise), Coverage: 1}}, Quality: schemas.Good, Coverage: 1,
			})
		}
	}
	d := digest.Sum(rivermeet(), digest.Month, "first", schedule.MonthOf(time.Date(2026, 10, 6, 12, 0, 0, 0, lisbon), lisbon), r)
	golden(t, "month", d.Text(rivermeet()))
}

// TestWhatHoldsOnIsOneLine: the same rule about the same athlete, week by week.
func TestWhatHoldsOnIsOneLine(t *testing.T) {
	r := rows()
	older := r.Before[0]
	older.ID, older.About, older.State = "y0", older.About.AddDate(0, 0, -7), schemas.AlertOpen
	parked := schemas.Alert{ID: "p1", Rule: schemas.RuleFileParked, Squad: "first", State: schemas.AlertOpen, Told: true, About: older.About, Text: "1 heart-rate file set aside (parked)"}
	other := parked
	other.ID = "p2"
	r.Before = append([]schemas.Alert{older, parked, other}, r.Before...)
	week := schedule.WeekOf(r.Tests[0].Start, lisbon)
	text := digest.Sum(rivermeet(), digest.Week, "first", week, r).Text(rivermeet())
	if !strings.Contains(text, "- S6: HRex higher than usual (since 22 Sep, again 29 Sep)\n") {
		t.Errorf("not in one line, or called seen:\n%s", text)
	}
	if n := strings.Count(text, "- 1 heart-rate file set aside"); n != 2 {
		t.Errorf("%d lines of parked files, want 2: they are different ones", n)
	}
}

// TestWhatBecameOfThemIsWhole: of a month before, some alerts lapsed; a parked
// file has no numbers that could be back inside.
func TestWhatBecameOfThemIsWhole(t *testing.T) {
	r := rows()
	lapsed := r.Before[1]
	lapsed.ID, lapsed.State = "y4", schemas.AlertLapsed
	parked := schemas.Alert{ID: "p1", Rule: schemas.RuleFileParked, Squad: "first", State: schemas.AlertClosed, Told: true, About: lapsed.About}
	r.Before = []schemas.Alert{lapsed, r.Before[1], parked}
	text := digest.Sum(rivermeet(), digest.Month, "first", schedule.MonthOf(r.Tests[0].Start, lisbon), r).Text(rivermeet())
	if want := "Of the 2 alerts of the month before: 1 back inside, 1 lapsed without a test to tell."; !strings.Contains(text, want) {
		t.Errorf("want %q in:\n%s", want, text)
	}
}

// TestOlderAlertsStayListed as long as they are open, but make no digest of a
// week in which nothing happened.
func TestOlderAlertsStayListed(t *testing.T) {
	r := rows()
	old := r.Before[0]
	old.ID, old.About, old.State = "z1", old.About.AddDate(0, 0, -21), schemas.AlertOpen
	r.Older = []schemas.Alert{old}
	week := schedule.WeekOf(r.Tests[0].Start, lisbon)
	if text := digest.Sum(rivermeet(), digest.Week, "first", week, r).Text(rivermeet()); !strings.Contains(text, "(since 8 Sep, again 29 Sep)") {
		t.Errorf("an alert that is open for four weeks is not listed:\n%s", text)
	}
	if d := digest.Sum(rivermeet(), digest.Week, "first", week, &digest.Rows{Older: r.Older}); !d.Empty() || len(d.Open) != 1 {
		t.Errorf("empty %v, open %+v", d.Empty(), d.Open)
	}
}

// TestTheSideIsThatOfTheVerdict: a hot day in the baseline can hide a rise. The
// number was judged without it, and must not stand among those that fell.
func TestTheSideIsThatOfTheVerdict(t *testing.T) {
	r := rows()
	c := comparison(schemas.MeasureHRex, -0.1, -0.1, 0.2, schemas.Higher)
	c.Deviation, c.DeviationZ = schemas.Num(2.4), schemas.Num(2.6)
	r.Assessments[0].Comparisons = []schemas.Comparison{c}
	d := digest.Sum(rivermeet(), digest.Week, "first", schedule.WeekOf(r.Tests[0].Start, lisbon), r)
	if len(d.Harder) == 0 || d.Harder[0].Athlete != "a0" {
		t.Errorf("harder %+v, easier %+v", d.Harder, d.Easier)
	}
}
