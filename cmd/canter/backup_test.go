package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"canter.example/cmd/canter/season"
	"canter.example/schemas/broker"
	"github.com/google/go-cmp/cmp"
)

// typed runs a command of the program and returns its exit code and output.
func typed(t *testing.T, args ...string) (code int, out, complaint string) {
	t.Helper()
	var o, e lockedBuffer
	code = run(t.Context(), args, streams{out: &o, err: &e})
	return code, o.String(), e.String()
}

// TestARestoredServiceCatchesUpWithWhatCameAfterTheBackup: the copy is taken
// while files arrive; what came later, staff's corrections among it, is
// handled again from the broker.
func TestARestoredServiceCatchesUpWithWhatCameAfterTheBackup(t *testing.T) {
	s, err := season.New(season.Options{Weeks: 6})
	if err != nil {
		t.Fatal(err)
	}
	dir, clubFile := clubDir(t, s)
	data := filepath.Join(dir, "data")
	address, copied := filepath.Join(data, "history.db"), filepath.Join(dir, "copy.db")
	p := serve(t, "--club", clubFile, "--data", data)
	n, half := 0, len(s.Days)/2
	for _, day := range s.Days[:half] {
		drop(t, dir, day.Files...)
		n += len(day.Files)
	}
	p.eventually("busy", func() bool { return len(answer(t, address, "SELECT file_id FROM files")) > n/2 })
	if code, out, complaint := typed(t, "backup", copied, "--data", data); code != 0 || !strings.Contains(out, " tests (the newest of ") {
		t.Fatalf("exit %d: %s%s", code, out, complaint)
	}
	if code, _, complaint := typed(t, "backup", copied, "--data", data); code != exitFailed || !strings.Contains(complaint, "is there already") {
		t.Errorf("over a backup: exit %d: %s", code, complaint)
	}
	if info, err := os.Stat(copied); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the copy is for others' eyes: %v, %v", info, err)
	}
	for _, day := range s.Days[half:] {
		drop(t, dir, day.Files...)
		n += len(day.Files)
	}
	p.handled(address, broker.Config{Dir: data}, n)
	for _, which := range []string{"ASC", "DESC"} { // in the copy, and after it
		id := answer(t, address, "SELECT test_id FROM tests WHERE quality = 'good' ORDER BY start_ms "+which+", test_id LIMIT 1")[0]
		if code, out, complaint := typed(t, "tests", "exclude", id, "--data", data, "--who", "AKF", "--why", "strap slipped"); code != 0 {
			t.Fatalf("exit %d: %s%s", code, out, complaint)
		}
	}
	if code, _, complaint := typed(t, "restore", copied, "--data", data, "--replace"); code != exitFailed || !strings.Contains(complaint, "stop it first") {
		t.Errorf("restore under a running service: exit %d: %s", code, complaint)
	}
	p.stop()
	want, corrections := results(t, address), answer(t, address, "SELECT test_id, action, why FROM corrections ORDER BY correction_id")

	if code, _, complaint := typed(t, "restore", copied, "--data", data); code != exitFailed || !strings.Contains(complaint, "--replace") {
		t.Errorf("restore over a history: exit %d: %s", code, complaint)
	}
	markErased(t, address)
	code, out, complaint := typed(t, "restore", copied, "--data", data, "--replace")
	if code != 0 || !strings.Contains(out, "erase them again") {
		t.Fatalf("exit %d: %s%s", code, out, complaint)
	}
	if got := len(answer(t, address, "SELECT file_id FROM files")); got >= n {
		t.Errorf("the copy holds %d files, of %d that came in all", got, n)
	}
	if kept, err := filepath.Glob(address + ".before-*"); err != nil || len(kept) == 0 {
		t.Errorf("the old history was not kept: %v, %v", kept, err)
	}
	p = serve(t, "--club", clubFile, "--data", data)
	p.handled(address, broker.Config{Dir: data}, n)
	p.stop()
	if d := cmp.Diff(want, results(t, address)); d != "" {
		t.Errorf("before and after the restore (-before +after):\n%s", d)
	}
	if d := cmp.Diff(corrections, answer(t, address, "SELECT test_id, action, why FROM corrections ORDER BY correction_id")); d != "" || len(corrections) != 2 {
		t.Errorf("corrections before and after the restore (-before +after):\n%s", d)
	}
}

// markErased leaves the mark of an erasure, without erasing anybody.
func markErased(t *testing.T, address string) {
	t.Helper()
	h, err := places{History: address}.existingHistory(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = h.Close() }()
	if err := h.MarkSlot(t.Context(), eraseJob, "2026-09-01T08:00:00Z: 40 rows removed", time.Now()); err != nil {
		t.Fatal(err)
	}
}

func TestBackupAndRestoreWithNothingToCopy(t *testing.T) {
	dir := t.TempDir()
	for name, args := range map[string][]string{
		"no history":   {"backup", filepath.Join(dir, "copy.db"), "--data", filepath.Join(dir, "none")},
		"a server":     {"backup", filepath.Join(dir, "copy.db"), "--history", "clickhouse://a:b@localhost:9000/c"},
		"no backup":    {"restore", "backup_test.go", "--data", filepath.Join(dir, "new")},
		"no such file": {"restore", filepath.Join(dir, "none.db"), "--data", filepath.Join(dir, "new")},
	} {
		code, out, complaint := typed(t, args...)
		if code == 0 || complaint == "" {
			t.Errorf("%s: exit %d: %s%s", name, code, out, complaint)
		}
		if left, _ := filepath.Glob(filepath.Join(dir, "*")); len(left) > 0 {
			t.Errorf("%s: left behind %v", name, left)
		}
	}
}
