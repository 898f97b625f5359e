package page

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"golang.org/x/text/collate"
	"golang.org/x/text/language"

	"canter.example/alerts/assess"
	"canter.example/cmd/canter/report"
	"canter.example/schemas"
	"canter.example/schemas/history"
)

// testRow is one test of a session.
type testRow struct {
	Test      schemas.TestID
	Athlete   string
	Name      string
	HRex, HRR report.Cells
	// Trace says what the trace is worth, Staff what staff said of the test.
	Trace, Staff string
	// Fired are what went past a threshold, in sentences.
	Fired []string

	outcome    schemas.Outcome
	seconds    []schemas.TraceSecond
	assessment *schemas.Assessment
}

type sessionBody struct {
	ID, Squad, SquadID, Protocol, ProtocolID, Day, Conditions string
	// Earlier and Later are the sessions before and after.
	Earlier, Later string
	HRR            string
	Facts          []fact
	Decide, Beyond []testRow
	Rows           []testRow
	Panels         []panel
	Estimated      bool
	// Move is the form that moves all starts.
	Move tryBody
}

type fact struct{ Name, Text string }

func (p *Page) session(w http.ResponseWriter, r *http.Request, v viewer) error {
	rows, err := p.sessionRowsOf(r.Context(), r.URL.Query().Get("id"))
	if err != nil {
		return err
	}
	o := &rows[0].outcome
	seconds := p.hrrSeconds(o.Protocol, outcomesOf(rows))
	body := sessionBody{
		ID: o.Session, Squad: p.squadName(o.Squad), SquadID: o.Squad, Protocol: p.protocolName(o.Protocol), ProtocolID: o.Protocol,
		Day: p.localTime(o.Start, dayLayout), HRR: hrrName(seconds), Rows: rows, Panels: p.panels(rows),
		Move: tryBody{Session: o.Session, Viewer: v},
	}
	for i := range rows {
		t := &rows[i]
		body.Estimated = body.Estimated || t.outcome.HRmax.Source == schemas.HRmaxEstimated
		switch {
		case undecided(&t.outcome):
			body.Decide = append(body.Decide, *t)
		case len(t.Fired) > 0 && t.outcome.Staff != schemas.Excluded:
			body.Beyond = append(body.Beyond, *t)
		}
	}
	if body.Facts, err = p.sessionFacts(r.Context(), rows, seconds); err != nil {
		return err
	}
	if body.Earlier, body.Later, err = p.neighbours(r.Context(), o); err != nil {
		return err
	}
	if shift := r.URL.Query().Get("shift"); shift != "" {
		if body.Move, err = p.trySessionShift(r, v, rows, shift); err != nil {
			return err
		}
	}
	return p.show(w, r, v, "session", frame{Title: body.Squad + ", " + body.Day, Section: "sessions", Body: body})
}

// sessionRowsOf reads a session's tests, by name.
func (p *Page) sessionRowsOf(ctx context.Context, id string) ([]testRow, error) {
	tests, err := p.cfg.History.SessionTests(ctx, id)
	if err != nil {
		return nil, err
	}
	if len(tests) == 0 {
		return nil, notFound("There is no such session: the list of sessions has those that are there.")
	}
	traces, err := p.cfg.History.SessionTraces(ctx, id)
	if err != nil {
		return nil, err
	}
	assessed, err := p.cfg.History.Assessments(ctx, history.AssessmentFilter{Session: id})
	if err != nil {
		return nil, err
	}
	by := map[schemas.TestID]*schemas.Assessment{}
	for i := range assessed {
		by[assessed[i].TestID] = &assessed[i]
	}
	seconds := p.hrrSeconds(tests[0].Protocol, tests)
	rows := make([]testRow, len(tests))
	for i := range tests {
		rows[i] = p.row(tests[i], by[tests[i].TestID], seconds)
		rows[i].seconds = traces[tests[i].TestID]
	}
	order := collate.New(language.Und)
	slices.SortStableFunc(rows, func(a, b testRow) int { return order.CompareString(a.Name, b.Name) })
	return rows, nil
}

// row is a test beside the athlete's own earlier ones, in the words of the report.
func (p *Page) row(o schemas.Outcome, a *schemas.Assessment, hrr int) testRow {
	o = p.names.Said(o)
	t := testRow{
		Test: o.TestID, Athlete: o.Athlete, Name: p.names.Person(o.Athlete).Name, Trace: report.TraceWords(&o), Staff: report.StaffWord(&o),
		outcome: o, assessment: a,
	}
	t.HRex = report.CellsOf(comparison(a, schemas.MeasureHRex, 0))
	t.HRex.Value = report.HRexValue(&o)
	t.HRR = report.CellsOf(comparison(a, schemas.MeasureHRR, hrr))
	t.HRR.Value = "–"
	if v, ok := o.HRR(hrr); ok {
		t.HRR.Value = v.BPM.Text(0)
	}
	if a != nil {
		for _, f := range a.Fired {
			t.Fired = append(t.Fired, report.Sentence(p.names.Say(f.Reason)))
		}
	}
	return t
}

func comparison(a *schemas.Assessment, m schemas.Measure, seconds int) *schemas.Comparison {
	if a == nil {
		return nil
	}
	return a.Comparison(m, seconds)
}

func outcomesOf(rows []testRow) []schemas.Outcome {
	out := make([]schemas.Outcome, len(rows))
	for i := range rows {
		out[i] = rows[i].outcome
	}
	return out
}

// sessionFacts is the head of a session: who was there, and what all share.
func (p *Page) sessionFacts(ctx context.Context, rows []testRow, hrr int) ([]fact, error) {
	roster, err := p.cfg.History.Athletes(ctx)
	if err != nil {
		return nil, err
	}
	tests := outcomesOf(rows)
	o := &tests[0]
	missing, expected := report.Missing(p.names, roster, o.Squad, tests)
	facts := []fact{{"Tested", fmt.Sprintf("%s of %s", report.Count(len(distinct(tests)), "athlete"), report.Count(expected, "member"))}}
	if len(missing) > 0 {
		names := make([]string, len(missing))
		for i := range missing {
			names[i] = missing[i].Name
		}
		facts = append(facts, fact{"Without a test", strings.Join(names, ", ")})
	}
	if c := strings.Trim(o.MicrocycleDay+", "+o.Surface, ", "); c != "" {
		facts = append(facts, fact{"Conditions", c})
	}
	for _, m := range []struct {
		measure schemas.Measure
		seconds int
	}{{schemas.MeasureHRex, 0}, {schemas.MeasureHRR, hrr}} {
		if text := shiftWords(rows, m.measure, m.seconds); text != "" {
			facts = append(facts, fact{"Whole squad, " + report.MeasureName(m.measure, m.seconds), text})
		}
	}
	return facts, nil
}

func distinct(tests []schemas.Outcome) map[string]bool {
	out := map[string]bool{}
	for i := range tests {
		out[tests[i].Athlete] = true
	}
	return out
}

// shiftWords say what the whole session shares, by what its assessments hold.
func shiftWords(rows []testRow, m schemas.Measure, seconds int) string {
	for i := range rows {
		c := comparison(rows[i].assessment, m, seconds)
		if c == nil || !c.Squad.Size.Present() {
			continue
		}
		unit := "bpm"
		if c.Unit == assess.Points {
			unit = "points of %HRmax"
		}
		text := fmt.Sprintf("%s %s against the squad's usual session", report.Signed(c.Squad.Size, 1), unit)
		if c.Squad.Material {
			return text + ": look first at what all share, such as heat, pace, surface or straps; single verdicts leave it out"
		}
		return text + ", no more than a trifle"
	}
	return ""
}

// neighbours are the sessions of the same squad and protocol around a test.
func (p *Page) neighbours(ctx context.Context, o *schemas.Outcome) (earlier, later string, err error) {
	tests, err := p.cfg.History.SquadTests(ctx, o.Squad, o.Protocol, o.Start.AddDate(0, -3, 0), o.Start.AddDate(0, 3, 0))
	if err != nil {
		return "", "", err
	}
	for i := range tests {
		switch t := &tests[i]; {
		case t.Session == o.Session:
		case t.Start.Before(o.Start):
			earlier = t.Session
		case later == "":
			later = t.Session
		}
	}
	return earlier, later, nil
}

// tracesData are all traces of a session for the chart, one value a second.
type tracesData struct {
	Seconds  []int        `json:"seconds"`
	Duration int          `json:"duration"`
	Traces   []namedTrace `json:"traces"`
}

type namedTrace struct {
	Test   schemas.TestID   `json:"test"`
	Name   string           `json:"name"`
	Words  string           `json:"words"`
	Values []schemas.Number `json:"values"`
}

func (p *Page) sessionTraces(w http.ResponseWriter, r *http.Request, _ viewer) error {
	rows, err := p.sessionRowsOf(r.Context(), r.URL.Query().Get("id"))
	if err != nil {
		return err
	}
	d := tracesData{Traces: []namedTrace{}}
	from, to := 0, 0
	for i := range rows {
		d.Duration = max(d.Duration, int(rows[i].outcome.Duration.Seconds()))
		if s := rows[i].seconds; len(s) > 0 {
			from, to = min(from, s[0].Second), max(to, s[len(s)-1].Second)
		}
	}
	for s := from; s <= to; s++ {
		d.Seconds = append(d.Seconds, s)
	}
	for i := range rows {
		t := namedTrace{rows[i].Test, rows[i].Name, rows[i].Trace, make([]schemas.Number, to-from+1)}
		for _, s := range rows[i].seconds {
			t.Values[s.Second-from] = s.Clean
		}
		d.Traces = append(d.Traces, t)
	}
	return writeJSON(w, d)
}

func writeJSON(w http.ResponseWriter, v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(b)
	return nil
}

// report gives the session's report to keep: one file that needs no network.
func (p *Page) report(w http.ResponseWriter, r *http.Request, _ viewer) error {
	id := r.URL.Query().Get("id")
	d, err := report.Gather(r.Context(), p.cfg.History, p.names, id)
	if err == report.ErrNoSession { //nolint:errorlint // returned as it is
		return notFound("There is no such session.")
	}
	if err != nil {
		return err
	}
	d.Made = p.cfg.Now()
	var b bytes.Buffer
	if err := report.Write(&b, *d); err != nil {
		return err
	}
	// Saved, never shown here: its styles are inside it, which this origin's
	// policy does not allow.
	w.Header().Set("Content-Disposition", fmt.Sprintf("attachment; filename=%q", fileName("report-"+id)+".html"))
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = w.Write(b.Bytes())
	return nil
}

// fileName makes a name that every system takes.
func fileName(s string) string {
	return strings.Map(func(r rune) rune {
		if r == '-' || r == '.' || '0' <= r && r <= '9' || 'a' <= r && r <= 'z' || 'A' <= r && r <= 'Z' {
			return r
		}
		return '-'
	}, s)
}

// parseShift reads seconds that a start is to be moved by, within a day.
func parseShift(s string) (time.Duration, error) {
	var sec float64
	if _, err := fmt.Sscanf(strings.Replace(strings.TrimSpace(s), "−", "-", 1), "%g", &sec); err != nil || sec != sec || sec < -86400 || sec > 86400 {
		return 0, badRequest("By how many seconds? Write a number such as −12 or 30.")
	}
	return time.Duration(sec * float64(time.Second)).Round(time.Millisecond), nil
}
