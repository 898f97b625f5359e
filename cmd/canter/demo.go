package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"time"

	"canter.example/cmd/canter/season"
	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/schemas/club"
	"canter.example/schemas/history"
)

type demoCmd struct {
	Dir   string `help:"Folder to make the season in." type:"path" default:"canter-demo"`
	Seed  uint64 `help:"Seed of the invented season; the same seed gives the same files." default:"0"`
	Weeks int    `help:"Length of the season, 1 to 52 weeks." default:"12"`
	// The files alone, for trying canter serve by hand.
	FilesOnly bool `help:"Make the files and stop."`
}

// Help is shown below the options.
func (demoCmd) Help() string {
	return `An invented club, invented athletes, invented data. The pipeline is the one of
canter serve; only its clock is the season's.

Examples:
  canter demo
  canter demo --dir /tmp/season --seed 7`
}

// demoMark tells a folder that demo made, and may make again, from others.
const demoMark = ".canter-demo"

// Settle and scan quickly, and hold a session no longer than its files take: the
// demo writes them whole and at once.
const (
	demoSettle = 40 * time.Millisecond
	demoRescan = time.Second
	demoHold   = 300 * time.Millisecond
)

// Run makes a season and lives through it.
func (c *demoCmd) Run(ctx context.Context, std streams, log *slog.Logger) error {
	if c.Weeks < 1 || c.Weeks > 52 {
		return usagef("--weeks %d: want 1 to 52", c.Weeks)
	}
	began := time.Now()
	s, err := season.New(season.Options{Seed: c.Seed, Weeks: c.Weeks})
	if err != nil {
		return err
	}
	if err := c.prepare(s); err != nil {
		return err
	}
	if c.FilesOnly {
		return c.filesOnly(std, s)
	}
	cl, err := club.Load(filepath.Join(c.Dir, "club.yaml"))
	if err != nil {
		return err
	}
	cl.Files.Settle, cl.Files.Rescan, cl.Chat.Hold = demoSettle, demoRescan, demoHold
	d := &demo{dir: c.Dir, season: s, club: cl, std: std}
	if err := d.live(ctx, quieter(ctx, log, slog.LevelError)); err != nil {
		return err
	}
	_, _ = fmt.Fprintf(std.out, "\n%d files in %.1f s.\n", d.files, time.Since(began).Seconds())
	return d.next()
}

// prepare makes the folder, replacing an earlier demo but nothing else.
func (c *demoCmd) prepare(s *season.Season) error {
	entries, err := os.ReadDir(c.Dir)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	if len(entries) > 0 {
		if _, err := os.Stat(filepath.Join(c.Dir, demoMark)); err != nil {
			return fmt.Errorf("%s is not empty and was not made by canter demo: name another folder with --dir", c.Dir)
		}
		if _, running := broker.Running(filepath.Join(c.Dir, "data")); running {
			return fmt.Errorf("a canter serve runs on %s: stop it first", filepath.Join(c.Dir, "data"))
		}
		if err := os.RemoveAll(c.Dir); err != nil {
			return err
		}
	}
	if err := os.MkdirAll(c.Dir, 0o750); err != nil {
		return err
	}
	for name, content := range map[string][]byte{
		demoMark:       []byte("made by canter demo, which may replace this folder\n"),
		"club.yaml":    s.ClubYAML,
		"athletes.csv": s.AthletesCSV,
	} {
		if err := os.WriteFile(filepath.Join(c.Dir, name), content, 0o600); err != nil {
			return err
		}
	}
	return nil
}

func (c *demoCmd) filesOnly(std streams, s *season.Season) error {
	n := 0
	for _, day := range s.Days {
		for _, f := range day.Files {
			if err := writeSeasonFile(c.Dir, f); err != nil {
				return err
			}
			n++
		}
	}
	_, err := fmt.Fprintf(std.out, "%d files in %s\n", n, c.Dir)
	return err
}

func writeSeasonFile(dir string, f season.File) error {
	name := filepath.Join(dir, filepath.FromSlash(f.Path))
	if err := os.MkdirAll(filepath.Dir(name), 0o750); err != nil {
		return err
	}
	return os.WriteFile(name, f.Content, 0o600)
}

// demo lives through a season.
type demo struct {
	dir    string
	season *season.Season
	club   *club.Club
	std    streams
	pipe   *pipeline
	files  int
	ids    map[schemas.FileID]bool
	clock  atomic.Int64 // the season's time, Unix seconds
}

func (d *demo) now() time.Time { return time.Unix(d.clock.Load(), 0).UTC() }

// live runs the pipeline over the season, day by day.
func (d *demo) live(ctx context.Context, log *slog.Logger) error {
	data := filepath.Join(d.dir, "data")
	for _, w := range d.club.Watched() {
		if err := os.MkdirAll(w.Folder.Path, 0o750); err != nil {
			return err
		}
	}
	if err := os.MkdirAll(data, 0o700); err != nil {
		return err
	}
	h, err := history.Open(ctx, filepath.Join(data, "history.db"))
	if err != nil {
		return err
	}
	defer func() { _ = h.Close() }()
	b, err := broker.Open(ctx, broker.Config{Dir: data})
	if err != nil {
		return err
	}
	defer b.Close()
	d.ids = map[schemas.FileID]bool{}
	d.clock.Store(d.season.Days[0].Date.Unix())
	d.pipe = &pipeline{club: d.club, broker: b, history: h, log: log, now: d.now}
	if d.pipe.chat, err = newChat(d.club, h, indented{d.std.out}, data); err != nil {
		return err
	}
	d.pipe.build(map[role]bool{roleIngest: true, roleScorer: true, roleAlerts: true})
	_, _ = fmt.Fprintf(d.std.out, "%s, an invented club: %d athletes, %s to %s\n\n", d.club.Name, len(d.club.Athletes),
		d.season.Days[0].Date.Format("2 Jan 2006"), d.season.Days[len(d.season.Days)-1].Date.Format("2 Jan 2006"))
	return d.pipe.during(ctx, func(ctx context.Context) error {
		if err := d.days(ctx); err != nil {
			return err
		}
		return d.summary(ctx)
	})
}

// days drops each day's files and waits until all that follows is done; at
// the end of a day it is seen who is missing.
func (d *demo) days(ctx context.Context) error {
	byDate := map[string]season.Day{}
	for _, day := range d.season.Days {
		byDate[day.Date.Format(time.DateOnly)] = day
	}
	last := d.season.Days[len(d.season.Days)-1].Date
	for date := d.season.Days[0].Date; !date.After(last.AddDate(0, 0, 1)); date = date.AddDate(0, 0, 1) {
		day := byDate[date.Format(time.DateOnly)]
		if len(day.Files) > 0 {
			if err := d.day(ctx, day); err != nil {
				return err
			}
		}
		d.clock.Store(date.AddDate(0, 0, 1).Unix() - 1)
		if err := d.pipe.alerts.Due(ctx, d.now()); err != nil {
			return err
		}
		if err := d.pipe.settled(ctx); err != nil {
			return err
		}
	}
	return nil
}

func (d *demo) day(ctx context.Context, day season.Day) error {
	note := ""
	if day.Note != "" {
		note = "  (" + day.Note + ")"
	}
	_, _ = fmt.Fprintf(d.std.out, "%s  %2d files%s\n", day.Date.Format("Mon 2 Jan"), len(day.Files), note)
	d.clock.Store(day.Date.Add(20 * time.Hour).Unix())
	for _, f := range day.Files {
		if err := writeSeasonFile(d.dir, f); err != nil {
			return err
		}
		d.ids[schemas.NewFileID(f.Content)] = true
		d.files++
	}
	for {
		archive, err := d.pipe.broker.Archived(ctx)
		if err != nil {
			return err
		}
		if len(archive.Files) >= len(d.ids) {
			return d.pipe.settled(ctx)
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(10 * time.Millisecond):
		}
	}
}

// summary prints one line an athlete, and the story to compare it with.
func (d *demo) summary(ctx context.Context) error {
	tests, err := d.pipe.history.Tests(ctx, history.TestFilter{})
	if err != nil {
		return err
	}
	alerts, err := d.pipe.history.Alerts(ctx, history.AlertFilter{})
	if err != nil {
		return err
	}
	by := map[string][]schemas.Outcome{}
	for _, o := range tests {
		by[o.Athlete] = append(by[o.Athlete], o)
	}
	told := map[string]int{}
	other := map[schemas.RuleID]int{}
	for _, a := range alerts {
		if a.Athlete == "" {
			other[a.Rule]++
		} else if a.State != schemas.AlertWithdrawn {
			told[a.Athlete]++
		}
	}
	var rows [][]string
	for _, id := range slices.Sorted(maps.Keys(by)) {
		row, err := d.athleteRow(ctx, id, by[id], told[id])
		if err != nil {
			return err
		}
		rows = append(rows, row)
	}
	_, _ = fmt.Fprintln(d.std.out, "\nSeason's end")
	if err := table(d.std.out, []string{"athlete", "", "tests", "good", "check", "reject", "last", "HRex %", "from baseline", "HRR60", "from baseline", "alerts"}, rows); err != nil {
		return err
	}
	for _, r := range slices.Sorted(maps.Keys(other)) {
		_, _ = fmt.Fprintf(d.std.out, "%s: %d\n", r, other[r])
	}
	_, _ = fmt.Fprintln(d.std.out, "\nWhat was put into the season")
	for _, s := range d.season.Story {
		_, _ = fmt.Fprintln(d.std.out, storyLine(s))
	}
	return nil
}

func (d *demo) athleteRow(ctx context.Context, id string, tests []schemas.Outcome, told int) ([]string, error) {
	n := map[schemas.Quality]int{}
	last := tests[len(tests)-1]
	for _, o := range tests {
		n[o.Quality]++
		if o.Valid() {
			last = o
		}
	}
	row := []string{id, d.club.NameOf(id), fmt.Sprint(len(tests)), fmt.Sprint(n[schemas.Good]), fmt.Sprint(n[schemas.Check]), fmt.Sprint(n[schemas.Reject]),
		last.Start.In(d.club.Zone).Format("2 Jan"), last.HRexPct.Text(1), "", "", "", ""}
	a, ok, err := d.pipe.history.Assessment(ctx, last.TestID)
	if err != nil {
		return nil, err
	}
	if ok {
		if c := a.Comparison(schemas.MeasureHRex, 0); c != nil {
			row[8] = c.Change.Signed(1)
		}
		if c := a.Comparison(schemas.MeasureHRR, 60); c != nil {
			row[9], row[10] = c.Value.Text(0), c.Change.Signed(1)
		}
	}
	if told > 0 {
		row[11] = fmt.Sprint(told)
	}
	return row, nil
}

// storyLine is one event of the season beside what canter should make of it.
func storyLine(s season.Story) string {
	weeks := fmt.Sprintf("week %d", s.FromWeek)
	if s.ToWeek > s.FromWeek {
		weeks = fmt.Sprintf("weeks %d to %d", s.FromWeek, s.ToWeek)
	}
	who := ""
	if s.Name != "" {
		who = s.Name + ": "
	}
	return fmt.Sprintf("  %-14s %s%s To expect: %s", weeks, who, s.What, s.Expect)
}

// next says what to try with what is left behind.
func (d *demo) next() error {
	rel := d.dir
	if wd, err := os.Getwd(); err == nil {
		if r, err := filepath.Rel(wd, d.dir); err == nil && filepath.IsLocal(r) {
			rel = r
		}
	}
	data := filepath.Join(rel, "data")
	_, err := fmt.Fprintf(d.std.out, `
Left behind in %[1]s: club.yaml, athletes.csv, the files in inbox, and data with history.db.
Next, for example:
  canter tests list --data %[2]s --doubtful
  canter sql --data %[2]s "SELECT athlete, count(*) AS tests, avg(hrex_pct) AS hrex FROM tests WHERE quality = 'good' GROUP BY athlete"
  canter serve --club %[1]s/club.yaml --data %[2]s
`, rel, data)
	return err
}

// indented sets what chat says off from the demo's own lines.
type indented struct{ w io.Writer }

// Write indents each line.
func (i indented) Write(b []byte) (int, error) {
	text := strings.TrimRight(string(b), "\n")
	if _, err := fmt.Fprintf(i.w, "    %s\n", strings.ReplaceAll(text, "\n", "\n    ")); err != nil {
		return 0, err
	}
	return len(b), nil
}
