package history_test

import (
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"canter.example/schemas/history"
)

// TestABackupIsWholeWhileOthersWrite: each copy holds a prefix of the files
// that were stored in order, and each with its test.
func TestABackupIsWholeWhileOthersWrite(t *testing.T) {
	dir := t.TempDir()
	address := filepath.Join(dir, "history.db")
	s := open(t, address)
	const files = 120
	var writing sync.WaitGroup
	writing.Go(func() {
		for n := range files {
			f := file(n, 1)
			save(t, s, f, outcome(&f, 0, "AKF"))
		}
	})
	for i := range 5 {
		facts, err := history.Backup(t.Context(), address, filepath.Join(dir, string(rune('a'+i))))
		ok(t, err)
		if facts.Files != facts.Tests {
			t.Errorf("copy %d: %d files with %d tests", i, facts.Files, facts.Tests)
		}
	}
	writing.Wait()
	facts, err := history.Backup(t.Context(), address, filepath.Join(dir, "last"))
	ok(t, err)
	if facts.Files != files || facts.Tests != files || facts.Newest.IsZero() || facts.Bytes == 0 {
		t.Errorf("the last copy: %+v", facts)
	}
	facts, kept, err := history.Restore(t.Context(), filepath.Join(dir, "last"), filepath.Join(dir, "new", "history.db"), ".aside")
	ok(t, err)
	if kept != "" || facts.Files != files {
		t.Errorf("restored where nothing was: kept %q, %+v", kept, facts)
	}
	restored := open(t, filepath.Join(dir, "new", "history.db"))
	all, err := restored.Files(t.Context(), "")
	ok(t, err)
	if len(all) != files {
		t.Errorf("%d files after the restore, want %d", len(all), files)
	}
}

func TestACopyThatIsNotSoundIsRefusedAndNothingTouched(t *testing.T) {
	dir := t.TempDir()
	address := filepath.Join(dir, "history.db")
	s := open(t, address)
	for n := range 40 {
		f := file(n, 1)
		save(t, s, f, outcome(&f, 0, "AKF"))
	}
	sound := filepath.Join(dir, "sound.db")
	_, err := history.Backup(t.Context(), address, sound)
	ok(t, err)
	ok(t, s.Close())
	content, err := os.ReadFile(sound)
	ok(t, err)
	before, err := os.ReadFile(address)
	ok(t, err)
	write := func(name string, b []byte) string {
		p := filepath.Join(dir, name)
		ok(t, os.WriteFile(p, b, 0o600))
		return p
	}
	holed := append([]byte{}, content...)
	for i := len(holed) / 2; i < len(holed)/2+20_000; i++ {
		holed[i] = 0xff
	}
	for name, c := range map[string]struct {
		path string
		is   error
		says string
	}{
		"cut short":       {path: write("cut", content[:len(content)/2]), says: "damaged"},
		"a hole in it":    {path: write("holed", holed), says: "damaged"},
		"another file":    {path: write("text", []byte(strings.Repeat("no database\n", 1000))), says: "no SQLite file"},
		"empty":           {path: write("empty", nil), says: "not a history"},
		"not there":       {path: filepath.Join(dir, "none"), is: os.ErrNotExist},
		"a server":        {path: "clickhouse://a:b@localhost:9000/c", is: history.ErrNotEmbedded},
		"a newer canters": {path: newer(t, dir, sound), is: history.ErrNewer},
	} {
		_, _, err := history.Restore(t.Context(), c.path, address, ".aside")
		if err == nil || c.is != nil && !errors.Is(err, c.is) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want %v %q", name, err, c.is, c.says)
		}
	}
	after, err := os.ReadFile(address)
	ok(t, err)
	if string(before) != string(after) {
		t.Error("a refused copy changed the history")
	}
	if left, _ := filepath.Glob(address + "*"); len(left) != 1 {
		t.Errorf("a refused copy left behind %v", left)
	}
	if _, err := history.Open(t.Context(), newer(t, dir, sound)); !errors.Is(err, history.ErrNewer) {
		t.Errorf("open a newer canter's history: %v, want ErrNewer", err)
	}
}

// newer returns a copy of a history that says of itself to have been made by a
// canter to come.
func newer(t *testing.T, dir, from string) string {
	t.Helper()
	content, err := os.ReadFile(from)
	ok(t, err)
	p := filepath.Join(dir, "newer.db")
	ok(t, os.WriteFile(p, content, 0o600))
	db, err := sql.Open("sqlite", p)
	ok(t, err)
	_, err = db.ExecContext(t.Context(), "INSERT INTO canter_migrations (version_id, is_applied) VALUES (99999, 1)")
	ok(t, err)
	ok(t, db.Close())
	return p
}
