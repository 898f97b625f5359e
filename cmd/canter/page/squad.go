package page

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"canter.example/cmd/canter/report"
	"canter.example/schemas"
	"canter.example/schemas/history"
)

// weeksOfSquad is how far back a squad's history goes.
const weeksOfSquad = 26

type squadBody struct {
	ID, Name  string
	Squads    []squadLink
	Protocol  string
	Protocols []squadLink
	HRRName   string
	Sessions  []squadSession
	Members   []memberRow
	Pictures  []strip
}

// squadSession is one session in a squad's history.
type squadSession struct {
	ID, Day            string
	Tested, Good       int
	HRex, HRR, Weather string
}

// memberRow is where an athlete stands: the last test, and what the next one
// would be held against.
type memberRow struct {
	ID, Name, Last                string
	HRex, HRexBaseline, HRexRange string
	HRR, HRRBaseline, HRRRange    string
	N, Words                      string
}

func (p *Page) squad(w http.ResponseWriter, r *http.Request, v viewer) error {
	q := r.URL.Query()
	id := q.Get("id")
	if id == "" && len(p.club.Squads) > 0 {
		id = p.club.Squads[0].ID
	}
	s := p.club.Squad(id)
	if s == nil {
		return notFound("The club has no such squad.")
	}
	body := squadBody{ID: id, Name: p.squadName(id), Squads: p.squadLinks(id), Protocol: q.Get("protocol")}
	last, err := p.cfg.History.Tests(r.Context(), history.TestFilter{Squad: id, Protocol: body.Protocol, Limit: 1})
	if err != nil {
		return err
	}
	if len(last) > 0 {
		if err := p.squadHistoryOf(r, &body, &last[0]); err != nil {
			return err
		}
	}
	return p.show(w, r, v, "squad", frame{Title: body.Name, Section: "squads", Body: body})
}

func (p *Page) squadHistoryOf(r *http.Request, body *squadBody, last *schemas.Outcome) error {
	body.Protocol = last.Protocol
	for _, id := range p.club.Squad(body.ID).Protocols {
		body.Protocols = append(body.Protocols, squadLink{id, p.protocolName(id), id == body.Protocol})
	}
	from := last.Start.AddDate(0, 0, -7*weeksOfSquad)
	tests, err := p.cfg.History.SquadTests(r.Context(), body.ID, body.Protocol, from, time.Time{})
	if err != nil {
		return err
	}
	by, err := p.assessed(r.Context(), history.AssessmentFilter{Squad: body.ID, Protocol: body.Protocol, From: from})
	if err != nil {
		return err
	}
	seconds := p.hrrSeconds(body.Protocol, tests)
	body.HRRName = hrrName(seconds)
	sessions := map[string][]testRow{}
	var order []string
	lastOf := map[string]testRow{}
	for i := range tests {
		row := p.row(tests[i], by[tests[i].TestID], seconds)
		if sessions[tests[i].Session] == nil {
			order = append(order, tests[i].Session)
		}
		sessions[tests[i].Session] = append(sessions[tests[i].Session], row)
		if tests[i].Valid() {
			lastOf[tests[i].Athlete] = row
		}
	}
	for _, id := range order {
		body.Sessions = append(body.Sessions, p.squadSession(id, sessions[id], seconds))
	}
	body.Pictures = []strip{p.strip(order, sessions, schemas.MeasureHRex, 0)}
	if seconds > 0 {
		body.Pictures = append(body.Pictures, p.strip(order, sessions, schemas.MeasureHRR, seconds))
	}
	slices.Reverse(body.Sessions)
	for id, row := range lastOf {
		body.Members = append(body.Members, p.memberRow(id, &row, seconds))
	}
	byName(body.Members, func(m *memberRow) string { return m.Name + "\x00" + m.ID })
	return nil
}

func (p *Page) squadSession(id string, rows []testRow, seconds int) squadSession {
	s := squadSession{ID: id, Day: p.localTime(rows[0].outcome.Start, dayLayout), Tested: len(distinct(outcomesOf(rows)))}
	for i := range rows {
		if rows[i].outcome.Valid() {
			s.Good++
		}
	}
	s.HRex, s.HRR = shiftNumber(rows, schemas.MeasureHRex, 0), shiftNumber(rows, schemas.MeasureHRR, seconds)
	s.Weather = strings.Trim(rows[0].outcome.MicrocycleDay+", "+rows[0].outcome.Surface, ", ")
	return s
}

// shiftNumber is a session's shared shift in a cell, in words when it counts.
func shiftNumber(rows []testRow, m schemas.Measure, seconds int) string {
	for i := range rows {
		if c := comparison(rows[i].assessment, m, seconds); c != nil && c.Squad.Size.Present() {
			s := report.Signed(c.Squad.Size, 1)
			if c.Squad.Material {
				s += ", all together"
			}
			return s
		}
	}
	return "–"
}

func (p *Page) memberRow(id string, t *testRow, seconds int) memberRow {
	m := memberRow{ID: id, Name: t.Name, Last: p.localTime(t.outcome.Start, "2 Jan 2006"), HRex: t.HRex.Value, HRR: t.HRR.Value, Words: t.HRex.Words}
	m.HRexBaseline, m.HRexRange, m.N = standing(comparison(t.assessment, schemas.MeasureHRex, 0))
	m.HRRBaseline, m.HRRRange, _ = standing(comparison(t.assessment, schemas.MeasureHRR, seconds))
	return m
}

func standing(c *schemas.Comparison) (mean, expected, n string) {
	if c == nil || !c.Mean.Present() {
		return "–", "–", "–"
	}
	d := report.Decimals(c)
	if expected = "–"; c.PredLow.Present() {
		expected = c.PredLow.Text(d) + " to " + c.PredHigh.Text(d)
	}
	return c.Mean.Text(d), expected, fmt.Sprint(c.N)
}
