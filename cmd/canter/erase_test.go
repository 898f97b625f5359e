package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/schemas/history"
)

// erase takes two athletes out: one whose files are their own, one whose
// recordings stand in the squad's exports.
func (a *analysts) erase(t *testing.T) {
	const others = "SELECT athlete, test_id, hrex_bpm, quality FROM tests WHERE athlete NOT IN ('ODL', 'ITL') ORDER BY test_id"
	before := ask(t, a.sqlite, others)
	var files []schemas.FileID
	for _, v := range ask(t, a.sqlite, "SELECT DISTINCT file_id FROM tests WHERE athlete IN ('ODL', 'ITL')").Values {
		files = append(files, schemas.FileID(v[0].(string)))
	}
	args := []string{"erase", "--club", a.club, "--data", a.data}
	var out bytes.Buffer
	if code := run(context.Background(), append(args, "--athlete", "ODL"), streams{out: &out, err: &out}); code != exitDone || !strings.Contains(out.String(), "add --yes") {
		t.Errorf("without --yes: exit code %d, %s", code, out.String())
	}
	if got := ask(t, a.sqlite, "SELECT count(*) FROM tests WHERE athlete = 'ODL'").Values[0][0]; got == int64(0) {
		t.Fatal("it was done without --yes")
	}
	if !holds(t, a.data, "Dalrath") || !holds(t, a.data, "ODL.fit") {
		t.Fatal("this test looks for words that were never there")
	}
	for _, athlete := range []string{"ODL", "ITL"} {
		said := command(t, append(args, "--athlete", athlete, "--yes")...)
		if !strings.Contains(said, "nothing is left") || !strings.Contains(said, filepath.Join(a.dir, "inbox")) {
			t.Errorf("it said\n%s", said)
		}
		command(t, append(args, "--athlete", athlete, "--yes", "--history", a.clickhouse)...)
	}
	for _, word := range []string{"Dalrath", "ODL.fit", "Tolsvoort"} {
		if holds(t, a.data, word) {
			t.Errorf("%s is still on the disk", word)
		}
	}
	sameRows(t, before, ask(t, a.sqlite, others), true)
	sameRows(t, before, ask(t, a.clickhouse, others), true)
	t.Run("views", a.views)
	for _, address := range []string{a.sqlite, a.clickhouse} {
		audit := ask(t, address, "SELECT slot FROM slots WHERE job = '"+eraseJob+"'")
		if said := fmt.Sprint(audit.Values); len(audit.Values) != 2 || strings.Contains(said, "ODL") || strings.Contains(said, "ITL") {
			t.Errorf("the audit says %v", said)
		}
		for _, name := range history.Names() {
			if found := fmt.Sprint(ask(t, address, "SELECT * FROM "+name+" LIMIT 20000").Values); strings.Contains(found, "Dalrath") || strings.Contains(found, "Tolsvoort") || strings.Contains(found, "ODL") {
				t.Errorf("%s still names somebody who was erased", name)
			}
		}
	}
	b, err := broker.Open(t.Context(), broker.Config{Dir: a.data})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	for _, id := range files {
		if _, err := b.File(t.Context(), id, 64<<20); !errors.Is(err, broker.ErrNoFile) {
			t.Errorf("file %s is still in the archive: %v", id.Short(), err)
		}
	}
	if kept, err := b.Archived(t.Context()); err != nil || len(kept.Files) < 250 {
		t.Errorf("%d files of others are left in the archive, %v", len(kept.Files), err)
	}
	h, err := history.Open(t.Context(), a.sqlite)
	if err != nil {
		t.Fatal(err)
	}
	defer h.Close()
	if err := h.Ping(t.Context()); err != nil {
		t.Error(err)
	}
}

// holds reports whether any file below dir has the word in its bytes.
func holds(t *testing.T, dir, word string) bool {
	t.Helper()
	found := false
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || found {
			return err
		}
		b, err := os.ReadFile(path)
		found = bytes.Contains(b, []byte(word))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}
