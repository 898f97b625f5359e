package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/schemas/history"
)

type backupCmd struct {
	Out  string `arg:"" help:"File to write; it must not exist." type:"path"`
	Data string `help:"Folder of the embedded broker and history." type:"path" default:"canter-data" env:"CANTER_DATA"`
	At   string `name:"history" help:"A SQLite history elsewhere than in the data folder." placeholder:"ADDRESS" env:"CANTER_HISTORY"`
	telling
}

// Help is shown below the options.
func (backupCmd) Help() string {
	return `Copies the embedded history into one file, as of one moment, while canter serve
goes on; then reads the copy whole and says what it holds. The file is a SQLite
database that any SQL tool opens, and holds health data: keep it as you keep
those.

The history is what can't be made again: staff's corrections and notes, and what
was told. The heart-rate files themselves stay in your folders; back those up as
you back up other files. A history on a ClickHouse server is backed up there.

As JSON: file, files, tests, newest_test, corrections, notes, bytes.

Examples:
  canter backup /backup/canter-2026-08-17.db
  canter backup "/backup/canter-$(date +%F).db" --data /var/lib/canter    from a timer`
}

// Run writes a copy of the history.
func (c *backupCmd) Run(ctx context.Context, std streams) error {
	from := places{Data: c.Data, History: c.At}
	if err := from.historyExists(); err != nil {
		return err
	}
	facts, err := history.Backup(ctx, from.historyAddress(), c.Out)
	if errors.Is(err, os.ErrExist) {
		return fmt.Errorf("%s is there already: name another file, so that no backup overwrites one", c.Out)
	}
	if err != nil {
		return err
	}
	if c.json() {
		return jsonLines(std.out, newCopied(c.Out, facts))
	}
	_, err = fmt.Fprintf(std.out, "%s: %s\n", c.Out, inWords(facts))
	return err
}

// copied is the JSON form of a backup made or put back.
type copied struct {
	File        string     `json:"file"`
	Files       int        `json:"files"`
	Tests       int        `json:"tests"`
	NewestTest  *time.Time `json:"newest_test"`
	Corrections int        `json:"corrections"`
	Notes       int        `json:"notes"`
	Bytes       int64      `json:"bytes"`
}

func newCopied(file string, f history.BackupFacts) copied {
	c := copied{File: file, Files: f.Files, Tests: f.Tests, Corrections: f.Corrections, Notes: f.Notes, Bytes: f.Bytes}
	if !f.Newest.IsZero() {
		c.NewestTest = &f.Newest
	}
	return c
}

func inWords(f history.BackupFacts) string {
	newest := "no test yet"
	if !f.Newest.IsZero() {
		newest = "the newest of " + f.Newest.Format(time.DateOnly)
	}
	return fmt.Sprintf("%s, %s (%s), %s, %s, %.1f MB", schemas.Count(f.Files, "file"), schemas.Count(f.Tests, "test"), newest,
		schemas.Count(f.Corrections, "correction"), schemas.Count(f.Notes, "note"), float64(f.Bytes)/1e6)
}

type restoreCmd struct {
	From    string `arg:"" help:"Copy made by canter backup." type:"existingfile"`
	Data    string `help:"Folder of the embedded broker and history." type:"path" default:"canter-data" env:"CANTER_DATA"`
	Replace bool   `help:"Put the copy in the place of a history that is there; that one is kept beside it."`
	telling
}

// Help is shown below the options.
func (restoreCmd) Help() string {
	return `Puts a copy made by canter backup into the data folder. Stop canter serve first.

The copy is read whole before anything is touched. With the next canter serve,
everything that the broker still holds is handled again: files, corrections and
notes that came after the backup come back by that. What was told to staff after
the backup may be told once more, if its test is not older than a week.

Whoever was erased after the backup was made is in it: canter restore says so,
and canter erase takes them out again.

As JSON: what canter backup says of the copy, kept (the history that was there) and
erase_again (when athletes were erased after the backup, and what was removed).

Examples:
  canter restore /backup/canter-2026-08-17.db --data /var/lib/canter
  canter restore /backup/canter-2026-08-17.db --data /var/lib/canter --replace`
}

// Run puts a copy in place.
func (c *restoreCmd) Run(ctx context.Context, std streams, log *slog.Logger) error {
	if _, running := broker.Running(c.Data); running {
		return fmt.Errorf("a canter serve runs on %s: stop it first", c.Data)
	}
	at := places{Data: c.Data}
	there := at.historyExists() == nil
	if there && !c.Replace {
		return fmt.Errorf("there is a history at %s: add --replace to put the copy in its place; it is kept beside it", at.historyAddress())
	}
	erased := map[string]bool{}
	if there {
		var err error
		if erased, err = erasures(ctx, at.historyAddress()); err != nil {
			// It may be restored because it is damaged.
			log.Warn("the history that is there can't be asked who was erased since", "err", err)
		}
	}
	facts, kept, err := history.Restore(ctx, c.From, at.historyAddress(), ".before-"+time.Now().UTC().Format("20060102T150405Z"))
	if err != nil {
		return err
	}
	if err := c.rewind(ctx, log); err != nil {
		return fmt.Errorf("the copy is in place, but the broker was not told to begin again (%w): run canter replay --all once canter serve runs", err)
	}
	restored, err := erasures(ctx, at.historyAddress())
	if err != nil {
		return err
	}
	again := slices.Sorted(maps.Keys(erased))
	again = slices.DeleteFunc(again, func(mark string) bool { return restored[mark] })
	if c.json() {
		return jsonLines(std.out, struct {
			copied
			Kept       string   `json:"kept"`
			EraseAgain []string `json:"erase_again"`
		}{newCopied(at.historyAddress(), facts), kept, append([]string{}, again...)})
	}
	_, _ = fmt.Fprintf(std.out, "%s: %s\n", at.historyAddress(), inWords(facts))
	if kept != "" {
		_, _ = fmt.Fprintf(std.out, "the history that was there: %s\n", kept)
	}
	for _, mark := range again {
		_, _ = fmt.Fprintf(std.out, "an athlete was erased after this backup was made (%s): erase them again, see canter erase --help\n", mark)
	}
	_, err = fmt.Fprintln(std.out, "Start canter serve: it handles again what came after the backup.")
	return err
}

// erasures are the marks that canter erase left.
func erasures(ctx context.Context, address string) (map[string]bool, error) {
	r, err := history.OpenReader(ctx, address)
	if err != nil {
		return nil, err
	}
	defer func() { _ = r.Close() }()
	rows, err := r.Query(ctx, "SELECT slot FROM slots WHERE job = '"+eraseJob+"'", 0)
	if err != nil {
		return nil, err
	}
	marks := map[string]bool{}
	for _, v := range rows.Values {
		marks[fmt.Sprint(v[0])] = true
	}
	return marks, nil
}

// rewind lets the next service handle all that the embedded broker holds.
func (c *restoreCmd) rewind(ctx context.Context, log *slog.Logger) error {
	if _, err := os.Stat(filepath.Join(c.Data, "broker")); errors.Is(err, os.ErrNotExist) {
		return nil
	}
	b, err := broker.Open(ctx, broker.Config{Dir: c.Data, Join: true})
	if err != nil {
		return err
	}
	defer b.Close()
	var work []broker.Work
	for _, q := range (&pipeline{log: log}).queues() {
		work = append(work, q.Work)
	}
	return b.Rewind(ctx, work...)
}
