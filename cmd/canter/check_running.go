package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/schemas/club"
	"canter.example/schemas/history"
	"canter.example/scorer/identify"
)

// stuckAfter is how old waiting work may be before it deserves a look, quiet
// how many planned times in a row may bring no test.
const (
	stuckAfter = 10 * time.Minute
	quietSlots = 3
)

// checkSecrets looks for secrets that others on this machine can read.
func (c *checkCmd) checkSecrets(cl *club.Club) []finding {
	var out []finding
	open := func(which, path string, info fs.FileInfo, text string) {
		if mode := info.Mode().Perm(); mode&0o077 != 0 {
			out = append(out, finding{About: "secret", File: path, Place: which, Text: fmt.Sprintf("can be read by others on this machine (mode %04o)%s", mode, text), Do: "chmod 600"})
		}
	}
	for name, path := range map[string]string{"token_file": cl.Chat.TokenFile, "--nats-key": c.NATSKey, "--nats-creds": c.NATSCreds} {
		if path == "" {
			continue
		}
		if info, err := os.Stat(path); err == nil {
			open(name, path, info, "")
		}
	}
	err := filepath.WalkDir(c.Data, func(path string, d fs.DirEntry, err error) error {
		if err != nil || path == c.Data {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		if strings.HasPrefix(d.Name(), "history.db") {
			open("", path, info, ", and holds health data")
		}
		if d.IsDir() {
			return fs.SkipDir
		}
		return nil
	})
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		out = append(out, finding{About: "data folder", File: c.Data, Text: err.Error()})
	}
	return out
}

// checkQueues looks for work of a running service that is stuck.
func (c *checkCmd) checkQueues(ctx context.Context, now time.Time) ([]finding, error) {
	cfg := c.brokerConfig("", 0)
	if c.NATS == "" {
		addr, running := broker.Running(c.Data)
		if !running {
			return nil, nil
		}
		cfg.URL, cfg.Token = addr.URL, addr.Token
	}
	cfg.Join = true
	b, err := broker.Open(ctx, cfg)
	if err != nil {
		return nil, err
	}
	defer b.Close()
	var out []finding
	for _, q := range (&pipeline{}).queues() {
		d, err := b.Depth(ctx, q.Work)
		if err != nil {
			return out, err
		}
		if !d.Oldest.IsZero() && now.Sub(d.Oldest) > stuckAfter {
			out = append(out, finding{
				About: "broker", Place: q.Name,
				Text: fmt.Sprintf("%d %s wait, the oldest for %s", d.Waiting+d.InHand, q.Name, now.Sub(d.Oldest).Round(time.Minute)),
				Do:   "is a service with that role running? Its log says why it can't go on",
			})
		}
	}
	return out, nil
}

// checkPast looks at what the history says of how things go: parked files,
// athletes nobody has seen, planned times that brought nothing.
func checkPast(ctx context.Context, h history.Store, cl *club.Club, now time.Time) ([]finding, error) {
	var out []finding
	parked, err := h.Files(ctx, schemas.FileParked)
	if err != nil {
		return nil, err
	}
	if n := len(parked); n > 0 {
		out = append(out, finding{
			About: "history", File: identify.Where(cl, parked[n-1].Origin),
			Text: fmt.Sprintf("%s parked, the last this one: %s", count(n, "file"), parked[n-1].Reason), Do: "see canter parked list",
		})
	}
	failed, err := h.Messages(ctx, schemas.MessageFailed)
	if err != nil {
		return nil, err
	}
	if n := len(failed); n > 0 {
		last := failed[n-1]
		out = append(out, finding{
			About: "chat", Place: last.Channel,
			Text: fmt.Sprintf("refused %s, the last on %s: %s", count(n, "message"), last.Created.In(cl.Zone).Format(time.DateOnly), last.Reason),
			Do:   "correct channel or token in the club file",
		})
	}
	for i := range cl.Planned {
		quiet, err := quietPlan(ctx, h, cl, &cl.Planned[i], now)
		if err != nil {
			return nil, err
		}
		out = append(out, quiet...)
	}
	unseen, err := unseenAthletes(ctx, h, cl, now)
	return append(out, unseen...), err
}

// quietPlan says that a planned test's last times brought no test at all,
// while there are tests of its protocol.
func quietPlan(ctx context.Context, h history.Store, cl *club.Club, p *club.Planned, now time.Time) ([]finding, error) {
	slots, err := cl.Slots(now.AddDate(0, 0, -60), now.Add(-24*time.Hour))
	if err != nil {
		return nil, err
	}
	var last []club.Slot
	for _, s := range slots {
		if s.Planned.ID == p.ID {
			last = append(last, s)
		}
	}
	if len(last) < quietSlots {
		return nil, nil
	}
	last = last[len(last)-quietSlots:]
	tests, err := h.SquadTests(ctx, p.Squad, p.Protocol, last[0].Time.Add(-24*time.Hour), now)
	if err != nil || len(tests) > 0 {
		return nil, err
	}
	return []finding{{
		About: "planned test", Place: p.ID,
		Text: fmt.Sprintf("its last %d times, since %s, brought no test of squad %s", quietSlots, last[0].Time.In(cl.Zone).Format("Mon 2006-01-02 15:04"), p.Squad),
		Do:   "is the season over (set to:), or are cron and time zone right?",
	}}, nil
}

// unseenAthletes names those of the club file who are in a squad that tests and
// have no test within eight weeks.
func unseenAthletes(ctx context.Context, h history.Store, cl *club.Club, now time.Time) ([]finding, error) {
	tests, err := h.Tests(ctx, history.TestFilter{From: now.AddDate(0, 0, -56)})
	if err != nil {
		return nil, err
	}
	seen, tested := map[string]bool{}, map[string]bool{}
	for i := range tests {
		seen[tests[i].Athlete], tested[tests[i].Squad] = true, true
	}
	var names []string
	for i := range cl.Athletes {
		a := &cl.Athletes[i]
		if tested[a.SquadAt(now)] && !seen[a.ID] {
			names = append(names, a.ID)
		}
	}
	if len(names) == 0 {
		return nil, nil
	}
	return []finding{{
		About: "history",
		Text:  fmt.Sprintf("%s of squads that test with no test for eight weeks: %s", count(len(names), "athlete"), named(names, 8)),
		Do:    "have they left (give their squad a to: day), or do their files go by another name?",
	}}, nil
}

// count is a number with its noun.
func count(n int, noun string) string {
	if n != 1 {
		noun += "s"
	}
	return fmt.Sprintf("%d %s", n, noun)
}

// named joins the first few of names and says how many more there are.
func named(names []string, few int) string {
	if len(names) <= few {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:few], ", "), len(names)-few)
}
