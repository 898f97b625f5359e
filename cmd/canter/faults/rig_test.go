//go:build linux

package faults_test

import (
	"context"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"canter.example/alerts"
	"canter.example/alerts/chat/chattest"
	"canter.example/cmd/canter/season"
	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/schemas/history"
	"canter.example/schemas/history/historytest"
	"canter.example/scorer"
	"github.com/ClickHouse/clickhouse-go/v2"
)

// rig is an installation: a club with its folders, and the processes that see
// to them.
type rig struct {
	t       *testing.T
	dir     string
	club    string
	data    string
	history string
	chat    *chattest.Server
	broker  broker.Config
	nats    []*natsServer
	click   *historytest.Server
	serves  []*process
	dropped map[schemas.FileID]bool
	// except is a word in paths whose results are not compared, "" for none.
	except string
}

// setup changes an installation before it starts.
type setup struct {
	// yaml replaces text of the club file.
	yaml []string
	chat chattest.Options
	data string
	// nats is how many NATS servers there are, for processes apart.
	nats int
	args []string
	// scorers and alerts are how many processes of these roles there are; 0 is 1.
	scorers, alerts int
}

func newRig(t *testing.T, s *season.Season, o setup) *rig {
	t.Helper()
	r := &rig{t: t, dir: t.TempDir(), dropped: map[schemas.FileID]bool{}}
	r.data = o.data
	if r.data == "" {
		r.data = filepath.Join(r.dir, "data")
	}
	o.chat.Channels = []string{"staff", "first-squad", "second-squad"}
	r.chat = chattest.Start(o.chat)
	t.Cleanup(r.chat.Close)
	r.writeClub(s, o.yaml)
	return r
}

func (r *rig) writeClub(s *season.Season, replace []string) {
	r.t.Helper()
	yaml := string(s.ClubYAML)
	for _, pair := range [][2]string{
		{"\nchat:\n", "\nchat:\n  hold: 3s\n"},
		{"  kind: terminal\n", "  kind: slack\n  token_env: CANTER_TEST_CHAT_TOKEN\n  api_url: " + r.chat.URL() + "\n"},
	} {
		if !strings.Contains(yaml, pair[0]) {
			r.t.Fatalf("the season's club file has no %q", pair[0])
		}
		yaml = strings.Replace(yaml, pair[0], pair[1], 1)
	}
	if !strings.Contains(yaml, "\nthresholds:") {
		yaml += "\nthresholds:\n  tell_within: 36500d\n"
	} else {
		yaml = strings.Replace(yaml, "\nthresholds:\n", "\nthresholds:\n  tell_within: 36500d\n", 1)
	}
	if !strings.Contains(yaml, "\nfiles:") {
		yaml += "\nfiles:\n  settle: 100ms\n  rescan: 1s\n"
	}
	yaml = strings.NewReplacer(replace...).Replace(yaml)
	r.club = filepath.Join(r.dir, "club.yaml")
	for name, content := range map[string][]byte{"club.yaml": []byte(yaml), "athletes.csv": s.AthletesCSV} {
		if err := os.WriteFile(filepath.Join(r.dir, name), content, 0o600); err != nil {
			r.t.Fatal(err)
		}
	}
	for _, inbox := range []string{"inbox/first", "inbox/second"} {
		if err := os.MkdirAll(filepath.Join(r.dir, inbox), 0o755); err != nil {
			r.t.Fatal(err)
		}
	}
}

func (r *rig) serve(name string, args ...string) *process {
	r.t.Helper()
	p := newServe(r.t, name, append([]string{"--club", r.club, "--data", r.data, "--ack-wait", "3s"}, args...)...)
	p.env = []string{"CANTER_TEST_CHAT_TOKEN=" + chattest.Token}
	r.serves = append(r.serves, p)
	return p
}

// oneProcess is the embedded form.
func oneProcess(t *testing.T, s *season.Season, o setup) *rig {
	t.Helper()
	r := newRig(t, s, o)
	r.history = filepath.Join(r.data, "history.db")
	r.serve("canter", o.args...)
	return r
}

// apart is the form with a process a role, NATS and ClickHouse.
func apart(t *testing.T, s *season.Season, o setup) *rig {
	t.Helper()
	r := newRig(t, s, o)
	r.click = historytest.NewServer(t)
	r.history = r.click.Address("canter")
	r.nats = startNATS(t, max(o.nats, 1))
	r.broker.URL = urls(r.nats)
	common := append([]string{"--nats", r.broker.URL, "--history", r.history}, o.args...)
	for range max(o.scorers, 1) {
		r.serve("scorer", append(common, "--roles", "scorer")...)
	}
	for range max(o.alerts, 1) {
		r.serve("alerts", append(common, "--roles", "alerts")...)
	}
	r.serve("ingest", append(common, "--roles", "ingest")...)
	return r
}

// start starts all and waits until they are ready.
func (r *rig) start() *rig {
	r.t.Helper()
	for _, p := range r.serves {
		p.start()
		p.waitReady() // in order: the first makes tables and streams
	}
	return r
}

func (r *rig) stop() {
	r.t.Helper()
	for _, p := range r.serves {
		p.stop()
	}
}

// drop puts files into their folders.
func (r *rig) drop(files ...season.File) {
	r.t.Helper()
	for _, f := range files {
		path := filepath.Join(r.dir, filepath.FromSlash(f.Path))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			r.t.Fatal(err)
		}
		if err := os.WriteFile(path, f.Content, 0o644); err != nil {
			r.t.Fatal(err)
		}
		r.dropped[schemas.NewFileID(f.Content)] = true
	}
}

// all are the files of a season in order of time.
func all(s *season.Season) []season.File {
	var files []season.File
	for _, d := range s.Days {
		files = append(files, d.Files...)
	}
	return files
}

// open connects to the broker that the processes use.
func (r *rig) open() (*broker.Broker, error) {
	cfg := r.broker
	if cfg.URL == "" {
		addr, running := broker.Running(r.data)
		if !running {
			return nil, os.ErrNotExist
		}
		cfg.URL, cfg.Token = addr.URL, addr.Token
	}
	cfg.Join = true
	return broker.Open(r.t.Context(), cfg)
}

// settled waits until everything that was dropped is in history and nothing is
// left to do. Processes that end are started again.
func (r *rig) settled(limit time.Duration) {
	r.t.Helper()
	log := slog.New(slog.DiscardHandler)
	work := []broker.Work{scorer.Work(1, log), alerts.WorkTests(1, log), alerts.WorkSquads(1, log), alerts.WorkChat(log)}
	idle := func() bool {
		b, err := r.open()
		if err != nil {
			return false
		}
		defer b.Close()
		ctx, cancel := context.WithTimeout(r.t.Context(), 10*time.Second)
		defer cancel()
		ok, err := b.Idle(ctx, work...)
		return ok && err == nil
	}
	var have int
	limit *= slack
	deadline := time.Now().Add(limit)
	for time.Now().Before(deadline) {
		for _, p := range r.serves {
			p.revive()
		}
		rows, err := r.try("SELECT count(*) FROM files")
		if err == nil && len(rows) == 1 {
			have = int(number(rows[0][0]))
		}
		if have >= len(r.dropped) && idle() && r.outboxEmpty() {
			return
		}
		time.Sleep(100 * time.Millisecond)
	}
	r.t.Fatalf("after %s %d of %d files are in history, or work is left; differences:\n%s", limit, have, len(r.dropped), r.missing())
}

// outboxEmpty reports whether every message has gone out or was refused: what
// must wait for its channel's turn waits in the outbox, and no queue knows of it.
func (r *rig) outboxEmpty() bool {
	rows, err := r.try("SELECT count(*) FROM messages WHERE state = 'pending'")
	return err == nil && len(rows) == 1 && number(rows[0][0]) == 0
}

// missing names the files that history does not have.
func (r *rig) missing() string {
	rows, err := r.try("SELECT file_id FROM files")
	if err != nil {
		return err.Error()
	}
	there := map[schemas.FileID]bool{}
	for _, row := range rows {
		there[schemas.FileID(row[0])] = true
	}
	var lines []string
	_ = filepath.WalkDir(filepath.Join(r.dir, "inbox"), func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return nil
		}
		if b, err := os.ReadFile(path); err == nil && !there[schemas.NewFileID(b)] {
			lines = append(lines, "not in history: "+strings.TrimPrefix(path, r.dir+"/"))
		}
		return nil
	})
	return strings.Join(lines[:min(len(lines), 20)], "\n")
}

// try runs a query and returns its rows as text.
func (r *rig) try(query string) ([][]string, error) {
	h, err := history.OpenReader(r.t.Context(), r.history)
	if err != nil {
		return nil, err
	}
	defer func() { _ = h.Close() }()
	rows, err := h.Query(r.t.Context(), query, 0)
	if err != nil {
		return nil, err
	}
	return cells(rows), nil
}

func (r *rig) ask(query string) [][]string {
	r.t.Helper()
	rows, err := r.try(query)
	if err != nil {
		r.t.Fatalf("%s: %v", query, err)
	}
	return rows
}

// canter runs a command and returns what it prints.
func (r *rig) canter(args ...string) string {
	r.t.Helper()
	cmd := exec.Command(program, args...)
	cmd.Dir = r.dir
	out, err := cmd.CombinedOutput()
	if err != nil {
		r.t.Fatalf("canter %v: %v\n%s", args, err, out)
	}
	return string(out)
}

// exec runs a statement on ClickHouse as it stands.
func (r *rig) exec(sql string) {
	r.t.Helper()
	options, err := clickhouse.ParseDSN(r.history)
	if err != nil {
		r.t.Fatal(err)
	}
	conn, err := clickhouse.Open(options)
	if err != nil {
		r.t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	if err := conn.Exec(r.t.Context(), sql); err != nil {
		r.t.Fatalf("%s: %v", sql, err)
	}
}
