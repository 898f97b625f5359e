package report_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"canter.example/alerts/assess"
	"canter.example/alerts/chart"
	"canter.example/alerts/message"
	"canter.example/cmd/canter/report"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

var update = flag.Bool("update", false, "write the golden files anew")

var start = time.Date(2026, 3, 3, 9, 30, 0, 0, time.UTC)

func outcome(athlete string, hrex, hrr float64) schemas.Outcome {
	return schemas.Outcome{
		TestID: schemas.TestID("t-" + athlete), Athlete: athlete, Squad: "first", Protocol: "steady4", Session: "first/steady4/2026-03-03",
		Start: start, StartSource: schemas.StartByPlan, Duration: 4 * time.Minute, EndHR: schemas.Num(hrex),
		HRexBPM: schemas.Num(hrex), HRexPct: schemas.Num(hrex / 1.9), HRmax: schemas.HRmax{BPM: schemas.Num(190), Source: schemas.HRmaxMeasured},
		Recovery: []schemas.Recovery{{Seconds: 60, BPM: schemas.Num(hrr)}}, Coverage: 1, Quality: schemas.Good, MicrocycleDay: "MD-3", Surface: "grass",
	}
}

func trace(hrex float64) []schemas.TraceSecond {
	var out []schemas.TraceSecond
	for s := -60; s < 320; s++ {
		v := schemas.Num(math.Round(110 + (hrex-110)*(1-math.Exp(-float64(max(s, 0))/40))))
		out = append(out, schemas.TraceSecond{Second: s, Raw: v, Clean: v})
	}
	return out
}

func comparison(m schemas.Measure, unit string, value, change, z float64, state schemas.ComparisonState) schemas.Comparison {
	c := schemas.Comparison{
		Measure: m, Unit: unit, Value: schemas.Num(value), State: state, Previous: schemas.Num(value - 1), PrevChange: schemas.Num(1),
		PreviousTime: start.AddDate(0, 0, -7), N: 8, MinN: 4, From: start.AddDate(0, 0, -56), Mean: schemas.Num(value - change), Change: schemas.Num(change),
		Pct: schemas.Num(100 * change / value), Z: schemas.Num(z), PredLow: schemas.Num(value - change - 3), PredHigh: schemas.Num(value - change + 3),
		TE: schemas.Num(1.2), SWC: schemas.Num(0.8), MDC: schemas.Num(3.3),
	}
	if m == schemas.MeasureHRR {
		c.Seconds, c.TE, c.MDC = 60, schemas.Num(3.4), schemas.Num(9.4)
	}
	return c
}

// session has one athlete of each kind that the page tells apart.
func session() report.Data {
	d := report.Data{
		Club: "Rivermeet", Squad: "First squad", Session: "first/steady4/2026-03-03", Made: start.Add(5 * time.Hour), Expected: 6,
		Missing: []chart.Person{{ID: "a09", Name: "Mara Oduwin"}},
		Protocol: &schemas.Protocol{
			ID: "steady4", Name: "Steady 4 min", Regimen: schemas.Continuous, Progression: schemas.Fixed, Stages: []schemas.Stage{{Duration: 4 * time.Minute}},
			HRex: schemas.FinalMean, HRexWindow: time.Minute, Recovery: []time.Duration{time.Minute}, Posture: schemas.Standing,
			EndWindow: 5 * time.Second, RecoveryWindow: 5 * time.Second, BandLow: 0.75, BandHigh: 0.85, MinCoverage: 0.8,
		},
		Effects: []assess.Effect{{Measure: schemas.MeasureHRex, Unit: assess.Points, State: assess.Estimated, Athletes: 5, Size: schemas.Num(1.4), Low: schemas.Num(0.3), High: schemas.Num(2.2)}},
	}
	add := func(id, name string, o schemas.Outcome, cs ...schemas.Comparison) *report.Test {
		a := &schemas.Assessment{TestID: o.TestID, Comparisons: cs}
		d.Tests = append(d.Tests, report.Test{
			Who: chart.Person{ID: id, Name: name}, Outcome: o, Seconds: trace(o.HRexBPM.Or(150)), Assessment: a,
			History: []chart.HistoryTest{{Outcome: o, Assessment: a}},
		})
		return &d.Tests[len(d.Tests)-1]
	}
	risen := add("a01", "Ada Quill", outcome("a01", 166, 25),
		comparison(schemas.MeasureHRex, assess.Points, 87.4, 4.6, 3.2, schemas.Higher), comparison(schemas.MeasureHRR, assess.BPM, 25, -9, -2.4, schemas.Lower))
	risen.Assessment.Fired = []schemas.FiredRule{{Rule: schemas.RuleBoth, Reason: "HRex +4.6 points from the mean of 8 tests"}}
	risen.Alerts = []schemas.Alert{{State: schemas.AlertSeen}}
	risen.Beside = &report.Beside{
		Date:  "2026-03-03",
		Loads: []schemas.LoadSum{{Days: 3}, {Days: 7, Sessions: 2, Minutes: schemas.Num(124), Coverage: schemas.Num(0.98), TRIMP: schemas.Num(171.6), Edwards: schemas.Num(402)}},
		Daily: []schemas.SeriesValue{
			{Athlete: "a01", Date: "2026-03-02", Series: "sleep", Value: 6.5, Unit: "h"},
			{Squad: "first", Date: "2026-03-03", Series: "temperature", Value: 24, Unit: "°C"},
		},
	}

	lower := outcome("a02", 150, 41)
	lower.HRmax.Source = schemas.HRmaxEstimated
	add("a02", "Bo Fenwick", lower, comparison(schemas.MeasureHRex, assess.Points, 78.9, -3.1, -2.2, schemas.Lower))

	building := comparison(schemas.MeasureHRex, assess.Points, 80, 0, 0, schemas.Building)
	building.N, building.Mean, building.Change, building.Z = 2, schemas.Number{}, schemas.Number{}, schemas.Number{}
	add("a03", "Cy Marlowe", outcome("a03", 152, 40), building)

	unusable := outcome("a04", 150, 0)
	unusable.HRexBPM, unusable.HRexPct, unusable.Recovery[0].BPM, unusable.Quality, unusable.Coverage = schemas.Number{}, schemas.Number{}, schemas.Number{}, schemas.Reject, 0.2
	unusable.Reasons = []schemas.Reason{{Code: schemas.ReasonLowCoverage, Text: "no HRex: 20 % of its window has valid heart rate"}}
	add("a04", "Dee Ashdown", unusable)

	out := outcome("a05", 170, 20)
	out.Staff = schemas.Excluded
	left := add("a05", "Ed Harrowgate", out, comparison(schemas.MeasureHRex, assess.Points, 89.5, 7, 4, schemas.Higher))
	left.Assessment.Fired = []schemas.FiredRule{{Rule: schemas.RuleHRexRisen, Reason: "no longer counts"}}
	left.Corrections = []schemas.Correction{{Action: schemas.ActionExclude, Who: "analyst", When: start.Add(time.Hour), Why: "wore a team-mate's strap"}}
	return d
}

// element is what the tests look at in a page.
type element struct {
	name string
	attr map[string]string
	text string
}

// read parses a page and returns its elements in order, with the text directly
// in them; what is drawn inside a picture is left out.
func read(t *testing.T, b []byte) []element {
	t.Helper()
	dec := xml.NewDecoder(bytes.NewReader(b))
	dec.Strict, dec.AutoClose, dec.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	var out []element
	var open []int
	drawing := 0
	for {
		tok, err := dec.Token()
		if errors.Is(err, io.EOF) {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			e := element{name: tok.Name.Local, attr: map[string]string{}}
			for _, a := range tok.Attr {
				e.attr[a.Name.Local] = a.Value
			}
			if drawing > 0 || e.name == "svg" {
				drawing++
			}
			if drawing <= 1 || e.name == "script" {
				out = append(out, e)
			}
			open = append(open, len(out)-1)
		case xml.EndElement:
			open = open[:len(open)-1]
			drawing = max(drawing-1, 0)
		case xml.CharData:
			if n := len(open); n > 0 && drawing == 0 {
				out[open[n-1]].text += string(tok)
			}
		}
	}
}

func written(t *testing.T, d report.Data) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := report.Write(&b, d); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestPageInWords(t *testing.T) {
	var b strings.Builder
	for _, e := range read(t, written(t, session())) {
		text := strings.Join(strings.Fields(e.text), " ")
		if e.name == "svg" {
			text = e.attr["aria-label"]
		}
		if text != "" && e.name != "style" {
			b.WriteString(e.name + ": " + text + "\n")
		}
	}
	const path = "testdata/page.golden"
	if *update {
		if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatalf("%v; run with -update to write it", err)
	}
	if d := cmp.Diff(string(want), b.String()); d != "" {
		t.Errorf("the page's words (-want +got):\n%s", d)
	}
}

func TestPageStandsAlone(t *testing.T) {
	b := written(t, session())
	for _, e := range read(t, b) {
		switch e.name {
		case "script", "link", "iframe", "img", "object", "embed", "form", "base":
			t.Errorf("a page that stands alone has no %s", e.name)
		}
		if href := e.attr["href"]; href != "" && !strings.HasPrefix(href, "#") {
			t.Errorf("link to %q leaves the page", href)
		}
	}
	for _, bad := range []string{"url(", "@import", "@font-face", "https://"} {
		if bytes.Contains(b, []byte(bad)) {
			t.Errorf("%q in the page", bad)
		}
	}
	if !bytes.Equal(b, written(t, session())) {
		t.Error("written twice, the pages differ")
	}
}

func TestPageCanBeHeard(t *testing.T) {
	elements := read(t, written(t, session()))
	ids := map[string]int{}
	level := 0
	for _, e := range elements {
		if id := e.attr["id"]; id != "" {
			ids[id]++
		}
		if len(e.name) == 2 && e.name[0] == 'h' && e.name[1] >= '1' && e.name[1] <= '6' {
			if now := int(e.name[1] - '0'); now > level+1 {
				t.Errorf("heading %q skips a level", e.text)
			} else {
				level = now
			}
		}
		if e.name == "svg" && (e.attr["role"] != "img" || e.attr["aria-label"] == "") {
			t.Error("a picture without words")
		}
		if e.name == "th" && e.attr["scope"] == "" {
			t.Errorf("heading cell %q says not of what", e.text)
		}
	}
	for id, n := range ids {
		if n > 1 {
			t.Errorf("%d elements with id %q", n, id)
		}
	}
	for _, e := range elements {
		for _, to := range []string{strings.TrimPrefix(e.attr["href"], "#"), e.attr["aria-labelledby"]} {
			if to != "" && ids[to] == 0 {
				t.Errorf("%s points to %q, which is not there", e.name, to)
			}
		}
	}
	if !slices.ContainsFunc(elements, func(e element) bool { return e.name == "caption" && e.text != "" }) {
		t.Error("the table has no caption")
	}
}

func TestCautionStandsAtTheEnd(t *testing.T) {
	b := string(written(t, session()))
	at := strings.LastIndex(b, message.CautionInFull)
	if at < 0 || strings.Contains(b[at:], "<h2") {
		t.Error("the caution is not at the page's end")
	}
}

func TestNothingHostileGetsIntoThePage(t *testing.T) {
	const hostile = `"><script>alert(1)</script><img src=x onerror=alert(2)>'{{.}}&`
	d := session()
	d.Club, d.Squad, d.Session = hostile, hostile, hostile
	d.Protocol.Name, d.Protocol.Posture = hostile, hostile
	d.Missing[0].Name = hostile
	for i := range d.Tests {
		test := &d.Tests[i]
		test.Who = chart.Person{ID: hostile, Name: hostile}
		test.Outcome.Surface, test.Outcome.MicrocycleDay = hostile, hostile
		test.Outcome.Reasons = []schemas.Reason{{Code: hostile, Text: hostile}}
		test.Outcome.Quality = schemas.Check
		test.Seconds[80].Dropped = hostile
		test.Corrections = []schemas.Correction{{Action: hostile, Who: hostile, Why: hostile}}
		test.Notes = []chart.Note{{At: start, Text: hostile}}
		if len(test.Assessment.Fired) > 0 {
			test.Assessment.Fired[0] = schemas.FiredRule{Rule: hostile, Reason: hostile}
		}
	}
	b := written(t, d)
	if bytes.Contains(b, []byte("<script")) || bytes.Contains(b, []byte("<img")) {
		t.Fatal("markup from a name got into the page")
	}
	names := 0
	for _, e := range read(t, b) {
		for k := range e.attr {
			if strings.HasPrefix(k, "on") {
				t.Errorf("attribute %s on %s", k, e.name)
			}
		}
		if e.name == "h3" && e.text == hostile {
			names++
		}
	}
	if names != len(d.Tests) {
		t.Errorf("%d names are shown as written, want %d", names, len(d.Tests))
	}
}

func TestPageOfNothing(t *testing.T) {
	b := string(written(t, report.Data{Squad: "first", Session: "first/steady4/2026-03-03"}))
	if !strings.Contains(b, message.CautionInFull) {
		t.Error("no caution")
	}
}

// TestEveryRuleHasWords: no id of ours stands in front of staff.
func TestEveryRuleHasWords(t *testing.T) {
	rules := append([]schemas.RuleID{schemas.RuleSquadEffect, schemas.RuleTestMissing, schemas.RuleFileParked}, club.Settable...)
	for _, r := range rules {
		if words := report.RuleWords(r); words == string(r) || !strings.Contains(words, " ") {
			t.Errorf("%s has no words: %q", r, words)
		}
	}
	if len(rules) < 12 {
		t.Errorf("only %d rules", len(rules))
	}
}

// TestWordsBesideAnotherZSayWhatTheyAreOf: after a hot day, words and z of a row
// speak of two things.
func TestWordsBesideAnotherZSayWhatTheyAreOf(t *testing.T) {
	c := schemas.Comparison{
		Measure: schemas.MeasureHRex, Unit: "% points of HRmax", State: schemas.Inside, Value: schemas.Num(80),
		Change: schemas.Num(2.7), Z: schemas.Num(1.4), Deviation: schemas.Num(3.3), DeviationZ: schemas.Num(2.4),
	}
	if got, want := report.CellsOf(&c).Words, "well outside the usual spread with the squad's changes taken off"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if got, want := report.CellsOf(&c).Brief, "well outside the usual spread†"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if note := report.CellsOf(&c).ApartNote(); !strings.HasPrefix(note, "† with the squad's changes taken off") {
		t.Errorf("below the table: %q", note)
	}
	c.Deviation, c.DeviationZ = c.Change, c.Z
	if got, want := report.CellsOf(&c).Words, "at the edge of the usual spread"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if cells := report.CellsOf(&c); cells.Brief != cells.Words || cells.ApartNote() != "" {
		t.Errorf("%q, note %q", cells.Brief, cells.ApartNote())
	}
}
