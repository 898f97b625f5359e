package page

import (
	"bytes"
	"net/http"
	"net/url"
	"slices"

	"canter.example/alerts/chart"
	"canter.example/cmd/canter/report"
	"canter.example/schemas"
	"canter.example/schemas/history"
)

type athletesBody struct {
	Squads []squadLink
	Squad  string
	Rows   []athleteLink
}

type athleteLink struct {
	ID, Name, Squad string
}

func (p *Page) athletes(w http.ResponseWriter, r *http.Request, v viewer) error {
	squad := r.URL.Query().Get("squad")
	body := athletesBody{Squads: p.squadLinks(squad), Squad: squad}
	now := p.cfg.Now()
	for i := range p.club.Athletes {
		a := &p.club.Athletes[i]
		in := a.SquadAt(now)
		if squad != "" && !a.In(squad, now) {
			continue
		}
		body.Rows = append(body.Rows, athleteLink{a.ID, p.names.Person(a.ID).Name, orDash(p.squadName(in))})
	}
	byName(body.Rows, func(r *athleteLink) string { return r.Name })
	return p.show(w, r, v, "athletes", frame{Title: "Athletes", Section: "athletes", Body: body})
}

type athleteBody struct {
	ID, Name, HRRName string
	Protocol          string
	Protocols         []squadLink
	Rows              []historyRow
	// Picture is the address of the history's picture, Small of one for a phone;
	// Says has the same in words.
	Picture, Small, Says string
	Notes                []string
	HRmax                string
}

type historyRow struct {
	testRow
	Day, Session string
}

func (p *Page) athlete(w http.ResponseWriter, r *http.Request, v viewer) error {
	id := r.URL.Query().Get("id")
	all, err := p.cfg.History.AthleteTests(r.Context(), id, "")
	if err != nil {
		return err
	}
	a := p.club.Athlete(id)
	if a == nil && len(all) == 0 {
		return notFound("The club has no such athlete.")
	}
	body := athleteBody{ID: id, Name: p.names.Person(id).Name}
	if a != nil {
		body.HRmax = hrmaxWords(a.HRmaxAt(p.cfg.Now().Year()))
	}
	body.Protocol = r.URL.Query().Get("protocol")
	seen := map[string]bool{}
	for i := range all {
		seen[all[i].Protocol] = true
	}
	if body.Protocol == "" && len(all) > 0 {
		body.Protocol = all[len(all)-1].Protocol
	}
	for _, x := range p.club.Protocols {
		if seen[x.ID] {
			body.Protocols = append(body.Protocols, squadLink{x.ID, p.protocolName(x.ID), x.ID == body.Protocol})
		}
	}
	if err := p.athleteHistory(r, &body); err != nil {
		return err
	}
	return p.show(w, r, v, "athlete", frame{Title: body.Name, Section: "athletes", Body: body})
}

func hrmaxWords(h schemas.HRmax) string {
	switch h.Source {
	case schemas.HRmaxMeasured:
		return "HRmax " + h.BPM.Text(0) + " bpm, measured"
	case schemas.HRmaxEstimated:
		return "HRmax " + h.BPM.Text(0) + " bpm, estimated from age: trust changes more than levels"
	case schemas.HRmaxUnknown:
	}
	return "HRmax not known"
}

func (p *Page) athleteHistory(r *http.Request, body *athleteBody) error {
	d, notes, err := p.historyData(r, body.ID, body.Protocol)
	if err != nil {
		return err
	}
	body.Notes = notes
	seconds := 0
	for i := range d.Tests {
		seconds = p.hrrSeconds(body.Protocol, []schemas.Outcome{d.Tests[i].Outcome})
		o := d.Tests[i].Outcome
		body.Rows = append(body.Rows, historyRow{p.row(o, d.Tests[i].Assessment, seconds), p.localTime(o.Start, dayLayout), o.Session})
	}
	slices.Reverse(body.Rows)
	body.HRRName = hrrName(seconds)
	if len(d.Tests) > 0 {
		body.Picture = "/athlete/history.svg?" + url.Values{"id": {body.ID}, "protocol": {body.Protocol}}.Encode()
		body.Small = body.Picture + "&small=1"
		body.Says = chart.History(d).Alt
	}
	return nil
}

// historyData is an athlete's history by one protocol, with what staff said.
func (p *Page) historyData(r *http.Request, id, protocol string) (d chart.HistoryData, notes []string, err error) {
	ctx := r.Context()
	tests, err := p.cfg.History.AthleteTests(ctx, id, protocol)
	if err != nil {
		return d, nil, err
	}
	by, err := p.assessed(ctx, history.AssessmentFilter{Athlete: id, Protocol: protocol})
	if err != nil {
		return d, nil, err
	}
	d = chart.HistoryData{Who: p.names.Person(id), Protocol: p.club.Protocol(protocol), Zone: p.zone(), Size: chart.Page}
	d.Size.Bare = true
	starts := map[schemas.TestID]schemas.Outcome{}
	for i := range tests {
		starts[tests[i].TestID] = tests[i]
		d.Tests = append(d.Tests, chart.HistoryTest{Outcome: p.names.Said(tests[i]), Assessment: by[tests[i].TestID]})
	}
	cs, err := p.cfg.History.AllCorrections(ctx, "")
	if err != nil {
		return d, nil, err
	}
	for _, c := range cs {
		if o, mine := starts[c.TestID]; mine {
			text := report.ActionWords(c.Action) + " by " + c.Who + ": " + p.names.Say(c.Why)
			d.Notes = append(d.Notes, chart.Note{At: o.Start, Text: text})
			notes = append(notes, p.localTime(o.Start, "2 Jan 2006")+": "+text)
		}
	}
	written, err := p.cfg.History.Notes(ctx, history.NoteFilter{Athlete: id})
	if err != nil {
		return d, nil, err
	}
	for _, n := range written {
		if n.Text != "" {
			d.Notes = append(d.Notes, chart.Note{At: n.When, Text: n.Who + ": " + p.names.Say(n.Text)})
			notes = append(notes, p.localTime(n.When, "2 Jan 2006")+": "+n.Who+": "+p.names.Say(n.Text))
		}
	}
	return d, notes, nil
}

// athletePicture is the history as a picture.
func (p *Page) athletePicture(w http.ResponseWriter, r *http.Request, _ viewer) error {
	q := r.URL.Query()
	d, _, err := p.historyData(r, q.Get("id"), q.Get("protocol"))
	if err != nil {
		return err
	}
	if q.Get("small") != "" {
		d.Size = chart.Size{Width: 390, Type: 13, Bare: true}
	}
	// Without fonts of its own: they would be a megabyte each time.
	svg, err := chart.History(d).Inline()
	if err != nil {
		return err
	}
	svg = bytes.Replace(svg, []byte("<svg "), []byte(`<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" `), 1)
	// A picture has styles of its own, and nothing else.
	w.Header().Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'; sandbox")
	w.Header().Set("Content-Type", "image/svg+xml")
	_, _ = w.Write(svg) //nolint:gosec // package chart escapes every text, and the policy above allows no script
	return nil
}
