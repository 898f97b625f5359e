//go:build linux

package faults_test

import (
	"context"
	"log/slog"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"canter.example/alerts"
	"canter.example/alerts/chat"
	"canter.example/ingest"
	"canter.example/ingest/formats"
	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/schemas/club"
	"canter.example/schemas/history"
	"canter.example/scorer"
	"golang.org/x/sync/errgroup"
)

// testClock lets the clock of all three stages jump. Go reads the clock without
// the C library, so nothing can be put before a real process, and the machine's
// own clock is not a test's to turn: the stages run in this process, with a
// clock of its own. It is a harder clock than a machine's, since differences
// jump with it.
func testClock(t *testing.T) {
	fault(t, "clock jumps", "results do not depend on the clock; nothing stands still, nothing is doubled", func(t *testing.T) (string, string) {
		u := plain(t, 6)
		r := newRig(t, u.season, setup{})
		r.history = filepath.Join(r.data, "history.db")
		var off atomic.Int64
		now := func() time.Time { return time.Now().Add(time.Duration(off.Load())) }
		stop := r.inProcess(now)
		jumps := []time.Duration{time.Hour, -time.Hour, 26 * time.Hour, -3 * time.Hour, -400 * 24 * time.Hour, 0}
		files := all(u.season)
		for i, d := range jumps {
			r.drop(files[len(files)*i/len(jumps) : len(files)*(i+1)/len(jumps)]...)
			time.Sleep(60 * time.Millisecond) // with files not quiet yet, others in hand
			off.Store(int64(d))
			time.Sleep(400 * time.Millisecond)
		}
		r.settled(2 * time.Minute)
		seen := r.sound(u)
		stop()
		return "the clock an hour ahead, an hour back, a day ahead, three hours back, 400 days back, right again, while files arrived", seen
	})
}

// inProcess runs the stages in this process with a clock, and returns what stops
// them.
func (r *rig) inProcess(now func() time.Time) (stop func()) {
	r.t.Helper()
	check := func(err error) {
		r.t.Helper()
		if err != nil {
			r.t.Fatal(err)
		}
	}
	c, err := club.Load(r.club)
	check(err)
	b, err := broker.Open(r.t.Context(), broker.Config{Dir: r.data})
	check(err)
	h, err := history.Open(r.t.Context(), r.history)
	check(err)
	log := slog.New(slog.DiscardHandler)
	cfg := ingest.Config{Settle: c.Files.Settle, Rescan: c.Files.Rescan, MaxSize: c.Files.MaxSize, Log: log, Now: now}
	for _, w := range c.Watched() {
		cfg.Folders = append(cfg.Folders, ingest.Folder{Path: w.Folder.Path, Squad: w.Squad})
	}
	decode := func(name string, content []byte, zone *time.Location, date time.Time) ([]schemas.Trace, string, error) {
		return formats.Decode(name, content, formats.Options{Zone: zone, Date: date})
	}
	series := func(name string, content []byte, zone *time.Location, date time.Time) ([]schemas.SeriesRow, bool, error) {
		return formats.DecodeSeries(name, content, formats.Options{Zone: zone, Date: date})
	}
	poster := chat.NewSlack(chat.SlackConfig{Token: "test-token-of-nobody", APIURL: r.chat.URL(), Now: now})
	ctx, cancel := context.WithCancel(context.Background())
	g, ctx := errgroup.WithContext(ctx)
	g.Go(func() error { return ingest.New(cfg, b).Run(ctx) })
	g.Go(func() error {
		return scorer.New(scorer.Config{Club: c, Decode: decode, Series: series, Workers: 4, Log: log, Now: now}, b, h).Run(ctx)
	})
	g.Go(func() error {
		return alerts.New(alerts.Config{Club: c, Chat: poster, Workers: 4, Log: log, Now: now}, b, h).Run(ctx)
	})
	stopped := false
	stop = func() {
		if stopped {
			return
		}
		stopped = true
		cancel()
		if err := g.Wait(); err != nil {
			r.t.Error(err)
		}
		_ = h.Close()
		b.Close()
	}
	r.t.Cleanup(stop)
	return stop
}
