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
