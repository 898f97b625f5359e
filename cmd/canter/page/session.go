package page

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"strings"
	"time"

	"canter.example/alerts/assess"
	"canter.example/cmd/canter/report"
	"canter.example/schemas"
)

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

// sessionFacts is the head of a session: who was there, and what all share.
func (p *Page) sessionFacts(ctx context.Context, rows []testRow, hrr int) ([]fact, error) {
	roster, err := p.cfg.History.Athletes(ctx)
	if err != nil {
		return nil, err
	}
	tests := outcomesOf(rows)
	o := &tests[0]
	missing, expected := report.Missing(p.names, roster, o.Squad, tests)
	facts := []fact{{"Tested", fmt.Sprintf("%s of %s", schemas.Count(len(distinct(tests)), "athlete"), schemas.Count(expected, "member"))}}
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
			facts = append(facts, fact{"Whole squad, " + m.measure.Name(m.seconds), text})
		}
	}
	return facts, nil
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
	if err := d.ReadBeside(r.Context(), p.cfg.History); err != nil {
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
