package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"time"

	"canter.example/alerts/chat"
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
	telling
}

// Help is shown below the options.
func (demoCmd) Help() string {
	return `An invented club, invented athletes, invented data. The pipeline is the one of
canter serve; only its clock is the season's. What chat was told, with pictures, is
written to chat.html; the digests to digest.txt; the last session's report of each
squad to report-SQUAD.html. A folder that an earlier demo made is made anew.

As JSON a line for each day with files, then for each athlete, for each thing that
was put into the season, and for each file left behind: about says which.

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
	d := &demo{dir: c.Dir, season: s, club: cl, std: std, asJSON: c.json()}
	if err := d.live(ctx, quieter(ctx, log, slog.LevelError)); err != nil {
		return err
	}
	if c.json() {
		return nil
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
			if err := writeSeasonFile(c.Dir, f, day.Date.Add(uploaded)); err != nil {
				return err
			}
			n++
		}
	}
	if c.json() {
		return jsonLines(std.out, struct {
			About  string `json:"about"`
			Folder string `json:"folder"`
			Files  int    `json:"files"`
		}{"files", c.Dir, n})
	}
	_, err := fmt.Fprintf(std.out, "%d files in %s\n", n, c.Dir)
	return err
}

// writeSeasonFile writes a file as if it had been uploaded at an instant of the
// season.
func writeSeasonFile(dir string, f season.File, at time.Time) error {
	name := filepath.Join(dir, filepath.FromSlash(f.Path))
	if err := os.MkdirAll(filepath.Dir(name), 0o750); err != nil {
		return err
	}
	if err := os.WriteFile(name, f.Content, 0o600); err != nil {
		return err
	}
	return os.Chtimes(name, at, at)
}

// demo lives through a season.
type demo struct {
	dir    string
	season *season.Season
	club   *club.Club
	std    streams
	asJSON bool
	pipe   *pipeline
	said   *chat.Transcript
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
	d.pipe = newPipeline(d.club, log)
	d.pipe.broker, d.pipe.history, d.pipe.now = b, h, d.now
	if d.pipe.chat, err = d.chat(h); err != nil {
		return err
	}
	d.pipe.build(map[role]bool{roleIngest: true, roleScorer: true, roleAlerts: true})
	d.print("%s, an invented club: %d athletes, %s to %s\n\n", d.club.Name, len(d.club.Athletes),
		d.season.Days[0].Date.Format("2 Jan 2006"), d.season.Days[len(d.season.Days)-1].Date.Format("2 Jan 2006"))
	return d.pipe.during(ctx, func(ctx context.Context) error {
		if err := d.days(ctx); err != nil {
			return err
		}
		return errors.Join(d.summary(ctx), d.results(ctx))
	})
}

// chat is the club's, written down.
func (d *demo) chat(h history.Store) (chat.Poster, error) {
	var to io.Writer = indented{d.std.out}
	if d.asJSON {
		to = io.Discard // chat.html has it
	}
	c, err := newChat(d.club, h, to, filepath.Join(d.dir, "data"))
	if err != nil {
		return nil, err
	}
	d.said = chat.NewTranscript(c)
	return d.said, nil
}

// print prints for people.
func (d *demo) print(format string, args ...any) {
	if !d.asJSON {
		_, _ = fmt.Fprintf(d.std.out, format, args...)
	}
}

// days drops each day's files and waits until all that follows is done. In the
// morning chat has the digests that are due, in the evening who is missing.
func (d *demo) days(ctx context.Context) error {
	byDate := map[string]season.Day{}
	for _, day := range d.season.Days {
		byDate[day.Date.Format(time.DateOnly)] = day
	}
	last := d.season.Days[len(d.season.Days)-1].Date
	for date := d.season.Days[0].Date; !date.After(last.AddDate(0, 0, 1)); date = date.AddDate(0, 0, 1) {
		if err := d.due(ctx, date.Add(morning)); err != nil {
			return err
		}
		if day := byDate[date.Format(time.DateOnly)]; len(day.Files) > 0 {
			if err := d.day(ctx, day); err != nil {
				return err
			}
		}
		if err := d.due(ctx, date.Add(evening)); err != nil {
			return err
		}
	}
	return nil
}

// When things happen on a day of the season.
const (
	morning  = 8 * time.Hour
	uploaded = 18 * time.Hour
	evening  = 21 * time.Hour
)

// due does what is due at a time of the season.
func (d *demo) due(ctx context.Context, at time.Time) error {
	d.clock.Store(at.Unix())
	if err := d.pipe.alerts.Due(ctx, at); err != nil {
		return err
	}
	return d.pipe.settled(ctx)
}

func (d *demo) day(ctx context.Context, day season.Day) error {
	if err := d.sayDay(day); err != nil {
		return err
	}
	d.clock.Store(day.Date.Add(uploaded).Unix())
	for _, f := range day.Files {
		if err := writeSeasonFile(d.dir, f, d.now()); err != nil {
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

func (d *demo) sayDay(day season.Day) error {
	if d.asJSON {
		return jsonLines(d.std.out, struct {
			About string `json:"about"`
			Date  string `json:"date"`
			Files int    `json:"files"`
			Note  string `json:"note"`
		}{"day", day.Date.Format(time.DateOnly), len(day.Files), day.Note})
	}
	note := ""
	if day.Note != "" {
		note = "  (" + day.Note + ")"
	}
	d.print("%-10s  %8s%s\n", day.Date.Format("Mon 2 Jan"), schemas.Count(len(day.Files), "file"), note)
	return nil
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
