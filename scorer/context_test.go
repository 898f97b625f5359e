package scorer_test

import (
	"context"
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"canter.example/ingest/formats"
	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/schemas/club"
	"canter.example/schemas/history"
	"canter.example/schemas/history/historytest"
	"canter.example/scorer"
)

const clubFile = `
club: Quarrymoor Rovers
time_zone: Europe/Berlin
athletes:
  - {id: q01, name: Bryn Castellaw, initials: BC, squad: first, sex: male, hrmax: 200, hrrest: 50, aliases: [Castellaw B]}
  - {id: q02, name: Maura Søndervig, squad: first, hrmax: 190}
  - {id: q03, name: Kim Ashgrove, squad: u21}
squads:
  - id: first
    name: First squad
    folders: [{path: first, pattern: "{date}/{athlete}.*"}]
  - {id: u21, folders: [{path: u21}]}
folders: [{path: shared}]
protocols: [{id: run4, duration: 4m}]
`

// archive stands for the broker: files by their id, and what was published.
type archive struct {
	files map[schemas.FileID]broker.FileMessage
	told  []string
}

func (a *archive) Consume(context.Context, broker.Work, broker.Handler) error { return nil }

func (a *archive) FileOf(_ context.Context, d *broker.Delivery, _ int64) (broker.FileMessage, error) {
	return a.files[schemas.FileID(strings.TrimPrefix(d.Subject, schemas.SubjectFile))], nil
}

func (a *archive) File(_ context.Context, id schemas.FileID, _ int64) (broker.FileMessage, error) {
	f, ok := a.files[id]
	if !ok {
		return f, broker.ErrNoFile
	}
	return f, nil
}

func (a *archive) Superseded(context.Context, *broker.Delivery) (bool, error) { return false, nil }

func (a *archive) Publish(_ context.Context, subject, _ string, _ any) error {
	a.told = append(a.told, subject)
	return nil
}

// bench is a scorer on a real history.
type bench struct {
	t       *testing.T
	scorer  *scorer.Service
	history history.Store
	archive *archive
	version schemas.Version
}

func newBench(t *testing.T) *bench {
	t.Helper()
	c, err := club.Parse("/club/club.yaml", []byte(clubFile))
	if err != nil {
		t.Fatal(err)
	}
	h, err := history.Open(t.Context(), historytest.SQLite(t))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = h.Close() })
	b := &bench{t: t, history: h, archive: &archive{files: map[schemas.FileID]broker.FileMessage{}}}
	b.scorer = scorer.New(scorer.Config{
		Club: c, Workers: 1, Log: slog.New(slog.DiscardHandler),
		Decode: func(name string, content []byte, zone *time.Location, date time.Time) ([]schemas.Trace, string, error) {
			return formats.Decode(name, content, formats.Options{Zone: zone, Date: date})
		},
		Series: func(name string, content []byte, zone *time.Location, date time.Time) ([]schemas.SeriesRow, bool, error) {
			return formats.DecodeSeries(name, content, formats.Options{Zone: zone, Date: date})
		},
	}, b.archive, h)
	return b
}

// drop has a file scored and returns its record.
func (b *bench) drop(folder, path, content string) schemas.File {
	b.t.Helper()
	id := schemas.NewFileID([]byte(content))
	squad := map[string]string{"first": "first", "u21": "u21"}[folder]
	seen := time.Date(2026, 3, 9, 12, 0, 0, 0, time.UTC).Add(time.Duration(len(b.archive.files)) * time.Minute)
	b.archive.files[id] = broker.FileMessage{
		ID: id, Origin: schemas.Origin{Folder: "/club/" + folder, Path: path, Squad: squad, Seen: seen}, Size: int64(len(content)), Content: []byte(content),
	}
	return b.handle(schemas.SubjectFile, id, nil)
}

func (b *bench) handle(subject string, id schemas.FileID, data []byte) schemas.File {
	b.t.Helper()
	b.version++
	if err := b.scorer.Handle(b.t.Context(), &broker.Delivery{Subject: subject + string(id), Data: data, Version: b.version}); err != nil {
		b.t.Fatal(err)
	}
	f, ok, err := b.history.File(b.t.Context(), id)
	if err != nil || !ok {
		b.t.Fatalf("file found %t, %v", ok, err)
	}
	return f
}

func (b *bench) rescore(id schemas.FileID) schemas.File {
	b.t.Helper()
	data, err := schemas.EncodeEvent(schemas.RescoreEvent{File: id, Cause: "test"})
	if err != nil {
		b.t.Fatal(err)
	}
	return b.handle(schemas.SubjectRescore, id, data)
}

// rows returns the answer to a query, one text a row.
func (b *bench) rows(query string) []string {
	b.t.Helper()
	r, err := b.history.Query(b.t.Context(), query, 0)
	if err != nil {
		b.t.Fatal(err)
	}
	var out []string
	for _, v := range r.Values {
		out = append(out, strings.TrimSuffix(fmt.Sprintln(v...), "\n"))
	}
	return out
}

func (b *bench) want(what, query string, want ...string) {
	b.t.Helper()
	if d := cmp.Diff(want, b.rows(query)); d != "" {
		b.t.Errorf("%s (- want, + got):\n%s", what, d)
	}
}

// even is a recording at one heart rate, a reading a second.
func even(start string, minutes, bpm int) string {
	at, err := time.Parse(time.RFC3339, start)
	if err != nil {
		panic(err)
	}
	var b strings.Builder
	b.WriteString("time,hr\n")
	for s := range 60 * minutes {
		fmt.Fprintf(&b, "%s,%d\n", at.Add(time.Duration(s)*time.Second).Format(time.RFC3339), bpm)
	}
	return b.String()
}

// Half an hour at 125 bpm between 50 and 200 is half the reserve: TRIMP is
// 30 × 0.5 × 0.64 exp(0.96) for a man (Banister 1991), and 62.5 %HRmax is the
// second zone: 2 × 30 (Edwards 1993).
func TestEveryRecordingHasItsLoad(t *testing.T) {
	b := newBench(t)
	f := b.drop("first", "2026-03-09/q01.csv", even("2026-03-08T23:30:00Z", 30, 125))
	if f.State != schemas.FileTraining {
		t.Errorf("state %s: %s", f.State, f.Reason)
	}
	const loads = "SELECT athlete || ' ' || squad || ' ' || local_date || ' ' || round(minutes, 1) || ' ' || round(trimp, 2) || ' ' || round(edwards, 1) || ' ' || counts FROM loads ORDER BY file_id, part"
	want := "q01 first 2026-03-09 30.0 25.07 60.0 1" // half past midnight in Berlin
	b.want("the load", loads, want)
	b.rescore(f.ID)
	b.want("scored again", loads, want)

	// Without sex and HRrest there is no TRIMP, and the day has none.
	b.drop("first", "2026-03-09/q02.csv", even("2026-03-09T10:00:00Z", 30, 125))
	b.want("without HRrest", "SELECT trimp IS NULL, edwards IS NULL, reasons FROM loads WHERE athlete = 'q02'",
		"1 0 no TRIMP: HRrest is not known, or not below HRmax")
}

// Watch and strap on one session are one session.
func TestTwoRecordingsOfOneSessionCountOnce(t *testing.T) {
	b := newBench(t)
	b.drop("first", "2026-03-09/q01.csv", even("2026-03-09T10:00:00Z", 60, 150))
	b.drop("first", "2026-03-09/q01.tsv", even("2026-03-09T10:02:00Z", 50, 150))
	b.drop("first", "2026-03-09/q01.txt", even("2026-03-09T16:00:00Z", 30, 150))
	b.want("the day", "SELECT athlete, sessions, round(minutes) FROM athlete_days", "q01 2 90")
}

func TestDailySeriesAreStored(t *testing.T) {
	b := newBench(t)
	sheet := "athlete,date,rpe,minutes,sleep (h)\nq01,2026-03-09,6,70,7.5\nCastellaw B,2026-03-09,4,30,8\nMaura Sondervig,2026-03-09,5,70,\nsquad,2026-03-09,,,7\n"
	f := b.drop("first", "week.csv", sheet)
	if f.State != schemas.FileSeries || f.Format != "csv" || f.Reason != "" {
		t.Errorf("%+v", f)
	}
	const values = "SELECT athlete || ' ' || squad || ' ' || local_date || ' ' || series || ' ' || value || ' ' || unit FROM daily_series ORDER BY athlete, local_date, series"
	want := []string{
		" first 2026-03-09 sleep 7.0 h",
		"q01 first 2026-03-09 minutes 100.0 min", "q01 first 2026-03-09 rpe 4.0 ", "q01 first 2026-03-09 session-rpe 540.0 au", "q01 first 2026-03-09 sleep 8.0 h",
		"q02 first 2026-03-09 minutes 70.0 min", "q02 first 2026-03-09 rpe 5.0 ", "q02 first 2026-03-09 session-rpe 350.0 au",
	}
	b.want("values", values, want...)
	b.rescore(f.ID)
	b.want("scored again", values, want...)

	b.drop("first", "week-corrected.csv", "athlete,date,sleep (h)\nq01,2026-03-09,6\n")
	want[4] = "q01 first 2026-03-09 sleep 6.0 h"
	b.want("corrected", values, want...)
	b.rescore(f.ID)
	b.want("the first sheet scored again", values, want...)
}

// What can be stored is; the file is parked with what could not, until the
// club file knows them.
func TestSeriesOfStrangersArePartlyParked(t *testing.T) {
	b := newBench(t)
	f := b.drop("shared", "week.csv", "athlete,squad,date,sleep\nq01,first,2026-03-09,7\nNobody,first,2026-03-09,7\nNobody,first,2026-03-10,7\n,nowhere,2026-03-09,1\n,u21,2026-03-09,2\nq03,first,2026-03-09,3\n")
	for _, want := range []string{
		"in part (3 daily values were stored)", `line 3: the file itself says "Nobody", whom the club file does not know`, "(values left out: 2)",
		`line 5: the file itself says the squad "nowhere"`,
	} {
		if f.State != schemas.FileParked || !strings.Contains(f.Reason, want) {
			t.Errorf("%s: %q without %q", f.State, f.Reason, want)
		}
	}
	b.want("stored", "SELECT athlete || ' ' || squad || ' ' || value FROM daily_series ORDER BY value", " u21 2.0", "q03 u21 3.0", "q01 first 7.0")
	if last := b.archive.told[len(b.archive.told)-1]; !strings.HasPrefix(last, schemas.SubjectParked) {
		t.Errorf("told %v", b.archive.told)
	}
	f = b.drop("first", "bad.csv", "athlete,date,sleep\nq01,2026-03-09,7\nq01,2026-03-10,eight\n")
	if f.State != schemas.FileParked || !strings.Contains(f.Reason, "bad.csv: line 3, column 3: 'eight'") {
		t.Errorf("%s: %q", f.State, f.Reason)
	}
}

// Staff's word on a file that the archive has forgotten leaves load and series.
func TestVerdictsKeepTheLoad(t *testing.T) {
	b := newBench(t)
	f := b.drop("first", "2026-03-09/q01.csv", even("2026-03-09T10:00:00Z", 30, 125))
	sheet := b.drop("first", "week.csv", "athlete,date,sleep\nq01,2026-03-09,7\n")
	clear(b.archive.files)
	b.rescore(f.ID)
	b.rescore(sheet.ID)
	b.want("loads", "SELECT count(*), max(version) FROM loads", "1 3")
	b.want("values", "SELECT count(*), max(version) FROM daily_series", "1 4")
}
