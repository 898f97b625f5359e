// Package metrics measures a running canter in Prometheus' terms.
//
// In comes what the stages say of their work (a [Set] is the Meter of each),
// and, at each scrape, what the broker says of its queues. Out goes the page
// of [Set.Handler]. It promises that measuring never fails or delays the work.
// Names follow Prometheus' conventions: base units, _total for counters.
package metrics

import (
	"context"
	"log/slog"
	"net/http"
	"runtime/debug"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/broker"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// Set is the metrics of one process.
type Set struct {
	reg *prometheus.Registry

	found    *prometheus.CounterVec
	bytes    prometheus.Counter
	stored   *prometheus.CounterVec
	tests    *prometheus.CounterVec
	handling prometheus.Histogram
	messages *prometheus.CounterVec
	telling  prometheus.Histogram
	lastFile prometheus.Gauge
}

// delays are bucket bounds in seconds: from the quarter of a second that is
// the aim under load to the hours of a service that was away.
var delays = []float64{0.1, 0.25, 0.5, 1, 2, 5, 10, 30, 60, 300, 1800, 7200}

// New returns an empty set.
func New() *Set {
	s := &Set{
		reg: prometheus.NewRegistry(),
		found: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "canter_ingest_files_total",
			Help: "Finished files in the watched folders: published (new to the archive), known (there already), failed (could not be read or published, tried again).",
		}, []string{"result"}),
		bytes: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "canter_ingest_bytes_total", Help: "Size of the files that were published, before compression.",
		}),
		stored: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "canter_scorer_files_total",
			Help: "Files whose result was stored, by what became of them; a file that is scored again counts again.",
		}, []string{"state"}),
		tests: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "canter_scorer_tests_total", Help: "Tests stored, by quality; scored again counts again.",
		}, []string{"quality"}),
		handling: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "canter_file_handling_seconds", Buckets: delays,
			Help: "From a new file's being noticed as finished (after the settle time) to its result in history.",
		}),
		messages: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "canter_chat_messages_total",
			Help: "Messages by result: sent, refused (the chat will never take it), failed (an attempt that is tried again).",
		}, []string{"result"}),
		telling: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "canter_alert_delay_seconds", Buckets: delays,
			Help: "From a file's being noticed to the chat's having the message about its test.",
		}),
		lastFile: prometheus.NewGauge(prometheus.GaugeOpts{
			Name: "canter_last_file_timestamp_seconds", Help: "When this process last stored a file's result, in Unix time; 0 for never.",
		}),
	}
	version := "unknown"
	if b, ok := debug.ReadBuildInfo(); ok {
		version = b.Main.Version
	}
	build := prometheus.NewGauge(prometheus.GaugeOpts{
		Name: "canter_build_info", Help: "1, with the version as its label.", ConstLabels: prometheus.Labels{"version": version},
	})
	build.Set(1)
	s.reg.MustRegister(s.found, s.bytes, s.stored, s.tests, s.handling, s.messages, s.telling, s.lastFile, build,
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	// Zero is news, too: a counter that is not there can't be watched.
	for _, r := range []string{"published", "known", "failed"} {
		s.found.WithLabelValues(r)
	}
	for _, st := range []schemas.FileState{schemas.FileScored, schemas.FileTraining, schemas.FileSeries, schemas.FileParked, schemas.FileDropped} {
		s.stored.WithLabelValues(string(st))
	}
	for _, q := range []schemas.Quality{schemas.Good, schemas.Check, schemas.Reject} {
		s.tests.WithLabelValues(string(q))
	}
	for _, r := range []string{"sent", "refused", "failed"} {
		s.messages.WithLabelValues(r)
	}
	return s
}

// Handler serves the metrics.
func (s *Set) Handler() http.Handler {
	return promhttp.HandlerFor(s.reg, promhttp.HandlerOpts{MaxRequestsInFlight: 4, Timeout: 8 * time.Second})
}

// Ingest is the set as the ingest stage's meter.
func (s *Set) Ingest() Ingest { return Ingest{s} }

// Scorer is the set as the scorer's meter.
func (s *Set) Scorer() Scorer { return Scorer{s} }

// Alerts is the set as the alerts stage's meter.
func (s *Set) Alerts() Alerts { return Alerts{s} }

// Ingest counts files found.
type Ingest struct{ s *Set }

// Published counts a file new to the archive.
func (m Ingest) Published(size int64) {
	m.s.found.WithLabelValues("published").Inc()
	m.s.bytes.Add(float64(size))
}

// Known counts a file that the archive has.
func (m Ingest) Known() { m.s.found.WithLabelValues("known").Inc() }

// Failed counts a try that failed.
func (m Ingest) Failed() { m.s.found.WithLabelValues("failed").Inc() }

// Scorer counts files and tests stored.
type Scorer struct{ s *Set }

// Stored counts a stored result.
func (m Scorer) Stored(state schemas.FileState, tests []schemas.Outcome) {
	m.s.stored.WithLabelValues(string(state)).Inc()
	for i := range tests {
		m.s.tests.WithLabelValues(string(tests[i].Quality)).Inc()
	}
	m.s.lastFile.SetToCurrentTime()
}

// Handled measures how long a new file took.
func (m Scorer) Handled(seen time.Time) { m.s.handling.Observe(since(seen)) }

// Alerts counts messages.
type Alerts struct{ s *Set }

// Sent counts a message and measures how long its file took to be told.
func (m Alerts) Sent(seen time.Time) {
	m.s.messages.WithLabelValues("sent").Inc()
	if !seen.IsZero() {
		m.s.telling.Observe(since(seen))
	}
}

// Refused counts a message that the chat will never take.
func (m Alerts) Refused() { m.s.messages.WithLabelValues("refused").Inc() }

// Failed counts an attempt that is tried again.
func (m Alerts) Failed() { m.s.messages.WithLabelValues("failed").Inc() }

// since is never negative: machines of one installation differ a little in
// what time it is.
func since(t time.Time) float64 { return max(time.Since(t).Seconds(), 0) }

// Queue is a consumer whose depth is to be measured, by the name of what waits
// in it.
type Queue struct {
	Name string
	Work broker.Work
}

// Depths answers how deep a queue is: the broker.
type Depths interface {
	Depth(ctx context.Context, w broker.Work) (broker.Depth, error)
}

// Watch adds the depth of queues, asked of d at each scrape, and whether the
// process can do its work (ready returns nil).
func (s *Set) Watch(d Depths, queues []Queue, ready func(context.Context) error, log *slog.Logger) {
	s.reg.MustRegister(&depths{broker: d, queues: queues, ready: ready, log: log})
}

// depths is a collector that asks when it is asked.
type depths struct {
	broker Depths
	queues []Queue
	ready  func(context.Context) error
	log    *slog.Logger
}

var (
	depthDesc  = prometheus.NewDesc("canter_queue_messages", "Messages in the broker that are not done: waiting for a worker, or in hand.", []string{"queue", "state"}, nil)
	oldestDesc = prometheus.NewDesc("canter_queue_oldest_seconds", "Age of the oldest message that is not done; 0 when all is done.", []string{"queue"}, nil)
	readyDesc  = prometheus.NewDesc("canter_ready", "1 when broker, history and folders answer, as /readyz says; else 0.", nil, nil)
)

// scrapeTimeout bounds what a scrape waits for a broker that is away.
const scrapeTimeout = 3 * time.Second

// Describe sends the descriptions.
func (c *depths) Describe(ch chan<- *prometheus.Desc) {
	ch <- depthDesc
	ch <- oldestDesc
	ch <- readyDesc
}

// Collect asks the broker. A queue that can't be asked is left out and logged:
// a number that is not known is not zero.
func (c *depths) Collect(ch chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), scrapeTimeout)
	defer cancel()
	up := 0.0
	if c.ready(ctx) == nil {
		up = 1
	}
	ch <- prometheus.MustNewConstMetric(readyDesc, prometheus.GaugeValue, up)
	for _, q := range c.queues {
		d, err := c.broker.Depth(ctx, q.Work)
		if err != nil {
			c.log.Warn("metrics: queue can't be asked", "queue", q.Name, "err", err)
			continue
		}
		age := 0.0
		if !d.Oldest.IsZero() {
			age = since(d.Oldest)
		}
		ch <- prometheus.MustNewConstMetric(depthDesc, prometheus.GaugeValue, float64(d.Waiting), q.Name, "waiting")
		ch <- prometheus.MustNewConstMetric(depthDesc, prometheus.GaugeValue, float64(d.InHand), q.Name, "in_hand")
		ch <- prometheus.MustNewConstMetric(oldestDesc, prometheus.GaugeValue, age, q.Name)
	}
}
