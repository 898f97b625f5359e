package page

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"canter.example/alerts/message"
	"canter.example/cmd/canter/report"
	"canter.example/schemas"
	"canter.example/schemas/club"
	"canter.example/schemas/history"
)

type alertsBody struct {
	Squads []squadLink
	Squad  string
	// All shows those that are seen, closed or taken back, too.
	All  bool
	Rows []alertRow
	More int
	// Return is where to go after a note.
	Viewer viewer
}

type alertRow struct {
	ID, Rule, About, Squad, Athlete, Name, State, Urgency string
	Test                                                  schemas.TestID
	Session                                               string
	// Lines are what was said, without the caution, which stands below.
	Lines []string
	// More is what was said beyond the first lines.
	More  []string
	Notes []string
	Told  bool
	Open  bool
}

// mostAlerts are shown at a time.
const mostAlerts = 100

func (p *Page) alerts(w http.ResponseWriter, r *http.Request, v viewer) error {
	q := r.URL.Query()
	body := alertsBody{Squads: p.squadLinks(q.Get("squad")), Squad: q.Get("squad"), All: q.Get("all") != "", Viewer: v}
	f := history.AlertFilter{Squad: body.Squad}
	if !body.All {
		f.State = schemas.AlertOpen
	}
	list, err := p.cfg.History.Alerts(r.Context(), f)
	if err != nil {
		return err
	}
	slices.Reverse(list)
	if len(list) > mostAlerts {
		body.More, list = len(list)-mostAlerts, list[:mostAlerts]
	}
	if body.Rows, err = p.alertRows(r.Context(), list); err != nil {
		return err
	}
	return p.show(w, r, v, "alerts", frame{Title: "Alerts", Section: "alerts", Body: body})
}

func (p *Page) alertRows(ctx context.Context, list []schemas.Alert) ([]alertRow, error) {
	if len(list) == 0 {
		return nil, nil
	}
	notes, err := p.cfg.History.Notes(ctx, history.NoteFilter{})
	if err != nil {
		return nil, err
	}
	of := map[string][]string{}
	for _, n := range notes {
		text := p.localTime(n.When, bothLayout) + ", " + n.Who + ": "
		switch {
		case n.Text == "":
			text += "seen"
		case n.Seen:
			text += "seen; " + p.names.Say(n.Text)
		default:
			text += p.names.Say(n.Text)
		}
		of[n.AlertID] = append(of[n.AlertID], text)
	}
	rows := make([]alertRow, len(list))
	for i := range list {
		a := &list[i]
		rows[i] = alertRow{
			ID: a.ID, Rule: report.RuleWords(a.Rule), About: p.localTime(a.About, bothLayout), Squad: p.squadName(a.Squad), Athlete: a.Athlete,
			State: stateWords(a), Urgency: string(a.Urgency), Test: a.TestID, Session: a.Session, Notes: of[a.ID], Told: a.Told, Open: a.State == schemas.AlertOpen,
		}
		if a.Athlete != "" {
			rows[i].Name = p.names.Person(a.Athlete).Name
		}
		if a.Rule == schemas.RuleFileParked && p.names.Style != club.ShowName {
			// It tells of paths, and a path may hold the name of somebody unknown.
			rows[i].Lines = []string{"Parked files, with their reasons, stand under Files."}
			continue
		}
		for line := range strings.SplitSeq(a.Text, "\n") {
			if line = strings.TrimSpace(line); line != "" && line != message.Caution {
				rows[i].Lines = append(rows[i].Lines, p.told.Say(p.names.Say(line)))
			}
		}
	}
	for i := range rows {
		if l := rows[i].Lines; len(l) > shortAlert(l)+1 {
			rows[i].Lines, rows[i].More = l[:shortAlert(l)], l[shortAlert(l):]
		}
	}
	return rows, nil
}

// shortAlert is how many lines of an alert are shown at once: those about the
// numbers, which follow one another, and what stands before them; else three.
func shortAlert(lines []string) int {
	n := 3
	for i, l := range lines {
		if i >= n && !strings.HasPrefix(l, "HR") {
			break
		}
		n = max(n, i+1)
	}
	return n
}

// stateWords say what became of an alert.
func stateWords(a *schemas.Alert) string {
	switch a.State {
	case schemas.AlertOpen:
		return "nobody has said they saw it"
	case schemas.AlertSeen:
		return "seen"
	case schemas.AlertClosed:
		return message.State(a)
	case schemas.AlertWithdrawn:
		return "taken back"
	case schemas.AlertLapsed:
		return "lapsed: no test has come since to say"
	}
	return string(a.State)
}

// note marks an alert as seen, or writes a note to it, or both.
func (p *Page) note(w http.ResponseWriter, r *http.Request, v viewer) error {
	al, ok, err := p.cfg.History.Alert(r.Context(), r.PostFormValue("id"))
	if err != nil {
		return err
	}
	if !ok {
		return notFound("There is no such alert.")
	}
	n, err := p.staff.Note(r.Context(), &al, p.who(w, r, v), r.PostFormValue("seen") != "", r.PostFormValue("text"))
	if err != nil {
		return saidWrong(err)
	}
	p.cfg.Log.Info("page: note", "alert", al.ID, "seen", n.Seen, "who", n.Who)
	p.eventually(r.Context(), func(ctx context.Context) bool {
		notes, err := p.cfg.History.Notes(ctx, history.NoteFilter{Alert: al.ID})
		if err != nil || !slices.ContainsFunc(notes, func(x schemas.Note) bool { return x.ID == n.ID }) {
			return false
		}
		now, _, err := p.cfg.History.Alert(ctx, al.ID)
		return err == nil && (!n.Seen || now.State != schemas.AlertOpen)
	})
	if test := r.PostFormValue("test"); test != "" {
		return back(w, r, "/test", url.Values{"id": {test}, "said": {"note"}})
	}
	return back(w, r, "/alerts", url.Values{"said": {"note"}, "squad": {r.PostFormValue("squad")}, "all": {r.PostFormValue("all")}})
}
