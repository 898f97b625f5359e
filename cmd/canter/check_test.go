package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/club"
	"canter.example/schemas/history"
)

// TestCheckFindsWhatHasGoneQuiet: parked files, refused messages, athletes that
// nobody has seen and planned times that bring nothing.
func TestCheckFindsWhatHasGoneQuiet(t *testing.T) {
	cl, err := club.Load(filepath.Join("testdata", "check", "club.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	h, err := history.Open(t.Context(), filepath.Join(t.TempDir(), "history.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = h.Close() }()
	now := time.Date(2026, 11, 2, 12, 0, 0, 0, time.UTC)
	things := func() string {
		t.Helper()
		out, err := checkPast(t.Context(), h, cl, now)
		if err != nil {
			t.Fatal(err)
		}
		lines := make([]string, len(out))
		for i, f := range out {
			lines[i] = f.String()
		}
		slices.Sort(lines)
		return strings.Join(lines, "\n")
	}
	quiet := "planned test tuesday: its last 3 times, since Tue 2026-10-13 10:30, brought no test of squad first"
	if got := things(); !strings.Contains(got, quiet) || strings.Contains(got, "athletes") {
		t.Errorf("an empty history:\n%s", got)
	}
	put := func(n int, athlete string, start time.Time, state schemas.FileState) {
		t.Helper()
		f := schemas.File{ID: schemas.NewFileID([]byte{byte(n)}), Origin: schemas.Origin{Path: athlete + ".fit", Seen: start}, State: state, Reason: "cut short", Version: 1}
		var tests []schemas.Outcome
		if state == schemas.FileScored {
			tests = []schemas.Outcome{{
				TestID: schemas.NewTestID(f.ID, "", "run", 0), FileID: f.ID, Athlete: athlete, Squad: "first", Protocol: "run",
				Start: start, Session: schemas.SessionID("first", "run", start.Format(time.DateOnly)), Quality: schemas.Good, Version: 1,
			}}
		}
		if err := h.SaveFile(t.Context(), f, tests, nil); err != nil {
			t.Fatal(err)
		}
	}
	put(1, "A1", time.Date(2026, 10, 27, 9, 30, 0, 0, time.UTC), schemas.FileScored)
	put(2, "B2", time.Date(2026, 6, 2, 9, 30, 0, 0, time.UTC), schemas.FileScored)
	if got := things(); strings.Contains(got, "brought no test") || !strings.Contains(got, "1 athlete of squads that test with no test for eight weeks: B2:") {
		t.Errorf("one athlete tested last week, one in June:\n%s", got)
	}
	put(3, "B2", time.Date(2026, 10, 27, 9, 30, 0, 0, time.UTC), schemas.FileParked)
	if got := things(); !strings.Contains(got, "history B2.fit: 1 file parked, the last this one: cut short: see canter parked list") {
		t.Errorf("one file parked:\n%s", got)
	}
	m := schemas.Message{ID: "m1", Channel: "#staff", Text: "x", State: schemas.MessageFailed, Reason: "channel_not_found", Created: now}
	if err := h.SaveMessage(t.Context(), m); err != nil {
		t.Fatal(err)
	}
	if got := things(); !strings.Contains(got, "chat #staff: refused 1 message, the last on 2026-11-02: channel_not_found") {
		t.Errorf("one message refused:\n%s", got)
	}
}

// TestCheckReadsNoMoreOfAFolderThanItSays: shares may be large and slow.
func TestCheckReadsNoMoreOfAFolderThanItSays(t *testing.T) {
	dir := t.TempDir()
	cl := &club.Club{Zone: time.UTC, Files: club.Files{MaxSize: 1 << 30}}
	for i := range 5 {
		f, err := os.Create(filepath.Join(dir, fmt.Sprint(i, ".fit")))
		if err == nil {
			err = errors.Join(f.Truncate(triedBytes/2), f.Close()) // holes: nothing is on the disk
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	w := club.Watch{Folder: club.Folder{Path: dir}}
	f, err := checkFolder(t.Context(), cl, w, time.Now())
	if err != nil || f.all != 5 || f.tried != 2 {
		t.Errorf("%d of %d tried, %v", f.tried, f.all, err)
	}
	ended, end := context.WithDeadline(t.Context(), time.Now().Add(-time.Second))
	defer end()
	if _, err := checkFolder(ended, cl, w, time.Now()); err == nil || !strings.Contains(err.Error(), "could not be listed within") {
		t.Errorf("a folder that takes too long: %v", err)
	}
}

// TestCheckTriesWhereTheDataFolderWouldBeMade, and leaves nothing there.
func TestCheckTriesWhereTheDataFolderWouldBeMade(t *testing.T) {
	dir := t.TempDir()
	for data, want := range map[string]string{
		filepath.Join(dir, "a", "b"): "is made by serve", dir: "can be written",
		"/proc/nowhere/data":                            "can't be made: /proc can't be written",
		filepath.Join("testdata", "check", "club.yaml"): "is not a folder",
	} {
		text, err := (&checkCmd{places: places{Data: data}}).checkData()
		if err != nil {
			text = err.Error()
		}
		if text != want {
			t.Errorf("%s: %q, want %q", data, text, want)
		}
	}
	if left, err := os.ReadDir(dir); err != nil || len(left) != 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

// TestCheckLooksAtEverySecret, in one order.
func TestCheckLooksAtEverySecret(t *testing.T) {
	dir := t.TempDir()
	cl := &club.Club{}
	c := &checkCmd{places: places{Data: filepath.Join(dir, "none")}}
	want := []string{"chat.token_file", "chat.app_token_file", "page.key_file", "--nats-key", "--nats-creds"}
	for i, at := range []*string{&cl.Chat.TokenFile, &cl.Chat.AppTokenFile, &cl.Page.KeyFile, &c.NATSKey, &c.NATSCreds} {
		*at = filepath.Join(dir, want[i])
		if err := os.WriteFile(*at, []byte("x"), 0o644); err != nil { //nolint:gosec // readable by others, which is to be found
			t.Fatal(err)
		}
	}
	var got []string
	for _, f := range c.checkSecrets(cl) {
		got = append(got, f.Place)
	}
	if !slices.Equal(got, want) {
		t.Errorf("found %q, want %q", got, want)
	}
}

// TestAFileIsWrittenWholeWhereItCanBe: errors name what the user named.
func TestAFileIsWrittenWholeWhereItCanBe(t *testing.T) {
	dir := t.TempDir()
	write := func(w io.Writer) error { _, err := io.WriteString(w, "whole"); return err }
	for file, want := range map[string]string{
		filepath.Join(dir, "r.html"):       "",
		dir:                                dir + " is a folder: name a file in it",
		filepath.Join(dir, "no", "r.html"): "there is no folder " + filepath.Join(dir, "no") + ": make it first",
	} {
		if err := whole(file, write); (err == nil) != (want == "") || err != nil && err.Error() != want {
			t.Errorf("%s: %v, want %q", file, err, want)
		}
	}
}
