package scorer_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/schemas/club"
	"canter.example/schemas/history"
	"canter.example/scorer"
	"github.com/google/go-cmp/cmp"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) {
	if os.Getenv(beScorer) != "" {
		scoreUntilKilled()
		return
	}
	goleak.VerifyTestMain(m)
}

// planned is when the club planned the test: a Tuesday, 10:30.
var planned = time.Date(2026, 9, 1, 10, 30, 0, 0, time.UTC)

// content is a file of these tests: what its trace looks like, as JSON.
type content struct {
	// Who the file itself names, "" for nobody.
	Who string
	// Begins is the recording's start, Run the test's (zero: no run).
	Begins, Run time.Time
	// Level is the heart rate that the run comes to.
	Level float64
	// Dark seconds from the run's start on without heart rate, from and to.
	Dark [2]float64
	// Say makes the decoder fail ("error") or panic ("panic").
	Say string
	// Parts makes a file of several athletes.
	Parts []content
}

// decode is a decoder for content.
func decode(name string, b []byte, _ *time.Location, _ time.Time) ([]schemas.Trace, string, error) {
	var c content
	if err := json.Unmarshal(b, &c); err != nil {
		return nil, "", err
	}
	switch c.Say {
	case "error":
		return nil, "", fmt.Errorf("%s: this is no heart-rate file", name)
	case "panic":
		panic("decoder")
	}
	if len(c.Parts) == 0 {
		return []schemas.Trace{c.trace("")}, "csv", nil
	}
	var out []schemas.Trace
	for i, p := range c.Parts {
		out = append(out, p.trace(fmt.Sprint("part ", i)))
	}
	return out, "csv", nil
}

// trace plays the content: 20 minutes at rest, the 4-min run with a time
// constant of 30 s up and 45 s down, and rest again.
func (c content) trace(part string) schemas.Trace {
	tr := schemas.Trace{Part: part, Label: c.Who, Start: c.Begins}
	const rest = 95.0
	hr := rest
	for t := 0.0; t < 40*60; t++ {
		at := c.Begins.Add(time.Duration(t) * time.Second)
		goal, tau := rest+2*math.Sin(t/40), 45.0
		inRun := at.Sub(c.Run).Seconds()
		if !c.Run.IsZero() && inRun >= 0 && inRun < 240 {
			goal, tau = c.Level, 30
		}
		hr += (goal - hr) / tau
		s := schemas.Sample{At: time.Duration(t) * time.Second, HR: float32(math.Round(hr + 0.6*math.Sin(t*1.7)))}
		if c.Dark[1] > 0 && inRun >= c.Dark[0] && inRun < c.Dark[1] {
			s.HR = 0
		}
		tr.Samples = append(tr.Samples, s)
	}
	return tr
}

// run is a recording that holds the test, begun a quarter of an hour before.
func run(who string, start time.Time, level float64) content {
	return content{Who: who, Begins: start.Add(-15 * time.Minute), Run: start, Level: level}
}

// rig is a scorer with real history and broker, driven one event at a time.
type rig struct {
	t       *testing.T
	broker  *broker.Broker
	history history.Store
	club    *club.Club
	s       *scorer.Service
	seq     schemas.Version
	told    []string // subjects of what the scorer published
	events  []any
	lost    bool // whether the archive has lost what files hold
	// waiting are requests to score again, which run does.
	waiting []*broker.Delivery
}

const clubYAML = `
club: Example
time_zone: UTC
squads:
  - id: first
    name: First
    folders:
      - path: in
        pattern: "{athlete}.*"
athletes:
  - {id: AKF, name: Ana Kofi, hrmax: 195, squad: first}
  - {id: BLO, name: Bo Lund, hrmax: 195, squad: first}
  - {id: CEM, name: Cem Ural, hrmax: 195, squad: first}
  - {id: DIA, name: Dia Roy, hrmax: 195, squad: first}
protocols:
  - {id: weekly, name: Weekly, regimen: continuous, progression: fixed, duration: 4m, hrex: "final-mean:60s", recovery: [60s]}
planned:
  - {id: tuesday, squad: first, protocol: weekly, cron: "30 10 * * TUE", within: 20m, microcycle_day: MD-4, surface: grass}
`

func newRig(t *testing.T) *rig {
	t.Helper()
	b, err := broker.Open(t.Context(), broker.Config{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	h, err := history.Open(t.Context(), filepath.Join(t.TempDir(), "history.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = h.Close(); b.Close() })
	c, err := club.Parse("club.yaml", []byte(clubYAML))
	if err != nil {
		t.Fatal(err)
	}
	r := &rig{t: t, broker: b, history: h, club: c, seq: 1}
	r.s = scorer.New(scorer.Config{Club: c, Decode: decode, Free: spoil, Log: slog.New(slog.DiscardHandler)}, r, h)
	return r
}

// spoil overwrites what the scorer says it is done with, so that every test of the
// service fails that still finds something of it in what came out.
func spoil(traces []schemas.Trace) {
	for i := range traces {
		t := &traces[i]
		for k := range t.Samples {
			t.Samples[k] = schemas.Sample{At: -time.Hour, HR: 199, Speed: 9, Cadence: 399, Have: schemas.HasSpeed | schemas.HasCadence}
		}
		for k := range t.RR {
			t.RR[k] = schemas.RR{At: -time.Hour, Interval: 333 * time.Millisecond}
		}
		*t = schemas.Trace{}
	}
}

// The broker as the scorer sees it: real files, events noted.

func (r *rig) Consume(context.Context, broker.Work, broker.Handler) error { return nil }

func (r *rig) FileOf(ctx context.Context, d *broker.Delivery, limit int64) (broker.FileMessage, error) {
	f, err := r.broker.FileOf(ctx, d, limit)
	if err == nil && r.lost {
		f.Content, err = nil, broker.ErrNoFile
	}
	return f, err
}

func (r *rig) File(ctx context.Context, id schemas.FileID, limit int64) (broker.FileMessage, error) {
	return r.broker.File(ctx, id, limit)
}

func (r *rig) Publish(_ context.Context, subject, _ string, event any) error {
	if strings.HasPrefix(subject, schemas.SubjectRescore) {
		r.waiting = append(r.waiting, r.delivery(subject, event))
		return nil
	}
	r.told = append(r.told, subject)
	r.events = append(r.events, event)
	return nil
}

// Superseded looks among the requests that wait.
func (r *rig) Superseded(_ context.Context, d *broker.Delivery) (bool, error) {
	return slices.ContainsFunc(r.waiting, func(w *broker.Delivery) bool { return w.Subject == d.Subject && w.Version > d.Version }), nil
}

func (r *rig) delivery(subject string, event any) *broker.Delivery {
	r.t.Helper()
	b, err := schemas.EncodeEvent(event)
	if err != nil {
		r.t.Fatal(err)
	}
	r.seq++
	return &broker.Delivery{Subject: subject, Data: b, Version: r.seq, Tries: 1}
}

// publish archives a file and returns its delivery.
func (r *rig) publish(path string, c content) *broker.Delivery {
	r.t.Helper()
	b, err := json.Marshal(c)
	if err != nil {
		r.t.Fatal(err)
	}
	m := broker.FileMessage{ID: schemas.NewFileID(b), Content: b, Size: int64(len(b)), Origin: schemas.Origin{Folder: r.club.Squads[0].Folders[0].Path, Path: path, Squad: "first", Seen: planned}}
	if _, err := r.broker.PublishFile(r.t.Context(), m); err != nil {
		r.t.Fatal(err)
	}
	// The archive's own message is what the scorer is given.
	ctx, cancel := context.WithCancel(r.t.Context())
	var mine *broker.Delivery
	work := broker.Work{Stream: schemas.StreamInput, Durable: "look", Workers: 1, Log: slog.New(slog.DiscardHandler)}
	if err := r.broker.Consume(ctx, work, func(_ context.Context, d *broker.Delivery) error {
		if strings.HasSuffix(d.Subject, string(m.ID)) {
			mine = d
			cancel()
		}
		return nil
	}); err != nil {
		r.t.Fatal(err)
	}
	cancel()
	r.seq++
	mine.Version = r.seq
	return mine
}

// drop archives a file and has it handled, with all that follows.
func (r *rig) drop(path string, c content) schemas.FileID {
	r.t.Helper()
	d := r.publish(path, c)
	r.handle(d)
	return schemas.FileID(strings.TrimPrefix(d.Subject, schemas.SubjectFile))
}

func (r *rig) handle(d *broker.Delivery) {
	r.t.Helper()
	if err := r.s.Handle(r.t.Context(), d); err != nil {
		r.t.Fatal(err)
	}
	for len(r.waiting) > 0 {
		next := r.waiting[0]
		r.waiting = r.waiting[1:]
		if err := r.s.Handle(r.t.Context(), next); err != nil {
			r.t.Fatal(err)
		}
	}
}

func (r *rig) file(id schemas.FileID) schemas.File {
	r.t.Helper()
	f, ok, err := r.history.File(r.t.Context(), id)
	if err != nil || !ok {
		r.t.Fatalf("file %s: %v, %v", id.Short(), ok, err)
	}
	return f
}

func (r *rig) tests(id schemas.FileID) []schemas.Outcome {
	r.t.Helper()
	os, err := r.history.Tests(r.t.Context(), history.TestFilter{File: id})
	if err != nil {
		r.t.Fatal(err)
	}
	return os
}

func (r *rig) test(id schemas.FileID) schemas.Outcome {
	r.t.Helper()
	os := r.tests(id)
	if len(os) != 1 {
		r.t.Fatalf("%d tests in the file, want one: %+v", len(os), r.file(id))
	}
	return os[0]
}

func (r *rig) correct(o schemas.Outcome, action schemas.CorrectionAction, start time.Time) {
	r.t.Helper()
	c := schemas.Correction{ID: fmt.Sprint("c", r.seq), TestID: o.TestID, FileID: o.FileID, Action: action, Start: start, Who: "staff", When: planned, Why: "why"}
	r.handle(r.delivery(schemas.SubjectCorrection+string(o.TestID), c))
}

func TestAPlannedTestIsScoredWithItsConditions(t *testing.T) {
	r := newRig(t)
	id := r.drop("AKF.csv", run("", planned.Add(3*time.Minute), 160))
	o := r.test(id)
	if o.Quality != schemas.Good || o.Athlete != "AKF" || o.Squad != "first" || o.Session != "first/weekly/2026-09-01" || o.MicrocycleDay != "MD-4" || o.Surface != "grass" {
		t.Errorf("outcome %+v", o)
	}
	if d := o.Start.Sub(planned.Add(3 * time.Minute)).Abs(); d > 5*time.Second {
		t.Errorf("start is off by %s", d)
	}
	if bpm, _ := o.HRexBPM.Get(); math.Abs(bpm-160) > 1 {
		t.Errorf("HRex %g, want 160", bpm)
	}
	want := []any{schemas.TestEvent{
		File: id, Athlete: "AKF", Tests: []schemas.TestID{o.TestID},
		First: true, Places: []schemas.Place{{Squad: "first", Protocol: "weekly", From: o.Start}},
	}}
	if d := cmp.Diff(want, r.events); d != "" {
		t.Errorf("events (-want +got):\n%s", d)
	}
	// Once it is known, whoever hears of it looks for what it touches.
	r.events = nil
	r.handle(r.delivery(schemas.SubjectRescore+string(id), schemas.RescoreEvent{File: id, Cause: "again"}))
	want = []any{schemas.TestEvent{File: id, Athlete: "AKF", Tests: []schemas.TestID{o.TestID}}}
	if d := cmp.Diff(want, r.events); d != "" {
		t.Errorf("events of the file scored again (-want +got):\n%s", d)
	}
	w, err := r.history.TraceSeconds(t.Context(), o.TestID)
	if err != nil || len(w) < 240 {
		t.Errorf("%d seconds of the trace are kept, %v", len(w), err)
	}
}

func TestAFileWithoutATestIsNewsToNobodyUntilItIsKnown(t *testing.T) {
	r := newRig(t)
	id := r.drop("AKF.csv", run("", planned.AddDate(0, 0, 2), 60))
	r.state(id, schemas.FileTraining)
	if len(r.events) != 0 {
		t.Errorf("events %+v", r.events)
	}
	r.handle(r.delivery(schemas.SubjectRescore+string(id), schemas.RescoreEvent{File: id, Cause: "again"}))
	if d := cmp.Diff([]any{schemas.TestEvent{File: id}}, r.events); d != "" {
		t.Errorf("a notice about it can't be closed (-want +got):\n%s", d)
	}
}

func TestTheSameEventTwiceWritesTheSame(t *testing.T) {
	r := newRig(t)
	id := r.drop("AKF.csv", run("", planned, 160))
	before := r.test(id)
	r.handle(r.delivery(schemas.SubjectRescore+string(id), schemas.RescoreEvent{File: id, Cause: "again"}))
	after := r.test(id)
	if after.Version <= before.Version {
		t.Errorf("version %d after %d", after.Version, before.Version)
	}
	after.Version = before.Version
	if d := cmp.Diff(before, after, cmp.AllowUnexported(schemas.Number{})); d != "" {
		t.Errorf("scored again (-before +after):\n%s", d)
	}
}

func TestAFileWithoutATestIsTraining(t *testing.T) {
	r := newRig(t)
	id := r.drop("AKF.csv", content{Begins: planned.AddDate(0, 0, 2)})
	if f := r.file(id); f.State != schemas.FileTraining || f.Reason == "" {
		t.Errorf("file %+v", f)
	}
	if n := len(r.tests(id)); n != 0 {
		t.Errorf("%d tests", n)
	}
}

func TestATraceOfThePlannedTimeWithoutATestIsARejectedTest(t *testing.T) {
	r := newRig(t)
	id := r.drop("AKF.csv", content{Begins: planned.Add(-15 * time.Minute)})
	o := r.test(id)
	if o.Quality != schemas.Reject || o.HRexBPM.Present() || len(o.Reasons) == 0 || o.Reasons[0].Code != schemas.ReasonNoTest {
		t.Errorf("outcome %+v", o)
	}
	// Staff know better, and say when it began.
	r.correct(o, schemas.ActionStart, planned.Add(time.Minute))
	if o = r.test(id); o.StartSource != schemas.StartByHand || !o.Start.Equal(planned.Add(time.Minute)) {
		t.Errorf("start set by hand: %+v", o)
	}
}

func TestCorrectionsHoldThroughEveryScoring(t *testing.T) {
	r := newRig(t)
	id := r.drop("AKF.csv", run("", planned, 160))
	first := r.test(id)
	r.correct(first, schemas.ActionExclude, time.Time{})
	if o := r.test(id); o.Staff != schemas.Excluded || o.Valid() {
		t.Errorf("excluded: %+v", o)
	}
	r.correct(first, schemas.ActionStart, planned.Add(20*time.Second))
	o := r.test(id)
	if o.Staff != schemas.Excluded || !o.Start.Equal(planned.Add(20*time.Second)) || o.TestID != first.TestID {
		t.Errorf("excluded and moved: %+v", o)
	}
	r.correct(first, schemas.ActionRestore, time.Time{})
	o = r.test(id)
	o.Version = first.Version
	if d := cmp.Diff(first, o, cmp.AllowUnexported(schemas.Number{})); d != "" {
		t.Errorf("restored (-first +now):\n%s", d)
	}
	audit, err := r.history.AllCorrections(t.Context(), first.TestID)
	if err != nil || len(audit) != 3 {
		t.Errorf("audit holds %d of 3, %v", len(audit), err)
	}
}

func TestAnUnknownAthleteIsParkedAndFoundUnderABetterName(t *testing.T) {
	r := newRig(t)
	id := r.drop("somebody.csv", run("", planned, 160))
	f := r.file(id)
	if f.State != schemas.FileParked || !strings.Contains(f.Reason, "somebody") {
		t.Fatalf("file %+v", f)
	}
	better := f.Origin
	better.Path = "AKF.csv"
	r.handle(r.delivery(schemas.SubjectOrigin+string(id)+".x", schemas.OriginEvent{File: id, Origin: better}))
	if f = r.file(id); f.State != schemas.FileScored || f.Origin.Path != "AKF.csv" {
		t.Errorf("under a better name: %+v", f)
	}
	// A copy of a file that was handled is the same file.
	n := len(r.told)
	better.Path = "BLO.csv"
	r.handle(r.delivery(schemas.SubjectOrigin+string(id)+".y", schemas.OriginEvent{File: id, Origin: better}))
	if o := r.test(id); o.Athlete != "AKF" || len(r.told) != n {
		t.Errorf("a copy changed something: %+v", o)
	}
}

func TestWhatCanNotBeReadIsParkedWithItsReason(t *testing.T) {
	for say, want := range map[string]string{"error": "no heart-rate file", "panic": "report it"} {
		t.Run(say, func(t *testing.T) {
			r := newRig(t)
			id := r.drop("AKF.csv", content{Say: say})
			if f := r.file(id); f.State != schemas.FileParked || !strings.Contains(f.Reason, want) {
				t.Errorf("file %+v", f)
			}
			if len(r.told) != 1 || !strings.HasPrefix(r.told[0], schemas.SubjectParked) {
				t.Errorf("told %v", r.told)
			}
		})
	}
}

func TestOneStrangerInATeamExportDoesNotHoldUpTheOthers(t *testing.T) {
	r := newRig(t)
	r.club.Squads[0].Folders[0].Pattern = ""
	id := r.drop("team.csv", content{Parts: []content{run("AKF", planned, 160), run("Nobody", planned, 150), run("BLO", planned, 155)}})
	if f := r.file(id); f.State != schemas.FileParked || f.Tests != 2 || !strings.Contains(f.Reason, "in part") {
		t.Errorf("file %+v", f)
	}
	if n := len(r.tests(id)); n != 2 {
		t.Errorf("%d tests, want 2", n)
	}
}

func TestTestsThatAreGoneAreSaidSo(t *testing.T) {
	r := newRig(t)
	id := r.drop("AKF.csv", run("", planned, 160))
	gone := r.test(id)
	// The club edits its protocol: what is in the file is no such test.
	r.club.Planned, r.club.Protocols[0].Stages[0].Duration = nil, 12*time.Minute
	r.handle(r.delivery(schemas.SubjectRescore+string(id), schemas.RescoreEvent{File: id}))
	if n := len(r.tests(id)); n != 0 {
		t.Errorf("%d tests left", n)
	}
	want := schemas.TestEvent{File: id, Athlete: "AKF", Gone: []schemas.TestID{gone.TestID}}
	found := false
	for _, e := range r.events {
		found = found || cmp.Equal(e, any(want))
	}
	if !found {
		t.Errorf("events %+v lack %+v", r.events, want)
	}
}

func TestWhenTheArchiveIsGoneVerdictsStillHold(t *testing.T) {
	r := newRig(t)
	id := r.drop("AKF.csv", run("", planned, 160))
	o := r.test(id)
	fresh, err := broker.Open(t.Context(), broker.Config{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	old := r.broker
	r.broker = fresh
	t.Cleanup(func() { fresh.Close(); r.broker = old })
	r.correct(o, schemas.ActionExclude, time.Time{})
	if got := r.test(id); got.Staff != schemas.Excluded || got.HRexBPM != o.HRexBPM {
		t.Errorf("outcome %+v", got)
	}
	if w, err := r.history.TraceSeconds(t.Context(), o.TestID); err != nil || len(w) == 0 {
		t.Errorf("the trace window is lost: %d seconds, %v", len(w), err)
	}
}

// TestATraceBorrowsItsTeamMatesStartInWhateverOrderTheyCome: one trace is dark
// where its own start and end would show.
func TestATraceBorrowsItsTeamMatesStartInWhateverOrderTheyCome(t *testing.T) {
	start := planned.Add(4 * time.Minute)
	dark := run("", start, 158)
	dark.Dark = [2]float64{-30, 100}
	files := map[string]content{"AKF.csv": dark, "BLO.csv": run("", start, 160), "CEM.csv": run("", start.Add(time.Second), 165), "DIA.csv": run("", start, 150)}
	var final []string
	for _, order := range [][]string{{"AKF.csv", "BLO.csv", "CEM.csv", "DIA.csv"}, {"BLO.csv", "CEM.csv", "DIA.csv", "AKF.csv"}, {"BLO.csv", "AKF.csv", "DIA.csv", "CEM.csv"}} {
		r := newRig(t)
		var id schemas.FileID
		for _, name := range order {
			if got := r.drop(name, files[name]); name == "AKF.csv" {
				id = got
			}
		}
		o := r.test(id)
		if d := o.Start.Sub(start).Abs(); d > 6*time.Second {
			t.Errorf("order %v: start off by %s (%s), %v", order, d, o.StartSource, o.Reasons)
		}
		final = append(final, fmt.Sprint(o.Start, o.StartSource, o.StartConfidence, o.HRexBPM, o.Quality, o.Reasons))
	}
	if final[0] != final[1] || final[0] != final[2] {
		t.Errorf("the order changed the result:\n%s", strings.Join(final, "\n"))
	}
}

func TestEventsThatAreNoneEndForGood(t *testing.T) {
	r := newRig(t)
	for _, subject := range []string{schemas.SubjectOrigin + "a.b", schemas.SubjectRescore + "a", schemas.SubjectCorrection + "a", "canter.else"} {
		err := r.s.Handle(t.Context(), &broker.Delivery{Subject: subject, Data: []byte("{")})
		if !broker.IsPermanent(err) {
			t.Errorf("%s: %v, want a permanent error", subject, err)
		}
	}
	err := r.s.Handle(t.Context(), r.delivery(schemas.SubjectOrigin+"a.b", schemas.OriginEvent{File: "unknown"}))
	if err == nil || broker.IsPermanent(err) || errors.Is(err, broker.ErrNoFile) {
		t.Errorf("a place of a file that is not handled yet: %v, want to try again", err)
	}
}
