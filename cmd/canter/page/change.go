package page

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"time"

	"canter.example/cmd/canter/report"
	"canter.example/cmd/canter/staff"
	"canter.example/schemas"
	"canter.example/schemas/history"
)

// changeTest leaves a test out, accepts it, moves its start or takes all that
// back.
func (p *Page) changeTest(w http.ResponseWriter, r *http.Request, v viewer) error {
	o, err := p.findTest(r.Context(), r.PostFormValue("id"))
	if err != nil {
		return err
	}
	c, err := asked(o, r.PostFormValue("action"), r.PostFormValue("shift"))
	if err != nil {
		return err
	}
	// What can't be done is said before it is written down.
	if _, err := p.propose(r.Context(), o, c); err != nil {
		return err
	}
	who := p.who(w, r, v)
	if err := p.send(r.Context(), []schemas.Outcome{o}, func(o *schemas.Outcome) staff.Change {
		return staff.Change{Action: c.Action, Start: c.Start, Who: who, Why: r.PostFormValue("why")}
	}); err != nil {
		return err
	}
	return back(w, r, "/test", url.Values{"id": {string(o.TestID)}, "said": {p.wait(r.Context(), o)}})
}

// moveSession moves the starts of a session's chosen tests by the same time.
func (p *Page) moveSession(w http.ResponseWriter, r *http.Request, v viewer) error {
	rows, err := p.sessionRowsOf(r.Context(), r.PostFormValue("id"))
	if err != nil {
		return err
	}
	by, err := parseShift(r.PostFormValue("shift"))
	if err != nil {
		return err
	}
	chosen := map[string]bool{}
	for _, id := range r.PostForm["test"] {
		chosen[id] = true
	}
	var tests []schemas.Outcome
	for i := range rows {
		o := rows[i].outcome
		if !chosen[string(o.TestID)] {
			continue
		}
		c := schemas.Correction{ID: "z", Action: schemas.ActionStart, Start: o.Start.Add(by)}
		if _, err := p.propose(r.Context(), o, c); err != nil {
			return err
		}
		tests = append(tests, o)
	}
	if len(tests) == 0 {
		return badRequest("Choose at least one athlete whose start is to be moved.")
	}
	who := p.who(w, r, v)
	if err := p.send(r.Context(), tests, func(o *schemas.Outcome) staff.Change {
		return staff.Change{Action: schemas.ActionStart, Start: o.Start.Add(by), Who: who, Why: r.PostFormValue("why")}
	}); err != nil {
		return err
	}
	return back(w, r, "/session", url.Values{"id": {rows[0].outcome.Session}, "said": {p.wait(r.Context(), tests...)}})
}

// send sends a correction of each test off.
func (p *Page) send(ctx context.Context, tests []schemas.Outcome, change func(*schemas.Outcome) staff.Change) error {
	for i := range tests {
		c := change(&tests[i])
		if _, err := p.staff.Correct(ctx, &tests[i], c); err != nil {
			return saidWrong(err)
		}
		p.cfg.Log.Info("page: correction", "test", tests[i].TestID, "action", c.Action, "who", c.Who)
	}
	return nil
}

// saidWrong makes what somebody left out theirs to know.
func saidWrong(err error) error {
	switch {
	case errors.Is(err, staff.ErrNoReason):
		return badRequest("Say why: it is kept with the change.")
	case errors.Is(err, staff.ErrNoName):
		return badRequest("Say who you are: it is kept with the change.")
	case errors.Is(err, staff.ErrEmpty):
		return badRequest("The note is empty.")
	case errors.Is(err, staff.ErrTooLong):
		return badRequest(report.Sentence(err.Error()))
	}
	return err
}

// who returns the name kept with a change: that of the sign-in, or on loopback
// the one given, which the browser remembers.
func (p *Page) who(w http.ResponseWriter, r *http.Request, v viewer) string {
	if v.SignedIn {
		return v.Name
	}
	name := cleanName(r.PostFormValue("who"))
	if name != "" {
		http.SetCookie(w, &http.Cookie{ //nolint:gosec // Secure wherever browsers speak https; on loopback they don't
			Name: nameCookie, Value: url.QueryEscape(name), Path: "/", MaxAge: 365 * 24 * 3600, HttpOnly: true,
			Secure: p.cfg.Settings.Secure(), SameSite: http.SameSiteStrictMode,
		})
	}
	return name
}

// How long a change is waited for, and how often it is looked.
const (
	waitAtMost = 10 * time.Second
	lookEvery  = 60 * time.Millisecond
)

// wait waits until changes of the tests have been worked in: scored again, and
// the squad gone through again after that. It returns the saying to show.
func (p *Page) wait(ctx context.Context, tests ...schemas.Outcome) string {
	if p.eventually(ctx, func(ctx context.Context) bool { return p.worked(ctx, tests) }) {
		return "saved"
	}
	return "working"
}

// eventually looks until something is so, for as long as people wait.
func (p *Page) eventually(ctx context.Context, so func(ctx context.Context) bool) bool {
	ctx, cancel := context.WithTimeout(ctx, waitAtMost)
	defer cancel()
	tick := time.NewTicker(lookEvery)
	defer tick.Stop()
	for {
		if so(ctx) {
			return true
		}
		select {
		case <-ctx.Done():
			return false
		case <-tick.C:
		}
	}
}

// worked reports whether every test was scored anew and assessed as it is now.
func (p *Page) worked(ctx context.Context, tests []schemas.Outcome) bool {
	now := make([]schemas.Outcome, len(tests))
	for i := range tests {
		o, ok, err := p.cfg.History.Test(ctx, tests[i].TestID)
		if err != nil || !ok || o.Version <= tests[i].Version {
			return false
		}
		now[i] = o
	}
	// The review of all changes is the one that gives what the preview gives.
	ps := make([]proposal, len(now))
	for i := range now {
		ps[i] = proposal{now[i], now[i]}
	}
	r, err := p.consequences(ctx, ps)
	if err != nil {
		return false
	}
	for i := range now {
		if !p.alertsAsReviewed(ctx, r, now[i].TestID) {
			return false
		}
		a, ok, err := p.cfg.History.Assessment(ctx, now[i].TestID)
		if err != nil || !ok {
			return false
		}
		want := r.now[now[i].TestID].Assessment
		for j := range want.Comparisons {
			c := &want.Comparisons[j]
			got := a.Comparison(c.Measure, c.Seconds)
			if got == nil || got.State != c.State || got.N != c.N || !near(got.Value, c.Value) || !near(got.Z, c.Z) {
				return false
			}
		}
	}
	return true
}

// alertsAsReviewed reports whether the alerts of a test are stored as the review
// has them.
func (p *Page) alertsAsReviewed(ctx context.Context, r *reviewed, test schemas.TestID) bool {
	stored, err := p.cfg.History.Alerts(ctx, history.AlertFilter{TestID: test})
	if err != nil {
		return false
	}
	stands := map[string]bool{}
	for _, a := range stored {
		_, wanted := r.nowAlerts[a.ID]
		if stands[a.ID] = a.State != schemas.AlertWithdrawn; stands[a.ID] && !wanted {
			return false
		}
	}
	for _, a := range r.now[test].Alerts {
		if a.TestID == test && !stands[a.ID] {
			return false
		}
	}
	return true
}

// near compares numbers as far as people see them.
func near(a, b schemas.Number) bool {
	d, ok := a.Minus(b).Get()
	if !ok {
		return a.Present() == b.Present()
	}
	return d < 1e-6 && d > -1e-6
}
