package main

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"canter.example/alerts/chat/chattest"
	"canter.example/cmd/canter/season"
)

// tokenEnv is where the service finds the token of the chat server below.
const tokenEnv = "CANTER_SPEED_CHAT_TOKEN" //nolint:gosec // a variable of the environment, not a token

// party is an invented club of athletes alike, whose last test is made to
// deserve a look.
type party struct {
	squads, each int
	// last is the day of the last test; five weekly ones are before it.
	last time.Time
}

// weeks of tests before the last.
const weeks = 6

func (p *party) athlete(squad, i int) string { return fmt.Sprintf("S%02dA%02d", squad, i) }

// channels are one a squad: a chat takes about a message a second in each.
func (p *party) channels() []string {
	out := []string{"staff"}
	for s := range p.squads {
		out = append(out, fmt.Sprintf("s%02d", s))
	}
	return out
}

// club is the club file, with a chat server's address.
func (p *party) club(server, hold string) []byte {
	var b strings.Builder
	b.WriteString("club: Speedwell Rovers\ntime_zone: UTC\nathletes:\n  list:\n")
	for s := range p.squads {
		for i := range p.each {
			id := p.athlete(s, i)
			_, _ = fmt.Fprintf(&b, "    - {id: %s, name: %s, hrmax: 200, hrrest: 55, squad: s%02d}\n", id, id, s)
		}
	}
	b.WriteString("squads:\n")
	for s := range p.squads {
		_, _ = fmt.Fprintf(&b, "  - {id: s%02d, name: Squad %d, channel: \"#s%02d\"}\n", s, s, s)
	}
	b.WriteString(`folders:
  - path: inbox
    pattern: "{squad}/{date}/{athlete}.*"
protocols:
  - {id: run, name: 4 min, regimen: continuous, progression: fixed, duration: 4m, hrex: "final-mean:60s", recovery: [60s], posture: standing}
privacy:
  chat_names: id
files:
  settle: 100ms
  rescan: 10s
chat:
  kind: slack
  channel: "#staff"
`)
	_, _ = fmt.Fprintf(&b, "  token_env: %s\n  api_url: %s\n  hold: %s\n", tokenEnv, server, hold)
	return []byte(b.String())
}

// trace is a recording with one test: standing, four minutes' run that ends
// near hr, standing again. Noise keeps files of one athlete apart.
func (p *party) trace(squad, i int, day time.Time, hr float64) season.File {
	id := p.athlete(squad, i)
	noise := rand.New(rand.NewPCG(uint64(day.Unix()), uint64(squad*1000+i))) //nolint:gosec // not a secret
	hr += noise.NormFloat64() * 1.5
	var b strings.Builder
	b.WriteString("time,heart_rate\n")
	begin := day.Add(9 * time.Hour)
	now := 92.0
	for s := range 12 * 60 {
		target, tau := 92.0, 45.0
		if s >= 180 && s < 420 {
			target, tau = hr, 28
		}
		now += (target - now) * (1 - math.Exp(-1/tau))
		_, _ = fmt.Fprintf(&b, "%s,%d\n", begin.Add(time.Duration(s)*time.Second).Format(time.RFC3339), int(math.Round(now+noise.NormFloat64()*0.6)))
	}
	return season.File{Path: fmt.Sprintf("inbox/s%02d/%s/%s.csv", squad, day.Format(time.DateOnly), id), Content: []byte(b.String())}
}

// begin starts a service over a history of unremarkable weeks.
func (b *bench) begin(ctx context.Context, p *party, name, hold string, chat *chattest.Server) (*service, string, error) {
	dir := filepath.Join(b.dir, name)
	files := []season.File{{Path: "club.yaml", Content: p.club(chat.URL(), hold)}}
	n := 0
	for w := weeks; w >= 1; w-- {
		for s := range p.squads {
			for i := range p.each {
				files = append(files, p.trace(s, i, p.last.AddDate(0, 0, -7*w), 160))
				n++
			}
		}
	}
	if err := write(dir, files...); err != nil {
		return nil, "", err
	}
	svc, _, err := b.serve(ctx, dir, tokenEnv+"="+chattest.Token)
	if err != nil {
		return nil, "", err
	}
	if _, err := svc.handled(ctx, n); err != nil {
		svc.stop()
		return nil, "", err
	}
	return svc, dir, nil
}

// latency drops files that each deserve a message at 20 a second, whatever the
// service does, and measures from each file's being closed to the chat's
// getting a message that names its athlete, without the settle time.
func (b *bench) latency(ctx context.Context) error {
	p := &party{squads: 50, each: 4, last: yesterday()}
	chat := chattest.Start(chattest.Options{Channels: p.channels()})
	defer chat.Close()
	svc, dir, err := b.begin(ctx, p, "latency", "never", chat)
	if err != nil {
		return err
	}
	defer svc.stop()
	closed := map[string]time.Time{}
	tick := time.NewTicker(time.Second / 20)
	defer tick.Stop()
	for i := range p.each {
		for s := range p.squads {
			f := p.trace(s, i, p.last, 178)
			<-tick.C
			if err := write(dir, f); err != nil {
				return err
			}
			closed[p.athlete(s, i)] = time.Now()
		}
	}
	told, err := p.told(ctx, chat, closed)
	if err != nil {
		return fmt.Errorf("%w\n%s", err, svc.log)
	}
	var waits []time.Duration
	for id, at := range told {
		waits = append(waits, at.Sub(closed[id])-settle)
	}
	b.add(fmt.Sprintf("20 files/s, each closed → its message at the chat (hold: never, settle not counted), %d files", len(waits)),
		fmt.Sprintf("p50 %.0f ms, p99 %.0f ms", ms(median(waits)), ms(quantile(waits, 0.99))), "p99 ≤ 250 ms", quantile(waits, 0.99) <= 250*time.Millisecond)
	return nil
}

const settle = 100 * time.Millisecond

// session drops the files of 40 athletes at once into a chat that takes a
// message a second in each channel.
func (b *bench) session(ctx context.Context) error {
	p := &party{squads: 1, each: 40, last: yesterday()}
	chat := chattest.Start(chattest.Options{Channels: p.channels(), Pace: time.Second})
	defer chat.Close()
	svc, dir, err := b.begin(ctx, p, "session", "1500ms", chat)
	if err != nil {
		return err
	}
	defer svc.stop()
	before := len(chat.Posted())
	looked := map[string]time.Time{}
	var files []season.File
	for i := range p.each {
		hr := 160.0
		if i%8 == 0 {
			hr = 178
		}
		files = append(files, p.trace(0, i, p.last, hr))
	}
	if err := write(dir, files...); err != nil {
		return err
	}
	closed := time.Now()
	for i := 0; i < p.each; i += 8 {
		looked[p.athlete(0, i)] = closed
	}
	told, err := p.told(ctx, chat, looked)
	if err != nil {
		return fmt.Errorf("%w\n%s", err, svc.log)
	}
	if _, err := svc.handled(ctx, p.each*(weeks+1)); err != nil {
		return err
	}
	posted := chat.Posted()[before:]
	var waits []time.Duration
	for _, at := range told {
		waits = append(waits, at.Sub(closed)-settle)
	}
	last := quantile(waits, 1)
	n := 0
	for _, m := range posted {
		if m.ThreadTS == "" {
			n++
		}
	}
	b.add(fmt.Sprintf("40 athletes at once, 5 of them remarkable, 1 message/s (hold 1.5 s): %d messages, %d answers in threads", n, len(posted)-n),
		fmt.Sprintf("p50 %.1f s, p99 %.1f s after the last file", median(waits).Seconds(), last.Seconds()), "≤ 2 messages, ≤ 5 s", n <= 2 && last <= 5*time.Second)
	return nil
}

func yesterday() time.Time { return time.Now().UTC().Truncate(24*time.Hour).AddDate(0, 0, -1) }

// told waits until messages have named the athletes and returns when the first
// one of each did. One in twenty may stay unnamed: by chance a test may be no
// news beside its own noise.
func (p *party) told(ctx context.Context, chat *chattest.Server, want map[string]time.Time) (map[string]time.Time, error) {
	ctx, cancel := context.WithTimeout(ctx, 15*time.Second)
	defer cancel()
	told := map[string]time.Time{}
	for {
		posts := chat.Posted()
		for _, m := range posts {
			at, err := stamp(m.TS)
			if err != nil {
				return nil, err
			}
			for id, closed := range want {
				if _, known := told[id]; !known && at.After(closed) && strings.Contains(m.Plain(), id) {
					told[id] = at
				}
			}
		}
		if len(told) == len(want) {
			return told, nil
		}
		select {
		case <-ctx.Done():
			if len(told) < len(want)*19/20 {
				return nil, fmt.Errorf("only %d of %d athletes were named in chat", len(told), len(want))
			}
			return told, nil
		case <-time.After(100 * time.Millisecond):
		}
	}
}

// stamp reads a message's time, seconds with a fraction.
func stamp(ts string) (time.Time, error) {
	seconds, err := strconv.ParseFloat(ts, 64)
	if err != nil {
		return time.Time{}, err
	}
	return time.UnixMicro(int64(seconds * 1e6)), nil
}
