package history_test

import (
	"fmt"
	"slices"
	"testing"

	"canter.example/schemas"
	"canter.example/schemas/history"
)

// Many files at once are what they are one by one: the highest version stands,
// among equal ones the later, and what is no longer found is gone.
func TestManyFilesAtOnce(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		ctx := t.Context()
		const files = 700
		result := func(n int, v schemas.Version, tests int) history.FileResult {
			f := file(n, v)
			r := history.FileResult{File: f, Traces: map[schemas.TestID][]schemas.TraceSecond{}}
			for i := range tests {
				o := outcome(&f, i, fmt.Sprint("athlete ", n%7))
				r.Tests, r.Traces[o.TestID] = append(r.Tests, o), trace(i)
			}
			r.Loads = append(r.Loads, load(&f, "", fmt.Sprint("athlete ", n%7), noon.AddDate(0, 0, -n), 3600e9, 55))
			r.Series = append(r.Series, value(&f, fmt.Sprint("athlete ", n%7), "sleep", -n, 8))
			return r
		}
		ok(t, s.SaveResults(ctx, nil))
		ok(t, s.SaveResult(ctx, result(0, 9, 2)))
		var rs []history.FileResult
		for n := range files {
			rs = append(rs, result(n, 5, 1))
		}
		rs = append(rs, result(1, 6, 2), result(2, 4, 0), result(3, 5, 2)) // newer, older and as new as one before it
		for range 2 {                                                      // the same again
			ok(t, s.SaveResults(ctx, rs))
			same(t, "rows", counts(t, s), map[string]int64{"files": files, "tests": files + 3, "trace_seconds": 3})
			same(t, "loads", one(t, s, "SELECT count(*) FROM loads"), files)
			same(t, "values", one(t, s, "SELECT count(*) FROM daily_series"), files)
		}
		got, _, err := s.File(ctx, file(0, 9).ID)
		ok(t, err)
		same(t, "a newer file", got, file(0, 9))
		for i := range rs {
			rs[i].Tests, rs[i].Traces, rs[i].File.Version = nil, nil, 10
			rs[i].Loads, rs[i].Series = nil, nil
		}
		ok(t, s.SaveAssessments(ctx, []schemas.Assessment{assessment(result(5, 5, 1).Tests[0].TestID, 5)}))
		same(t, "assessments", one(t, s, "SELECT count(*) FROM assessments"), 2)
		ok(t, s.SaveResults(ctx, slices.Clone(rs[:files])))
		same(t, "rows of files without tests", counts(t, s), map[string]int64{"files": files})
		bad := result(8, 11, 1)
		bad.Tests[0].FileID = "another"
		if err := s.SaveResults(ctx, []history.FileResult{result(9, 11, 1), bad}); err == nil {
			t.Error("a test of another file was taken")
		}
	})
}

// In a history that has nothing else, a process that loads years of files knows
// by itself what it replaces; what another process writes meanwhile counts too.
func TestManyFilesInAnEmptyHistory(t *testing.T) {
	t.Parallel()
	eachAddress(t, func(t *testing.T, address string) {
		ctx, s := t.Context(), open(t, address)
		const many, few = 9000, 600 // more than one block, more than one look
		results := func(n, from int, v schemas.Version) []history.FileResult {
			rs := make([]history.FileResult, n)
			for i := range rs {
				f := file(from+i, v)
				rs[i] = history.FileResult{File: f}
				if i < few {
					o := outcome(&f, 0, "anna")
					rs[i].Tests, rs[i].Traces = []schemas.Outcome{o}, map[schemas.TestID][]schemas.TraceSecond{o.TestID: trace(2)}
				}
			}
			return rs
		}
		assessments := func(rs []history.FileResult, v schemas.Version) []schemas.Assessment {
			as := make([]schemas.Assessment, few)
			for i := range as {
				as[i] = assessment(rs[i].Tests[0].TestID, v)
			}
			return as
		}
		first := results(many, 0, 5)
		ok(t, s.SaveResults(ctx, first))
		ok(t, s.SaveAssessments(ctx, assessments(first, 5)))
		expect := func(files, tests int64) {
			t.Helper()
			same(t, "rows", counts(t, s), map[string]int64{"files": files, "tests": tests, "trace_seconds": 2 * tests, "assessments": 2 * tests})
		}
		expect(many, few)
		ok(t, s.SaveAssessments(ctx, assessments(first, 5))) // again
		expect(many, few)
		ok(t, s.SaveResults(ctx, results(few, 0, 4))) // older
		expect(many, few)
		got, _, err := s.File(ctx, file(7, 5).ID)
		ok(t, err)
		same(t, "the newer file", got, file(7, 5))
		second := results(many, many, 5) // others
		ok(t, s.SaveResults(ctx, second))
		ok(t, s.SaveAssessments(ctx, assessments(second, 5)))
		expect(2*many, 2*few)
		none := results(few, 0, 6)
		for i := range none {
			none[i].Tests, none[i].Traces = nil, nil
		}
		ok(t, s.SaveResults(ctx, none)) // newer, their tests gone
		expect(2*many, few)
		other := open(t, address)
		ok(t, other.SaveResults(ctx, results(few, many, 7)))
		ok(t, s.SaveResults(ctx, results(few, many, 6))) // older than the other's
		got, _, err = s.File(ctx, file(many+7, 7).ID)
		ok(t, err)
		same(t, "the other's file", got, file(many+7, 7))
		expect(2*many, few)
	})
}
