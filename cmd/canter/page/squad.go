package page

import (
	"fmt"
	"math"
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
	assessed, err := p.cfg.History.Assessments(r.Context(), history.AssessmentFilter{Squad: body.ID, Protocol: body.Protocol, From: from})
	if err != nil {
		return err
	}
	by := map[schemas.TestID]*schemas.Assessment{}
	for i := range assessed {
		by[assessed[i].TestID] = &assessed[i]
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
	c := collate.New(language.Und)
	slices.SortFunc(body.Members, func(a, b memberRow) int { return c.CompareString(a.Name+"\x00"+a.ID, b.Name+"\x00"+b.ID) })
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

// strip shows each athlete's change from baseline, session by session: a dot
// an athlete, a bar where the squad as a whole stood.
type strip struct {
	Title, Unit string
	Dots        []dot
	Bars        []bar
	Lines       []gridLine
	Labels      []label
	Width       float64
	Says        string
}

type dot struct {
	X, Y   float64
	Beyond bool
	Title  string
	Test   schemas.TestID
}

type bar struct{ X1, X2, Y float64 }

type gridLine struct {
	Y    float64
	Text string
	Zero bool
}

type label struct {
	X    float64
	Text string
}

// Measures of a strip in units of its drawing.
const (
	stripHeight = 200
	stripStep   = 54
	stripLeft   = 44
	stripMost   = 26 // sessions
)

func (p *Page) strip(order []string, sessions map[string][]testRow, m schemas.Measure, seconds int) strip {
	order = order[max(0, len(order)-stripMost):]
	s := strip{Title: report.MeasureName(m, seconds), Unit: "bpm", Width: stripLeft + stripStep*float64(max(len(order), 1)) + 10}
	reach := 4.0
	for _, id := range order {
		for i := range sessions[id] {
			if c := comparison(sessions[id][i].assessment, m, seconds); c != nil {
				reach = max(reach, math.Abs(c.Change.Or(0)))
				if c.Unit == assess.Points {
					s.Unit = "points of %HRmax"
				}
			}
		}
	}
	reach = math.Min(math.Ceil(reach/2)*2, 40)
	y := func(v float64) float64 {
		return round1(stripHeight/2 - math.Max(-reach, math.Min(reach, v))/reach*(stripHeight/2-8))
	}
	for _, v := range []float64{reach, reach / 2, 0, -reach / 2, -reach} {
		s.Lines = append(s.Lines, gridLine{y(v), report.Signed(schemas.Num(v), 0), v == 0})
	}
	every := 1 + len(order)/14
	for k, id := range order {
		x := stripLeft + stripStep*(float64(k)+0.5)
		rows := sessions[id]
		if (len(order)-1-k)%every == 0 {
			s.Labels = append(s.Labels, label{x, p.localTime(rows[0].outcome.Start, "2 Jan")})
		}
		for i := range rows {
			c := comparison(rows[i].assessment, m, seconds)
			if c == nil || !c.Change.Present() || !rows[i].outcome.Valid() {
				continue
			}
			beside := (float64(i)+0.5)/float64(len(rows)) - 0.5
			s.Dots = append(s.Dots, dot{
				X: round1(x + beside*stripStep*0.7), Y: y(c.Change.Or(0)), Beyond: c.State == schemas.Higher || c.State == schemas.Lower, Test: rows[i].Test,
				Title: fmt.Sprintf("%s, %s: %s", rows[i].Name, p.localTime(rows[i].outcome.Start, "2 Jan"), report.Signed(c.Change, 1)),
			})
		}
		for i := range rows {
			if c := comparison(rows[i].assessment, m, seconds); c != nil && c.Squad.Size.Present() {
				s.Bars = append(s.Bars, bar{x - stripStep*0.4, x + stripStep*0.4, y(c.Squad.Size.Or(0))})
				break
			}
		}
	}
	s.Says = fmt.Sprintf("%s: change from each athlete's own baseline in %s at the last %s. The table below has the numbers.", s.Title, s.Unit, report.Count(len(order), "session"))
	return s
}
