package report

import (
	"embed"
	"fmt"
	"html/template"
	"io"
	"strings"
	"time"

	"canter.example/alerts/assess"
	"canter.example/alerts/chart"
	"canter.example/alerts/message"
	"canter.example/schemas"
)

// Data is what a report is made of.
type Data struct {
	// Club and Squad as they are called; Session is the session's id.
	Club, Squad, Session string
	// Protocol as the club file has it; nil when it is not known.
	Protocol *schemas.Protocol
	// Zone of times; nil for UTC.
	Zone *time.Location
	// Tests in the order of the page.
	Tests []Test
	// Missing are athletes of the squad without a test, Expected how many
	// there are in all; 0 when that is not known.
	Missing  []chart.Person
	Expected int
	// Effects are what the whole squad shares in each measure.
	Effects []assess.Effect
	// Settings are the club's: they say what shift of a squad counts as none.
	Settings assess.Settings
	// Made is when the report is made.
	Made time.Time
}

// Test is one test of the session.
type Test struct {
	Who     chart.Person
	Outcome schemas.Outcome
	Seconds []schemas.TraceSecond
	// Assessment is nil when the test has not been assessed.
	Assessment *schemas.Assessment
	Alerts     []schemas.Alert
	// Corrections of this test.
	Corrections []schemas.Correction
	// History up to and with this test, ascending, with notes.
	History []chart.HistoryTest
	Notes   []chart.Note
	// Beside the test: load and daily values. Nil when they were not read.
	Beside *Beside
}

//go:embed page.html page.css
var files embed.FS

var page = template.Must(template.ParseFS(files, "page.html"))

// view is what the page shows: texts only, in the order of the page.
type view struct {
	Title    string
	CSS      template.CSS
	Club     string
	Made     string
	Facts    []fact
	Moved    string
	Looks    []look
	Squad    []template.HTML
	HRR      string
	Rows     []row
	Notes    []string
	Traces   []template.HTML
	Athletes []athlete
	Methods  []fact
	Caution  string
}

// fact is a line of a list of names and texts.
type fact struct{ Name, Text string }

// look is a test that deserves a look.
type look struct {
	Anchor, Name, What string
	Reasons            []string
}

// row is one test in the team table.
type row struct {
	Anchor, Name string
	HRex, HRR    Cells
	Trace, Staff string
}

// Cells are one measure of a row.
type Cells struct {
	Value, Last, Baseline, Z, Words string
	// Brief is Words for a narrow column: a † stands for what they leave out, if
	// anything, which ApartNote says.
	Brief string
	// Beyond the club's thresholds: set bold, and Words says it.
	Beyond bool
}

// athlete is an athlete's part of the page.
type athlete struct {
	Anchor, Name   string
	Lines          []string
	Reasons, Staff []string
	Beside         string
	History, Trace template.HTML
}

// Write writes the report. Errors are those of w and of drawing.
func Write(w io.Writer, d Data) error {
	v, err := newView(&d)
	if err != nil {
		return err
	}
	return page.Execute(w, v)
}

func newView(d *Data) (*view, error) {
	css, err := files.ReadFile("page.css")
	if err != nil {
		return nil, err
	}
	v := &view{
		Title: "Submaximal fitness test, " + d.Squad + ", " + d.day(), Club: d.Club, Caution: message.CautionInFull,
		CSS:   template.CSS(css), //nolint:gosec // our own file
		Made:  d.Made.In(d.zone()).Format("2 Jan 2006 15:04"),
		Facts: d.facts(), Moved: d.squadMoved(), Looks: d.looks(), HRR: d.hrrName(), Methods: d.methods(),
	}
	for i := range d.Tests {
		v.Rows = append(v.Rows, d.row(i))
	}
	v.Notes = v.notes(d)
	if v.Squad, err = d.squadPictures(); err != nil {
		return nil, err
	}
	if v.Traces, err = d.tracePictures(); err != nil {
		return nil, err
	}
	for i := range d.Tests {
		a, err := d.athlete(i)
		if err != nil {
			return nil, err
		}
		v.Athletes = append(v.Athletes, a)
	}
	return v, nil
}

// svg is a picture as part of the page.
func svg(p *chart.Picture) (template.HTML, error) {
	b, err := p.Inline()
	if err != nil {
		return "", err
	}
	return template.HTML(b), nil //nolint:gosec // package chart escapes every text, and is tested for it
}

// squadPictures has one picture a measure.
func (d *Data) squadPictures() ([]template.HTML, error) {
	var out []template.HTML
	measures := []chart.SquadData{{Measure: schemas.MeasureHRex}}
	if s := d.hrrSeconds(); s > 0 {
		measures = append(measures, chart.SquadData{Measure: schemas.MeasureHRR, Seconds: s})
	}
	for _, m := range measures {
		m.Title, m.Size = d.Squad+", "+d.day(), chart.Page
		for i := range d.Tests {
			t := &d.Tests[i]
			m.Tests = append(m.Tests, chart.SquadTest{Who: t.Who, Outcome: t.Outcome, Comparison: t.comparison(m.Measure, m.Seconds)})
		}
		for _, e := range d.Effects {
			if e.Measure == m.Measure && e.Seconds == m.Seconds && e.State == assess.Estimated {
				m.Shift, m.ShiftLow, m.ShiftHigh = e.Size, e.Low, e.High
			}
		}
		s, err := svg(chart.Squad(m))
		if err != nil {
			return nil, err
		}
		out = append(out, s)
	}
	return out, nil
}

// panelsAPage is how many traces fit on a printed page under one heading.
const panelsAPage = 25

func (d *Data) tracePictures() ([]template.HTML, error) {
	var out []template.HTML
	for from := 0; from < len(d.Tests); from += panelsAPage {
		part := chart.SessionData{Title: d.Squad + ", " + d.day(), Protocol: d.Protocol, Zone: d.Zone, Size: chart.Wide}
		part.Size.Bare = true
		for _, t := range d.Tests[from:min(from+panelsAPage, len(d.Tests))] {
			part.Tests = append(part.Tests, chart.SessionTest{Who: t.Who, Outcome: t.Outcome, Seconds: t.Seconds})
		}
		s, err := svg(chart.Session(part))
		if err != nil {
			return nil, err
		}
		out = append(out, s)
	}
	return out, nil
}

func (d *Data) athlete(i int) (a athlete, err error) {
	t := &d.Tests[i]
	a = athlete{Anchor: anchor(i), Name: t.Who.Name, Lines: t.sentences(d), Staff: t.staff(d)}
	for _, r := range t.Outcome.Reasons {
		a.Reasons = append(a.Reasons, Sentence(r.Text))
	}
	if t.Beside != nil {
		a.Beside = Sentence(strings.Join(t.Beside.Lines(), "; "))
	}
	size := chart.Page
	size.Bare = true
	a.History, err = svg(chart.History(chart.HistoryData{Who: t.Who, Tests: t.History, Notes: t.Notes, Protocol: d.Protocol, Zone: d.Zone, Size: size}))
	if err != nil {
		return a, err
	}
	a.Trace, err = svg(chart.Trace(chart.TraceData{Who: t.Who, Outcome: t.Outcome, Seconds: t.Seconds, Protocol: d.Protocol, Zone: d.Zone, Size: size}))
	return a, err
}

func anchor(i int) string { return fmt.Sprintf("athlete-%d", i+1) }

func (t *Test) comparison(m schemas.Measure, seconds int) *schemas.Comparison {
	if t.Assessment == nil {
		return nil
	}
	return t.Assessment.Comparison(m, seconds)
}

func (d *Data) zone() *time.Location {
	if d.Zone == nil {
		return time.UTC
	}
	return d.Zone
}
