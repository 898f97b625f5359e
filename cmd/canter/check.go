package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"slices"
	"strings"
	"time"

	"canter.example/schemas/broker"
	"canter.example/schemas/club"
	"canter.example/schemas/history"
)

type checkCmd struct {
	Club string `help:"Club file." type:"path" required:"" placeholder:"FILE" env:"CANTER_CLUB"`
	places
}

// Help is shown below the options.
func (checkCmd) Help() string {
	return `Tries all that serve needs, and reads the newest files of each folder as serve
would. On a running installation it also finds what is stuck, parked or has gone
quiet. "problem" must be mended before serve can do its work; "look" may be as
you want it. Nothing is changed: no folder, table or message is made.

Examples:
  canter check --club club.yaml
  canter check --club club.yaml --nats nats://broker:4222 --history clickhouse://canter@db:9000/canter`
}

// Run checks all that serve would need and prints a line for each.
func (c *checkCmd) Run(ctx context.Context, std streams, log *slog.Logger) error {
	cl, err := club.Load(c.Club)
	if err != nil {
		return err
	}
	_, _ = fmt.Fprintf(std.out, "%s: %s\n\n", c.Club, describe(cl))
	ctx, cancel := context.WithTimeout(ctx, 20*time.Second)
	defer cancel()
	failed := false
	say := func(what string, err error, fine string) {
		if err != nil {
			failed = true
			_, _ = fmt.Fprintf(std.out, "problem  %s: %v\n", what, err)
			return
		}
		_, _ = fmt.Fprintf(std.out, "fine     %s: %s\n", what, fine)
	}
	look := func(what string, things ...string) {
		for _, thing := range things {
			_, _ = fmt.Fprintf(std.out, "look     %s: %s\n", what, thing)
		}
	}
	now := time.Now()
	for _, w := range cl.Watched() {
		f, err := checkFolder(cl, w, now)
		of := "squad " + w.Squad
		if w.Squad == "" {
			of = "shared by the squads"
		}
		say("folder "+w.Folder.Path, err, of+", "+f.words())
		if f.fromFuture != "" {
			look("folder "+w.Folder.Path, f.fromFuture)
		}
		if n := len(f.refused); n > 0 {
			look("folder "+w.Folder.Path, fmt.Sprintf("%d of the newest %d would be parked", n, f.tried))
			look("", f.refused[:min(n, shownFailures)]...)
		}
	}
	look("secrets", c.checkSecrets(cl)...)
	say("data folder "+c.Data, c.checkData(), "can be written, or made")
	text, err := c.checkBroker(ctx)
	say("broker", err, text)
	text, err = c.checkHistory(ctx)
	say("history", err, text)
	if err == nil {
		things, err := c.past(ctx, cl, now)
		look("history", things...)
		if err != nil {
			say("history", err, "")
		}
	}
	stuck, err := c.checkQueues(ctx, now)
	look("broker", stuck...)
	if err != nil {
		say("broker", err, "")
	}
	say("chat", c.checkChat(ctx, cl, std), string(cl.Chat.Kind)+", "+strings.Join(channels(cl), ", "))
	for _, p := range cl.Protocols {
		_, _ = fmt.Fprintf(std.out, "protocol %s: %s, %s, version %s\n", p.ID, p.Kind(), p.Duration(), p.Version)
	}
	if err := plans(std, cl); err != nil {
		say("planned tests", err, "")
	}
	if failed {
		return errSaid
	}
	_, _ = fmt.Fprintln(std.out, "\nReady: canter serve --club "+c.Club)
	return nil
}

func describe(cl *club.Club) string {
	estimated := 0
	for i := range cl.Athletes {
		if !cl.Athletes[i].HRmax.BPM.Present() {
			estimated++
		}
	}
	return fmt.Sprintf("%s, %s: %d squads, %d athletes (%d without a measured HRmax), %d protocols, %d planned tests",
		cl.Name, cl.Zone, len(cl.Squads), len(cl.Athletes), estimated, len(cl.Protocols), len(cl.Planned))
}

// checkData tries the data folder without leaving anything in it.
func (c *checkCmd) checkData() error {
	info, err := os.Stat(c.Data)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	if !info.IsDir() {
		return errors.New("is not a folder")
	}
	f, err := os.CreateTemp(c.Data, ".check-*")
	if err != nil {
		return err
	}
	_ = f.Close()
	return os.Remove(f.Name())
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

func (c *checkCmd) checkHistory(ctx context.Context) (string, error) {
	if c.places.History == "" {
		if c.historyExists() != nil {
			return "SQLite, made by serve at " + c.historyAddress(), nil
		}
	}
	r, err := history.OpenReader(ctx, c.historyAddress())
	if err != nil {
		return "", err
	}
	defer func() { _ = r.Close() }()
	rows, err := r.Query(ctx, "SELECT 1", 1)
	if err != nil {
		return "", err
	}
	_ = rows
	rows, err = r.Query(ctx, "SELECT count(*) FROM tests", 1)
	if err != nil {
		return "answers; its tables are made by serve", nil //nolint:nilerr // an empty database is fine
	}
	return fmt.Sprintf("answers, holds %v tests", rows.Values[0][0]), nil
}

// past asks a history that is there how things have gone.
func (c *checkCmd) past(ctx context.Context, cl *club.Club, now time.Time) ([]string, error) {
	r, err := history.OpenReader(ctx, c.historyAddress())
	if err != nil {
		return nil, nil //nolint:nilerr // checkHistory has said so, or serve has yet to make it
	}
	defer func() { _ = r.Close() }()
	if _, err := r.Query(ctx, "SELECT count(*) FROM tests", 1); err != nil {
		return nil, nil //nolint:nilerr // no tables yet: opening it whole would make them
	}
	h, err := history.Open(ctx, c.historyAddress())
	if err != nil {
		return nil, err
	}
	defer func() { _ = h.Close() }()
	return checkPast(ctx, h, cl, now)
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
func plans(std streams, cl *club.Club) error {
	now := time.Now()
	slots, err := cl.Slots(now, now.Add(14*24*time.Hour))
	if err != nil {
		return err
	}
	for _, s := range slots {
		_, _ = fmt.Fprintf(std.out, "planned  %s: %s, %s\n", s.Planned.ID, s.Time.In(cl.Zone).Format("Mon 2006-01-02 15:04"), s.Planned.Protocol)
	}
	return nil
}
