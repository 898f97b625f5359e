package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
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
	for _, s := range []struct{ name, path string }{
		{"chat.token_file", cl.Chat.TokenFile}, {"chat.app_token_file", cl.Chat.AppTokenFile}, {"page.key_file", cl.Page.KeyFile},
		{"--nats-key", c.NATSKey}, {"--nats-creds", c.NATSCreds},
	} {
		if s.path == "" {
			continue
		}
		if info, err := os.Stat(s.path); err == nil {
			open(s.name, s.path, info, "")
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
func checkPast(ctx context.Context, h history.Reader, cl *club.Club, now time.Time) ([]finding, error) {
	var out []finding
	n, parked, err := newestOf(ctx, h, "folder, path, squad, reason", "files", string(schemas.FileParked), "seen_ms")
	if err != nil {
		return nil, err
	}
	if n > 0 {
		out = append(out, finding{
			About: "history", File: identify.Where(cl, schemas.Origin{Folder: parked[0], Path: parked[1], Squad: parked[2]}),
			Text: fmt.Sprintf("%s parked, the last this one: %s", count(n, "file"), parked[3]), Do: "see canter parked list",
		})
	}
	n, failed, err := newestOf(ctx, h, "channel, created_ms, reason", "messages", string(schemas.MessageFailed), "created_ms")
	if err != nil {
		return nil, err
	}
	if n > 0 {
		made, _ := strconv.ParseInt(failed[1], 10, 64)
		out = append(out, finding{
			About: "chat", Place: failed[0],
			Text: fmt.Sprintf("refused %s, the last on %s: %s", count(n, "message"), time.UnixMilli(made).In(cl.Zone).Format(time.DateOnly), failed[2]),
			Do:   "correct channel or token in the club file",
		})
	}
	tested, err := lastTested(ctx, h, now)
	if err != nil {
		return nil, err
	}
	for i := range cl.Planned {
		quiet, err := quietPlan(tested, cl, &cl.Planned[i], now)
		if err != nil {
			return nil, err
		}
		out = append(out, quiet...)
	}
	return append(out, unseenAthletes(tested, cl, now)...), nil
}

// newestOf returns how many rows of a table are in a state, and the newest.
func newestOf(ctx context.Context, h history.Reader, columns, table, state, by string) (n int, newest []string, err error) {
	rows, err := h.Query(ctx, "SELECT count(*) FROM "+table+" WHERE state = '"+state+"'", 1)
	if err != nil {
		return 0, nil, err
	}
	if n, err = strconv.Atoi(fmt.Sprint(rows.Values[0][0])); err != nil || n == 0 {
		return 0, nil, err
	}
	rows, err = h.Query(ctx, "SELECT "+columns+" FROM "+table+" WHERE state = '"+state+"' ORDER BY "+by+" DESC LIMIT 1", 1)
	if err != nil || len(rows.Values) == 0 {
		return 0, nil, err
	}
	for _, v := range rows.Values[0] {
		newest = append(newest, fmt.Sprint(v))
	}
	return n, newest, nil
}

// testedBy is who was tested by what in which squad.
type testedBy struct{ athlete, squad, protocol string }

// lookedBack is how far tests are looked for.
const lookedBack = 62 * 24 * time.Hour

// lastTested returns when each athlete was tested last, within two months.
func lastTested(ctx context.Context, h history.Reader, now time.Time) (map[testedBy]time.Time, error) {
	last := map[testedBy]time.Time{}
	query := fmt.Sprintf("SELECT athlete, squad, protocol, max(start_ms) FROM tests WHERE start_ms >= %d GROUP BY athlete, squad, protocol", now.Add(-lookedBack).UnixMilli())
	rows, err := h.Query(ctx, query, 0)
	if err != nil {
		return nil, err
	}
	for _, v := range rows.Values {
		ms, err := strconv.ParseInt(fmt.Sprint(v[3]), 10, 64)
		if err != nil {
			return nil, err
		}
		last[testedBy{fmt.Sprint(v[0]), fmt.Sprint(v[1]), fmt.Sprint(v[2])}] = time.UnixMilli(ms)
	}
	return last, nil
}

// quietPlan says that a planned test's last times brought no test at all.
func quietPlan(tested map[testedBy]time.Time, cl *club.Club, p *club.Planned, now time.Time) ([]finding, error) {
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
	since := last[0].Time.Add(-24 * time.Hour)
	for by, at := range tested {
		if by.squad == p.Squad && by.protocol == p.Protocol && !at.Before(since) {
			return nil, nil
		}
	}
	return []finding{{
		About: "planned test", Place: p.ID,
		Text: fmt.Sprintf("its last %d times, since %s, brought no test of squad %s", quietSlots, last[0].Time.In(cl.Zone).Format("Mon 2006-01-02 15:04"), p.Squad),
		Do:   "is the season over (set to:), or are cron and time zone right?",
	}}, nil
}

// unseenAthletes names those of the club file who are in a squad that tests and
// have no test within eight weeks.
func unseenAthletes(tests map[testedBy]time.Time, cl *club.Club, now time.Time) []finding {
	seen, tested := map[string]bool{}, map[string]bool{}
	for by, at := range tests {
		if !at.Before(now.AddDate(0, 0, -56)) {
			seen[by.athlete], tested[by.squad] = true, true
		}
	}
	var names []string
	for i := range cl.Athletes {
		a := &cl.Athletes[i]
		if tested[a.SquadAt(now)] && !seen[a.ID] {
			names = append(names, a.ID)
		}
	}
	if len(names) == 0 {
		return nil
	}
	return []finding{{
		About: "history",
		Text:  fmt.Sprintf("%s of squads that test with no test for eight weeks: %s", count(len(names), "athlete"), named(names, 8)),
		Do:    "have they left (give their squad a to: day), or do their files go by another name?",
	}}
}

var count = schemas.Count

// named joins the first few of names and says how many more there are.
func named(names []string, few int) string {
	if len(names) <= few {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:few], ", "), len(names)-few)
}
