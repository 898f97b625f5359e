package main

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"canter.example/alerts/chat/chattest"
	"canter.example/cmd/canter/season"
	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/schemas/broker/brokertest"
	"canter.example/schemas/history/historytest"
	"github.com/google/go-cmp/cmp"
)

// handled waits until history holds the given number of files and all that
// follows from them is done.
func (p *process) handled(address string, at broker.Config, files int) {
	p.t.Helper()
	p.eventually("all files handled", func() bool {
		return len(answer(p.t, address, "SELECT file_id FROM files")) >= files
	})
	if at.URL == "" {
		addr, running := broker.Running(at.Dir)
		if !running {
			p.t.Fatalf("no broker runs on %s", at.Dir)
		}
		at.URL, at.Token = addr.URL, addr.Token
	}
	at.Join = true
	b, err := broker.Open(p.t.Context(), at)
	if err != nil {
		p.t.Fatal(err)
	}
	defer b.Close()
	// A machine that does much else is slow, not wrong.
	ctx, cancel := context.WithTimeout(p.t.Context(), 5*time.Minute)
	defer cancel()
	if err := (&pipeline{broker: b, log: slog.New(slog.DiscardHandler)}).settled(ctx); err != nil {
		p.t.Fatalf("%v; log:\n%s", err, tail(p.log.String(), 40))
	}
}

// TestADroppedFileBecomesAMessage is the main job: five unremarkable weeks, then
// the week in which somebody falls ill.
func TestADroppedFileBecomesAMessage(t *testing.T) {
	s, err := season.New(season.Options{Weeks: 6})
	if err != nil {
		t.Fatal(err)
	}
	dir, clubFile := clubDir(t, s)
	data := filepath.Join(dir, "data")
	p := serve(t, "--club", clubFile, "--data", data)
	ill := ""
	for _, st := range s.Story {
		if strings.Contains(st.What, "ill") && st.FromWeek == 6 {
			ill = st.Athlete
		}
	}
	if ill == "" {
		t.Fatal("nobody falls ill in week 6: the season's story has changed, change this test with it")
	}
	var last *season.File
	n := 0
	for _, day := range s.Days {
		for i, f := range day.Files {
			if len(f.Truth) == 1 && f.Truth[0].Athlete == ill && f.Truth[0].Test {
				last = &day.Files[i]
			}
		}
	}
	for _, day := range s.Days {
		for _, f := range day.Files {
			if f.Path != last.Path {
				drop(t, dir, f)
				n++
			}
		}
	}
	p.handled(filepath.Join(data, "history.db"), broker.Config{Dir: data}, n)
	about := "about the ill athlete's test"
	query := "SELECT rule FROM alerts WHERE athlete = '" + ill + "' AND told = 1 AND rule LIKE '%hrex%'"
	if got := answer(t, filepath.Join(data, "history.db"), query); len(got) != 0 {
		t.Errorf("already told %s before it came: %v", about, got)
	}
	drop(t, dir, *last)
	p.eventually("told "+about, func() bool {
		return len(answer(t, filepath.Join(data, "history.db"), query)) == 1
	})
	p.eventually("printed", func() bool { return strings.Contains(p.out.String(), "medical") })
	_, metrics := p.page("/metrics")
	for _, want := range []string{
		fmt.Sprintf("canter_ingest_files_total{result=\"published\"} %d\n", n+1),
		fmt.Sprintf("canter_file_handling_seconds_count %d\n", n+1),
		"canter_queue_messages{queue=\"files\",state=\"waiting\"} 0\n",
		"canter_ready 1\n",
	} {
		if !strings.Contains(metrics, want) {
			t.Errorf("/metrics lacks %q in\n%s", want, metrics)
		}
	}
	if told := regexp.MustCompile(`canter_alert_delay_seconds_count [1-9]`); !told.MatchString(metrics) {
		t.Errorf("/metrics has no delay of a message:\n%s", metrics)
	}
	p.stop()
}

// TestEveryBrokenInputIsParkedWithAReasonAndNoneStopsTheService, as a folder of
// them is dropped at once.
func TestEveryBrokenInputIsParkedWithAReasonAndNoneStopsTheService(t *testing.T) {
	s, err := season.New(season.Options{Weeks: 1})
	if err != nil {
		t.Fatal(err)
	}
	dir, clubFile := clubDir(t, s)
	history := filepath.Join(dir, "data", "history.db")
	p := serve(t, "--club", clubFile, "--data", filepath.Join(dir, "data"))
	broken := season.Broken()
	if len(broken) < 25 {
		t.Fatalf("only %d broken inputs", len(broken))
	}
	drop(t, dir, broken...)
	distinct := map[schemas.FileID]bool{}
	for _, f := range broken {
		distinct[schemas.NewFileID(f.Content)] = true
	}
	p.handled(history, broker.Config{Dir: filepath.Join(dir, "data")}, len(distinct))
	for _, line := range answer(t, history, "SELECT path, state, reason FROM files WHERE state <> 'parked' OR length(reason) < 15 ORDER BY path") {
		t.Errorf("not parked with a reason: %s", line)
	}
	drop(t, dir, s.Days[0].Files...)
	p.eventually("good files scored after the broken ones", func() bool {
		return len(answer(t, history, "SELECT file_id FROM files WHERE state = 'scored'")) > 10
	})
	p.stop()
}

// TestAKilledServiceGoesOnWhereItWas: killed in the middle, started again, the
// result is that of an undisturbed run, and the chat's own record has every
// message exactly once.
func TestAKilledServiceGoesOnWhereItWas(t *testing.T) {
	s, err := season.New(season.Options{Weeks: 6})
	if err != nil {
		t.Fatal(err)
	}
	var runs [2][]string
	for i, disturbed := range []bool{false, true} {
		dir, clubFile := clubDir(t, s)
		chat := slackFor(t, clubFile)
		data := filepath.Join(dir, "data")
		p := serve(t, "--club", clubFile, "--data", data)
		n := 0
		for _, day := range s.Days {
			drop(t, dir, day.Files...)
			n += len(day.Files)
			if disturbed && n > 40 && n < 120 {
				time.Sleep(150 * time.Millisecond) // somewhere in the middle of its work
				p.kill()
				p = serve(t, "--club", clubFile, "--data", data)
			}
		}
		p.handled(filepath.Join(data, "history.db"), broker.Config{Dir: data}, n)
		p.stop()
		runs[i] = results(t, filepath.Join(data, "history.db"))
		sent := answer(t, filepath.Join(data, "history.db"), "SELECT message_id FROM messages WHERE state = 'sent' AND says NOT LIKE '%\"turn\":\"changed\"%' ORDER BY message_id")
		var posted []string
		for _, m := range chat.Posted() {
			id := m.ID
			if len(m.Files) > 0 {
				id, _, _ = strings.Cut(m.Files[0].Name, "-") // what is shown as a file bears no metadata
			}
			posted = append(posted, id)
		}
		slices.Sort(posted)
		if len(sent) == 0 {
			t.Error("nothing was told")
		}
		if d := cmp.Diff(sent, posted); d != "" {
			t.Errorf("disturbed %v: history's record and the chat's differ (-history +chat):\n%s", disturbed, d)
		}
	}
	if d := cmp.Diff(runs[0], runs[1]); d != "" {
		t.Errorf("undisturbed and killed runs differ (-undisturbed +killed):\n%s", d)
	}
}

// slackFor makes a club file tell a local server that speaks the Web API.
func slackFor(t *testing.T, clubFile string) *chattest.Server {
	t.Helper()
	server := chattest.Start(chattest.Options{Channels: []string{"staff", "first-squad", "second-squad"}})
	t.Cleanup(server.Close)
	t.Setenv("CANTER_TEST_CHAT_TOKEN", chattest.Token)
	b, err := os.ReadFile(clubFile)
	if err != nil {
		t.Fatal(err)
	}
	const terminal = "  kind: terminal\n"
	if !strings.Contains(string(b), terminal) {
		t.Fatal("the season's club file has no terminal chat to replace")
	}
	slack := "  kind: slack\n  token_env: CANTER_TEST_CHAT_TOKEN\n  api_url: " + server.URL() + "\n"
	if err := os.WriteFile(clubFile, []byte(strings.Replace(string(b), terminal, slack, 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	return server
}

// results are the outcomes, assessments and alerts of a history, without what
// rightly differs between runs: versions, the time a file was seen, and alerts
// that did not last: which ones came up in between depends on the order of
// arrival.
func results(t *testing.T, address string) []string {
	t.Helper()
	var out []string
	for _, q := range []string{
		`SELECT path, state, reason, tests_found, traces_found FROM files ORDER BY path`,
		`SELECT test_id, athlete, session, start_ms, start_source, round(start_confidence, 6), round(hrex_bpm, 6), round(hrex_pct, 6), round(hrr60_bpm, 6),
		        round(coverage, 6), quality, reasons, staff FROM tests ORDER BY test_id`,
		`SELECT test_id, measure, seconds, state, baseline_n, round(baseline_mean, 6), round(sd_used, 6), round(z, 6), round(change, 6), rules FROM assessments ORDER BY test_id, measure, seconds`,
		`SELECT athlete, local_date, start_ms, part, round(minutes, 6), round(trimp, 6), round(edwards, 6), counts FROM loads ORDER BY athlete, start_ms, file_id, part`,
		`SELECT athlete, local_date, sessions, round(minutes, 6), round(coverage, 6), round(trimp, 6) FROM athlete_days ORDER BY athlete, local_date`,
		`SELECT test_id, sessions_3d, round(minutes_3d, 6), round(trimp_3d, 6), sessions_7d, round(coverage_7d, 6), round(trimp_7d, 6), round(edwards_7d, 6) FROM tests_with_load ORDER BY test_id`,
		`SELECT athlete, squad, local_date, series, round(value, 6), unit FROM daily_series ORDER BY athlete, squad, local_date, series`,
		`SELECT alert_id, rule, athlete, state, told, text FROM alerts WHERE rule <> 'file-parked' AND state <> 'withdrawn' ORDER BY alert_id`,
	} {
		rows := answer(t, address, q)
		if len(rows) == 0 {
			t.Errorf("no rows: %s", q)
		}
		out = append(out, rows...)
	}
	return out
}

// TestThreeProcessesDoTheJobOfOne: ingest, scorer and alerts as processes of
// their own, with Debian's NATS server and ClickHouse, over the demo's season.
func TestThreeProcessesDoTheJobOfOne(t *testing.T) {
	s, err := season.New(season.Options{})
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, day := range s.Days {
		n += len(day.Files)
	}
	dropAll := func(dir string) {
		for _, day := range s.Days {
			drop(t, dir, day.Files...)
		}
	}

	dir, clubFile := clubDir(t, s)
	one := filepath.Join(dir, "data", "history.db")
	p := serve(t, "--club", clubFile, "--data", filepath.Join(dir, "data"))
	dropAll(dir)
	p.handled(one, broker.Config{Dir: filepath.Join(dir, "data")}, n)
	p.stop()

	dir, clubFile = clubDir(t, s)
	nats, three := brokertest.NATS(t), historytest.ClickHouse(t)
	common := []string{"--club", clubFile, "--nats", nats, "--history", three, "--roles"}
	scorer := serve(t, append(common, "scorer")...)
	alerts := serve(t, append(common, "alerts")...)
	ingest := serve(t, append(common, "ingest")...)
	dropAll(dir)
	alerts.handled(three, broker.Config{URL: nats}, n)
	for _, p := range []*process{ingest, scorer, alerts} {
		p.stop()
	}
	// The folder differs between the two runs, and with it what is said of paths.
	got := strings.ReplaceAll(strings.Join(results(t, three), "\n"), dir, "DIR")
	want := strings.Join(results(t, one), "\n")
	if d := cmp.Diff(strings.Split(want, "\n"), strings.Split(got, "\n")); d != "" {
		t.Errorf("one process and three differ (-one +three):\n%s", d)
	}
	session := answer(t, one, "SELECT session FROM tests ORDER BY start_ms DESC LIMIT 1")[0]
	if d := cmp.Diff(reportOf(t, one, session, clubFile), reportOf(t, three, session, clubFile)); d != "" {
		t.Errorf("the report reads differently from SQLite and ClickHouse (-SQLite +ClickHouse):\n%s", d)
	}
}

// reportOf is a session's report, line by line, without when it was made.
func reportOf(t *testing.T, history, session, clubFile string) []string {
	t.Helper()
	code, out, complaint := typed(t, "report", "--session", session, "--club", clubFile, "--history", history, "--out", "-")
	if code != 0 || !strings.Contains(out, "</html>") {
		t.Fatalf("report from %s: exit %d: %s", history, code, complaint)
	}
	return strings.Split(regexp.MustCompile(`Made by canter, [^.]*\.`).ReplaceAllString(out, ""), "\n")
}

func TestRolesApartNeedABroker(t *testing.T) {
	s, err := season.New(season.Options{Weeks: 1})
	if err != nil {
		t.Fatal(err)
	}
	_, clubFile := clubDir(t, s)
	var out, log lockedBuffer
	code := run(t.Context(), []string{"serve", "--club", clubFile, "--roles", "scorer"}, streams{out: &out, err: &log})
	if code != exitUsage || !strings.Contains(log.String(), "--nats") {
		t.Errorf("exit %d, said %q", code, log.String())
	}
	_ = os.Remove("canter-data")
}
