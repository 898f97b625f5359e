package page

import (
	"net/http"
	"slices"
	"strings"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/history"
)

// weeksAPage is how far back one page of sessions goes.
const weeksAPage = 12

// sessionsBody lists sessions, the latest first.
type sessionsBody struct {
	Squads []squadLink
	Squad  string
	Rows   []sessionRow
	// Earlier is the day before which the next page goes on, "" at the end.
	Earlier, Before string
	// Waiting counts what asks for a hand elsewhere.
	Open, Parked int
}

type squadLink struct {
	ID, Name string
	Here     bool
}

type sessionRow struct {
	ID, Day, Squad, Protocol, Conditions string
	Tested                               int
	// Decide are tests that wait for staff's word; Beyond those past a threshold.
	Decide, Beyond []string
}

func (p *Page) sessions(w http.ResponseWriter, r *http.Request, v viewer) error {
	q := r.URL.Query()
	body := sessionsBody{Squads: p.squadLinks(q.Get("squad")), Squad: q.Get("squad"), Before: q.Get("before")}
	f := history.TestFilter{Squad: body.Squad}
	if body.Before != "" {
		day, err := time.ParseInLocation(time.DateOnly, body.Before, p.zone())
		if err != nil {
			return badRequest("before is no day: write it as 2026-09-01.")
		}
		f.To = day
	}
	latest := f
	latest.Limit = 1
	last, err := p.cfg.History.Tests(r.Context(), latest)
	if err != nil {
		return err
	}
	if len(last) > 0 {
		f.From = last[0].Start.AddDate(0, 0, -7*weeksAPage)
		tests, err := p.cfg.History.Tests(r.Context(), f)
		if err != nil {
			return err
		}
		beyond, err := p.beyond(r, f)
		if err != nil {
			return err
		}
		body.Rows = p.sessionRows(tests, beyond)
		earlier := history.TestFilter{Squad: body.Squad, To: f.From, Limit: 1}
		if more, err := p.cfg.History.Tests(r.Context(), earlier); err != nil {
			return err
		} else if len(more) > 0 {
			body.Earlier = p.localTime(f.From, time.DateOnly)
		}
	}
	if err := p.waiting(r, &body); err != nil {
		return err
	}
	return p.show(w, r, v, "sessions", frame{Title: "Sessions", Section: "sessions", Body: body})
}

// beyond are the tests that went past a threshold.
func (p *Page) beyond(r *http.Request, f history.TestFilter) (map[schemas.TestID]bool, error) {
	as, err := p.cfg.History.Assessments(r.Context(), history.AssessmentFilter{Squad: f.Squad, From: f.From, To: f.To})
	out := map[schemas.TestID]bool{}
	for i := range as {
		out[as[i].TestID] = len(as[i].Fired) > 0
	}
	return out, err
}

// waiting counts open alerts and parked files.
func (p *Page) waiting(r *http.Request, body *sessionsBody) error {
	open, err := p.cfg.History.Alerts(r.Context(), history.AlertFilter{State: schemas.AlertOpen})
	if err != nil {
		return err
	}
	files, err := p.cfg.History.Files(r.Context(), schemas.FileParked)
	body.Open, body.Parked = len(open), len(files)
	return err
}

func (p *Page) squadLinks(here string) []squadLink {
	var out []squadLink
	for _, s := range p.club.Squads {
		out = append(out, squadLink{s.ID, s.Name, s.ID == here})
	}
	return out
}

// sessionRows are sessions out of tests, the latest first.
func (p *Page) sessionRows(tests []schemas.Outcome, beyond map[schemas.TestID]bool) []sessionRow {
	by := map[string]*sessionRow{}
	var order []string
	for i := range tests {
		o := &tests[i]
		row := by[o.Session]
		if row == nil {
			row = &sessionRow{
				ID: o.Session, Day: p.localTime(o.Start, dayLayout), Squad: p.squadName(o.Squad), Protocol: p.protocolName(o.Protocol),
				Conditions: strings.Trim(o.MicrocycleDay+", "+o.Surface, ", "),
			}
			by[o.Session] = row
			order = append(order, o.Session)
		}
		row.Tested++
		name := p.names.Person(o.Athlete).Name
		switch {
		case undecided(o):
			row.Decide = append(row.Decide, name)
		case beyond[o.TestID] && o.Valid():
			row.Beyond = append(row.Beyond, name)
		}
	}
	slices.Reverse(order)
	rows := make([]sessionRow, len(order))
	for i, id := range order {
		rows[i] = *by[id]
	}
	return rows
}

// undecided reports whether a test waits for staff's word.
func undecided(o *schemas.Outcome) bool {
	return o.Quality != schemas.Good && o.Staff == schemas.NoVerdict
}

func (p *Page) squadName(id string) string {
	if s := p.club.Squad(id); s != nil && s.Name != "" {
		return s.Name
	}
	return id
}

func (p *Page) protocolName(id string) string {
	if x := p.club.Protocol(id); x != nil && x.Name != "" {
		return x.Name
	}
	return id
}

// hrrSeconds is the delay of the HRR that is shown of a protocol's tests.
func (p *Page) hrrSeconds(protocol string, tests []schemas.Outcome) int {
	if x := p.club.Protocol(protocol); x != nil && len(x.Recovery) > 0 {
		return int(x.Recovery[0] / time.Second)
	}
	for i := range tests {
		if len(tests[i].Recovery) > 0 {
			return tests[i].Recovery[0].Seconds
		}
	}
	return 0
}

func hrrName(seconds int) string {
	if seconds == 0 {
		return ""
	}
	return schemas.MeasureHRR.Name(seconds)
}
