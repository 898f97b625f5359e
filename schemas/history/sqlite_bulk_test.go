package history_test

import (
	"os"
	"path/filepath"
	"testing"

	"canter.example/schemas"
	"canter.example/schemas/history"
)

// Years of history go in few large transactions; afterwards the log they made is
// in the file, and one that failed left nothing.
func TestYearsOfHistoryAtOnce(t *testing.T) {
	t.Parallel()
	ctx, path := t.Context(), filepath.Join(t.TempDir(), "history.db")
	s := open(t, path)
	const files = 5200
	rs, as := make([]history.FileResult, files), make([]schemas.Assessment, files)
	for n := range rs {
		f := file(n, 1)
		rs[n] = history.FileResult{File: f, Tests: []schemas.Outcome{outcome(&f, 0, "anna")}}
		as[n] = assessment(rs[n].Tests[0].TestID, 1)
	}
	bad := rs[files-1]
	rs[files-1].Tests = []schemas.Outcome{bad.Tests[0]}
	rs[files-1].Tests[0].FileID = "another"
	if err := s.SaveResults(ctx, rs); err == nil {
		t.Error("a test of another file was taken")
	}
	same(t, "rows after a failure", counts(t, s), map[string]int64{})
	rs[files-1] = bad
	rs[files-1].Tests[0].FileID = rs[files-1].File.ID
	ok(t, s.SaveResults(ctx, rs))
	ok(t, s.SaveAssessments(ctx, as))
	same(t, "rows", counts(t, s), map[string]int64{"files": files, "tests": files, "assessments": 2 * files})
	log, err := os.Stat(path + "-wal")
	ok(t, err)
	same(t, "bytes of the log", log.Size(), int64(0))
}
