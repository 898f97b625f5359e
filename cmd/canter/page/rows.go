package page

import (
	"context"
	"slices"

	"golang.org/x/text/collate"
	"golang.org/x/text/language"

	"canter.example/cmd/canter/report"
	"canter.example/schemas"
	"canter.example/schemas/history"
)

// testRow is one test of a session.
type testRow struct {
	Test      schemas.TestID
	Athlete   string
	Name      string
	HRex, HRR report.Cells
	// Trace says what the trace is worth, Staff what staff said of the test.
	Trace, Staff string
	// Fired are what went past a threshold, in sentences.
	Fired []string

	outcome    schemas.Outcome
	seconds    []schemas.TraceSecond
	assessment *schemas.Assessment
}

// sessionRowsOf reads a session's tests, by name.
func (p *Page) sessionRowsOf(ctx context.Context, id string) ([]testRow, error) {
	tests, err := p.cfg.History.SessionTests(ctx, id)
	if err != nil {
		return nil, err
	}
	if len(tests) == 0 {
		return nil, notFound("There is no such session: the list of sessions has those that are there.")
	}
	traces, err := p.cfg.History.SessionTraces(ctx, id)
	if err != nil {
		return nil, err
	}
	by, err := p.assessed(ctx, history.AssessmentFilter{Sessions: []string{id}})
	if err != nil {
		return nil, err
	}
	seconds := p.hrrSeconds(tests[0].Protocol, tests)
	rows := make([]testRow, len(tests))
	for i := range tests {
		rows[i] = p.row(tests[i], by[tests[i].TestID], seconds)
		rows[i].seconds = traces[tests[i].TestID]
	}
	byName(rows, func(r *testRow) string { return r.Name })
	return rows, nil
}

// row is a test beside the athlete's own earlier ones, in the words of the report.
func (p *Page) row(o schemas.Outcome, a *schemas.Assessment, hrr int) testRow {
	o = p.names.Said(o)
	t := testRow{
		Test: o.TestID, Athlete: o.Athlete, Name: p.names.Person(o.Athlete).Name, Trace: report.TraceWords(&o), Staff: report.StaffWord(&o),
		outcome: o, assessment: a,
	}
	t.HRex = report.CellsOf(comparison(a, schemas.MeasureHRex, 0))
	t.HRex.Value = report.HRexValue(&o)
	t.HRR = report.CellsOf(comparison(a, schemas.MeasureHRR, hrr))
	t.HRR.Value = "–"
	if v, ok := o.HRR(hrr); ok {
		t.HRR.Value = v.BPM.Text(0)
	}
	if a != nil {
		for _, f := range a.Fired {
			t.Fired = append(t.Fired, report.Sentence(p.names.Say(f.Reason)))
		}
	}
	return t
}

func comparison(a *schemas.Assessment, m schemas.Measure, seconds int) *schemas.Comparison {
	if a == nil {
		return nil
	}
	return a.Comparison(m, seconds)
}

func outcomesOf(rows []testRow) []schemas.Outcome {
	out := make([]schemas.Outcome, len(rows))
	for i := range rows {
		out[i] = rows[i].outcome
	}
	return out
}

func distinct(tests []schemas.Outcome) map[string]bool {
	out := map[string]bool{}
	for i := range tests {
		out[tests[i].Athlete] = true
	}
	return out
}

// assessed reads assessments, by test.
func (p *Page) assessed(ctx context.Context, f history.AssessmentFilter) (map[schemas.TestID]*schemas.Assessment, error) {
	list, err := p.cfg.History.Assessments(ctx, f)
	by := make(map[schemas.TestID]*schemas.Assessment, len(list))
	for i := range list {
		by[list[i].TestID] = &list[i]
	}
	return by, err
}

// byName sorts as people do, whatever the script; equals stay as they are.
func byName[T any](list []T, name func(*T) string) {
	order := collate.New(language.Und)
	slices.SortStableFunc(list, func(a, b T) int { return order.CompareString(name(&a), name(&b)) })
}
