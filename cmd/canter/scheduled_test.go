package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/broker/brokertest"
	"canter.example/schemas/history"
	"canter.example/schemas/history/historytest"
)

// clockworkClub has a test planned an hour ago, whose reminder is due since half
// an hour, and digests that were due a quarter of an hour ago.
const clockworkClub = `club: Clockwork Rovers
time_zone: UTC
athletes:
  - {id: A1, name: Ada Quill, squad: first}
  - {id: B2, name: Bo Fenwick, squad: first}
squads:
  - {id: first, name: First squad, channel: "#first-squad", folders: [inbox]}
protocols:
  - {id: run, duration: 4m}
planned:
  - {id: daily, squad: first, protocol: run, cron: "%[1]s", remind_after: 30m}
digest:
  weekly: "%[2]s"
  monthly: "%[2]s"
chat:
  kind: terminal
  channel: "#staff"
`

// TestWhatIsScheduledIsToldOnceByManyProcesses: three processes of the alerts
// role come up at once, after the time of a reminder and of both digests, on
// Debian's nats-server and ClickHouse; then one of them is killed and comes back.
func TestWhatIsScheduledIsToldOnceByManyProcesses(t *testing.T) {
	now := time.Now().UTC()
	at := func(ago time.Duration) string {
		x := now.Add(-ago)
		return fmt.Sprintf("%d %d * * *", x.Minute(), x.Hour())
	}
	dir := t.TempDir()
	clubFile := filepath.Join(dir, "club.yaml")
	if err := os.WriteFile(clubFile, fmt.Appendf(nil, clockworkClub, at(time.Hour), at(15*time.Minute)), 0o600); err != nil {
		t.Fatal(err)
	}
	nats, address := brokertest.NATS(t), historytest.ClickHouse(t)
	h, err := history.Open(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	// A test in the last week and one in the last month: there is something to say.
	for i, start := range []time.Time{now.AddDate(0, 0, -7), time.Date(now.Year(), now.Month(), 1, 10, 0, 0, 0, time.UTC).AddDate(0, 0, -10)} {
		f := schemas.File{ID: schemas.NewFileID([]byte{byte(i)}), Origin: schemas.Origin{Folder: "inbox", Path: fmt.Sprintf("%d.fit", i), Seen: start}, State: schemas.FileScored, Version: 1}
		o := schemas.Outcome{
			TestID: schemas.NewTestID(f.ID, "", "run", 0), FileID: f.ID, Athlete: "A1", Squad: "first", Protocol: "run", Start: start, Duration: 4 * time.Minute,
			Session: schemas.SessionID("first", "run", start.Format(time.DateOnly)), Quality: schemas.Good, HRexBPM: schemas.Num(150), Coverage: 1, Version: 1,
		}
		if err := h.SaveFile(t.Context(), f, []schemas.Outcome{o}, nil); err != nil {
			t.Fatal(err)
		}
	}
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
	// Each with a folder of its own, as on machines of their own.
	alertsRole := func() *process {
		return launch(t, "--club", clubFile, "--nats", nats, "--history", address, "--data", t.TempDir(), "--roles", "alerts")
	}
	var all []*process
	for range 3 {
		all = append(all, alertsRole())
	}
	said := func(p *process) string { return p.out.String() }
	told := func() string {
		var b strings.Builder
		for _, p := range all {
			b.WriteString(said(p))
		}
		return b.String()
	}
	kinds := map[string]string{
		"the reminder": "No test of First squad has arrived", "the weekly digest": "First squad, week ", "the monthly digest": "First squad, month ",
	}
	defer func() {
		if t.Failed() {
			t.Logf("told:\n%s", told())
		}
	}()
	all[0].eventually("all three kinds were told", func() bool {
		for _, words := range kinds {
			if !strings.Contains(told(), words) {
				return false
			}
		}
		return true
	})
	all[1].kill()
	all = append(all, alertsRole())
	all[3].eventually("the process that came back is ready", func() bool { return all[3].get("/readyz") == 200 })
	time.Sleep(2 * time.Second) // what would be told twice would be told by now
	for what, words := range kinds {
		if n := strings.Count(told(), words); n != 1 {
			t.Errorf("%s was told %d times", what, n)
		}
	}
}
