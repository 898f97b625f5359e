package page

import (
	"context"
	"fmt"
	"net/http"

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
	// Whole: the recording as it came is shown, because it was asked for or
	// because nothing else is kept of the trace (Only).
	Whole, Only bool
	// Beside is what stands beside the test, no verdict.
	Beside []string
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
	if len(b.seconds) == 0 {
		b.Whole, b.Only = true, true
	}
	b.Acceptable = o.Quality == schemas.Check && o.Staff != schemas.Accepted
	b.Measures = measures(b.assessment)
	for _, x := range b.outcome.Reasons {
		b.Reasons = append(b.Reasons, report.Sentence(x.Text))
	}
	b.Dropped = dropped(b.seconds)
	beside, err := report.ReadBeside(ctx, p.cfg.History, &o)
	if err != nil {
		return b, err
	}
	for _, line := range beside.Lines() {
		b.Beside = append(b.Beside, report.Sentence(p.names.Say(line)))
	}
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
			Name: c.Name(), Value: c.Value.Text(d), Unit: c.Unit, Last: cells.Last, Baseline: cells.Baseline,
			Z: cells.Z, Words: cells.Words, Beyond: cells.Beyond, Expected: "–", N: schemas.Count(c.N, "test"),
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
