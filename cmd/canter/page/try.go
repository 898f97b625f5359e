package page

import (
	"errors"
	"net/http"
	"strings"

	"golang.org/x/sync/errgroup"

	"canter.example/schemas"
)

// What people ask for is read here; what would become of it: preview.go.

// tryTest is the piece of the test's page that says what a change would do.
func (p *Page) tryTest(w http.ResponseWriter, r *http.Request, v viewer) error {
	o, err := p.findTest(r.Context(), r.URL.Query().Get("id"))
	if err != nil {
		return err
	}
	body, err := p.tryChange(r, v, o)
	if err != nil {
		return err
	}
	return p.part(w, "test", "tried", body)
}

// tryChange reads what is asked for of a test and tries it.
func (p *Page) tryChange(r *http.Request, v viewer, o schemas.Outcome) (tryBody, error) {
	q := r.URL.Query()
	body := tryBody{Viewer: v, Test: o.TestID, Session: o.Session, Action: q.Get("action"), Shift: q.Get("shift"), Why: q.Get("why")}
	if body.Action == "" {
		return body, nil
	}
	c, err := asked(o, body.Action, body.Shift)
	if err == nil {
		var x proposal
		if x, err = p.propose(r.Context(), o, c); err == nil {
			return body, p.tried(r.Context(), &body, []proposal{x})
		}
	}
	if mine, is := errors.AsType[problem](err); is {
		body.Tried, body.Wrong = true, mine.text
		return body, nil
	}
	return body, err
}

// asked is the correction that a form asks for, without who and why.
func asked(o schemas.Outcome, action, shift string) (schemas.Correction, error) {
	c := schemas.Correction{ID: "z", TestID: o.TestID, FileID: o.FileID, Action: schemas.CorrectionAction(action)}
	switch c.Action {
	case schemas.ActionExclude, schemas.ActionAccept, schemas.ActionRestore:
	case schemas.ActionStart:
		by, err := parseShift(shift)
		if err != nil {
			return c, err
		}
		c.Start = o.Start.Add(by)
	default:
		return c, badRequest("Choose what is to be done with the test.")
	}
	return c, nil
}

// trySession is the piece of the session's page that says what moving all
// starts would do.
func (p *Page) trySession(w http.ResponseWriter, r *http.Request, v viewer) error {
	rows, err := p.sessionRowsOf(r.Context(), r.URL.Query().Get("id"))
	if err != nil {
		return err
	}
	body, err := p.trySessionShift(r, v, rows, r.URL.Query().Get("shift"))
	if err != nil {
		return err
	}
	return p.part(w, "session", "move", body)
}

func (p *Page) trySessionShift(r *http.Request, v viewer, rows []testRow, shift string) (tryBody, error) {
	body := tryBody{Viewer: v, Session: rows[0].outcome.Session, Shift: shift, Why: r.URL.Query().Get("why")}
	by, err := parseShift(shift)
	if err != nil {
		if mine, is := errors.AsType[problem](err); is {
			body.Tried, body.Wrong = true, mine.text
			return body, nil
		}
		return body, err
	}
	ps := make([]*proposal, len(rows))
	left := make([]string, len(rows))
	g, ctx := errgroup.WithContext(r.Context())
	g.SetLimit(4)
	for i := range rows {
		g.Go(func() error {
			t := &rows[i]
			if t.outcome.Staff == schemas.Excluded || len(t.seconds) == 0 {
				left[i] = t.Name + " (" + orWords(t.Staff, "no test was found in the trace") + ")"
				return nil
			}
			x, err := p.propose(ctx, t.outcome, schemas.Correction{ID: "z", Action: schemas.ActionStart, Start: t.outcome.Start.Add(by)})
			if mine, is := errors.AsType[problem](err); is {
				left[i] = t.Name + " (" + strings.TrimSuffix(mine.text, ".") + ")"
				return nil
			}
			ps[i] = &x
			return err
		})
	}
	if err := g.Wait(); err != nil {
		return body, err
	}
	var good []proposal
	for i := range rows {
		if left[i] != "" {
			body.Left = append(body.Left, left[i])
		} else if ps[i] != nil {
			good = append(good, *ps[i])
		}
	}
	if len(good) == 0 {
		body.Tried, body.Wrong = true, "No start of this session can be moved: "+strings.Join(body.Left, "; ")+"."
		return body, nil
	}
	return body, p.tried(r.Context(), &body, good)
}

func orWords(s, or string) string {
	if s == "" {
		return or
	}
	return s
}
