package page

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"time"

	"canter.example/cmd/canter/report"
	"canter.example/schemas"
	"canter.example/schemas/history"
)

type testBody struct {
	testRow
	Squad, SquadID, Protocol, ProtocolID, Session, Day string
	// Earlier and Later are the tests before and after in the session, by name.
	Earlier, Later testLink
	Start          string
	Measures       []measureRow
	Reasons        []string
	Dropped        []string
	Audit          []string
	Alerts         []alertRow
	HRRName        string
	Try            tryBody
	// Corrected tells that there is something to take back.
	Corrected bool
	// Acceptable: doubtful, and staff have not let it count.
	Acceptable bool
	Whole      bool
}

type testLink struct {
	Test schemas.TestID
	Name string
}

// measureRow is one number beside the athlete's own earlier ones.
type measureRow struct {
	Name, Value, Unit, Last, Baseline, Z, Words, Expected, N string
	Beyond                                                   bool
}

func (p *Page) findTest(ctx context.Context, id string) (schemas.Outcome, error) {
	o, ok, err := p.cfg.History.Test(ctx, schemas.TestID(id))
	if err == nil && !ok {
		err = notFound("There is no such test; a later scoring of its file may have found none.")
	}
	return o, err
}

func (p *Page) test(w http.ResponseWriter, r *http.Request, v viewer) error {
	o, err := p.findTest(r.Context(), r.URL.Query().Get("id"))
	if err != nil {
		return err
	}
	body, err := p.testBody(r, v, o)
	if err != nil {
		return err
	}
	return p.show(w, r, v, "test", frame{Title: body.Name + ", " + body.Day, Section: "sessions", Body: body})
}

func (p *Page) testBody(r *http.Request, v viewer, o schemas.Outcome) (b testBody, err error) {
	ctx := r.Context()
	rows, err := p.sessionRowsOf(ctx, o.Session)
	if err != nil {
		return b, err
	}
	seconds := p.hrrSeconds(o.Protocol, outcomesOf(rows))
	b = testBody{
		Squad: p.squadName(o.Squad), SquadID: o.Squad, Protocol: p.protocolName(o.Protocol), ProtocolID: o.Protocol,
		Session: o.Session, Day: p.localTime(o.Start, dayLayout), Start: p.startWords(&o), HRRName: hrrName(seconds),
		Whole: r.URL.Query().Get("whole") != "",
	}
	for i := range rows {
		if rows[i].Test != o.TestID {
			continue
		}
		b.testRow = rows[i]
		if i > 0 {
			b.Earlier = testLink{rows[i-1].Test, rows[i-1].Name}
		}
		if i+1 < len(rows) {
			b.Later = testLink{rows[i+1].Test, rows[i+1].Name}
		}
	}
	b.Acceptable = o.Quality == schemas.Check && o.Staff != schemas.Accepted
	b.Measures = measures(b.assessment)
	for _, x := range b.outcome.Reasons {
		b.Reasons = append(b.Reasons, report.Sentence(x.Text))
	}
	b.Dropped = dropped(b.seconds)
	if err := p.said(ctx, &b); err != nil {
		return b, err
	}
	b.Try, err = p.tryChange(r, v, o)
	return b, err
}

// said adds what staff did, and the alerts about the test.
func (p *Page) said(ctx context.Context, b *testBody) error {
	cs, err := p.cfg.History.AllCorrections(ctx, b.Test)
	if err != nil {
		return err
	}
	for _, c := range cs {
		text := fmt.Sprintf("%s: %s by %s", p.localTime(c.When, bothLayout), report.ActionWords(c.Action), c.Who)
		if c.Action == schemas.ActionStart {
			text += " to " + p.localTime(c.Start, timeLayout)
		}
		b.Audit = append(b.Audit, report.Sentence(text+": "+p.names.Say(c.Why)))
	}
	b.Corrected = schemas.Rule(cs) != schemas.Ruling{}
	alerts, err := p.cfg.History.Alerts(ctx, history.AlertFilter{TestID: b.Test})
	if err != nil {
		return err
	}
	b.Alerts, err = p.alertRows(ctx, alerts)
	return err
}

func measures(a *schemas.Assessment) []measureRow {
	if a == nil {
		return nil
	}
	var out []measureRow
	for i := range a.Comparisons {
		c := &a.Comparisons[i]
		cells, d := report.CellsOf(c), report.Decimals(c)
		m := measureRow{
			Name: report.MeasureName(c.Measure, c.Seconds), Value: c.Value.Text(d), Unit: c.Unit, Last: cells.Last, Baseline: cells.Baseline,
			Z: cells.Z, Words: cells.Words, Beyond: cells.Beyond, Expected: "–", N: report.Count(c.N, "test"),
		}
		if !c.Value.Present() {
			m.Value = "–"
		}
		if c.PredLow.Present() {
			m.Expected = c.PredLow.Text(d) + " to " + c.PredHigh.Text(d)
		}
		out = append(out, m)
	}
	return out
}

// span is a run of readings that did not count, for one reason.
type span struct {
	From int    `json:"from"`
	To   int    `json:"to"` // the first second after it
	Why  string `json:"why"`
}

func spans(seconds []schemas.TraceSecond) []span {
	out := []span{}
	for _, t := range seconds {
		if t.Dropped == "" {
			continue
		}
		why, _, _ := strings.Cut(t.Dropped, ", bridged")
		if n := len(out); n > 0 && out[n-1].Why == why && out[n-1].To == t.Second {
			out[n-1].To++
			continue
		}
		out = append(out, span{t.Second, t.Second + 1, why})
	}
	return out
}

// dropped says in words what did not count, in order of time.
func dropped(seconds []schemas.TraceSecond) []string {
	var out []string
	all := spans(seconds)
	for i, s := range all {
		if i == 20 {
			out = append(out, fmt.Sprintf("and %d times more", len(all)-i))
			break
		}
		out = append(out, fmt.Sprintf("%s to %s: %s, %d s", minutes(s.From), minutes(s.To), s.Why, s.To-s.From))
	}
	return out
}

// traceData is one trace for the chart. Seconds count from the test's start.
type traceData struct {
	Seconds  []int            `json:"seconds"`
	Raw      []schemas.Number `json:"raw"`
	Clean    []schemas.Number `json:"clean"`
	Speed    []schemas.Number `json:"speed"` // km/h
	HasSpeed bool             `json:"has_speed"`
	Dropped  []span           `json:"dropped"`
	Windows  []window         `json:"windows"`
}

// window is a stretch of time that a number is made of.
type window struct {
	Name string  `json:"name"`
	From float64 `json:"from"`
	To   float64 `json:"to"`
}

func (p *Page) testTrace(w http.ResponseWriter, r *http.Request, _ viewer) error {
	o, err := p.findTest(r.Context(), r.URL.Query().Get("id"))
	if err != nil {
		return err
	}
	var d traceData
	if r.URL.Query().Get("whole") != "" {
		tr, err := p.cfg.Scorer.Recording(r.Context(), &o)
		if err != nil {
			return notFound("The whole recording is not there: " + err.Error() + ".")
		}
		d = wholeTrace(tr, o.Start)
	} else {
		seconds, err := p.cfg.History.TraceSeconds(r.Context(), o.TestID)
		if err != nil {
			return err
		}
		d = keptTrace(seconds)
	}
	d.Windows = p.windows(&o)
	return writeJSON(w, d)
}

func keptTrace(seconds []schemas.TraceSecond) traceData {
	d := traceData{Dropped: spans(seconds), Seconds: []int{}, Raw: []schemas.Number{}, Clean: []schemas.Number{}, Speed: []schemas.Number{}}
	for _, t := range seconds {
		// The axis has every second, so that a gap in the recording is one to see.
		for n := len(d.Seconds); n > 0 && d.Seconds[n-1]+1 < t.Second; n = len(d.Seconds) {
			d.add(d.Seconds[n-1]+1, schemas.Number{}, schemas.Number{}, schemas.Number{})
		}
		d.add(t.Second, t.Raw, t.Clean, t.Speed)
	}
	return d
}

func (d *traceData) add(second int, raw, clean, speed schemas.Number) {
	d.Seconds = append(d.Seconds, second)
	d.Raw = append(d.Raw, raw)
	d.Clean = append(d.Clean, clean)
	if v, ok := speed.Get(); ok {
		d.HasSpeed, speed = true, schemas.Num(v*3.6)
	}
	d.Speed = append(d.Speed, speed)
}

// longestRecording is how many seconds of a whole recording are shown.
const longestRecording = 6 * 3600

// wholeTrace is a recording as it came, nothing cleaned, one value a second.
func wholeTrace(tr *schemas.Trace, start time.Time) traceData {
	d := traceData{Dropped: []span{}, Seconds: []int{}, Raw: []schemas.Number{}, Clean: []schemas.Number{}, Speed: []schemas.Number{}}
	offset := tr.Start.Sub(start)
	n := min(int(tr.End()/time.Second)+1, longestRecording)
	hr, speed := make([]schemas.Number, n), make([]schemas.Number, n)
	for i := range tr.Samples {
		s := &tr.Samples[i]
		at := int(s.At / time.Second)
		if at < 0 || at >= n {
			continue
		}
		if s.HR > 0 {
			hr[at] = schemas.Num(float64(s.HR))
		}
		if s.Have&schemas.HasSpeed != 0 {
			speed[at] = schemas.Num(float64(s.Speed))
		}
	}
	first := int(offset / time.Second)
	for i := range hr {
		d.add(first+i, hr[i], hr[i], speed[i])
	}
	return d
}

// windows are what the numbers of a test are made of.
func (p *Page) windows(o *schemas.Outcome) []window {
	end := o.Duration.Seconds()
	out := []window{{"run", 0, end}}
	x := p.club.Protocol(o.Protocol)
	if x == nil {
		return out
	}
	switch x.HRex {
	case schemas.FinalMean:
		out = append(out, window{"HRex", end - x.HRexWindow.Seconds(), end})
	case schemas.StageMean:
		at := 0.0
		for _, s := range x.Stages {
			at += s.Duration.Seconds()
			if !s.Rest && at <= end+1 {
				out = append(out, window{"HRex", at - x.HRexWindow.Seconds(), at})
			}
		}
	case schemas.PeakMean: // wherever it was highest
	}
	for _, r := range x.Recovery {
		s, half := r.Seconds(), x.RecoveryWindow.Seconds()/2
		out = append(out, window{fmt.Sprintf("HRR%.0f", s), end + s - half, end + s + half})
	}
	return out
}
