package history_test

import (
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/history"
)

func TestAssessmentsAreReadTogetherAsOneByOne(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		ctx := t.Context()
		one, two, bare := assessment("t1", 3), assessment("t2", 3), schemas.Assessment{TestID: "t3", Start: noon.AddDate(0, 0, 14)}
		two.Start, two.Athlete, two.Session = noon.AddDate(0, 0, 7), hostile, "U21/sft/2026-03-11"
		two.Comparisons = two.Comparisons[:1]
		newer := one
		newer.Version, newer.Fired = 4, nil
		ok(t, s.SaveAssessments(ctx, []schemas.Assessment{two, bare, one}))
		ok(t, s.SaveAssessments(ctx, []schemas.Assessment{newer}))
		for _, c := range []struct {
			what   string
			filter history.AssessmentFilter
			want   []schemas.Assessment
		}{
			{"all", history.AssessmentFilter{}, []schemas.Assessment{newer, two, bare}},
			{"of a session", history.AssessmentFilter{Sessions: []string{newer.Session}}, []schemas.Assessment{newer}},
			{"of two sessions", history.AssessmentFilter{Sessions: []string{two.Session, "none", newer.Session}}, []schemas.Assessment{newer, two}},
			{"of an athlete", history.AssessmentFilter{Athlete: hostile, Squad: "U21", Protocol: "sft"}, []schemas.Assessment{two}},
			{"in a time", history.AssessmentFilter{From: two.Start, To: bare.Start}, []schemas.Assessment{two}},
			{"of nobody", history.AssessmentFilter{Athlete: "nobody"}, nil},
		} {
			got, err := s.Assessments(ctx, c.filter)
			ok(t, err)
			same(t, "assessments "+c.what, got, c.want)
		}
	})
}

func TestASessionsTracesAreReadTogetherAsOneByOne(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		ctx := t.Context()
		f, g := file(1, 5), file(2, 5)
		one, two, other := outcome(&f, 0, "anna"), outcome(&g, 0, "ben"), outcome(&g, 1, "ben")
		other.Session, other.Start = "U21/sft/2026-03-11", noon.Add(7*24*time.Hour)
		none := outcome(&g, 2, "cora")
		traces := map[schemas.TestID][]schemas.TraceSecond{one.TestID: trace(90), two.TestID: trace(60), other.TestID: trace(30)}
		save := func(f schemas.File, tests ...schemas.Outcome) {
			mine := map[schemas.TestID][]schemas.TraceSecond{}
			for i := range tests {
				tests[i].Version = f.Version
				if w := traces[tests[i].TestID]; w != nil {
					mine[tests[i].TestID] = w
				}
			}
			ok(t, s.SaveFile(ctx, f, tests, mine))
		}
		save(f, one)
		save(g, two, other, none)
		// Scored again with another window: the newest counts.
		f.Version, traces[one.TestID] = 6, trace(120)
		save(f, one)
		got, err := s.SessionTraces(ctx, one.Session)
		ok(t, err)
		same(t, "traces", got, map[schemas.TestID][]schemas.TraceSecond{one.TestID: trace(120), two.TestID: trace(60)})
		// A test that a later scoring no longer found has none.
		f.Version = 7
		save(f)
		got, err = s.SessionTraces(ctx, one.Session)
		ok(t, err)
		same(t, "traces", got, map[schemas.TestID][]schemas.TraceSecond{two.TestID: trace(60)})
		got, err = s.SessionTraces(ctx, "no/such/session")
		ok(t, err)
		same(t, "traces of no session", len(got), 0)
	})
}
