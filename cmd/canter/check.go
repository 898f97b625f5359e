package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"canter.example/schemas/broker"
	"canter.example/schemas/club"
	"canter.example/schemas/history"
)

type checkCmd struct {
	Club string `help:"Club file." type:"path" required:"" placeholder:"FILE" env:"CANTER_CLUB"`
	telling
	places
}

// Help is shown below the options.
func (checkCmd) Help() string {
	return `Tries all that serve needs, and reads the newest files of each folder as serve
would. On a running installation it also finds what is stuck, parked or has gone
quiet. "problem" must be mended before serve can do its work; "look" may be as
you want it. Nothing is changed: no folder, table or message is made.

As JSON each finding has level (fine, look, problem), about (what kind of thing),
file with line and column, place (where in the file, or which one), text, and do:
what to do about it. Mistakes of the club file are findings, too.

Examples:
  canter check --club club.yaml
  canter check --club club.yaml --nats nats://broker:4222 --history clickhouse://canter@db:9000/canter`
}

// Run checks all that serve would need and prints a line for each.
func (c *checkCmd) Run(ctx context.Context, std streams, log *slog.Logger) error {
	fs := &findings{w: std.out, asJSON: c.json()}
	cl, err := club.Load(c.Club)
	if err != nil && c.json() {
		fs.clubFile(c.Club, err)
		return errors.Join(fs.err, errSaid)
	}
	if err != nil {
		return err
	}
	fs.add(finding{Level: levelFine, About: "club file", File: c.Club, Text: describe(cl)})
	now := time.Now()
	for _, w := range cl.Watched() {
		checkWatched(ctx, fs, cl, w, now)
	}
	ctx, cancel := context.WithTimeout(ctx, 20*time.Second)
	defer cancel()
	fs.look(c.checkSecrets(cl)...)
	text, err := c.checkData()
	fs.say(finding{About: "data folder", File: c.Data, Text: text}, err)
	text, err = c.checkBroker(ctx)
	fs.say(finding{About: "broker", Text: text}, err)
	c.checkHistory(ctx, fs, cl, now)
	stuck, err := c.checkQueues(ctx, now)
	fs.look(stuck...)
	if err != nil {
		fs.say(finding{About: "broker"}, err)
	}
	fs.say(finding{About: "chat", Place: string(cl.Chat.Kind), Text: strings.Join(channels(cl), ", ")}, c.checkChat(ctx, cl, aside(std, c.json())))
	for _, p := range cl.Protocols {
		fs.add(finding{Level: levelFine, About: "protocol", Place: p.ID, Text: fmt.Sprintf("%s, %s, version %s", p.Kind(), p.Duration(), p.Version)})
	}
	plans(fs, cl, now)
	if fs.failed {
		return errors.Join(fs.err, errSaid)
	}
	if !c.json() {
		_, _ = fmt.Fprintln(std.out, "\nReady: canter serve --club "+c.Club)
	}
	return fs.err
}

func describe(cl *club.Club) string {
	estimated := 0
	for i := range cl.Athletes {
		if !cl.Athletes[i].HRmax.BPM.Present() {
			estimated++
		}
	}
	return fmt.Sprintf("%s, %s: %s, %s (%d without a measured HRmax), %s, %s",
		cl.Name, cl.Zone, count(len(cl.Squads), "squad"), count(len(cl.Athletes), "athlete"), estimated, count(len(cl.Protocols), "protocol"), count(len(cl.Planned), "planned test"))
}

// checkData tries the data folder, or where it would be made, without leaving
// anything there.
func (c *checkCmd) checkData() (string, error) {
	dir := c.Data
	info, err := os.Stat(dir)
	for errors.Is(err, os.ErrNotExist) && dir != filepath.Dir(dir) {
		dir = filepath.Dir(dir)
		info, err = os.Stat(dir)
	}
	if err != nil {
		return "", err
	}
	if !info.IsDir() {
		return "", advised{errors.New("is not a folder"), "name another with --data"}
	}
	f, err := os.CreateTemp(dir, ".check-*")
	if err != nil && dir != c.Data {
		return "", advised{fmt.Errorf("can't be made: %s can't be written", dir), "name another with --data"}
	}
	if err != nil {
		return "", advised{errors.New("can't be written"), "correct its permissions, or name another with --data"}
	}
	_ = f.Close()
	text := "can be written"
	if dir != c.Data {
		text = "is made by serve"
	}
	return text, os.Remove(f.Name())
}

func (c *checkCmd) checkBroker(ctx context.Context) (string, error) {
	if c.NATS == "" {
		if addr, running := broker.Running(c.Data); running {
			return "embedded, running at " + addr.URL, nil
		}
		return "embedded, starts with serve", nil
	}
	addr, err := broker.Probe(ctx, c.brokerConfig("", 0))
	if err != nil {
		return "", err
	}
	return "JetStream answers at " + addr, nil
}

// checkHistory tries the history and asks one that is there how things have
// gone. It is opened for reading: opening it whole would make tables, or bring
// those of an earlier release up to date under a service that still runs.
func (c *checkCmd) checkHistory(ctx context.Context, fs *findings, cl *club.Club, now time.Time) {
	if c.places.History == "" && c.historyExists() != nil {
		fs.say(finding{About: "history", Text: "SQLite, made by serve at " + c.historyAddress()}, nil)
		return
	}
	r, err := history.OpenReader(ctx, c.historyAddress())
	if err == nil {
		defer func() { _ = r.Close() }()
		_, err = r.Query(ctx, "SELECT 1", 1)
	}
	if err != nil {
		fs.say(finding{About: "history"}, err)
		return
	}
	rows, err := r.Query(ctx, "SELECT count(*) FROM tests", 1)
	if history.IsNoTable(err) {
		fs.say(finding{About: "history", Text: "answers; its tables are made by serve"}, nil)
		return
	}
	if err != nil {
		fs.say(finding{About: "history"}, err)
		return
	}
	fs.say(finding{About: "history", Text: fmt.Sprintf("answers, holds %v tests", rows.Values[0][0])}, nil)
	things, err := checkPast(ctx, r, cl, now)
	fs.look(things...)
	if err != nil {
		fs.say(finding{About: "history"}, err)
	}
}

func (c *checkCmd) checkChat(ctx context.Context, cl *club.Club, std streams) error {
	post, err := newChat(cl, nil, std.out, c.Data)
	if err != nil {
		return err
	}
	return post.Check(ctx, channels(cl))
}

// channels are all that messages may go to.
func channels(cl *club.Club) []string {
	var out []string
	add := func(c string) {
		if c != "" && !slices.Contains(out, c) {
			out = append(out, c)
		}
	}
	add(cl.Chat.Channel)
	for _, s := range cl.Squads {
		add(cl.ChannelOf(s.ID))
	}
	return out
}

// plans says when the next planned tests are.
func plans(fs *findings, cl *club.Club, now time.Time) {
	slots, err := cl.Slots(now, now.Add(14*24*time.Hour))
	if err != nil {
		fs.say(finding{About: "planned test"}, err)
		return
	}
	for _, s := range slots {
		fs.add(finding{
			Level: levelFine, About: "planned test", Place: s.Planned.ID,
			Text: fmt.Sprintf("%s, %s", s.Time.In(cl.Zone).Format("Mon 2006-01-02 15:04"), s.Planned.Protocol),
		})
	}
}
