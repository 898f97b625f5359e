package metrics

import (
	"context"
	"errors"
	"log/slog"
	"strings"
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/broker"
	"github.com/prometheus/client_golang/prometheus/testutil"
	"github.com/prometheus/client_golang/prometheus/testutil/promlint"
)

// queue answers as a broker would; an error answers nothing.
type queue map[string]any

func (q queue) Depth(_ context.Context, w broker.Work) (broker.Depth, error) {
	if err, ok := q[w.Durable].(error); ok {
		return broker.Depth{}, err
	}
	return q[w.Durable].(broker.Depth), nil
}

func worked() *Set {
	s := New()
	s.Ingest().Published(1500)
	s.Ingest().Published(500)
	s.Ingest().Known()
	s.Ingest().Failed()
	s.Scorer().Stored(schemas.FileScored, []schemas.Outcome{{Quality: schemas.Good}, {Quality: schemas.Check}})
	s.Scorer().Stored(schemas.FileParked, nil)
	s.Scorer().Handled(time.Now().Add(-3 * time.Second))
	s.Alerts().Sent(time.Now().Add(-400 * time.Millisecond))
	s.Alerts().Sent(time.Time{})
	s.Alerts().Failed()
	return s
}

func TestWhatTheStagesSayIsCounted(t *testing.T) {
	want := `
# HELP canter_ingest_bytes_total Size of the files that were published, before compression.
# TYPE canter_ingest_bytes_total counter
canter_ingest_bytes_total 2000
# HELP canter_ingest_files_total Finished files in the watched folders: published (new to the archive), known (there already), failed (could not be read or published, tried again).
# TYPE canter_ingest_files_total counter
canter_ingest_files_total{result="failed"} 1
canter_ingest_files_total{result="known"} 1
canter_ingest_files_total{result="published"} 2
# HELP canter_scorer_files_total Files whose result was stored, by what became of them; a file that is scored again counts again.
# TYPE canter_scorer_files_total counter
canter_scorer_files_total{state="dropped"} 0
canter_scorer_files_total{state="parked"} 1
canter_scorer_files_total{state="scored"} 1
canter_scorer_files_total{state="series"} 0
canter_scorer_files_total{state="training"} 0
# HELP canter_scorer_tests_total Tests stored, by quality; scored again counts again.
# TYPE canter_scorer_tests_total counter
canter_scorer_tests_total{quality="check"} 1
canter_scorer_tests_total{quality="good"} 1
canter_scorer_tests_total{quality="reject"} 0
# HELP canter_chat_messages_total Messages by result: sent, refused (the chat will never take it), failed (an attempt that is tried again).
# TYPE canter_chat_messages_total counter
canter_chat_messages_total{result="failed"} 1
canter_chat_messages_total{result="refused"} 0
canter_chat_messages_total{result="sent"} 2
`
	err := testutil.GatherAndCompare(worked().reg, strings.NewReader(want), "canter_ingest_bytes_total",
		"canter_ingest_files_total", "canter_scorer_files_total", "canter_scorer_tests_total", "canter_chat_messages_total")
	if err != nil {
		t.Error(err)
	}
}

func TestOnlyMessagesAboutAFileMeasureTheDelay(t *testing.T) {
	families, err := worked().reg.Gather()
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range families {
		if f.GetName() != "canter_alert_delay_seconds" {
			continue
		}
		h := f.GetMetric()[0].GetHistogram()
		if h.GetSampleCount() != 1 || h.GetSampleSum() < 0.4 || h.GetSampleSum() > 5 {
			t.Errorf("%d delays of %v s in all, want the one of 0.4 s", h.GetSampleCount(), h.GetSampleSum())
		}
		return
	}
	t.Error("no canter_alert_delay_seconds")
}

func TestQueuesAreAskedAtEachScrape(t *testing.T) {
	s := New()
	answers := queue{
		"scorer": broker.Depth{Waiting: 7, InHand: 2, Oldest: time.Now().Add(-time.Hour)},
		"alerts": errors.New("the broker is away"),
	}
	down := errors.New("history is away")
	s.Watch(answers, []Queue{{"files", broker.Work{Durable: "scorer"}}, {"tests", broker.Work{Durable: "alerts"}}},
		func(context.Context) error { return down }, slog.New(slog.DiscardHandler))
	text := func(want string) string {
		return "# HELP canter_queue_messages Messages in the broker that are not done: waiting for a worker, or in hand.\n" +
			"# TYPE canter_queue_messages gauge\n" + want +
			"# HELP canter_ready 1 when broker, history and folders answer, as /readyz says; else 0.\n# TYPE canter_ready gauge\n"
	}
	want := text("canter_queue_messages{queue=\"files\",state=\"in_hand\"} 2\ncanter_queue_messages{queue=\"files\",state=\"waiting\"} 7\n") + "canter_ready 0\n"
	if err := testutil.GatherAndCompare(s.reg, strings.NewReader(want), "canter_queue_messages", "canter_ready"); err != nil {
		t.Error(err)
	}
	answers["scorer"], answers["alerts"], down = broker.Depth{}, broker.Depth{Waiting: 1}, nil
	want = text("canter_queue_messages{queue=\"files\",state=\"in_hand\"} 0\ncanter_queue_messages{queue=\"files\",state=\"waiting\"} 0\n"+
		"canter_queue_messages{queue=\"tests\",state=\"in_hand\"} 0\ncanter_queue_messages{queue=\"tests\",state=\"waiting\"} 1\n") + "canter_ready 1\n"
	if err := testutil.GatherAndCompare(s.reg, strings.NewReader(want), "canter_queue_messages", "canter_ready"); err != nil {
		t.Error(err)
	}
}

func TestNamesFollowTheConventions(t *testing.T) {
	s := worked()
	s.Watch(queue{"scorer": broker.Depth{}}, []Queue{{"files", broker.Work{Durable: "scorer"}}},
		func(context.Context) error { return nil }, slog.New(slog.DiscardHandler))
	families, err := s.reg.Gather()
	if err != nil {
		t.Fatal(err)
	}
	problems, err := promlint.NewWithMetricFamilies(families).Lint()
	if err != nil || len(families) < 15 {
		t.Fatalf("%d families: %v", len(families), err)
	}
	for _, p := range problems {
		t.Errorf("%s: %s", p.Metric, p.Text)
	}
}
